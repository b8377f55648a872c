"""Zero, drift and noise of a channel, from the stretches where nothing pushes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.bad_samples import find_step

__all__ = ["Zero", "ZeroLine", "measure_zero", "zero_line"]

N_BATCHES = 12
"""Pieces a quiet stretch is cut into: enough to see how far their means scatter."""

OUTLIER = 6.0
"""Samples further off than this many robust standard deviations are discharges, not noise."""


class Zero(NamedTuple):
    """
    What a channel reads when nothing pushes.

    ``value`` holds at ``time``, the middle of the stretch [s from the recording's first sample], where
    it is uncorrelated with ``drift``; ``noise`` is the standard deviation of one sample, hum included;
    ``step`` that of the converter; ``coarse`` where the noise is smaller than a step.
    """

    time: float
    value: float
    u_value: float
    drift: float
    u_drift: float
    noise: float
    n: int
    step: float
    coarse: bool


class ZeroLine(NamedTuple):
    """A straight zero under an event: ``value`` at ``time``, ``slope``, and their covariances."""

    time: float
    value: float
    u_value: float
    slope: float
    u_slope: float
    covariance: float

    def at(self, time: ArrayLike) -> NDArray[np.float64]:
        """Zero at the given times [s]. [N]."""
        return self.value + self.slope * (np.asarray(time, dtype=float) - self.time)

    def u_at(self, time: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty of the zero at the given times [s]. [N]."""
        t = np.asarray(time, dtype=float) - self.time
        square = self.u_value**2 + 2 * self.covariance * t + (self.u_slope * t) ** 2
        return np.sqrt(np.maximum(square, 0.0))


def measure_zero(samples: ArrayLike, rate: float, *, first: int = 0, step: float | None = None) -> Zero:
    r"""
    Measure zero, drift and noise on a quiet stretch.

    Parameters
    ----------
    samples : array_like, shape (n,)
        A stretch in which nothing pushes; missing samples are NaN and are left out. [N]
    rate : float
        Sampling rate. [Hz]
    first : int
        Number of the stretch's first sample in the recording.
    step : float, optional
        Step of the converter, if known; else it is taken from the stretch itself. [N]

    Returns
    -------
    Zero
        Value at the middle, drift, their standard uncertainties, noise. [N], [N/s], [N]

    Raises
    ------
    ValueError
        If fewer than eight samples are finite, or the rate is not above 0.

    Notes
    -----
    A straight line by least squares through the means of (at most) twelve batches. The scatter of the
    batch means about the line, not the noise of a sample over :math:`\sqrt n`, gives both
    uncertainties, so that hum and slow wander count with what they really do to a mean (method of
    batch means; L. W. Schmeiser 1982, doi:10.1287/opre.30.3.556). It is not let fall below what white
    noise alone gives. Scatter on :math:`\nu` degrees of freedom is widened by
    :math:`\sqrt{(\nu-1)/(\nu-3)}` as JCGM 101:2008, 6.4.9.2
    does. Wander slower than the stretch looks like drift, or is not seen: the uncertainty is then too
    small. Where the noise is below a converter step, half a step
    may hide in every sample alike; a uniform :math:`step/\sqrt{12}` is added and the noise is not
    stated below it.

    Examples
    --------
    >>> import numpy as np
    >>> force = 4.0 + np.random.default_rng(0).normal(0, 3.0, 1000)
    >>> zero = measure_zero(force, 2000.0)
    >>> print(f"{zero.value:.1f} N, u = {zero.u_value:.2f} N, noise {zero.noise:.1f} N")
    3.9 N, u = 0.11 N, noise 2.9 N
    """
    if not (np.isfinite(rate) and rate > 0):
        raise ValueError(f"rate must be a finite number above 0, got {rate}")
    x = np.asarray(samples, dtype=float)
    time = (first + np.arange(x.size)) / rate
    kept = np.isfinite(x)
    if kept.sum() < 8:
        raise ValueError(f"need at least 8 finite samples to measure a zero, got {int(kept.sum())}")
    x, time = x[kept], time[kept]
    step = find_step(x) if step is None else step
    middle = float(time.mean())
    # robust start: medians of thirds give a line no discharge can turn
    thirds = np.array_split(np.arange(x.size), 3)
    slope = (np.median(x[thirds[2]]) - np.median(x[thirds[0]])) / (
        time[thirds[2]].mean() - time[thirds[0]].mean()
    )
    left = x - slope * (time - middle)
    left = left - np.median(left)
    robust = 1.4826 * float(np.median(np.abs(left)))
    if robust > 0:
        inside = np.abs(left) <= OUTLIER * max(robust, step)
        x, time = x[inside], time[inside]
        middle = float(time.mean())
    batches = np.array_split(np.arange(x.size), min(N_BATCHES, x.size // 2))
    counts = np.array([batch.size for batch in batches], dtype=float)
    means = np.array([x[batch].mean() for batch in batches])
    times = np.array([time[batch].mean() for batch in batches]) - middle
    weights = counts / counts.sum()
    value = float(weights @ means)
    tt = float(weights @ times**2)
    drift = float(weights @ (times * means)) / tt
    scatter = means - value - drift * times
    freedom = len(batches) - 2
    left = x - value - drift * (time - middle)
    noise = float(np.sqrt(left @ left / max(x.size - 2, 1)))
    # variance of a mean over all samples, widened for the few batches it was seen on
    widened = (freedom - 1) / (freedom - 3) if freedom > 3 else 3.0
    variance = float(weights @ scatter**2) / freedom * widened
    variance = max(variance, noise**2 / x.size)
    coarse = bool(noise < step)
    floor = step / np.sqrt(12) if coarse else 0.0
    return Zero(
        middle,
        value,
        float(np.hypot(np.sqrt(variance), floor)),
        drift,
        float(np.sqrt(variance / tt)),
        max(noise, floor),
        int(x.size),
        step,
        coarse,
    )


def zero_line(before: Zero, after: Zero | None = None) -> ZeroLine:
    """
    Zero under an event, from the quiet before it and, if there is one, the quiet after.

    Parameters
    ----------
    before, after : Zero
        Results of :func:`measure_zero`; ``after`` may be missing.

    Returns
    -------
    ZeroLine
        The zero as a straight line in time, with its uncertainty at any time. [N]

    Raises
    ------
    ValueError
        If ``after`` does not lie after ``before``.

    Notes
    -----
    With both, the line joins the two values and the drifts measured inside the stretches are not used:
    over the length of an event the two values know the slope far better. With the quiet before alone its
    drift is carried on where it stands two standard uncertainties above nothing; where it does not, the
    zero is held, and the uncertainty of the drift grows with the distance all the same. A zero that jumps
    during the event is taken for a ramp: the error is at most half the jump.

    Examples
    --------
    >>> before = Zero(0.25, 1.0, 0.1, 0.0, 0.5, 3.0, 1000, 0.01, False)
    >>> after = Zero(1.25, 3.0, 0.1, 0.0, 0.5, 3.0, 1000, 0.01, False)
    >>> line = zero_line(before, after)
    >>> round(float(line.at(0.75)), 3), round(float(line.u_at(0.75)), 3)
    (2.0, 0.071)
    """
    if after is None:
        believed = abs(before.drift) > 2 * before.u_drift
        return ZeroLine(
            before.time, before.value, before.u_value, before.drift if believed else 0.0, before.u_drift, 0.0
        )
    span = after.time - before.time
    if span <= 0:
        raise ValueError(
            f"the quiet after must lie after the quiet before, got {after.time} s <= {before.time} s"
        )
    return ZeroLine(
        before.time,
        before.value,
        before.u_value,
        (after.value - before.value) / span,
        float(np.hypot(before.u_value, after.u_value)) / span,
        -(before.u_value**2) / span,
    )
