"""All strikes of a recording as small multiples, every one on the same scale."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

import numpy as np

from quintain.domain.strike import Strike
from quintain.report.figures.axes import Scale, attribute, line, text, thin
from quintain.report.figures.strike import window
from quintain.report.figures.style import MARKS
from quintain.report.rounding import number
from quintain.report.verdict import UNSAFE

__all__ = ["OneScale", "draw_overview", "one_scale"]

_COLUMNS = 8
_WIDTH = 700
_CELL, _GUTTER, _ROW, _PLOT = 80.5, 8.0, 58.0, 36.0
_LONGEST = 2.5
"""Strikes longer than this many median windows are cut, so that one long event does not flatten all."""


class OneScale(NamedTuple):
    """The common scale: time [s] from the start of contact, and force [N]."""

    time_low: float
    time_high: float
    force_low: float
    force_high: float
    cut: tuple[int, ...]
    """Numbers of the strikes that last longer than the window."""

    @property
    def words(self) -> str:
        """The scale as a caption states it."""
        span = f"{number(1e3 * (self.time_high - self.time_low), 2)} ms"
        return f"grey raw, blue corrected, 0 to {number(self.force_high / 1e3, 2)} kN, {span}"


def one_scale(strikes: Sequence[Strike]) -> OneScale:
    """Find the scale that holds every strike."""
    windows = [window(strike) for strike in strikes]
    longest = _LONGEST * median(high for _, high in windows)
    high = min(max(high for _, high in windows), longest)
    low = max(min(low for low, _ in windows), -0.25 * high)
    bottom, top = 0.0, 1e-9
    for strike in strikes:
        for values in (strike.curve.raw, strike.curve.corrected):
            known = values[np.isfinite(values)]
            if known.size:
                bottom, top = min(bottom, float(known.min())), max(top, float(known.max()))
    cut = tuple(s.number for s, (_, end) in zip(strikes, windows, strict=True) if end > high)
    return OneScale(low, high, bottom, top, cut)


def draw_overview(strikes: Sequence[Strike], scale: OneScale) -> str:
    """Draw strikes in rows of eight; number and a mark of doubt above each."""
    rows = -(-len(strikes) // _COLUMNS)
    height = round(rows * _ROW)
    cells = []
    for i, strike in enumerate(strikes):
        left, top = (i % _COLUMNS) * (_CELL + _GUTTER), (i // _COLUMNS) * _ROW
        cells.append(_cell(strike, scale, left, top))
    first, last = strikes[0].number, strikes[-1].number
    label = attribute(f"Strikes {first} to {last}, force against time, all on one scale: {scale.words}.")
    box = f'viewBox="0 0 {_WIDTH} {height}" width="{_WIDTH}" height="{height}"'
    return f'<svg class="chart" {box} role="img" aria-label={label}>{"".join(cells)}</svg>'


def _cell(strike: Strike, scale: OneScale, left: float, top: float) -> str:
    x = Scale(scale.time_low, scale.time_high, left, left + _CELL)
    y = Scale(scale.force_low, scale.force_high, top + _ROW - 4, top + _ROW - 4 - _PLOT)
    curve = strike.curve
    parts = [
        f'<path class="grid" d="M{left:.1f} {top + 0.5:.1f}h{_CELL}"/>',
        text(left, top + 13, str(strike.number), ("small",)),
    ]
    for times, values, kind in ((curve.raw_time, curve.raw, "raw"), (curve.time, curve.corrected, "cor")):
        seen = (times >= x.low) & (times <= x.high)
        if seen.any():
            parts.append(line(*thin(x.many(times[seen]), y.many(values[seen]), _CELL / 2), kind))
    if not strike.sound:
        unsafe = any(flag.code in UNSAFE for flag in strike.flags)
        mark = MARKS["stop" if unsafe else "doubt"]
        parts.append(f'<g transform="translate({left + _CELL - 9:.1f} {top + 5:.1f}) scale(.7)">{mark}</g>')
    return "".join(parts)
