"""
Curves of strikes for figures, in a cache that may be deleted at any time.

One Arrow file an analysis under the hash of its output, one record batch a strike: one strike is read
without the others. Each batch carries a checksum, since nothing else watches over a cache.
"""

from __future__ import annotations

import os
import tempfile
import zlib
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from quintain.domain.strike import ForceCurve, LimbCurve, Strike

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["Curves", "decode_curves", "encode_curves", "keep_curves", "read_curves"]

_FORCE = ("raw_time", "raw", "time", "corrected", "u_corrected")
_LIMB = ("time", "speed", "u_speed", "power_time", "power")
_ARRAYS = (*_FORCE, *(f"limb_{name}" for name in _LIMB))
_TEXTS = ("source", "improve")
_NUMBERS = ("touch", "stop")


class Curves(NamedTuple):
    """Force on the cell around one strike, and speed and power of the limb where they are known."""

    force: ForceCurve
    limb: LimbCurve | None


def encode_curves(strikes: Iterable[Strike]) -> bytes:
    """
    Curves of the strikes of one analysis as the bytes of an Arrow file.

    Parameters
    ----------
    strikes : iterable of Strike
        In order of their numbers.

    Returns
    -------
    bytes
        An Arrow IPC file, compressed.
    """
    import pyarrow as pa

    schema = _schema()
    sink = pa.BufferOutputStream()
    options = pa.ipc.IpcWriteOptions(compression="zstd")
    with pa.ipc.new_file(sink, schema, options=options) as writer:
        for strike in strikes:
            row = _row(strike)
            row["crc"] = _checksum(row)
            columns = [pa.array([row[field.name]], field.type) for field in schema]
            writer.write_batch(pa.record_batch(columns, schema=schema))
    return bytes(sink.getvalue())


def keep_curves(cache: Path, output: str, content: bytes) -> Path | None:
    """
    Put curves into the cache: all of a file, or none.

    Parameters
    ----------
    cache : path
        The lab's cache.
    output : str
        Hash of what the analysis gave.
    content : bytes
        From :func:`encode_curves`.

    Returns
    -------
    path or None
        None where the disk does not take it: a cache is no reason to stop.
    """
    place = _place(cache, output)
    part = ""
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        handle, part = tempfile.mkstemp(prefix="incoming.", suffix=".part", dir=place.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.replace(part, place)
    except OSError:
        if part:
            Path(part).unlink(missing_ok=True)
        return None
    return place


def read_curves(cache: Path, output: str, number: int) -> Curves | None:
    """
    Curves of one strike.

    Parameters
    ----------
    cache : path
        The lab's cache.
    output : str
        Hash of what the analysis gave.
    number : int
        The strike's number in it, from 1.

    Returns
    -------
    Curves or None
        None where they are not in the cache, or not whole; they can be made again from the original.
    """
    import pyarrow as pa

    try:
        with pa.memory_map(str(_place(cache, output))) as source:
            return _decode(source, number)
    except OSError:
        return None


def decode_curves(content: bytes, number: int) -> Curves | None:
    """Curves of one strike from what :func:`encode_curves` made; None if they are not whole."""
    import pyarrow as pa

    return _decode(pa.BufferReader(content), number)


def _decode(source: Any, number: int) -> Curves | None:
    import pyarrow as pa

    try:
        batch = pa.ipc.open_file(source).get_batch(number - 1)
        row = {name: _plain(batch, name) for name in batch.schema.names}
        whole = row.pop("crc") == _checksum(row) and row["number"] == number
    except (OSError, ValueError, IndexError, KeyError, OverflowError, pa.ArrowException):
        return None
    if not whole:
        return None
    force = ForceCurve(*(row[name] for name in _FORCE))
    if not row["limb"]:
        return Curves(force, None)
    limb = LimbCurve(
        *(row[f"limb_{name}"] for name in _LIMB), **{name: row[name] for name in (*_NUMBERS, *_TEXTS)}
    )
    return Curves(force, limb)


def _place(cache: Path, output: str) -> Path:
    return cache / "curves" / f"{output}.arrow"


def _schema() -> pa.Schema:
    import pyarrow as pa

    return pa.schema(
        [
            pa.field("number", pa.int32()),
            *(pa.field(name, pa.list_(pa.float64())) for name in _ARRAYS),
            pa.field("limb", pa.bool_()),
            *(pa.field(name, pa.float64()) for name in _NUMBERS),
            *(pa.field(name, pa.string()) for name in _TEXTS),
            pa.field("crc", pa.uint32()),
        ]
    )


def _row(strike: Strike) -> dict[str, Any]:
    limb = strike.limb
    row: dict[str, Any] = {"number": strike.number, "limb": limb is not None}
    row |= {name: np.asarray(getattr(strike.curve, name), dtype=float) for name in _FORCE}
    for name in _LIMB:
        row[f"limb_{name}"] = np.empty(0) if limb is None else np.asarray(getattr(limb, name), dtype=float)
    for name in _NUMBERS:
        number = None if limb is None else getattr(limb, name)
        row[name] = None if number is None else float(number)
    row |= {name: "" if limb is None else getattr(limb, name) for name in _TEXTS}
    return row


def _plain(batch: pa.RecordBatch, name: str) -> Any:
    column = batch.column(name)
    if name in _ARRAYS:
        return column.flatten().to_numpy(zero_copy_only=False).copy()
    return column[0].as_py()


def _checksum(row: dict[str, Any]) -> int:
    crc = 0
    for name in _ARRAYS:
        crc = zlib.crc32(np.ascontiguousarray(row[name]).tobytes(), crc)
    rest = [row[name] for name in ("number", "limb", *_NUMBERS, *_TEXTS)]
    return zlib.crc32(repr(rest).encode(), crc)
