"""Mean force curve of many strikes, aligned at contact, with bands over people."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.errors import StudyError
from quintain.numerics.uncertainty.coverage import coverage_factor

__all__ = ["Curve", "MeanCurve", "average_curves"]

Floats = NDArray[np.float64]

N_DRAWS = 4000
"""Draws for the simultaneous band: its factor then scatters by about 1 % (measured). [1]"""

QUIET = 1e-6
"""Spread, as a share of the largest spread, below which people agree and the band needs no factor. [1]"""


class Curve(NamedTuple):
    """One strike."""

    person: str
    time: ArrayLike
    """From the start of contact at 0, rising. [s]"""
    force: ArrayLike
    """[N]"""
    contact_time: float
    """End of contact; after it the force is taken as 0. [s]"""


class MeanCurve(NamedTuple):
    """Mean over people on a common grid of time."""

    time: Floats
    """From the start of contact. [s]"""
    mean: Floats
    """Mean of the people's mean curves. [N]"""
    sd: Floats
    """SD between the people's mean curves. [N]"""
    pointwise: tuple[Floats, Floats]
    """Lower and upper end at each time alone, by Student's t. [N]"""
    simultaneous: tuple[Floats, Floats]
    """Band that holds the whole mean curve with the stated probability. [N]"""
    factor: float
    """Standard errors from mean to simultaneous band; more than Student's t. [1]"""
    people: tuple[str, ...]
    person_means: Floats
    """Shape (people, times). [N]"""
    n_trials: int
    n_padded: int
    """Strikes that ended before the grid does and were continued with zero force."""
    words: str
    """What was done, for legend and paper."""


def _on_grid(curve: Curve, grid: Floats, place: int) -> Floats:
    time, force = np.asarray(curve.time, dtype=float), np.asarray(curve.force, dtype=float)
    where = f"strike {place + 1} (person {curve.person!r})"
    if time.ndim != 1 or time.shape != force.shape or time.size < 2:
        raise StudyError(f"{where} needs as many times as forces, 2 at least")
    if not (np.isfinite(time).all() and np.isfinite(force).all() and (np.diff(time) > 0).all()):
        raise StudyError(f"{where} has times that do not rise, or values that are not finite")
    if not (math.isfinite(curve.contact_time) and curve.contact_time > 0):
        raise StudyError(f"{where} has no contact time; leave it out, its end is not known")
    if time[0] > 0 or time[-1] < min(curve.contact_time, grid[-1]):
        raise StudyError(
            f"{where} is known from {1e3 * time[0]:.2f} ms to {1e3 * time[-1]:.2f} ms only, but "
            f"contact lasts from 0 to {1e3 * curve.contact_time:.2f} ms: force in contact is not made up"
        )
    return np.where(grid <= curve.contact_time, np.interp(grid, time, force), 0.0)


def _band_factor(left: Floats, generator: np.random.Generator, probability: float) -> float:
    """Quantile of the largest studentised deviation of a mean of Gaussian curves with these covariances."""
    n = left.shape[0]
    largest = np.empty(N_DRAWS)
    for start in range(0, N_DRAWS, 250):
        weights = generator.standard_normal((250, n, n)) / math.sqrt(n - 1)
        drawn = weights @ left
        spread = drawn.std(axis=1, ddof=1)
        largest[start : start + 250] = (np.abs(drawn.mean(axis=1)) / spread).max(axis=1) * math.sqrt(n)
    return float(np.quantile(largest, probability))


def average_curves(
    curves: Sequence[Curve],
    *,
    generator: np.random.Generator,
    n_points: int = 201,
    end: float | None = None,
    probability: float = 0.95,
) -> MeanCurve:
    r"""
    Average strikes aligned at the start of contact: first within people, then over people.

    Parameters
    ----------
    curves : sequence of Curve
        Strikes of two people at least.
    generator : numpy.random.Generator
        Draws for the simultaneous band.
    n_points : int
        Points of the common grid.
    end : float, optional
        End of the grid; the longest contact by default. [s]
    probability : float
        Of both bands. [1]

    Returns
    -------
    MeanCurve
        Mean, spread and bands.

    Raises
    ------
    StudyError
        If there are fewer than three people, or a strike is not known over its whole contact.

    Notes
    -----
    Force is interpolated linearly and is 0 after the end of contact, where that is the fact; time is not
    stretched, so strikes of different length blur each other's ends and the mean curve is flatter and longer
    than any strike: its peak is below the mean of the peaks. The simultaneous band is mean ± c SE(t), c the
    quantile of the largest studentised deviation in a Gaussian bootstrap from the people's residual curves
    (Degras 2011, Statistica Sinica 21, 1735-1765, from memory; studentised again in each draw for few people;
    derived here). At each time alone that bootstrap gives Student's t exactly.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(0, 0.012, 121)
    >>> curves = [Curve(p, t, peak * np.clip(np.sin(np.pi * t / 0.010), 0, None), 0.010)
    ...           for p, peak in [("a", 2000.0), ("a", 2200.0), ("b", 3000.0), ("c", 2500.0)]]
    >>> m = average_curves(curves, generator=np.random.default_rng(1), n_points=101)
    >>> m.n_trials, len(m.people), round(float(m.mean.max()))
    (4, 3, 2533)
    """
    people = tuple(sorted({str(c.person) for c in curves}))
    if len(people) < 3:
        raise StudyError(
            f"a band over people needs 3 people at least, got {len(people)}: show the strikes instead"
        )
    contact = np.array([c.contact_time for c in curves], dtype=float)
    last = float(np.nanmax(contact)) if end is None else float(end)
    if not (math.isfinite(last) and last > 0 and n_points >= 2):
        raise StudyError(f"the grid needs an end above 0 s and 2 points, got {last} s and {n_points}")
    grid = np.linspace(0.0, last, n_points)
    forces = np.array([_on_grid(c, grid, i) for i, c in enumerate(curves)])
    index = np.array([people.index(str(c.person)) for c in curves])
    means = np.zeros((len(people), n_points))
    np.add.at(means, index, forces)
    means /= np.bincount(index)[:, None]
    n = len(people)
    mean, sd = means.mean(axis=0), means.std(axis=0, ddof=1)
    loud = sd > QUIET * sd.max()
    if not loud.any():
        raise StudyError("all people have the same curve: there is no band over people")
    se = sd / math.sqrt(n)
    k = coverage_factor(probability, n - 1)
    factor = _band_factor((means - mean)[:, loud], generator, probability)
    n_padded = int((contact < last).sum())
    words = (
        f"Mean of {n} people's mean curves ({len(curves)} strikes), aligned at the start of contact, time "
        f"not stretched; after its end of contact a strike counts as zero force ({n_padded} strikes ended "
        f"before {1e3 * last:.1f} ms). Bands of {100 * probability:.0f} % for the mean over "
        f"people: pointwise by "
        f"Student's t, simultaneous by {N_DRAWS} Gaussian bootstrap draws."
    )
    return MeanCurve(
        grid,
        mean,
        sd,
        (mean - k * se, mean + k * se),
        (mean - factor * se, mean + factor * se),
        factor,
        people,
        means,
        len(curves),
        n_padded,
        words,
    )
