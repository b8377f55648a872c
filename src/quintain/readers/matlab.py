"""Reader of MATLAB files, versions 4 to 7.3."""

from __future__ import annotations

import os
import struct
from collections.abc import Mapping

from quintain.domain.recording import Recording
from quintain.errors import RecordingError
from quintain.readers.arrays import NamedArray, array_channels, is_rate_name, recording_of_arrays
from quintain.readers.fingerprint import take_fingerprint
from quintain.readers.hdf5 import read_tree
from quintain.readers.matlab_elements import variables_of_version_4, variables_of_version_5
from quintain.readers.reader import Reader

__all__ = ["READER", "read_matlab", "recognises"]

_BOMB_RATIO = 300
_SMALL = 64 << 20


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of a MATLAB file of version 5 to 7.3, or very likely of version 4."""
    if head[126:128] in (b"IM", b"MI") and head[:6] == b"MATLAB":
        return True
    return _looks_like_version_4(head)


def _looks_like_version_4(head: bytes) -> bool:
    """Version 4 has no signature: its first matrix must make sense."""
    if len(head) < 21:
        return False
    for order in "<>":
        kind, rows, columns, imaginary, name = struct.unpack(order + "5i", head[:20])
        # Thousands: byte order (0 little, 1 big), hundreds: 0, tens: number type, units: full, text, sparse.
        m, o, p, t = kind // 1000, kind // 100 % 10, kind // 10 % 10, kind % 10
        if 0 <= kind < 5000 and m == (order == ">") and o == 0 and p <= 5 and t <= 2 and imaginary in (0, 1):
            text = head[20 : 20 + name]
            plain = 0 < name <= 64 and text.endswith(b"\0") and text[:-1].replace(b"_", b"").isalnum()
            if plain and rows > 0 and columns > 0:
                return True
    return False


def read_matlab(
    path: str | os.PathLike[str],
    *,
    columns: str | None = None,
    rate: float | None = None,
    units: str | Mapping[str, str] | None = None,
) -> Recording:
    """
    Read a MATLAB file.

    Parameters
    ----------
    path : str or path-like
        The file. Variables, and fields of structures as 'name/field', are channels, the longer dimension
        is time; one called 't' or 'time' of the same length holds the times, a single number called 'fs'
        or 'sample_rate' is the sampling rate in Hz.
    columns : str, optional
        Which variable is what, in files of version 7.3: ``'time=t[s],force=fz[N]'``.
    rate : float, optional
        Sampling rate, where the file has neither times nor a rate. [Hz]
    units : str or mapping, optional
        Unit of channels whose names state none (``'N'``), or units by channel (``'acc=g,force=kN'``).

    Returns
    -------
    Recording
        One trace a column. Version 7.3 is read in place, older ones into memory.

    Raises
    ------
    RecordingError
        If the file is damaged, unpacks to far more than its size, or has no rate.
    ChannelError, UnitError
        If a variable asked for is not there, or a unit is missing for times or not known.
    """
    found = take_fingerprint(path)
    where = str(found.path)
    with found.path.open("rb") as file:
        head = file.read(520)
    if head[512:520] == b"\x89HDF\r\n\x1a\n" or head[124:126] in (b"\x00\x02", b"\x02\x00"):
        return read_tree(found, READER.name, columns=columns, rate=rate, units=units)
    if head[:6] == b"MATLAB" and head[124:126] not in (b"\x00\x01", b"\x01\x00"):
        raise RecordingError(
            f"{where}: this MATLAB file is of version {head[124:126].hex()}; 4 to 7.3 are read. Save "
            "it as 7.3."
        )
    if columns is not None:
        raise RecordingError(
            f"{where}: columns is for files of version 7.3 only. Leave it out, state units by name."
        )
    most = max(_SMALL, _BOMB_RATIO * found.n_bytes)
    try:
        data = memoryview(found.path.read_bytes())
        found_in = (
            variables_of_version_5(data, most) if head[:6] == b"MATLAB" else variables_of_version_4(data)
        )
        flat = list(found_in)
    except OverflowError:
        raise RecordingError(
            f"{where}: the file unpacks to more than {_BOMB_RATIO} times its size, which no recording "
            "does. Save it "
            "uncompressed if you trust it."
        ) from None
    except (ValueError, OSError, MemoryError) as error:
        raise RecordingError(f"{where}: this MATLAB file cannot be read ({error}). Save it again.") from None
    interval = None
    for name, array in flat:
        if array.size == 1 and is_rate_name(name.rpartition("/")[2]) and float(array.reshape(-1)[0]) > 0:
            interval = 1 / float(array.reshape(-1)[0])
    arrays: list[NamedArray] = []
    for name, array in flat:
        if array.size > 1:
            arrays += array_channels(name, array, interval=interval, group=name.rpartition("/")[0])
    shapes = [f"{name}: {array.dtype} {array.shape}" for name, array in flat]
    # Versions from 5 on begin with a line of words.
    words = [head[:116].decode("latin-1").rstrip()] if head[:6] == b"MATLAB" else []
    header = "\n".join(words + shapes)
    return recording_of_arrays(found, arrays, reader=READER.name, units=units, rate=rate, header=header)


READER = Reader(
    "matlab",
    (".mat",),
    recognises,
    read_matlab,
    "MATLAB files, versions 4 to 7.3",
    calibrations="none",
)
