"""Reader of NumPy files: .npy read in place, .npz array by array; no pickled objects."""

from __future__ import annotations

import math
import os
import zipfile
from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quintain.domain.recording import Recording
from quintain.errors import RecordingError
from quintain.readers.arrays import NamedArray, array_channels, is_rate_name, recording_of_arrays
from quintain.readers.fingerprint import Fingerprint, take_fingerprint
from quintain.readers.raw_samples import open_again, read_numbers
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
        loaded = _unpack(found) if archive else {}
        inside = [] if archive else _columns(found)
    except RecordingError:
        raise
    except Exception as error:
        # numpy and zipfile raise many kinds for damaged headers; none of them is a fault of the program.
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise RecordingError(f"{where}: this NumPy file cannot be read ({reason}). Save it again.") from None
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
            inside += array_channels(name, array, interval=interval)
    shapes = [f"{name}: {array.dtype} {array.shape}" for name, array in loaded.items()]
    header = "\n".join(shapes) or _raw_header(found)
    return recording_of_arrays(found, inside, reader=READER.name, units=units, rate=rate, header=header)


def _raw_header(found: Fingerprint) -> str:
    """The dictionary that stands before the numbers of an array file."""
    with found.path.open("rb") as file:
        head = file.read(1 << 16)
    begin = head.find(b"{")
    return head[begin : head.find(b"}", begin) + 1].decode("latin-1")


def _columns(found: Fingerprint) -> list[NamedArray]:
    """Columns of an array file, to be read in place."""
    with found.path.open("rb") as file:
        version = np.lib.format.read_magic(file)
        read_header = (
            np.lib.format.read_array_header_1_0 if version == (1, 0) else np.lib.format.read_array_header_2_0
        )
        shape, by_columns, dtype = read_header(file)
        offset = file.tell()
    if dtype.hasobject:
        raise RecordingError(
            f"{found.path}: the file holds Python objects, which are not read. Save plain numbers."
        )
    n = math.prod(shape)
    if offset + n * dtype.itemsize > found.n_bytes:
        raise RecordingError(
            f"{found.path}: the header announces {n} numbers of {dtype.itemsize} bytes, but the file "
            "holds only "
            f"{found.n_bytes - offset} bytes of them. Copy or save it again."
        )
    if dtype.names:
        inside: Mapping[str, Any] = dtype.fields or {}
        fields = [(name, *inside[name][:2]) for name in dtype.names] if len(shape) == 1 else []
        return [
            NamedArray(name, n, partial(_fetch, found, offset + at, kind.str, dtype.itemsize))
            for name, kind, at in fields
            if kind.kind in "iuf" and kind.shape == ()
        ]
    if dtype.kind not in "iuf" or len(shape) not in (1, 2) or n == 0:
        return []
    size = dtype.itemsize
    rows, width = max(shape), n // max(shape)
    # Samples of one column lie together where time is the fast dimension of the file.
    together = width == 1 or by_columns == (shape[0] == rows)
    names = ["signal"] if width == 1 else [f"signal[{k}]" for k in range(width)]
    at, step = (rows * size, size) if together else (size, width * size)
    return [
        NamedArray(name, rows, partial(_fetch, found, offset + k * at, dtype.str, step))
        for k, name in enumerate(names)
    ]


def _fetch(found: Fingerprint, offset: int, dtype: str, step: int, i: int, j: int) -> NDArray[np.float64]:
    with open_again(found) as file:
        file.seek(offset + i * step)
        return read_numbers(file, dtype, j - i, step, where=found.path)


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


READER = Reader(
    "numpy",
    (".npy", ".npz"),
    recognises,
    read_numpy,
    "NumPy arrays and archives of them",
    calibrations="none",
)
