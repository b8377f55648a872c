"""What is believed about a blow's force before its samples are seen: where it acts, how rough it is."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "ForcePrior",
    "Pulse",
    "add_kinks",
    "find_contact",
    "fit_scales",
    "kinked_prior",
    "measure_pulse",
    "rough_prior",
    "shift_edges",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Likelihood = Callable[[Floats], float]

OUTSIDE = 1e-6
"""Noise density outside contact, as part of that inside: soft, never zero."""
KINK_ZONE = 3
"""Sampling intervals at a contact edge in which the slope of the force may jump."""
KINK_GAIN = 15.0
"""Natural logarithm of the evidence a kink inside contact must bring."""
SCALE_SPREAD = 1.5
"""Standard deviation of the belief about a scale, in powers of ten about its natural size."""


class Pulse(NamedTuple):
    """Size and length of a pulse, from its largest point and its width at half of it."""

    peak: float
    """Largest force. [N]"""
    length: float
    """Length of the half-sine of equal width at half height: 1.5 times that width. [s]"""
    time_of_peak: float
    """Time of the largest force after the first grid point. [s]"""


class ForcePrior(NamedTuple):
    """Densities of the driving noise over time, one profile a free scale."""

    profiles: Floats
    """Shape (n_scales, 3, n_intervals): force, slope and curvature each may be driven. [N²/s]"""

    def density(self, log10_scale: Floats) -> Floats:
        """Sum the profiles, each times ten to the power of its scale; shape (3, n_intervals)."""
        total: Floats = 10.0 ** log10_scale[0] * self.profiles[0]
        for scale, profile in zip(log10_scale[1:], self.profiles[1:], strict=True):
            total += 10.0**scale * profile
        return total


def measure_pulse(force: Floats, interval: float, first: int = 0, last: int | None = None) -> Pulse:
    """
    Measure size and length of the largest pulse in a trace.

    Parameters
    ----------
    force : ndarray, shape (n,)
        Force, ringing removed. [N]
    interval : float
        Time between its points. [s]
    first, last : int
        Part of the trace in which the largest point is looked for.

    Returns
    -------
    Pulse
        A parabola through three points gives the peak; the width at half height is interpolated.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(0, 200) * 1e-4
    >>> pulse = measure_pulse(np.where(t < 0.012, np.sin(np.pi * t / 0.012), 0.0), 1e-4)
    >>> round(pulse.length, 5), round(pulse.peak, 5)
    (0.012, 1.0)
    """
    stop = force.size if last is None else min(last + 1, force.size)
    i = first + int(np.argmax(force[first:stop]))
    peak, shift = float(force[i]), 0.0
    if 0 < i < force.size - 1:
        before, after = force[i - 1], force[i + 1]
        bend = before - 2 * peak + after
        if bend < 0:
            shift = float(0.5 * (before - after) / bend)
            peak -= float(0.25 * (before - after) * shift)
    half = 0.5 * peak
    left, right = i, i
    while left > 0 and force[left] > half:
        left -= 1
    while right < force.size - 1 and force[right] > half:
        right += 1
    start, end = float(left), float(right)
    if force[left] <= half < force[left + 1 if left < i else i]:
        start += (half - force[left]) / (force[left + 1] - force[left])
    if force[right] <= half < force[right - 1 if right > i else i]:
        end -= (half - force[right]) / (force[right - 1] - force[right])
    length = float(max(1.5 * (end - start), 1.0) * interval)
    return Pulse(peak, length, (i + shift) * interval)


def find_contact(
    force: Floats,
    grid: int,
    threshold: float | Floats,
    *,
    guard: float,
    window: tuple[int, int] | None = None,
) -> Bools:
    """
    Find the sampling intervals in which the rig is being touched.

    Parameters
    ----------
    force : ndarray, shape ((n_samples - 1) * grid + 1,)
        Force on the fine grid. [N]
    grid : int
        Grid points an interval.
    threshold : float or ndarray, shape of ``force``
        Force above which there is contact. [N]
    guard : float
        Time added on either side. [sampling intervals]
    window : tuple of int, optional
        First and last sample between which contact is possible.

    Returns
    -------
    ndarray of bool, shape (n_samples - 1,)
        True where the force may act. Gaps no longer than twice the guard are closed.
    """
    n = (force.size - 1) // grid
    loud = np.abs(force) > threshold
    if window is not None:
        loud[: max(window[0], 0) * grid] = False
        loud[min(window[1], n) * grid + 1 :] = False
    if not loud.any():
        loud[int(np.argmax(np.abs(force)))] = True
    reach = int(np.ceil(guard * grid))
    near = np.convolve(loud, np.ones(2 * reach + 1), mode="same") > 0.5
    # an interval counts if its middle is near a loud point
    return np.asarray(near[grid // 2 :: grid][:n])


def _natural(pulse: Pulse, omega: float, derivative: int) -> float:
    """Noise density on a derivative of the force that would make a pulse of this size and length."""
    return float(pulse.peak**2 * (np.pi / pulse.length) ** (2 * derivative + 1) / omega ** (2 * derivative))


def rough_prior(contact: Bools, pulse: Pulse, omega: float) -> ForcePrior:
    """
    Believe in a force whose slope wanders during contact; nothing is said about its shape.

    Parameters
    ----------
    contact : ndarray of bool, shape (n_intervals,)
        Where the force may act.
    pulse : Pulse
        Sets the natural size of the scale.
    omega : float
        Angular frequency by which the model scales derivatives. [rad/s]

    Returns
    -------
    ForcePrior
        One scale: the density of white noise on the second derivative (integrated random walk).
    """
    profiles = np.zeros((1, 3, contact.size))
    profiles[0, 1] = np.where(contact, 1.0, OUTSIDE) * _natural(pulse, omega, 1)
    return ForcePrior(profiles)


def kinked_prior(contact: Bools, pulse: Pulse, omega: float, interval: float) -> ForcePrior:
    """
    Believe in a smooth force whose slope may jump where contact begins and ends.

    Parameters
    ----------
    contact, pulse, omega
        As for :func:`rough_prior`.
    interval : float
        Sampling interval. [s]

    Returns
    -------
    ForcePrior
        Two scales: white noise on the third derivative during contact, and on the second derivative
        in short zones at the edges of contact.

    Notes
    -----
    Pulses of contact are smooth inside and kinked at their ends (a half-sine is the plainest case);
    a prior that is equally rough everywhere must be rough enough for the kinks, and lets noise and
    doubt in where the peak is. Derived here; measured in the validation report.
    """
    n = contact.size
    zone = np.zeros(n, dtype=bool)
    roughness = np.full(n, OUTSIDE)
    turns = np.flatnonzero(np.diff(np.r_[False, contact, False].astype(int)))
    for begin, end in zip(turns[::2], turns[1::2], strict=True):
        zone[begin : min(begin + KINK_ZONE, end)] = True
        zone[max(end - KINK_ZONE, begin) : end] = True
        middle = 0.5 * (end - 1 - begin)
        depth = middle - np.abs(np.arange(end - begin) - middle)
        roughness[begin:end] = max(middle - 1, 1) / np.maximum(depth - 1, 1)
    jump = (np.pi * pulse.peak / pulse.length / omega) ** 2 / (KINK_ZONE * interval)
    profiles = np.zeros((2, 3, n))
    profiles[0, 2] = roughness * _natural(pulse, omega, 2)
    profiles[1, 1] = np.where(zone, 1.0, OUTSIDE) * jump
    return ForcePrior(profiles)


def fit_scales(
    likelihood: Likelihood, prior: ForcePrior, start: Floats, *, tolerance: float = 0.05
) -> tuple[Floats, float]:
    """
    Choose the scales of a prior by maximum posterior probability.

    Parameters
    ----------
    likelihood : callable
        Natural logarithm of the likelihood of a density, shape (3, n_intervals).
    prior : ForcePrior
        Profiles to scale.
    start : ndarray, shape (n_scales,)
        Where to begin, decimal logarithms.
    tolerance : float
        How closely the scales are found. [powers of ten]

    Returns
    -------
    scales : ndarray, shape (n_scales,)
        Decimal logarithms of the scales.
    evidence : float
        Natural logarithm of likelihood times prior there.
    """
    from scipy.optimize import minimize

    def lost(scales: Floats) -> float:
        return 0.5 * float(np.sum((scales / SCALE_SPREAD) ** 2)) - likelihood(prior.density(scales))

    n = start.size
    simplex = np.vstack([start, start + np.eye(n)])
    found = minimize(
        lost,
        start,
        method="Nelder-Mead",
        options={"xatol": tolerance, "fatol": tolerance, "maxfev": 60 * n, "initial_simplex": simplex},
    )
    return np.asarray(found.x), -float(found.fun)


def add_kinks(
    likelihood: Likelihood, prior: ForcePrior, scales: Floats, evidence: float, *, at_most: int = 2
) -> tuple[ForcePrior, Floats, float, int]:
    """
    Let the slope jump inside contact too, where the samples ask for it loudly.

    Parameters
    ----------
    likelihood : callable
        As for :func:`fit_scales`.
    prior : ForcePrior
        What :func:`kinked_prior` gave.
    scales, evidence
        What :func:`fit_scales` gave for it.
    at_most : int
        Largest number of kinks added.

    Returns
    -------
    prior, scales, evidence
        As given, or with kinks added.
    n_added : int
        How many were added.

    Notes
    -----
    A plate that meets the hand again, or a limb that comes in two parts, breaks the smoothness of a
    pulse. Each kink must raise the evidence by a factor of more than a million: smaller gains were seen
    on smooth pulses of two humps, whose peak a false kink spoils.
    """
    added = 0
    while added < at_most:
        floor, ceiling = prior.profiles[1, 1].min(), prior.profiles[1, 1].max()
        inside = np.flatnonzero(prior.profiles[0, 2] > OUTSIDE * prior.profiles[0, 2].max())
        inside = inside[prior.profiles[1, 1, inside] <= floor]
        if inside.size == 0:
            break
        start = np.array([min(scales[0], 0.0), max(scales[1], 0.0)])

        def kink_at(i: int, ceiling: float = ceiling, prior: ForcePrior = prior) -> ForcePrior:
            profiles = prior.profiles.copy()
            profiles[1, 1, max(i - KINK_ZONE // 2, 0) : i + KINK_ZONE // 2 + 1] = ceiling
            return ForcePrior(profiles)

        stride = max(1, inside.size // 16)
        values = {int(i): likelihood(kink_at(i).density(start)) for i in inside[stride // 2 :: stride]}
        best = max(values, key=values.__getitem__)
        near = range(max(best - stride + 1, int(inside[0])), min(best + stride, int(inside[-1]) + 1))
        values |= {i: likelihood(kink_at(i).density(start)) for i in near if i not in values}
        trial = kink_at(max(values, key=values.__getitem__))
        trial_scales, trial_evidence = fit_scales(likelihood, trial, start)
        if trial_evidence < evidence + KINK_GAIN:
            break
        prior, scales, evidence = trial, trial_scales, trial_evidence
        added += 1
    return prior, scales, evidence, added


def shift_edges(
    likelihood: Likelihood, contact: Bools, build: Callable[[Bools], ForcePrior], scales: Floats
) -> Bools:
    """
    Move begin and end of contact by whole intervals while that makes the samples more probable.

    Parameters
    ----------
    likelihood : callable
        As for :func:`fit_scales`.
    contact : ndarray of bool, shape (n_intervals,)
        Where to begin.
    build : callable
        Makes the prior for a contact.
    scales : ndarray
        Scales of that prior, kept.

    Returns
    -------
    ndarray of bool, shape (n_intervals,)
        Contact with the first begin and the last end moved.
    """
    i = np.flatnonzero(contact)
    begin, end = int(i[0]), int(i[-1]) + 1
    best = likelihood(build(contact).density(scales))
    for side in (0, 1):
        for direction in (1, -1):
            moved = False
            while True:
                edge = [begin, end]
                edge[side] += direction
                if edge[0] < 0 or edge[1] > contact.size or edge[1] - edge[0] < 2 * KINK_ZONE:
                    break
                trial = contact.copy()
                trial[: edge[0]] = False
                trial[edge[0] : i[0] + 1] = True
                trial[i[-1] : edge[1]] = True
                trial[edge[1] :] = False
                value = likelihood(build(trial).density(scales))
                if value <= best:
                    break
                best, (begin, end), moved = value, edge, True
            if moved:
                break
    moved_contact = contact.copy()
    moved_contact[:begin] = False
    moved_contact[begin : i[0] + 1] = True
    moved_contact[i[-1] : end] = True
    moved_contact[end:] = False
    return moved_contact
