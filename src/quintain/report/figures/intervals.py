"""Rows of values with their intervals on one common scale, name at the left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from quintain.report.figures.axes import round_ticks, text, tick_label
from quintain.report.figures.frame import CHARACTER, WIDTH, Margins, frame, whole

__all__ = ["Interval", "draw_intervals"]

ROW = 26
"""[px]"""


@dataclass(frozen=True, slots=True)
class Interval:
    """One row: its name, value and interval."""

    name: str
    value: float
    low: float
    high: float


def draw_intervals(
    rows: Sequence[Interval],
    *,
    name: str,
    label: str,
    limits: tuple[float, float] | None = None,
    marks: Sequence[float] = (),
) -> str:
    """
    Draw intervals below each other.

    Parameters
    ----------
    rows : sequence of Interval
        In shown units.
    name, label : str
        What the scale is, with its unit, and the whole in words.
    limits : (float, float), optional
        Ends of the scale; what lies beyond is cut there. Without them all is held.
    marks : sequence of float
        Values to hold the rows against, as dashed lines.
    """
    ends = [v for row in rows for v in (row.low, row.high, row.value) if math.isfinite(v)] + list(marks)
    low, high = limits or (min(ends, default=0.0), max(ends, default=1.0))
    height = 52 + ROW * len(rows)
    names = round(24 + CHARACTER * max((len(row.name) for row in rows), default=0))
    place = frame((low, high), (0, 1), height=height, margins=Margins(left=names, right=30))
    parts = [text(0, 12, name, ("name",))]
    foot = height - 24
    ticks = round_ticks(place.x.low, place.x.high)
    for tick in ticks:
        x = round(place.x(tick))
        parts.append(f'<path class="grid" d="M{x} 22V{foot}"/>')
        parts.append(
            text(x, foot + 16, tick_label(tick, ticks[1] - ticks[0] if len(ticks) > 1 else 1), ("mid",))
        )
    parts += [f'<path class="limit" d="M{place.x(mark):.1f} 22V{foot}"/>' for mark in marks]
    for i, row in enumerate(rows):
        y = 22 + ROW * (i + 0.5)
        parts.append(f'<path class="grid" d="M0 {y + ROW / 2:.1f}H{WIDTH}"/>')
        parts.append(text(0, round(y + 4), row.name, ("lab",)))
        if math.isfinite(row.low) and math.isfinite(row.high):
            a, b = (min(max(v, low), high) for v in (row.low, row.high))
            parts.append(f'<path class="err" d="M{place.x(a):.1f} {y:.1f}H{place.x(b):.1f}"/>')
        if math.isfinite(row.value) and low <= row.value <= high:
            left = place.x(row.value) - 4
            parts.append(f'<path class="pt" d="M{left:.1f} {y:.1f}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0Z"/>')
    return whole(place, label, parts)
