"""Reader of NumPy files: .npy read in place, .npz array by array; no pickled objects."""

from __future__ import annotations

import os
import zipfile
from collections.abc import Mapping
from typing import Any

import numpy as np

from quintain.domain.recording import Recording
from quintain.errors import RecordingError
from quintain.readers.arrays import NamedArray, array_channels, is_rate_name, recording_of_arrays
from quintain.readers.fingerprint import Fingerprint, take_fingerprint
from quintain.readers.reader import Reader

__all__ = ["READER", "read_numpy", "recognises"]

_BOMB_RATIO = 300
_SMALL = 64 << 20


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of a .npy file, or of a zip archive that begins with one."""
    return head.startswith(b"\x93NUMPY") or (head.startswith(b"PK\x03\x04") and b".npy" in head[:400])


def read_numpy(
    path: str | os.PathLike[str],
    *,
    rate: float | None = None,
    units: str | Mapping[str, str] | None = None,
) -> Recording:
    """
    Read a NumPy file.

    Parameters
    ----------
    path : str or path-like
        The file. The longer dimension of an array is time; fields of records and arrays of an archive are
        channels by their names, and one called 't' or 'time' holds the times. A single number called 'fs'
        or 'sample_rate' in an archive is the sampling rate in Hz.
    rate : float, optional
        Sampling rate, where the file has no times. [Hz]
    units : str or mapping, optional
        Unit of channels whose names state none (``'N'``), or units by channel (``'acc=g,force=kN'``).

    Returns
    -------
    Recording
        One trace a column. An array file is read in place, an archive into memory.

    Raises
    ------
    RecordingError
        If the file is damaged, holds Python objects, unpacks to far more than its size, or has no rate.
    ChannelError, UnitError
        If a unit is given for a channel that is not there, is missing for times, or is not known.
    """
    found = take_fingerprint(path)
    where = str(found.path)
    try:
        with found.path.open("rb") as file:
            archive = file.read(2) == b"PK"
        loaded = _unpack(found) if archive else {"signal": np.load(where, mmap_mode="r", allow_pickle=False)}
    except RecordingError:
        raise
    except Exception as error:
        # numpy and zipfile raise many kinds for damaged headers; none of them is a fault of the program.
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise RecordingError(f"{where}: this NumPy file cannot be read ({reason}). Save it again.") from None
    arrays: list[NamedArray] = []
    interval = None
    for name, array in loaded.items():
        if (
            array.size == 1
            and is_rate_name(name)
            and array.dtype.kind in "iuf"
            and float(array.reshape(-1)[0]) > 0
        ):
            interval = 1 / float(array.reshape(-1)[0])
    for name, array in loaded.items():
        if array.size > 1:
            arrays += array_channels(name, array, interval=interval)
    header = "\n".join(f"{name}: {array.dtype} {array.shape}" for name, array in loaded.items())
    return recording_of_arrays(found, arrays, reader=READER.name, units=units, rate=rate, header=header)


def _unpack(found: Fingerprint) -> dict[str, np.ndarray[Any, Any]]:
    with zipfile.ZipFile(found.path) as archive:
        total = sum(item.file_size for item in archive.infolist())
    if total > max(_SMALL, _BOMB_RATIO * found.n_bytes):
        raise RecordingError(
            f"{found.path}: the archive unpacks to {total} bytes, more than {_BOMB_RATIO} times its size, "
            "which no "
            "recording does. Unpack it yourself if you trust it."
        )
    with np.load(found.path, allow_pickle=False) as archive:
        return {name: archive[name] for name in archive.files}


READER = Reader("numpy", (".npy", ".npz"), recognises, read_numpy, "NumPy arrays and archives of them")
