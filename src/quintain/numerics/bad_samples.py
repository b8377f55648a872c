"""Samples that are not measurements: cut off at a limit, missing, or held by a frozen channel."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["BadRun", "find_bad_samples", "find_step", "marked_runs"]


class BadRun(NamedTuple):
    """Samples ``first`` to ``last``, both included, and the code of the flag they raise."""

    first: int
    last: int
    code: str


def find_step(samples: ArrayLike) -> float:
    """
    Smallest difference between two values of a recording: the step of its converter.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Readings; those that are not finite are left out. [N]

    Returns
    -------
    step : float
        Smallest difference between two different readings, 0 if all are equal; rounding left by unit
        conversion (below 1e-9 of the largest reading) does not count. Readings that were never
        quantised give a small number without meaning, far below their noise. [N]

    Examples
    --------
    >>> find_step([0.5, 0.0, 1.5, 0.5])
    0.5
    """
    values = np.asarray(samples, dtype=float).ravel()
    values = np.unique(values[np.isfinite(values)])
    if values.size < 2:
        return 0.0
    steps = np.diff(values)
    steps = steps[steps > 1e-9 * max(abs(values[0]), abs(values[-1]))]
    return float(steps.min()) if steps.size else 0.0


def find_bad_samples(
    samples: ArrayLike, *, limits: tuple[float, float] | None = None, held: int | None = None
) -> tuple[BadRun, ...]:
    """
    Find samples that are no measurements.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Readings of one channel. [N]
    limits : (float, float), optional
        Lower and upper limit of the measuring range; a reading on or beyond one is ``clipped``. Without
        them the range is not known and ``clipped`` are rows of at least three readings equal to the
        largest (or smallest) of all, away from their median, with an edge too sharp for the top of a
        pulse. [N]
    held : int, optional
        This many equal readings in a row are ``held-samples``. Without it the number follows from how
        often neighbours are equal elsewhere in the recording, such that a recording of this length
        shows such a row by chance once in a million.

    Returns
    -------
    tuple of BadRun
        In time order, codes ``clipped``, ``missing-samples`` (not a number) and ``held-samples``.

    Raises
    ------
    ValueError
        If the limits are not in order, or ``held`` is below 2.

    Notes
    -----
    Derived here. The rounded top of a pulse fills one converter step for n samples; n/2 samples
    outside, a parabola has fallen by four steps at most. A cut-off pulse falls off at once: more than
    eight steps there, on either side, is ``clipped``. A plateau shorter than the rounding can pass as
    not clipped: state the limits where they are known. Equal neighbours are normal where the noise is
    below a converter step; a row counts as held only if the eight readings before it and after it span
    four steps, which a quiet and coarse recording does not.

    Examples
    --------
    >>> find_bad_samples([0.1, 0.2, 80.0, 80.0, 80.0, 20.0, float("nan")])
    (BadRun(first=2, last=4, code='clipped'), BadRun(first=6, last=6, code='missing-samples'))
    """
    x = np.ascontiguousarray(samples, dtype=float)
    if limits is not None and not limits[0] < limits[1]:
        raise ValueError(f"limits must be (lower, upper), got {limits}")
    if held is not None and held < 2:
        raise ValueError(f"held must be at least 2 samples, got {held}")
    finite = np.isfinite(x)
    runs = [BadRun(a, b - 1, "missing-samples") for a, b in marked_runs(~finite)]
    if not finite.any():
        return tuple(runs)
    clipped: list[tuple[int, int]] = []
    equal = _runs_of_equal(x)
    if limits is not None:
        clipped = marked_runs(finite & ((x <= limits[0]) | (x >= limits[1])))
    elif equal:
        low, high = float(x[finite].min()), float(x[finite].max())
        step = find_step(x[finite])
        # a noiseless channel at rest is flat as well, but there most readings are
        rest = float(np.median(x[finite]))
        ends = [end for end in (low, high) if abs(end - rest) > 0.02 * (high - low)]
        clipped = [
            (a, b) for a, b in equal if b - a >= 3 and x[a] in ends and _falls_sharply(x, a, b, 8 * step)
        ]
    runs += [BadRun(a, b - 1, "clipped") for a, b in clipped]
    if equal:
        longest = _longest_by_chance(x.size, equal) if held is None else held
        step = find_step(x[finite])
        at_limit = set(clipped)
        runs += [
            BadRun(a, b - 1, "held-samples")
            for a, b in equal
            if b - a >= longest
            and (a, b) not in at_limit
            and not (limits is not None and not limits[0] < x[a] < limits[1])
            and (held is not None or _moves_around(x, a, b, 4 * step))
        ]
    return tuple(sorted(runs))


def marked_runs(marked: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """
    Find the half-open ranges in which every element is marked.

    Examples
    --------
    >>> marked_runs(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], marked.view(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _runs_of_equal(x: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Half-open ranges of at least two equal samples."""
    return [(a, b + 1) for a, b in marked_runs(x[1:] == x[:-1])]


def _falls_sharply(x: NDArray[np.float64], a: int, b: int, drop: float) -> bool:
    outside = (b - a + 1) // 2
    sides = [x[k] for k in (a - outside, b - 1 + outside) if 0 <= k < x.size and np.isfinite(x[k])]
    return any(abs(x[a] - side) > drop for side in sides)


def _longest_by_chance(n: int, equal: list[tuple[int, int]]) -> int:
    lengths = [b - a - 1 for a, b in equal]
    longest = max(lengths)
    # the row in question must not vouch for itself; +1 keeps the estimate off zero
    share = (sum(lengths) - longest + 1) / max(n - longest, 2)
    if share >= 1:
        return n + 1
    return max(5, math.ceil(math.log(1e-6 / n) / math.log(share)) + 1)


def _moves_around(x: NDArray[np.float64], a: int, b: int, span: float) -> bool:
    before, after = x[max(0, a - 8) : a], x[b : b + 8]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    return bool(min(before.size, after.size) and min(np.ptp(before), np.ptp(after)) >= span)
