"""Reader of TDMS files: segments, any byte order, interleaved or not, raw device data; read in place."""

from __future__ import annotations

import os
import struct
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from quintain.domain.recording import FoundCalibration, Recording
from quintain.errors import RecordingError
from quintain.readers.arrays import NamedArray, recording_of_arrays
from quintain.readers.calibration import ArrayCalibration
from quintain.readers.fingerprint import Fingerprint, take_fingerprint
from quintain.readers.raw_samples import open_again, read_numbers
from quintain.readers.reader import Reader

__all__ = ["READER", "read_tdms", "recognises"]

_METADATA, _NEW_LIST, _RAW, _INTERLEAVED, _BIG, _DAQMX = 1 << 1, 1 << 2, 1 << 3, 1 << 5, 1 << 6, 1 << 7
_NO_DATA, _SAME, _DAQMX_INDEX = 0xFFFFFFFF, 0, (0x69120000, 0x69130000, 0x00001269, 0x00001369)
_VERSIONS = (4712, 4713)
_OPEN_END = 0xFFFFFFFFFFFFFFFF
_TYPES = {
    1: "i1", 2: "i2", 3: "i4", 4: "i8", 5: "u1", 6: "u2", 7: "u4", 8: "u8", 9: "f4", 10: "f8",
    0x19: "f4", 0x1A: "f8", 0x21: "u1",
}  # fmt: skip
_OTHER_SIZES = {0x44: 16, 0x08000C: 8, 0x10000D: 16}
_STRING, _BOOLEAN, _TIME = 0x20, 0x21, 0x44
_DAQMX_TYPES = ("u1", "i1", "u2", "i2", "u4", "i4")
_LONGEST_METADATA = 1 << 28
_FROM_1904 = datetime(1904, 1, 1)


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of a TDMS file."""
    return head.startswith(b"TDSm")


@dataclass(frozen=True, slots=True)
class _Index:
    """How an object lies in one chunk of raw data."""

    dtype: str | None
    """Type of its numbers without byte order; None for text and the like."""
    n: int
    n_bytes: int
    scalers: tuple[tuple[str, int, int], ...] = ()
    """Raw device data: type, buffer and byte within a row of the buffer."""
    widths: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class _Run:
    """Numbers of an object in one segment: chunks at even distances."""

    first: int
    offset: int
    dtype: str
    step: int
    n: int
    chunk: int
    chunks: int


@dataclass(slots=True)
class _Object:
    """A channel as it is put together from segments."""

    properties: dict[str, Any] = field(default_factory=dict)
    index: _Index | None = None
    runs: list[_Run] = field(default_factory=list)

    @property
    def n(self) -> int:
        """Numbers so far."""
        return self.runs[-1].first + self.runs[-1].n * self.runs[-1].chunks if self.runs else 0


class _Cursor:
    """Walks through metadata and refuses to read beyond its end."""

    def __init__(self, data: bytes, order: str) -> None:
        self.data, self.order, self.at = data, order, 0

    def take(self, code: str) -> Any:
        size = struct.calcsize(self.order + code)
        if self.at + size > len(self.data):
            raise ValueError("metadata end too early")
        self.at += size
        return struct.unpack_from(self.order + code, self.data, self.at - size)[0]

    def text(self) -> str:
        size = self.take("I")
        if self.at + size > len(self.data):
            raise ValueError(f"a text of {size} bytes does not fit")
        self.at += size
        return self.data[self.at - size : self.at].decode("utf-8", "replace")

    def value(self) -> Any:
        kind = self.take("I")
        if kind == _STRING:
            return self.text()
        if kind == _BOOLEAN:
            return bool(self.take("B"))
        if kind == _TIME:
            if self.order == "<":
                fraction, seconds = self.take("Q"), self.take("q")
            else:
                seconds, fraction = self.take("q"), self.take("Q")
            try:
                return _FROM_1904 + timedelta(seconds=seconds, microseconds=fraction * 1e6 / 2**64)
            except OverflowError:
                return None
        if kind not in _TYPES:
            raise ValueError(f"a property of unknown type {kind:#x}")
        letters = {
            "i1": "b",
            "i2": "h",
            "i4": "i",
            "i8": "q",
            "u1": "B",
            "u2": "H",
            "u4": "I",
            "u8": "Q",
            "f4": "f",
        }
        return self.take(letters.get(_TYPES[kind], "d"))


def read_tdms(
    path: str | os.PathLike[str],
    *,
    rate: float | None = None,
    units: str | Mapping[str, str] | None = None,
    calibration: str | None = None,
) -> Recording:
    """
    Read a TDMS file.

    Parameters
    ----------
    path : str or path-like
        The file. Channels are named 'group/channel', or by their own name where there is one group.
    rate : float, optional
        Sampling rate of channels that state none and have no time channel beside them. [Hz]
    units : str or mapping, optional
        Unit of channels that state none (``'N'``), or units by channel (``'acc=g,force=kN'``).
    calibration : str, optional
        ``'file'`` to scale raw device data by the linear scale that the file holds for them. Left out,
        such channels are raw numbers without a unit.

    Returns
    -------
    Recording
        One trace a channel of numbers, each with its own rate and group; samples are read from the file
        when they are asked for. Scales that were applied before the numbers were written are shown too.

    Raises
    ------
    RecordingError
        If the file is damaged, or no channel has a rate.
    ChannelError, UnitError
        If a unit is given for a channel that is not there, or is not known.

    References
    ----------
    .. [1] National Instruments, 'TDMS File Format Internal Structure', 2024 (public description).
    """
    found = take_fingerprint(path)
    where = str(found.path)
    notes: list[str] = []
    try:
        objects = _read_segments(found, notes)
    except (ValueError, OverflowError, struct.error) as error:
        raise RecordingError(
            f"{where}: this TDMS file is damaged ({error}). Copy or export it again."
        ) from None
    groups = {_parts(name)[0] for name, item in objects.items() if len(_parts(name)) == 2 and item.n}
    arrays, started = [], None
    calibrations: list[FoundCalibration] = []
    for name, item in objects.items():
        parts = _parts(name)
        if len(parts) != 2 or not item.n:
            continue
        shown = parts[1] if len(groups) == 1 else "/".join(parts)
        raw = item.properties.get("NI_Scaling_Status") == "unscaled"
        scale = _scale(item.properties)
        if scale is None and raw:
            kinds = _kinds_of_scales(item.properties)
            notes.append(f"channel {shown!r} is raw and its scale ({kinds}) is not linear; it is left out")
            calibrations.append(FoundCalibration(shown, f"not linear: {kinds}", False))
            continue
        if not raw and (kinds := _kinds_of_scales(item.properties)):
            text = scale.text if scale is not None else f"not linear: {kinds}"
            calibrations.append(FoundCalibration(shown, f"{text}, before the numbers were written", True))
        begin = item.properties.get("wf_start_time")
        # Midnight of 1904-01-01 stands for a clock that was not asked.
        if started is None and isinstance(begin, datetime) and begin > _FROM_1904 + timedelta(days=1):
            started = begin
        unit = item.properties.get("unit_string") or item.properties.get("NI_UnitDescription")
        step = item.properties.get("wf_increment")
        offset = item.properties.get("wf_start_offset")
        arrays.append(
            NamedArray(
                shown,
                item.n,
                _Fetch(found, tuple(item.runs)),
                unit if isinstance(unit, str) else "",
                parts[0],
                float(step) if isinstance(step, (int, float)) and 1e-12 < step < 1e12 else None,
                float(offset) if isinstance(offset, (int, float)) and np.isfinite(offset) else 0.0,
                parts[0],
                calibration=scale if raw and scale != ArrayCalibration(1.0, 0.0) else None,
            )
        )
    header = "\n".join(
        f"{name}: " + ", ".join(f"{key}={value}" for key, value in item.properties.items())
        for name, item in objects.items()
    )
    return recording_of_arrays(
        found, arrays, reader=READER.name, units=units, rate=rate, header=header, started=started,
        notes=notes, calibration=calibration, calibrations=calibrations,
    )  # fmt: skip


def _parts(path: str) -> list[str]:
    """Names in an object path such as /'group'/'channel'."""
    return (
        [part.replace("''", "'") for part in path.removeprefix("/'").removesuffix("'").split("'/'")]
        if path != "/"
        else []
    )


def _read_segments(found: Fingerprint, notes: list[str]) -> dict[str, _Object]:
    objects: dict[str, _Object] = {}
    active: list[str] = []
    at = 0
    with open_again(found) as file:
        while at + 28 <= found.n_bytes:
            file.seek(at)
            lead = file.read(28)
            if lead[:4] != b"TDSm":
                raise ValueError(f"byte {at} should begin a segment")
            toc = struct.unpack("<I", lead[4:8])[0]
            order = ">" if toc & _BIG else "<"
            version, next_at, raw_at = struct.unpack(order + "IQQ", lead[8:28])
            if version not in _VERSIONS:
                raise ValueError(
                    f"a segment is of version {version}; {_VERSIONS[0]} and {_VERSIONS[1]} are read"
                )
            end = found.n_bytes if next_at == _OPEN_END else at + 28 + next_at
            if end > found.n_bytes:
                notes.append(f"the last segment is cut off: {end - found.n_bytes} bytes are missing")
                end = found.n_bytes
            raw_begin = at + 28 + raw_at
            if toc & _METADATA:
                if not 0 <= raw_at <= min(_LONGEST_METADATA, found.n_bytes - at - 28):
                    raise ValueError(f"metadata of {raw_at} bytes do not fit")
                cursor = _Cursor(file.read(raw_at), order)
                active = _read_metadata(cursor, objects, [] if toc & _NEW_LIST else active)
            if toc & _RAW and raw_begin < end:
                _add_runs(objects, active, toc, order, raw_begin, end - raw_begin)
            if end <= at:
                raise ValueError("a segment has no length")
            at = end
    if not objects:
        raise ValueError("it holds no whole segment")
    return objects


def _read_metadata(cursor: _Cursor, objects: dict[str, _Object], active: list[str]) -> list[str]:
    """Update objects; returns those with raw data in this segment, in order."""
    active = list(active)
    listed = set(active)
    for _ in range(cursor.take("I")):
        path = cursor.text()
        item = objects.setdefault(path, _Object())
        index = cursor.take("I")
        if index in _DAQMX_INDEX:
            item.index = _read_daqmx_index(cursor)
        elif index not in (_NO_DATA, _SAME):
            item.index = _read_index(cursor)
        if index != _NO_DATA and path not in listed:
            active.append(path)
            listed.add(path)
        elif index == _NO_DATA and path in listed:
            active.remove(path)
            listed.discard(path)
        for _ in range(cursor.take("I")):
            name = cursor.text()
            item.properties[name] = cursor.value()
    return active


def _read_index(cursor: _Cursor) -> _Index:
    kind, dimension, n = cursor.take("I"), cursor.take("I"), cursor.take("Q")
    if dimension != 1:
        raise ValueError(f"arrays of dimension {dimension}")
    if kind == _STRING:
        return _Index(None, n, cursor.take("Q"))
    if kind in _OTHER_SIZES:
        return _Index(None, n, n * _OTHER_SIZES[kind])
    if kind not in _TYPES:
        raise ValueError(f"numbers of unknown type {kind:#x}")
    dtype = _TYPES[kind]
    return _Index(dtype, n, n * int(dtype[1]))


def _read_daqmx_index(cursor: _Cursor) -> _Index:
    cursor.take("I")
    dimension, n = cursor.take("I"), cursor.take("Q")
    if dimension != 1:
        raise ValueError(f"raw arrays of dimension {dimension}")
    scalers = []
    for _ in range(cursor.take("I")):
        kind, buffer, byte = cursor.take("I"), cursor.take("I"), cursor.take("I")
        cursor.take("I"), cursor.take("I")
        if kind >= len(_DAQMX_TYPES):
            raise ValueError(f"raw numbers of unknown type {kind}")
        scalers.append((_DAQMX_TYPES[kind], buffer, byte))
    widths = tuple(cursor.take("I") for _ in range(cursor.take("I")))
    for dtype, buffer, byte in scalers:
        if buffer >= len(widths) or byte + int(dtype[1]) > widths[buffer]:
            raise ValueError("raw numbers lie outside their rows")
    return _Index(None, n, 0, tuple(scalers), widths)


def _add_runs(
    objects: dict[str, _Object], active: list[str], toc: int, order: str, begin: int, n_bytes: int
) -> None:
    """Note where the numbers of each object lie in the raw data of a segment."""
    items = [objects[path] for path in active if objects[path].index is not None]
    indexes = [item.index for item in items if item.index is not None]
    if toc & _DAQMX:
        _add_daqmx_runs(items, indexes, order, begin, n_bytes)
        return
    if toc & _INTERLEAVED:
        if any(index.dtype is None for index in indexes):
            raise ValueError("interleaved data that are no numbers")
        step = sum(int(str(index.dtype)[1]) for index in indexes)
        at = begin
        for item, index in zip(items, indexes, strict=True):
            dtype = str(index.dtype)
            n = n_bytes // step
            if n:
                item.runs.append(_Run(item.n, at, order + dtype, step, n, 0, 1))
            at += int(dtype[1])
        return
    chunk = sum(index.n_bytes for index in indexes)
    if chunk == 0:
        return
    at = begin
    for item, index in zip(items, indexes, strict=True):
        if index.dtype is not None and index.n and n_bytes // chunk:
            step, n, chunks = int(index.dtype[1]), index.n, n_bytes // chunk
            if n == 1:
                # One number a chunk lies like one column of a table.
                step, n, chunks = chunk, chunks, 1
            item.runs.append(_Run(item.n, at, order + index.dtype, step, n, chunk, chunks))
        at += index.n_bytes


def _add_daqmx_runs(
    items: list[_Object], indexes: list[_Index], order: str, begin: int, n_bytes: int
) -> None:
    widths = next((index.widths for index in indexes if index.widths), ())
    n = max((index.n for index in indexes), default=0)
    chunk = n * sum(widths)
    if chunk == 0:
        return
    starts = np.concatenate([[0], np.cumsum([n * width for width in widths])]).tolist()
    for item, index in zip(items, indexes, strict=True):
        if index.widths != widths or index.n != n:
            raise ValueError("raw channels of one segment differ in length")
        if len(index.scalers) == 1 and n_bytes // chunk:
            dtype, buffer, byte = index.scalers[0]
            at = begin + int(starts[buffer]) + byte
            item.runs.append(_Run(item.n, at, order + dtype, widths[buffer], n, chunk, n_bytes // chunk))


def _kinds_of_scales(properties: Mapping[str, Any]) -> str:
    """Kinds of the scales of a channel in the order stored, '' if there are none."""
    n = properties.get("NI_Number_Of_Scales")
    kinds = [
        properties.get(f"NI_Scale[{k}]_Scale_Type") for k in range(min(n, 32) if isinstance(n, int) else 0)
    ]
    return ", ".join(str(kind) for kind in kinds if kind is not None)


def _scale(properties: Mapping[str, Any]) -> ArrayCalibration | None:
    """A chain of linear scales as one; None if another kind of scale is needed."""
    n = properties.get("NI_Number_Of_Scales")
    factor, zero = 1.0, 0.0
    source: object = n - 1 if isinstance(n, int) else -1
    for _ in range(32):
        kind = properties.get(f"NI_Scale[{source}]_Scale_Type")
        if kind is None:
            return ArrayCalibration(factor, zero)
        slope = properties.get(f"NI_Scale[{source}]_Linear_Slope")
        intercept = properties.get(f"NI_Scale[{source}]_Linear_Y_Intercept")
        if kind != "Linear" or not isinstance(slope, float) or not isinstance(intercept, float):
            return None
        zero += factor * intercept
        factor *= slope
        source = properties.get(f"NI_Scale[{source}]_Linear_Input_Source")
    return None


@dataclass(frozen=True, slots=True)
class _Fetch:
    """Numbers of a channel by place."""

    found: Fingerprint
    runs: tuple[_Run, ...]

    def __call__(self, i: int, j: int) -> NDArray[np.float64]:
        with self.opened() as fetch:
            return fetch(i, j)

    @contextmanager
    def opened(self) -> Iterator[Callable[[int, int], NDArray[np.float64]]]:
        """Keep the file open for many pieces."""
        with open_again(self.found) as file:
            yield partial(self._fetch, file, [run.first for run in self.runs])

    def _fetch(self, file: BinaryIO, firsts: list[int], i: int, j: int) -> NDArray[np.float64]:
        parts = []
        k = bisect_right(firsts, i) - 1
        while i < j:
            run = self.runs[k]
            chunk, within = divmod(i - run.first, run.n)
            whole = min((j - i) // run.n, run.chunks - chunk) if within == 0 else 0
            file.seek(run.offset + chunk * run.chunk + within * run.step)
            if run.step == int(run.dtype[2]) and (run.chunks == 1 or run.chunk == run.n * run.step):
                # Chunks of one channel are one stretch of numbers.
                n = min(j, run.first + run.n * run.chunks) - i
                parts.append(read_numbers(file, run.dtype, n, run.step, where=self.found.path))
                i, k = i + n, k + 1
                continue
            # Chunks that lie close together are read at once.
            whole = whole if run.chunk <= 4 * run.n * run.step else min(whole, 1)
            n, rows = (run.n, whole) if whole else (min(run.n - within, j - i), 1)
            size = (rows - 1) * run.chunk + (n - 1) * run.step + int(run.dtype[2])
            buffer = file.read(size)
            if len(buffer) < size:
                raise RecordingError(
                    f"{self.found.path}: the file ends before number {i + n}. Copy it again."
                )
            with np.errstate(invalid="ignore", over="ignore"):
                table = np.ndarray((rows, n), run.dtype, buffer, strides=(run.chunk, run.step))
                parts.append(table.astype(np.float64).reshape(-1))
            i += rows * n
            if i >= run.first + run.n * run.chunks:
                k += 1
        return parts[0] if len(parts) == 1 else np.concatenate(parts)


READER = Reader(
    "tdms",
    (".tdms",),
    recognises,
    read_tdms,
    "TDMS measurement files",
    calibrations="scales of raw numbers when asked; those applied before writing are shown",
)
