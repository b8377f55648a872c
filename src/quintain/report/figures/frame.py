"""The frame of a figure: two scales, ticks in the unit people read, horizontal hairlines, a name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from quintain.report.figures.axes import Scale, attribute, round_ticks, text, tick_label

__all__ = ["CHARACTER", "WIDTH", "Frame", "Margins", "frame", "ground", "whole"]

WIDTH = 700
"""Of a figure across the page. [px]"""
CHARACTER = 6.7
"""Width of one character of a label, generously. [px]"""


class Margins(NamedTuple):
    """Room round the plot. [px]"""

    left: int = 56
    right: int = 30
    top: int = 28
    bottom: int = 44


class Frame(NamedTuple):
    """Scales from stored values to pixels; ticks are in shown units, stored value times factor."""

    x: Scale
    y: Scale
    height: int
    x_factor: float
    y_factor: float
    width: int = WIDTH

    @property
    def left(self) -> float:
        """Where the plot begins. [px]"""
        return self.x.first

    @property
    def right(self) -> float:
        """Where the plot ends. [px]"""
        return self.x.last

    @property
    def foot(self) -> int:
        """Where the lower axis lies. [px]"""
        return self.height - 24


def frame(
    x_range: tuple[float, float],
    y_range: tuple[float, float],
    *,
    height: int,
    margins: Margins = Margins(),  # noqa: B008 - immutable
    x_factor: float = 1.0,
    y_factor: float = 1.0,
    width: int = WIDTH,
) -> Frame:
    """A frame that holds the ranges, with a little air above and below; equal ends are widened."""
    x_low, x_high = _widened(*x_range)
    y_low, y_high = _widened(*y_range)
    air = 0.04 * (y_high - y_low)
    return Frame(
        Scale(x_low, x_high, margins.left, width - margins.right),
        Scale(y_low - air, y_high + air, height - margins.bottom, margins.top),
        height,
        x_factor,
        y_factor,
        width,
    )


def _widened(low: float, high: float) -> tuple[float, float]:
    if high > low:
        return low, high
    half = 0.5 * abs(low) or 0.5
    return low - half, low + half


def ground(
    frame: Frame,
    name: str,
    x_unit: str,
    *,
    x_words: Sequence[tuple[float, str]] | None = None,
    most_x: int = 8,
    most_y: int = 6,
) -> list[str]:
    """
    Axes, hairlines and ticks.

    Parameters
    ----------
    frame : Frame
        Where.
    name : str
        What stands upwards, with its unit; written above the plot.
    x_unit : str
        Unit of the lower axis, written after its last tick.
    x_words : sequence of (value, str), optional
        Places on the lower axis by name (dates, say) instead of round numbers.
    most_x, most_y : int
        Most ticks on the lower axis, and upwards.
    """
    parts = [text(0, 12, name, ("name",))]
    y_ticks = round_ticks(frame.y.low * frame.y_factor, frame.y.high * frame.y_factor, at_most=most_y)
    for tick in y_ticks:
        at = frame.y(tick / frame.y_factor)
        style = "axis" if tick == 0 else "grid"
        parts.append(f'<path class="{style}" d="M{frame.left:g} {at:.1f}H{frame.right:g}"/>')
        parts.append(text(frame.left - 8, at + 4, tick_label(tick, _step(y_ticks)), ("fin",)))
    parts.append(f'<path class="axis" d="M{frame.left:g} {frame.foot}H{frame.right:g}"/>')
    if x_words is None:
        x_ticks = round_ticks(frame.x.low * frame.x_factor, frame.x.high * frame.x_factor, at_most=most_x)
        x_words = [(tick / frame.x_factor, tick_label(tick, _step(x_ticks))) for tick in x_ticks]
    last = frame.left
    for value, words in x_words:
        last = round(frame.x(value))
        parts.append(f'<path class="axis" d="M{last} {frame.foot}v4"/>')
        parts.append(text(last, frame.foot + 18, words, ("mid",)))
    if x_unit:
        half = CHARACTER * len(x_words[-1][1]) / 2 if x_words else 0
        wide = CHARACTER * len(x_unit)
        parts.append(text(min(last + half + 4, frame.width - wide), frame.foot + 18, x_unit))
    return parts


def _step(ticks: Sequence[float]) -> float:
    return ticks[1] - ticks[0] if len(ticks) > 1 else 1.0


def whole(frame: Frame, label: str, parts: Sequence[str]) -> str:
    """The drawing; ``label`` says it in words to those who cannot see it."""
    box = f'viewBox="0 0 {frame.width} {frame.height}" width="{frame.width}" height="{frame.height}"'
    return f'<svg class="chart" {box} role="img" aria-label={attribute(label)}>{"".join(parts)}</svg>'
