"""Curves of strikes as SVG that needs no script: one large, many small, and dots in a row."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from quintain.domain.strike import Strike
from quintain.report.figures.axes import round_ticks, thin, tick_label
from quintain.report.figures.overview import OneScale
from quintain.report.figures.strike import COVERAGE, FORCE_WORDS, describe, window

__all__ = ["Course", "Dot", "Drawn", "draw_course", "draw_dots", "draw_large", "draw_small"]

Floats = NDArray[np.float64]

_SIDE = 1000.0
_COLUMNS = 350.0
"""Columns of the large picture; a curve keeps its lowest and highest of each."""
_SMALL_COLUMNS = 40.0
_MOST_DOTS = 150
"""Samples that are drawn each as a dot; more would stand closer than 4 px."""


class Drawn(NamedTuple):
    """A picture, what it shows in words, and what stands above it."""

    svg: Markup
    title: str


class Dot(NamedTuple):
    """One value of a row of dots; ``last`` is the newest, ``doubted`` if a flag doubts it."""

    value: float
    last: bool = False
    doubted: bool = False


class Course(NamedTuple):
    """Values by session in the unit shown, and what they are held against."""

    names: tuple[str, ...]
    values: tuple[float, ...]
    reference: float
    mdc: float
    swc: float


def draw_large(strike: Strike, *, name: str, character: float) -> Drawn:
    """
    Draw force against time, raw and corrected with its band, for a box of any size.

    Parameters
    ----------
    strike : Strike
        With its curve.
    name : str
        What the strike is called, in the words for those who cannot see it.
    character : float
        Width of a letter as a share of the box, so that names do not stand on each other. [%]

    Returns
    -------
    Drawn
        ``<svg class="plot">`` for an element of class ``chart``.
    """
    curve = strike.curve
    low, high = window(strike)
    raw_seen, seen = _between(curve.raw_time, low, high), _between(curve.time, low, high)
    half = COVERAGE * curve.u_corrected[seen]
    corrected = curve.corrected[seen]
    values = np.concatenate([[0.0], curve.raw[raw_seen], corrected - half, corrected + half])
    values = values[np.isfinite(values)]
    bottom, top = float(values.min()), max(float(values.max()), 1e-9)
    x, y = _Axis(low, high, False), _Axis(bottom, top, True)
    parts = [_line("axis", y1=y(0), y2=y(0)), _line("axis", y1=100, y2=100)]
    ticks = round_ticks(bottom, top, at_most=4)
    parts += [_line("grid", y1=y(t), y2=y(t)) for t in ticks if t]
    parts.append(
        '<svg class="curves" viewBox="0 0 1000 1000" preserveAspectRatio="none" width="100%" height="100%">'
    )
    if seen.any():
        times = x.many(curve.time[seen])
        at, upper = thin(times, y.many(corrected + half), _COLUMNS)
        lower = np.interp(at, times, y.many(corrected - half))
        parts.append(f'<path class="band" d="{_d(at, upper)}{_d(at[::-1], lower[::-1], "L")}Z"/>')
    parts.append(_path("raw", *thin(x.many(curve.raw_time[raw_seen]), y.many(curve.raw[raw_seen]), _COLUMNS)))
    if seen.any():
        parts.append(_path("cor", *thin(x.many(curve.time[seen]), y.many(corrected), _COLUMNS)))
    parts.append("</svg>")
    if np.count_nonzero(raw_seen) <= _MOST_DOTS:
        samples = zip(curve.raw_time[raw_seen].tolist(), curve.raw[raw_seen].tolist(), strict=True)
        parts += [
            f'<circle class="raw-dot" r="1.5" cx="{x(t):.2f}%" cy="{y(f):.2f}%"/>'
            for t, f in samples
            if f == f
        ]
    parts += _time_ticks(x)
    parts += _events(strike, x, character)
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    parts += [f'<text class="tick ytick" x="-8" y="{y(t):.2f}%">{tick_label(t, step)}</text>' for t in ticks]
    words = Markup.escape(f"{name}. {describe(strike)}")
    svg = f'<svg class="plot" role="img" aria-label="{words}">{"".join(parts)}</svg>'
    return Drawn(Markup(svg), f"{FORCE_WORDS.get(strike.force_kind, strike.force_kind).lower()}, N")


def draw_small(strike: Strike, scale: OneScale) -> Markup:
    """Draw a strike on a scale that it shares with others, as ``<svg class="spark">``."""
    x, y = _Axis(scale.time_low, scale.time_high, False), _Axis(scale.force_low, scale.force_high, True)
    curve, paths = strike.curve, []
    for kind, times, values in (("raw", curve.raw_time, curve.raw), ("cor", curve.time, curve.corrected)):
        seen = _between(times, scale.time_low, scale.time_high)
        if seen.any():
            paths.append(_path(kind, *thin(x.many(times[seen]), y.many(values[seen]), _SMALL_COLUMNS)))
    box = 'viewBox="0 0 1000 1000" preserveAspectRatio="none" aria-hidden="true"'
    return Markup(f'<svg class="spark" {box}>{"".join(paths)}</svg>')


def draw_dots(
    dots: Sequence[Dot], *, label: str, places: int, limits: tuple[float, float, str, str] | None
) -> Markup:
    """
    Draw the last values in order, with a usual range behind them where there is one.

    Parameters
    ----------
    dots : sequence of Dot
        In the unit shown, the oldest first.
    label : str
        The picture in words.
    places : int
        How many dots a full row holds; the newest stands at the right.
    limits : (low, high, low in words, high in words), optional
        The usual range.
    """
    values = [dot.value for dot in dots] + ([limits[0], limits[1]] if limits else [])
    low, high = min(values), max(values)
    air = (high - low) or abs(high) or 1.0
    y = _Axis(low - 0.12 * air, high + 0.12 * air, True)
    parts = []
    if limits:
        bottom, top = y(limits[0]), y(limits[1])
        parts.append(
            f'<rect class="box-wash" x="0" width="100%" y="{top:.2f}%" height="{bottom - top:.2f}%"/>'
        )
        parts += [
            f'<line class="edge-line" x1="0" x2="100%" y1="{at:.2f}%" y2="{at:.2f}%"/>'
            for at in (bottom, top)
        ]
    first = places - len(dots)
    for i, dot in enumerate(dots):
        at = 100 * (first + i + 0.6) / (places + 0.4)
        kind = "last r-last" if dot.last else "was r-was"
        parts.append(f'<circle class="{kind}" cx="{at:.2f}%" cy="{y(dot.value):.2f}%"/>')
    if limits:
        for at, words in ((bottom, limits[2]), (top, limits[3])):
            parts.append(f'<text class="tick ytick" x="-12" y="{at:.2f}%">{Markup.escape(words)}</text>')
        if bottom - top > 36:  # per cent of the height: room for a line between the two
            parts.append(f'<text class="tick ytick" x="-12" y="{(bottom + top) / 2:.2f}%">usual</text>')
    svg = f'<svg class="plot" role="img" aria-label="{Markup.escape(label)}">{"".join(parts)}</svg>'
    return Markup(svg)


def draw_course(course: Course, *, label: str) -> Markup:
    """
    Draw sessions against the reference: the smallest worthwhile change as a band, the minimal
    detectable change as dashed limits.
    """
    ends = [course.reference - course.mdc, course.reference + course.mdc, *course.values]
    low, high = min(ends), max(ends)
    y = _Axis(low - 0.08 * (high - low), high + 0.08 * (high - low), True)
    ticks = round_ticks(y.low, y.high, at_most=4)
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    top, bottom = y(course.reference + course.swc), y(course.reference - course.swc)
    parts = [
        f'<rect class="box-wash" x="0" width="100%" y="{top:.2f}%" height="{bottom - top:.2f}%"/>',
        *(_line("grid", y1=y(t), y2=y(t)) for t in ticks),
        _line("centre", y1=y(course.reference), y2=y(course.reference)),
        *(_line("limit", y1=y(at), y2=y(at)) for at in ends[:2]),
        _line("axis", y1=100, y2=100),
    ]
    parts += [f'<text class="tick ytick" x="-8" y="{y(t):.2f}%">{tick_label(t, step)}</text>' for t in ticks]
    for at, words in ((ends[1], "+ MDC"), (course.reference, "first"), (ends[0], "− MDC")):
        parts.append(f'<text class="lab" x="100%" dx="6" y="{y(at):.2f}%" dy="4">{words}</text>')
    for i, (name, value) in enumerate(zip(course.names, course.values, strict=True)):
        at = 100 * (i + 0.5) / len(course.names)
        parts.append(f'<circle class="pt" r="4" cx="{at:.2f}%" cy="{y(value):.2f}%"/>')
        parts.append(f'<text class="tick xtick" x="{at:.2f}%" y="100%" dy="17">{Markup.escape(name)}</text>')
    svg = f'<svg class="plot" role="img" aria-label="{Markup.escape(label)}">{"".join(parts)}</svg>'
    return Markup(svg)


class _Axis:
    """From a value to a place in per cent; the vertical one runs downwards."""

    def __init__(self, low: float, high: float, down: bool) -> None:
        self.low, self.high, self._down = low, high, down

    def __call__(self, value: float) -> float:
        share = 100 * (value - self.low) / (self.high - self.low)
        return 100 - share if self._down else share

    def many(self, values: Floats) -> Floats:
        """Places in thousandths, for paths."""
        share = _SIDE * (values - self.low) / (self.high - self.low)
        return _SIDE - share if self._down else share


def _between(times: Floats, low: float, high: float) -> NDArray[np.bool_]:
    inside: NDArray[np.bool_] = (times >= low) & (times <= high)
    return inside


def _d(x: Floats, y: Floats, begin: str = "M") -> str:
    known = np.isfinite(y)
    pairs = [f"{a:.1f} {b:.1f}" for a, b in zip(x[known].tolist(), y[known].tolist(), strict=True)]
    return begin + "L".join(pairs) if pairs else ""


def _path(kind: str, x: Floats, y: Floats) -> str:
    return f'<path class="{kind}" d="{_d(x, y)}"/>'


def _line(kind: str, *, y1: float, y2: float) -> str:
    return f'<line class="{kind}" x1="0" x2="100%" y1="{y1:.2f}%" y2="{y2:.2f}%"/>'


def _time_ticks(x: _Axis) -> list[str]:
    ticks = round_ticks(1e3 * x.low, 1e3 * x.high, at_most=5)
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    parts = []
    for tick in ticks:
        at = f"{x(tick / 1e3):.2f}%"
        parts.append(
            f'<svg x="{at}" y="100%" class="nick"><line class="axis" x1="0" x2="0" y1="0" y2="4"/></svg>'
        )
        parts.append(f'<text class="tick xtick" x="{at}" y="100%" dy="17">{tick_label(tick, step)}</text>')
    return [*parts, '<text class="tick" x="100%" y="100%" dx="6" dy="17">ms</text>']


def _events(strike: Strike, x: _Axis, character: float) -> list[str]:
    moments = [(0.0, "start")]
    if strike.limb is not None and strike.limb.stop is not None:
        moments.append((strike.limb.stop, "limb stops"))
    if strike.contacts:
        moments.append((strike.contacts[-1].end - strike.start, "end"))
    parts, taken = [], -100.0
    for at, words in sorted(moments):
        if not x.low <= at <= x.high:
            continue
        place = x(at)
        parts.append(f'<line class="event" x1="{place:.2f}%" x2="{place:.2f}%" y1="-20" y2="100%"/>')
        if place > taken:  # a name that would stand on another is left to the line alone
            parts.append(f'<text class="lab" x="{place:.2f}%" y="0" dx="4" dy="-10">{words}</text>')
            taken = place + character * len(words)
    return parts
