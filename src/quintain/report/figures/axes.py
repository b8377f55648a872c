"""Ground of every figure: scales, round ticks, curves thinned to what can be seen, safe text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.bad_samples import marked_runs
from quintain.report.rounding import MINUS, NARROW

__all__ = ["Scale", "area", "attribute", "dots", "line", "round_ticks", "text", "thin", "tick_label"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Scale:
    """From a range of values to a range of pixels; the ends may be swapped."""

    low: float
    high: float
    first: float
    last: float

    def __call__(self, value: float) -> float:
        """Where a value lies. [px]"""
        return self.first + (value - self.low) / (self.high - self.low) * (self.last - self.first)

    def many(self, values: Floats) -> Floats:
        """Where many values lie. [px]"""
        return self.first + (values - self.low) / (self.high - self.low) * (self.last - self.first)

    def holds(self, value: float) -> bool:
        """Whether a value lies within."""
        return self.low <= value <= self.high


def round_ticks(low: float, high: float, *, at_most: int = 6) -> list[float]:
    """
    Three to six round numbers in steps of 1, 2 or 5 inside a range.

    Examples
    --------
    >>> round_ticks(-180.0, 3490.0)
    [0.0, 1000.0, 2000.0, 3000.0]
    """
    span = high - low
    if not (span > 0 and math.isfinite(span)):
        return [low]
    decade = 10.0 ** math.floor(math.log10(span / at_most))
    step = next(
        decade * s
        for s in (1, 2, 5, 10, 20)
        if math.floor(high / (decade * s)) - math.ceil(low / (decade * s)) < at_most
    )
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [i * step for i in range(first, last + 1)]


def tick_label(value: float, step: float) -> str:
    """A tick's number with as many decimals as its step asks for."""
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    label = f"{abs(value):,.{decimals}f}".replace(",", NARROW)
    return MINUS + label if value < 0 and float(label.replace(NARROW, "")) else label


def thin(x: Floats, y: Floats, width: float) -> tuple[Floats, Floats]:
    """
    Keep of a long curve only what can be seen: lowest and highest of each column of pixels.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        The curve, ``x`` ascending in even steps. [px]
    width : float
        Width of the plot. [px]

    Returns
    -------
    x, y : ndarray, shape (m,)
        At most two points a column, in order, and one for each gap; the curve itself when it has fewer.
    """
    columns = max(1, round(width))
    if x.size <= 2 * columns:
        return x, y
    chunk = -(-x.size // columns)
    padded = np.full(-(-x.size // chunk) * chunk, np.nan)
    padded[: y.size] = y
    rows = padded.reshape(-1, chunk)
    missing = ~np.isfinite(rows)
    first = np.arange(rows.shape[0]) * chunk
    lowest = first + np.where(missing, np.inf, rows).argmin(axis=1)
    highest = first + np.where(missing, -np.inf, rows).argmax(axis=1)
    gaps = (first + missing.argmax(axis=1))[missing.any(axis=1)]
    chosen = np.unique(np.concatenate([[0], lowest, highest, gaps, [x.size - 1]]))
    chosen = chosen[chosen < x.size]
    return x[chosen], y[chosen]


def _pairs(x: Floats, y: Floats) -> list[str]:
    return [f"{a:.1f} {b:.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True)]


def line(x: Floats, y: Floats, kind: str) -> str:
    """A curve; it breaks where a value is missing."""
    parts = []
    for i, j in marked_runs(np.isfinite(y)):
        parts.append("M" + "L".join(_pairs(x[i:j], y[i:j])))
    return f'<path class="{kind}" d="{"".join(parts)}"/>' if parts else ""


def area(x: Floats, lower: Floats, upper: Floats, kind: str) -> str:
    """The area between two curves over the same ``x``, where both are known."""
    known = np.isfinite(lower) & np.isfinite(upper)
    x, lower, upper = x[known], lower[known], upper[known]
    if x.size < 2:
        return ""
    outline = _pairs(x, upper) + _pairs(x[::-1], lower[::-1])
    return f'<path class="{kind}" d="M{"L".join(outline)}Z"/>'


def dots(x: Floats, y: Floats, kind: str = "dots") -> str:
    """Round points, one path for all."""
    known = np.isfinite(y)
    points = "".join(f"M{pair}h0" for pair in _pairs(x[known], y[known]))
    return f'<path class="{kind}" d="{points}"/>' if points else ""


def text(x: float, y: float, words: str, kinds: Sequence[str] = ()) -> str:
    """Words at a place; whatever they hold, they stay words."""
    return f'<text class={attribute(" ".join(kinds))} x="{x:.1f}" y="{y:.1f}">{escape(words)}</text>'


def attribute(words: str) -> str:
    """Words as a quoted attribute value."""
    return quoteattr(words)
