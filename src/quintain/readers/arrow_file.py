"""Reader of Parquet and Arrow IPC (Feather) tables, batch by batch."""

from __future__ import annotations

import os
import struct
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quintain.domain.recording import Recording
from quintain.errors import RecordingError
from quintain.readers.arrays import NamedArray, is_rate_name, recording_of_arrays
from quintain.readers.fingerprint import take_fingerprint
from quintain.readers.reader import Reader

__all__ = ["READER", "read_arrow", "recognises"]

_BOMB_RATIO = 1000
_SMALL = 64 << 20


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of a Parquet or Arrow file."""
    return head.startswith((b"PAR1", b"ARROW1\0\0"))


def read_arrow(
    path: str | os.PathLike[str],
    *,
    rate: float | None = None,
    units: str | Mapping[str, str] | None = None,
) -> Recording:
    """
    Read a Parquet or Arrow IPC file.

    Parameters
    ----------
    path : str or path-like
        The file. Columns of numbers are channels; one called 't' or 'time', or of a timestamp type, holds
        the times. Units are taken from a column's name or from its metadata 'unit'.
    rate : float, optional
        Sampling rate, where the file has no times. [Hz]
    units : str or mapping, optional
        Unit of channels that state none (``'N'``), or units by channel (``'acc=g,force=kN'``).

    Returns
    -------
    Recording
        One trace a column; one row group or record batch is in memory at a time.

    Raises
    ------
    RecordingError
        If the file is damaged, unpacks to far more than its size, or has no rate.
    ChannelError, UnitError
        If a unit is given for a channel that is not there, is missing for times, or is not known.
    """
    found = take_fingerprint(path)
    where = str(found.path)
    try:
        schema, sizes = _look_inside(where)
    except RecordingError:
        raise
    except Exception as error:
        raise _damaged(where, error) from None
    starts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    n = int(starts[-1])
    if n == 0:
        raise RecordingError(f"{where}: the table has no rows. Export the recording again.")
    arrays, started = [], None
    for name, unit, kind in schema.columns:
        fetch = _Column(where, name, starts)
        if kind == "time":
            unit = "s"
            first = fetch.raw(0, 1)[0]
            started = None if np.isnat(first) else first.astype("datetime64[us]").item()
        arrays.append(NamedArray(name, n, fetch, unit, interval=schema.interval, ragged=True))
    return recording_of_arrays(
        found, arrays, reader=READER.name, units=units, rate=rate, header=schema.text, started=started
    )


def _damaged(where: str, error: Exception) -> RecordingError:
    reason = str(error).splitlines()[0][:200] if str(error) else type(error).__name__
    return RecordingError(f"{where}: this Parquet or Arrow file cannot be read ({reason}). Write it again.")


@dataclass(frozen=True, slots=True)
class _Schema:
    columns: list[tuple[str, str, str]]
    """Name, unit and kind ('number' or 'time') of each column."""
    interval: float | None
    text: str


def _open(where: str) -> Any:
    import pyarrow as pa
    from pyarrow import parquet

    with open(where, "rb") as file:
        is_parquet = file.read(4) == b"PAR1"
    return parquet.ParquetFile(where) if is_parquet else pa.ipc.open_file(pa.OSFile(where))


def _batches(where: str) -> tuple[list[int], list[int]]:
    """
    Rows and bytes of each batch of an Arrow file, none of which is unpacked.

    The library does not tell the rows of a batch before it unpacks it, so they are looked up in its
    description: a table of the serialisation 'FlatBuffers', whose first field they are.
    """
    import pyarrow as pa

    rows: list[int] = []
    sizes: list[int] = []
    with pa.memory_map(where) as file:
        file.seek(8)
        messages = pa.ipc.MessageReader.open_stream(file)
        while True:
            try:
                message = messages.read_next_message()
            except StopIteration:
                return rows, sizes
            if message.type != "record batch":
                continue
            data = memoryview(message.metadata)
            batch = _field(data, struct.unpack_from("<I", data)[0], 2)
            batch += struct.unpack_from("<I", data, batch)[0]
            n = _field(data, batch, 0)
            rows.append(struct.unpack_from("<q", data, n)[0] if n else 0)
            sizes.append(message.body.size)


def _field(data: memoryview, table: int, k: int) -> int:
    """Where field ``k`` of a table lies, 0 if it is left out (Google, 'FlatBuffers: Internals')."""
    fields = table - struct.unpack_from("<i", data, table)[0]
    if fields < 0:
        raise ValueError("the description of a batch is damaged")
    if 4 + 2 * k >= struct.unpack_from("<H", data, fields)[0]:
        return 0
    at = struct.unpack_from("<H", data, fields + 4 + 2 * k)[0]
    return int(table + at) if at else 0


def _look_inside(where: str) -> tuple[_Schema, list[int]]:
    import pyarrow as pa

    source = _open(where)
    if hasattr(source, "num_row_groups"):
        groups = [source.metadata.row_group(k) for k in range(source.num_row_groups)]
        sizes = [group.num_rows for group in groups]
        stored = [
            min((group.column(c).total_compressed_size for c in range(group.num_columns)), default=0)
            for group in groups
        ]
        schema = source.schema_arrow
    else:
        sizes, stored = _batches(where)
        schema = source.schema
    for n, n_bytes in zip(sizes, stored, strict=True):
        if n < 0 or n * 8 > max(_SMALL, _BOMB_RATIO * n_bytes):
            raise RecordingError(
                f"{where}: a group of {n} rows is announced in {n_bytes} bytes, which no recording is. Write "
                "it again in groups of a million rows."
            )
    columns, interval = [], None
    for field in schema:
        metadata = {k.lower(): v.decode("utf-8", "replace") for k, v in (field.metadata or {}).items()}
        unit = metadata.get(b"unit") or metadata.get(b"units") or ""
        if pa.types.is_integer(field.type) or pa.types.is_floating(field.type):
            columns.append((field.name, unit, "number"))
        elif pa.types.is_timestamp(field.type):
            columns.append((field.name, "s", "time"))
    for key, value in (schema.metadata or {}).items():
        try:
            if is_rate_name(key.decode()) and float(value) > 0:
                interval = 1 / float(value)
        except ValueError:
            continue
    return _Schema(columns, interval, schema.to_string(truncate_metadata=False)), sizes


class _Column:
    """Numbers of one column; keeps the group of rows last read."""

    def __init__(self, where: str, name: str, starts: NDArray[np.int64]) -> None:
        self.where, self.name, self.starts = where, name, starts
        self._kept: tuple[int, NDArray[Any]] | None = None
        self._zero: np.datetime64 | None = None

    def raw(self, i: int, j: int, source: Any = None) -> NDArray[Any]:
        """Numbers or timestamps from ``i`` to ``j``; of a file that is open, or is opened for it."""
        parts = list(self._parts(i, j, source))
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    @contextmanager
    def opened(self) -> Iterator[Callable[[int, int], NDArray[np.float64]]]:
        """Keep the file open for many pieces."""
        try:
            source = _open(self.where)
        except Exception as error:
            raise _damaged(self.where, error) from None
        yield lambda i, j: self._numbers(i, j, source)

    def __call__(self, i: int, j: int) -> NDArray[np.float64]:
        return self._numbers(i, j)

    def _numbers(self, i: int, j: int, source: Any = None) -> NDArray[np.float64]:
        numbers = self.raw(i, j, source)
        if numbers.dtype.kind == "M":
            if self._zero is None:
                self._zero = self.raw(0, 1)[0]
            steps = numbers - self._zero
            with np.errstate(invalid="ignore"):
                return np.where(np.isnat(steps), np.nan, steps / np.timedelta64(1, "s"))
        return numbers.astype(np.float64, copy=False)

    def _parts(self, i: int, j: int, source: Any) -> Iterator[NDArray[Any]]:
        group = int(np.searchsorted(self.starts, i, "right")) - 1
        while i < j:
            rows = self._group(group, source)
            first, end = int(self.starts[group]), int(self.starts[group + 1])
            if rows.size != end - first:
                raise RecordingError(f"{self.where}: column {self.name!r} is shorter than the file says.")
            yield rows[i - first : min(j, end) - first]
            i, group = max(i, end), group + 1

    def _group(self, k: int, source: Any) -> NDArray[Any]:
        if self._kept is None or self._kept[0] != k:
            try:
                source = _open(self.where) if source is None else source
                if hasattr(source, "num_row_groups"):
                    column = source.read_row_group(k, columns=[self.name]).column(0)
                else:
                    column = source.get_batch(k).column(self.name)
                # Chunked columns and plain arrays are both turned into one; nulls become NaN.
                self._kept = (k, np.asarray(column.to_numpy(zero_copy_only=False)))
            except Exception as error:
                raise _damaged(self.where, error) from None
        return self._kept[1]


READER = Reader(
    "arrow",
    (".parquet", ".arrow", ".feather"),
    recognises,
    read_arrow,
    "Parquet and Arrow tables",
    calibrations="none",
)
