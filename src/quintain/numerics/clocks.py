"""Two clocks brought together: offset and drift from impacts that both devices saw, or from pulses."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.uncertainty.coverage import coverage_factor

__all__ = ["ClockFit", "find_pulses", "find_stretch", "fit_clock", "lag_by_correlation"]

Floats = NDArray[np.float64]
Pairs = NDArray[np.intp]

CRYSTAL_DRIFT = 50e-6
"""Standard uncertainty of the drift between two crystals where nothing shows it (common practice). [1]"""

EDGE_JITTER = 0.0005
"""Least spread that is taken for the difference of two impact edges of one strike. [s]"""


class ClockFit(NamedTuple):
    """
    The line from a reference clock to another one.

    ``other = reference + offset + drift (reference - middle)``. ``offset`` [s] and ``drift`` [1] have the
    standard uncertainties ``u_offset`` and ``u_drift``, uncorrelated about ``middle`` [s].
    ``spread`` is the standard deviation of the pairs about the line, outliers left out [s]. ``pairs``, shape
    (k, 2), has the numbers of the reference's and the other's events that belong together; ``ambiguous`` says
    that another offset pairs nearly as many, or that so few agree that it may be chance; ``jumped``
    that some of the rest agree on another offset.
    """

    offset: float
    drift: float
    middle: float
    u_offset: float
    u_drift: float
    spread: float
    pairs: Pairs
    ambiguous: bool
    jumped: bool

    def to_other(self, reference: float) -> float:
        """The other clock's time of an instant on the reference clock. [s]"""
        return reference + self.offset + self.drift * (reference - self.middle)

    def u_at(self, reference: float) -> float:
        """Standard uncertainty of :meth:`to_other`. [s]"""
        return math.hypot(self.u_offset, self.u_drift * (reference - self.middle))


def fit_clock(
    reference: ArrayLike,
    other: ArrayLike,
    *,
    largest_drift: float = 300e-6,
    tolerance: float = 0.010,
    around: tuple[float, float] | None = None,
) -> ClockFit | None:
    r"""
    Find which events of two devices belong together, and the line between their clocks.

    Parameters
    ----------
    reference, other : array_like, shape (n,), (m,)
        Times of the same kind of event on both clocks, rising; either may hold events that the other
        missed. [s]
    largest_drift : float
        Largest drift that is looked for; 300 ppm holds for crystals, 0.1 for the oscillators inside
        inexpensive sensors. [1]
    tolerance : float
        Pairs lie within this of the line. [s]
    around : tuple of float, optional
        Expected offset (other less reference) and how far off it may be. [s]

    Returns
    -------
    ClockFit or None
        None if no two events can be paired, or a single one without ``around`` where there are more.

    Raises
    ------
    ValueError
        If times are missing or do not rise.

    Notes
    -----
    For each drift of a grid the offset is taken at which most differences of the two lists agree; the
    first pairs are those within ``tolerance`` of it, one each. The line is then fitted by least squares
    reweighted with Tukey's biweight at 4.685 robust standard deviations, with the pairs chosen anew
    against each line. With one pair the drift stays 0 with 50 ppm, with two the spread is not known and
    0.5 ms is taken. A constant difference of how late the two devices show an edge goes into the offset.
    Strikes in an exact rhythm pair at several offsets: ``ambiguous``.

    References
    ----------
    .. [1] A. E. Beaton and J. W. Tukey (1974), Technometrics 16, 147-185,
           doi:10.1080/00401706.1974.10489171 (biweight).

    Examples
    --------
    >>> force = [1.0, 4.2, 6.1, 9.9, 12.0]
    >>> imu = [33.1, 35.0, 37.1, 38.8, 40.9]  # missed the first, saw one more
    >>> fit = fit_clock(force, imu)
    >>> round(fit.offset, 4), fit.pairs.tolist()
    (28.9, [[1, 0], [2, 1], [3, 3], [4, 4]])
    """
    a, b = _times(reference, "reference"), _times(other, "other")
    if not a.size or not b.size:
        return None
    count, offset, drift = _vote(a, b, largest_drift, tolerance, around)
    if count < 2 and (around is None and min(a.size, b.size) > 1):
        return None
    middle = float(a.mean())
    line = (offset + drift * (middle - a[0]), drift)
    pairs = _pair(a, b, line, middle, tolerance)
    for _ in range(4):
        line = _robust_line(a[pairs[:, 0]] - middle, b[pairs[:, 1]] - a[pairs[:, 0]], line[1], largest_drift)
        paired = _pair(a, b, line, middle, tolerance)
        if paired.shape == pairs.shape and (paired == pairs).all():
            break
        pairs = paired
    if not pairs.size:
        return None
    x, y = a[pairs[:, 0]], b[pairs[:, 1]] - a[pairs[:, 0]]
    left = y - line[0] - line[1] * (x - middle)
    spread = _spread(left)
    centre = float(x.mean())
    lever = float(((x - centre) ** 2).sum())
    offset = line[0] + line[1] * (centre - middle)
    # the biweight has 95 % of the efficiency of least squares on normal errors
    u_offset = spread / math.sqrt(0.95 * x.size)
    u_drift = spread / math.sqrt(0.95 * lever) if x.size > 1 else CRYSTAL_DRIFT
    others = _runner_up(a, b, line, middle, spread, around)
    return ClockFit(
        offset,
        line[1],
        centre,
        u_offset,
        u_drift,
        spread,
        pairs,
        ambiguous=_ambiguous(len(pairs), others, a.size, b.size, around is not None),
        jumped=_jumped(a, b, pairs, largest_drift, tolerance),
    )


def find_stretch(reference: ArrayLike, other: ArrayLike, *, tolerance: float = 0.005) -> float | None:
    r"""
    By which factor another clock stretches the intervals between events, whatever the factor.

    Parameters
    ----------
    reference, other : array_like, shape (n,), (m,)
        Times of the same kind of event on both clocks, rising. [s]
    tolerance : float
        Relative difference within which two ratios agree. [1]

    Returns
    -------
    factor : float or None
        Above 1 where the other clock runs fast; None where no run of intervals agrees, or fewer than
        four events were seen by either.

    Raises
    ------
    ValueError
        If times are missing or do not rise.

    Notes
    -----
    The intervals of both lists are laid beside each other at every shift, and the largest set of ratios that
    agree is taken; it must hold three intervals, and seven in ten of the shorter list. An event that only
    one device saw breaks two intervals. This finds a sampling rate that was stated wrongly, of which
    :func:`fit_clock` with a large drift finds small errors only (derived here).

    Examples
    --------
    >>> force = [1.0, 4.2, 6.1, 9.9, 12.0]
    >>> find_stretch(force, [1.2 * t + 33 for t in force])
    1.2
    """
    a, b = np.diff(_times(reference, "reference")), np.diff(_times(other, "other"))
    fewer = min(a.size, b.size)
    if fewer < 3:
        return None
    best: Floats = np.empty(0)
    for shift in range(-a.size + 1, b.size):
        first = max(0, -shift)
        n = min(a.size - first, b.size - max(0, shift))
        ratios = np.sort(b[max(0, shift) : max(0, shift) + n] / a[first : first + n])
        within = np.searchsorted(ratios, ratios * (1 + 2 * tolerance), "right") - np.arange(n)
        i = int(np.argmax(within))
        if within[i] > best.size:
            best = ratios[i : i + int(within[i])]
    if best.size < max(3, math.ceil(0.7 * fewer)):
        return None
    return round(float(np.median(best)), 6)


def find_pulses(signal: ArrayLike, rate: float, *, level: float | None = None) -> Floats:
    r"""
    Times of the rising edges of a synchronisation channel.

    Parameters
    ----------
    signal : array_like, shape (n,)
        Samples of the channel. [any]
    rate : float
        Sampling rate. [Hz]
    level : float, optional
        Level whose crossing is the edge; half way between lowest and highest sample by default.

    Returns
    -------
    times : ndarray, shape (k,)
        From the first sample, between samples by a straight line; a pulse must fall below a quarter of
        the way before the next can rise. [s]

    Raises
    ------
    ValueError
        If samples are missing or the rate is not positive.

    Examples
    --------
    >>> find_pulses([0, 0, 5, 5, 0, 0, 5, 5.0], 10.0).tolist()
    [0.15, 0.55]
    """
    x = np.asarray(signal, dtype=float)
    if x.ndim != 1 or not np.isfinite(x).all() or not rate > 0:
        raise ValueError("need one row of finite samples and a rate above 0 Hz")
    if x.size < 2 or x.max() == x.min():
        return np.empty(0)
    low, high = float(x.min()), float(x.max())
    level = (low + high) / 2 if level is None else level
    armed_below = level - (level - low) / 2
    rises = np.flatnonzero((x[:-1] < level) & (x[1:] >= level))
    low_at = np.flatnonzero(x <= armed_below)
    # the last low sample before each rise; a second rise after the same one is noise on the first
    last_low = np.searchsorted(low_at, rises, "right")
    rises = rises[(last_low > 0) & (np.diff(last_low, prepend=0) > 0)]
    return np.asarray((rises + (level - x[rises]) / (x[rises + 1] - x[rises])) / rate)


def lag_by_correlation(first: ArrayLike, second: ArrayLike, rate: float) -> float:
    r"""
    By how much a signal is late against another copy of it.

    Parameters
    ----------
    first, second : array_like, shape (n,), (m,)
        The same event as two devices saw it, sampled alike; means are taken off. [any]
    rate : float
        Sampling rate of both. [Hz]

    Returns
    -------
    lag : float
        Positive if ``second`` is late. [s]

    Raises
    ------
    ValueError
        If a signal is constant or has fewer than three samples.

    Notes
    -----
    Largest value of the cross-correlation, between samples by a parabola through three of them. The
    parabola draws the lag towards whole samples, by some per cent of a sampling interval for signals well
    below half the rate. Signals of different shape (two filters) give a lag without clear meaning.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(1000) / 1000
    >>> burst = lambda t: np.exp(-(((t - 0.4) / 0.01) ** 2)) * np.sin(2 * np.pi * 40 * (t - 0.4))
    >>> round(1e3 * lag_by_correlation(burst(t), burst(t - 0.0123), 1000.0), 4)
    12.2982
    """
    from scipy.signal import correlate

    x, y = (np.asarray(s, dtype=float) for s in (first, second))
    if min(x.size, y.size) < 3 or not (np.ptp(x) > 0 and np.ptp(y) > 0):
        raise ValueError("need at least three samples of two signals that are not constant")
    c = correlate(y - y.mean(), x - x.mean())
    k = int(np.argmax(c))
    shift = 0.0
    if 0 < k < c.size - 1:
        shift = float(0.5 * (c[k - 1] - c[k + 1]) / (c[k - 1] - 2 * c[k] + c[k + 1]))
    return (k - (x.size - 1) + shift) / rate


# -- the parts of the fit


def _times(times: ArrayLike, name: str) -> Floats:
    t = np.asarray(times, dtype=float)
    if t.ndim != 1 or not np.isfinite(t).all() or (t.size > 1 and not (np.diff(t) > 0).all()):
        raise ValueError(f"the times of {name} must be one rising row without gaps")
    return t


def _vote(
    a: Floats, b: Floats, largest_drift: float, tolerance: float, around: tuple[float, float] | None
) -> tuple[int, float, float]:
    """Votes of the offset (at the first reference event) on which most agree, the offset and its drift."""
    span = float(a[-1] - a[0])
    n = math.ceil(largest_drift * span / tolerance) if span > 0 else 0
    best, offset, drift = 0, 0.0, 0.0
    # the drift closest to none wins among equals
    for d in sorted(np.linspace(-largest_drift, largest_drift, 2 * n + 1).tolist() if n else [0.0], key=abs):
        differences = _differences(a, b, d, float(a[0]), around)
        if not differences.size:
            continue
        votes = _votes(differences, 2 * tolerance)
        i = int(np.argmax(votes))
        if votes[i] > best:
            best, offset, drift = int(votes[i]), float(np.median(differences[i : i + votes[i]])), d
    return best, offset, drift


def _differences(
    a: Floats, b: Floats, drift: float, middle: float, around: tuple[float, float] | None
) -> Floats:
    """Other less reference for every two events, drift taken out, sorted."""
    differences = np.sort((b[None, :] - (a + drift * (a - middle))[:, None]).ravel())
    if around is not None:
        differences = differences[np.abs(differences - around[0]) <= around[1]]
    return differences


def _votes(differences: Floats, width: float) -> Pairs:
    """How many differences lie within a width from each one upwards."""
    return np.asarray(
        np.searchsorted(differences, differences + width, "right") - np.arange(differences.size)
    )


def _runner_up(
    a: Floats,
    b: Floats,
    line: tuple[float, float],
    middle: float,
    spread: float,
    around: tuple[float, float] | None,
) -> int:
    """How many pairs another offset would make that agree about as well."""
    differences = _differences(a, b, line[1], middle, around)
    width = max(6 * spread, 0.003)
    differences = differences[np.abs(differences - line[0]) > 5 * width]
    return int(_votes(differences, width).max()) if differences.size else 0


def _ambiguous(count: int, runner_up: int, n_a: int, n_b: int, hinted: bool) -> bool:
    fewer = min(n_a, n_b)
    if max(n_a, n_b) == 1:
        return False
    chance = not hinted and (count < 0.4 * fewer or (count < 3 <= fewer))
    return runner_up > 0.7 * count or chance


def _pair(a: Floats, b: Floats, line: tuple[float, float], middle: float, tolerance: float) -> Pairs:
    """For each reference event the nearest other one within the tolerance, each used once."""
    expected = a + line[0] + line[1] * (a - middle)
    after = np.clip(np.searchsorted(b, expected), 1, max(b.size - 1, 1))
    before = after - 1
    after = np.minimum(after, b.size - 1)
    nearest = np.where(np.abs(b[after] - expected) < np.abs(b[before] - expected), after, before)
    distance = np.abs(b[nearest] - expected)
    order = np.argsort(distance, kind="stable")
    taken: set[int] = set()
    pairs = []
    for i in order.tolist():
        j = int(nearest[i])
        if distance[i] <= tolerance and j not in taken:
            taken.add(j)
            pairs.append((i, j))
    return np.array(sorted(pairs), dtype=np.intp).reshape(-1, 2)


def _robust_line(x: Floats, y: Floats, drift: float, largest_drift: float) -> tuple[float, float]:
    if x.size < 2:
        return (float(y[0]) if y.size else 0.0), 0.0
    weights = np.ones(x.size)
    slope, level = drift, float(np.median(y - drift * x))
    for _ in range(10):
        left = y - level - slope * x
        # of few pairs the median of the residuals is often far too small, and good pairs would be dropped
        scale = max(1.4826 * float(np.median(np.abs(left))), 0.001 if x.size < 10 else 0.0001)
        weights = np.clip(1 - (left / (4.685 * scale)) ** 2, 0.0, None) ** 2
        if np.count_nonzero(weights) < 2:
            break
        centre = float(weights @ x / weights.sum())
        lever = float(weights @ (x - centre) ** 2)
        mean = float(weights @ y / weights.sum())
        slope = float(weights @ ((x - centre) * y) / lever) if lever > 0 else 0.0
        slope = min(max(slope, -largest_drift), largest_drift)
        level = mean - slope * centre
    return level, slope


def _spread(left: Floats) -> float:
    """
    Standard deviation about a line of two numbers, widened for how few residuals tell it.

    Residuals beyond three robust deviations are left out. The widening makes 1.96 u of a normal
    distribution as wide as Student's interval would be (JCGM 100:2008, G.3).
    """
    free = left.size - 2
    if free < 1:
        return EDGE_JITTER
    robust = 1.4826 * float(np.median(np.abs(left)))
    kept = left[np.abs(left) <= max(3 * robust, 0.003 if left.size < 10 else 0.0003)]
    deviation = math.sqrt(float((kept**2).sum()) / max(kept.size - 2, 1))
    return max(deviation, 1e-6) * coverage_factor(0.95, free) / 1.96


def _jumped(a: Floats, b: Floats, pairs: Pairs, largest_drift: float, tolerance: float) -> bool:
    """Whether events on one side of all pairs agree on an offset of their own."""
    if not pairs.size:
        return False
    for rest_a, rest_b in (
        (a[: pairs[0, 0]], b[: pairs[0, 1]]),
        (a[pairs[-1, 0] + 1 :], b[pairs[-1, 1] + 1 :]),
    ):
        if min(rest_a.size, rest_b.size) >= 3:
            votes = _vote(rest_a, rest_b, largest_drift, tolerance, None)[0]
            if votes >= max(3, 0.6 * min(rest_a.size, rest_b.size)):
                return True
    return False
