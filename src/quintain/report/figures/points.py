"""Points with their 95 % intervals and what they are held against: control charts, differences, residuals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from quintain.report.figures.axes import text
from quintain.report.figures.frame import CHARACTER, WIDTH, Frame, Margins, frame, ground, whole

__all__ = ["Course", "Level", "Point", "draw_points"]

LOW = 150
"""Height below which a figure has less air and fewer ticks. [px]"""


@dataclass(frozen=True, slots=True)
class Point:
    """One result: where, how much, and half its 95 % interval (None where not known)."""

    x: float
    y: float
    half: float | None = None
    kind: int = 0
    """Series, from 0: circle, square, triangle, diamond."""
    doubted: bool = False


@dataclass(frozen=True, slots=True)
class Level:
    """A horizontal line with its name at the right: a mean, or a limit (dashed)."""

    y: float
    words: str
    limit: bool = False
    band: float | None = None
    """Half width of the line's own 95 % interval, drawn as a pale band."""
    line: bool = True
    """Whether the line is drawn, or its band alone."""


@dataclass(frozen=True, slots=True)
class Course:
    """A line through values in order, such as a moving average, with its own limits as a pale band."""

    x: Sequence[float]
    y: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]


def draw_points(
    points: Sequence[Point],
    *,
    name: str,
    x_unit: str,
    label: str,
    levels: Sequence[Level] = (),
    course: Course | None = None,
    x_words: Sequence[tuple[float, str]] | None = None,
    x_factor: float = 1.0,
    y_factor: float = 1.0,
    width: int = WIDTH,
    height: int = 200,
    from_zero: bool = False,
) -> str:
    """
    Draw results beside the lines they are held against.

    Parameters
    ----------
    points : sequence of Point
        In stored units; what is not finite is left out.
    name, x_unit, label : str
        What stands upwards with its unit, the unit of the lower axis, the whole in words.
    levels : sequence of Level
        Lines across the plot.
    course : Course, optional
        A line behind the points.
    x_words : sequence of (value, str), optional
        Names on the lower axis instead of numbers.
    x_factor, y_factor : float
        From stored to shown units.
    width, height : int
        One below ``LOW`` has less air and fewer ticks. [px]
    from_zero : bool
        Whether the lower axis begins at 0.
    """
    points = [p for p in points if math.isfinite(p.x) and math.isfinite(p.y)]
    place = _frame(points, levels, course, x_factor, y_factor, (width, height), from_zero)
    parts = [_band(place, level) for level in levels]
    if course is not None:
        parts.append(_limits(place, course))
    parts += ground(place, name, x_unit, x_words=x_words, most_y=5 if height < LOW else 6)
    for level in levels:
        parts += _level(place, level)
    if course is not None:
        parts.append(f'<path class="cor" d="M{_path(place, course.x, course.y)}"/>')
    parts += [_point(place, point) for point in points]
    return whole(place, label, parts)


def _frame(
    points: Sequence[Point],
    levels: Sequence[Level],
    course: Course | None,
    x_factor: float,
    y_factor: float,
    size: tuple[int, int],
    from_zero: bool,
) -> Frame:
    xs = [p.x for p in points] or [0.0]
    ys = [p.y + sign * _half(p.half) for p in points for sign in (-1, 1)]
    ys += [level.y + sign * _half(level.band) for level in levels for sign in (-1, 1)]
    ys += [] if course is None else [*course.y, *course.low, *course.high]
    ys = [y for y in ys if math.isfinite(y)] or [0.0]
    low, high = min(xs), max(xs)
    air = 0.04 * ((high - low) or abs(high) or 1.0)
    x_range = (0.0 if from_zero else low - air, high + air)
    longest = max((len(level.words) for level in levels), default=0)
    width, height = size
    margins = Margins(right=max(30, round(14 + CHARACTER * longest)), bottom=30 if height < LOW else 44)
    return frame(
        x_range, (min(ys), max(ys)), height=height, margins=margins, x_factor=x_factor, y_factor=y_factor,
        width=width,
    )  # fmt: skip


def _half(half: float | None) -> float:
    return half if half is not None and math.isfinite(half) else 0.0


def _band(place: Frame, level: Level) -> str:
    if level.band is None or not math.isfinite(level.band):
        return ""
    top, bottom = place.y(level.y + level.band), place.y(level.y - level.band)
    outline = f"M{place.left:g} {top:.1f}H{place.right:g}V{bottom:.1f}H{place.left:g}Z"
    return f'<path class="pale" d="{outline}"/>'


def _limits(place: Frame, course: Course) -> str:
    there = _path(place, course.x, course.high)
    back = _path(place, list(reversed(course.x)), list(reversed(course.low)))
    return f'<path class="pale" d="M{there}L{back}Z"/>'


def _path(place: Frame, x: Sequence[float], y: Sequence[float]) -> str:
    return "L".join(f"{place.x(a):.1f} {place.y(b):.1f}" for a, b in zip(x, y, strict=True))


def _level(place: Frame, level: Level) -> list[str]:
    at = place.y(level.y)
    kind = "limit" if level.limit else "event"
    drawn = [f'<path class="{kind}" d="M{place.left:g} {at:.1f}H{place.right:g}"/>'] if level.line else []
    return [*drawn, text(place.right + 6, at + 4, level.words, ("lab",))]


_SHAPES = (
    "M{x} {y}m-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0 -7 0Z",
    "M{x} {y}m-3 -3h6v6h-6Z",
    "M{x} {y}m0 -4l4 7h-8Z",
    "M{x} {y}m0 -4.5l4.5 4.5l-4.5 4.5l-4.5 -4.5Z",
)


def _point(place: Frame, point: Point) -> str:
    x, y = place.x(point.x), place.y(point.y)
    bar = ""
    if _half(point.half):
        top, bottom = place.y(point.y + _half(point.half)), place.y(point.y - _half(point.half))
        bar = f'<path class="err" d="M{x:.1f} {top:.1f}V{bottom:.1f}"/>'
    shape = _SHAPES[point.kind % len(_SHAPES)].format(x=f"{x:.1f}", y=f"{y:.1f}")
    return f'{bar}<path class="{"pt-o" if point.doubted else "pt"}" d="{shape}"/>'
