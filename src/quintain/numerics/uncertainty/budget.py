"""Uncertainty budget: what each source adds, and what would be gained without it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from quintain.numerics.uncertainty.linear import Contribution

__all__ = ["BudgetLine", "build_budget"]


class BudgetLine(NamedTuple):
    """One source in a budget: its contribution, its share of the variance, and u without it."""

    name: str
    u: float
    share: float
    u_without: float


def build_budget(
    contributions: Sequence[Contribution], *, correlation: ArrayLike | None = None
) -> tuple[BudgetLine, ...]:
    r"""
    List the contributions by what is gained when each is removed: what to improve first stands on top.

    Parameters
    ----------
    contributions : sequence of Contribution
        Names and signed contributions :math:`c_i u_i`. [unit of the quantity]
    correlation : array_like, shape (n, n), optional
        Correlation of the sources in the same order; none by default. [1]

    Returns
    -------
    tuple of BudgetLine
        Largest gain first. Shares add up to 1; with correlation a share may be negative: that source
        cancels part of another.

    Raises
    ------
    ValueError
        If there is no contribution, or the correlation has another shape, lacks ones on its
        diagonal, or is not symmetric.

    Notes
    -----
    With :math:`s_i = c_i u_i` the variance is :math:`\sum_{ij} s_i r_{ij} s_j` (JCGM 100:2008, equation
    16); the share of source i is :math:`s_i \sum_j r_{ij} s_j` over it. ``u_without`` leaves the source
    out with all its correlations.

    Examples
    --------
    >>> lines = build_budget([Contribution("zero", 0.03), Contribution("gain", -0.04)])
    >>> [(line.name, round(line.share, 2), round(line.u_without, 3)) for line in lines]
    [('gain', 0.64, 0.03), ('zero', 0.36, 0.04)]
    """
    if not contributions:
        raise ValueError("a budget needs at least one contribution")
    s = np.array([c.u for c in contributions], dtype=float)
    r = np.eye(s.size) if correlation is None else np.asarray(correlation, dtype=float)
    if r.shape != (s.size, s.size) or not np.allclose(r, r.T) or not np.allclose(np.diag(r), 1):
        raise ValueError(
            f"correlation must be a symmetric ({s.size}, {s.size}) matrix with ones on its diagonal"
        )
    parts = s * (r @ s)
    variance = float(parts.sum())
    shares = parts / variance if variance > 0 else np.zeros(s.size)
    # leaving source i out removes its own variance once and its correlated part twice
    without = np.sqrt(np.maximum(variance - 2 * parts + s**2, 0.0))
    lines = [
        BudgetLine(c.name, float(c.u), float(share), float(rest))
        for c, share, rest in zip(contributions, shares, without, strict=True)
    ]
    return tuple(sorted(lines, key=lambda line: line.u_without))
