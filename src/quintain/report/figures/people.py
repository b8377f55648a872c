"""People at two or more levels: a grey point and line each, the mean in blue with its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from quintain.report.figures.axes import text
from quintain.report.figures.frame import Margins, frame, ground, whole

__all__ = ["Level", "draw_people"]


@dataclass(frozen=True, slots=True)
class Level:
    """
    One level of a factor.

    ``values`` holds one number a person, None where a person has none, in the same order at all levels;
    ``mean`` and ``interval`` are what is stated of all, ``words`` the same for reading, under the name.
    """

    name: str
    values: Sequence[float | None]
    mean: float
    interval: tuple[float, float]
    words: str = ""


def draw_people(
    levels: Sequence[Level], *, name: str, label: str, y_factor: float = 1.0, height: int = 240
) -> str:
    """
    Draw people across the levels of a factor.

    Parameters
    ----------
    levels : sequence of Level
        In order, in stored units.
    name, label : str
        What stands upwards with its unit, and the whole in words.
    y_factor : float
        From stored to shown units.
    height : int
        [px]
    """
    stated = [v for level in levels for v in (*level.values, *level.interval, level.mean) if v is not None]
    finite = [v for v in stated if math.isfinite(v)] or [0.0, 1.0]
    low, high = min(finite), max(finite)
    place = frame(
        (-0.5, len(levels) - 0.5), (low, high), height=height, margins=Margins(bottom=60), y_factor=y_factor
    )
    place = place._replace(height=height - 16)
    parts = ground(place, name, "", x_words=[(float(i), level.name) for i, level in enumerate(levels)])
    n_people = max((len(level.values) for level in levels), default=0)
    for k in range(n_people):
        at = [
            (place.x(i + 0.12), place.y(level.values[k]))  # type: ignore[arg-type]
            for i, level in enumerate(levels)
            if k < len(level.values) and _known(level.values[k])
        ]
        if len(at) > 1:
            way = "L".join(f"{x:.1f} {y:.1f}" for x, y in at)
            parts.append(f'<path class="grid" d="M{way}"/>')
        parts += [f'<path class="dots" d="M{x:.1f} {y:.1f}h0"/>' for x, y in at]
    for i, level in enumerate(levels):
        x = place.x(i - 0.12)
        if all(_known(end) for end in level.interval):
            top, bottom = place.y(level.interval[1]), place.y(level.interval[0])
            parts.append(f'<path class="err" d="M{x:.1f} {top:.1f}V{bottom:.1f}"/>')
        if _known(level.mean):
            parts.append(f'<path class="pt" d="M{x - 4:.1f} {place.y(level.mean):.1f}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0Z"/>')  # fmt: skip  # noqa: E501
        parts.append(text(round(place.x(i)), place.foot + 34, level.words, ("mid", "lab-a")))
    return whole(place._replace(height=height), label, parts)


def _known(value: float | None) -> bool:
    return value is not None and math.isfinite(value)
