"""How much to widen the smoother's own standard deviation so that it covers what it claims."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.kappa_table import NOISE, PEAK, PERIODS, SAMPLES, TRACE

__all__ = ["CoverageFactors", "coverage_factors"]

Floats = NDArray[np.float64]


class CoverageFactors(NamedTuple):
    """Factors on the standard deviation that the smoother states."""

    trace: float
    """For a point of the force during contact. [1]"""
    peak: float
    """For the largest force. [1]"""


def coverage_factors(periods: float, samples: float, noise_ratio: float) -> CoverageFactors:
    """
    Look up the factors for a pulse, a rig and a noise.

    Parameters
    ----------
    periods : float
        Length of the pulse in periods of the rig. [1]
    samples : float
        Length of the pulse in sampling intervals. [1]
    noise_ratio : float
        Standard deviation of a sample over the peak. [1]

    Returns
    -------
    CoverageFactors
        Interpolated in the logarithms; outside the table its edge.

    Raises
    ------
    ValueError
        If an argument is not above 0.

    Notes
    -----
    The posterior of a model is honest only for forces drawn from that model; real pulses are not. The
    factor is the 95th percentile of error over stated standard deviation, found by simulating pulses of
    many shapes (parametric bootstrap), over 1.96. It holds on average over those shapes: for a pulse
    rougher than they are the interval is too narrow, for a smoother one too wide.

    Examples
    --------
    >>> factors = coverage_factors(3.0, 20.0, 6e-4)
    >>> 0.3 < factors.peak < 3, 0.3 < factors.trace < 3
    (True, True)
    """
    if not (periods > 0 and samples > 0 and noise_ratio > 0):
        raise ValueError(
            f"periods, samples and noise must be above 0, got {periods:g}, {samples:g} and {noise_ratio:g}"
        )
    axes = (PERIODS, SAMPLES, NOISE)
    corner, part = [], []
    for value, axis in zip((periods, samples, noise_ratio), axes, strict=True):
        at = float(np.interp(np.log(value), np.log(axis), np.arange(len(axis))))
        low = min(int(at), len(axis) - 2)
        corner.append(slice(low, low + 2))
        part.append(np.array([1 - (at - low), at - low]))
    both = [float(np.einsum("ijk,i,j,k->", np.array(table)[tuple(corner)], *part)) for table in (TRACE, PEAK)]
    return CoverageFactors(*both)
