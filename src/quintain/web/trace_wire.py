"""
A view of a recording on its way to the browser, as bytes.

Little endian: int32 number of points n, int32 1 where each point stands for many samples, else 0, float64
first time [s], float64 step [s], then n float32 of least and, where 1, n float32 of greatest values. NaN
where nothing was recorded. ``static/trace_wire.js`` reads it.
"""

from __future__ import annotations

import struct

from quintain.store.pyramid import View

__all__ = ["as_json", "encode"]


def encode(seen: View) -> bytes:
    """The bytes of a view."""
    head = struct.pack("<iidd", seen.low.size, int(seen.reduced), seen.start, seen.step)
    low = seen.low.astype("<f4").tobytes()
    return head + low + (seen.high.astype("<f4").tobytes() if seen.reduced else b"")


def as_json(seen: View) -> dict[str, object]:
    """The same for people who script the lab; None where nothing was recorded."""

    def numbers(values: object) -> list[float | None]:
        return [None if v != v else v for v in values.tolist()]  # type: ignore[attr-defined]

    return {
        "start_s": seen.start,
        "step_s": seen.step,
        "reduced": seen.reduced,
        "low": numbers(seen.low),
        "high": numbers(seen.high),
    }
