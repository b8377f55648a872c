"""Modes above half the sampling rate: where a folded frequency may come from, and how to find out."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

__all__ = ["FoldedMode", "MassLoadedMode", "alias_candidates", "resolve_by_added_mass", "resolve_by_rates"]

AGREE_WITHIN = 3.0  # combined standard uncertainties


class FoldedMode(NamedTuple):
    """A mode that would be seen where one was seen; ``zone`` counts half sampling rates below it."""

    natural_frequency: float
    damping_ratio: float
    zone: int


class MassLoadedMode(NamedTuple):
    """A mode that moves under added mass as one was seen to move, with the moving mass [kg] this implies."""

    natural_frequency: float
    damping_ratio: float
    zone: int
    moving_mass: float


def _check(frequency: float, rate: float, name: str) -> None:
    if not rate > 0:
        raise ValueError(f"the sampling rate must be positive, got {rate} Hz")
    if not 0 < frequency <= rate / 2:
        raise ValueError(
            f"{name} must lie between 0 and half the rate, {rate / 2:g} Hz; got {frequency:g} Hz"
        )


def alias_candidates(
    damped_frequency: float, decay_rate: float, rate: float, *, highest: float | None = None
) -> list[FoldedMode]:
    r"""
    All modes that a sampled decay could stem from.

    Parameters
    ----------
    damped_frequency : float
        Frequency at which the samples swing, between 0 and half the rate. [Hz]
    decay_rate : float
        Decay rate sigma of the samples; folding does not touch it. [1/s]
    rate : float
        Sampling rate. [Hz]
    highest : float, optional
        Largest damped frequency to list; three times the rate if not given. [Hz]

    Returns
    -------
    list of FoldedMode
        By rising natural frequency; the first is the mode as seen.

    Notes
    -----
    Candidates are :math:`|f - k f_s|`. The decay rate is true for all of them, the damping ratio
    :math:`\sigma / \omega` is not: taken at the folded frequency it is too large.

    Examples
    --------
    A mode of 700 Hz and 2 % sampled at 1 kHz swings at 300 Hz:

    >>> for mode in alias_candidates(300.1, 88.0, 1000, highest=1000):
    ...     print(f"{mode.natural_frequency:.1f} Hz, {100 * mode.damping_ratio:.2f} %")
    300.4 Hz, 4.66 %
    700.0 Hz, 2.00 %
    """
    _check(damped_frequency, rate, "damped_frequency")
    if highest is None:
        highest = 3 * rate
    modes = []
    zone = 0
    while True:
        # even zones repeat the axis, odd ones run it backwards
        turned = rate * ((zone + 1) // 2) + (damped_frequency if zone % 2 == 0 else -damped_frequency)
        if turned > highest:
            break
        omega = np.hypot(2 * np.pi * turned, decay_rate)
        modes.append(FoldedMode(float(omega / (2 * np.pi)), float(decay_rate / omega), zone))
        zone += 1
    return modes


def resolve_by_rates(
    first: tuple[float, float],
    first_rate: float,
    second: tuple[float, float],
    second_rate: float,
    decay_rate: float,
    *,
    highest: float | None = None,
) -> list[FoldedMode]:
    """
    Modes that two recordings at different rates agree on.

    Parameters
    ----------
    first, second : (float, float)
        Damped frequency as seen and its standard uncertainty in each recording. [Hz]
    first_rate, second_rate : float
        Sampling rates; they must differ. [Hz]
    decay_rate : float
        Decay rate, the same in both. [1/s]
    highest : float, optional
        Largest frequency to consider; three times the larger rate if not given. [Hz]

    Returns
    -------
    list of FoldedMode
        One entry if the rates settle it; none if nothing agrees (the rig changed between the recordings);
        more if the rates were chosen badly, for instance one a multiple of the other. Zones refer to the
        first rate.

    Notes
    -----
    Frequencies count as one within three combined standard uncertainties. Derived here.

    Examples
    --------
    >>> [round(m.natural_frequency) for m in resolve_by_rates((300, 0.2), 1000, (400, 0.2), 1100, 88.0)]
    [700]
    """
    if first_rate == second_rate:
        raise ValueError(f"both recordings were sampled at {first_rate:g} Hz: two different rates are needed")
    if highest is None:
        highest = 3 * max(first_rate, second_rate)
    reach = AGREE_WITHIN * float(np.hypot(first[1], second[1]))
    others = [
        m.natural_frequency for m in alias_candidates(second[0], decay_rate, second_rate, highest=highest)
    ]
    mine = alias_candidates(first[0], decay_rate, first_rate, highest=highest)
    return [m for m in mine if any(abs(m.natural_frequency - other) <= reach for other in others)]


def resolve_by_added_mass(
    before: tuple[float, float],
    after: tuple[float, float],
    decay_rate: float,
    rate: float,
    added_mass: float,
    *,
    moving_mass: tuple[float, float] = (0.0, np.inf),
    highest: float | None = None,
) -> list[MassLoadedMode]:
    r"""
    Modes that move as seen when a known mass is bolted on.

    Parameters
    ----------
    before, after : (float, float)
        Damped frequency as seen and its standard uncertainty, without and with the mass. [Hz]
    decay_rate : float
        Decay rate without the mass. [1/s]
    rate : float
        Sampling rate of both recordings. [Hz]
    added_mass : float
        Mass bolted on. [kg]
    moving_mass : (float, float)
        Least and greatest moving mass that the rig can have, from weighing its parts. [kg]
    highest : float, optional
        Largest frequency to consider; three times the rate if not given. [Hz]

    Returns
    -------
    list of MassLoadedMode
        More than one entry means that the bounds on the moving mass are too wide to tell.

    Raises
    ------
    ValueError
        If the mass moved the frequency by less than its uncertainty.

    Notes
    -----
    Mass lowers every natural frequency. A mode in an odd zone appears to rise instead, which rules out half
    of the candidates; the size of the shift, :math:`m = \Delta m / ((f_1 / f_2)^2 - 1)`, rules out others.
    Both recordings are taken to lie in the same zone, so the added mass should be small. Derived here.

    Examples
    --------
    A 700 Hz mode at 1 kHz; 5 % more mass makes the trace swing at 316.9 Hz, faster than 300 Hz before:

    >>> modes = resolve_by_added_mass((300.0, 0.1), (316.9, 0.1), 88, 1000, 0.05, moving_mass=(0.8, 1.3))
    >>> [(round(m.natural_frequency), round(m.moving_mass, 2)) for m in modes]
    [(700, 1.0)]
    """
    if not added_mass > 0:
        raise ValueError(f"added_mass must be positive, got {added_mass} kg")
    _check(after[0], rate, "the frequency with the mass added")
    if abs(after[0] - before[0]) <= AGREE_WITHIN * np.hypot(before[1], after[1]):
        raise ValueError(
            f"the added {added_mass:g} kg did not move the frequency beyond its uncertainty "
            f"({before[0]:g} Hz to {after[0]:g} Hz): add more mass, or tap more often"
        )
    fits = []
    loaded = alias_candidates(
        after[0], decay_rate, rate, highest=(3 * rate if highest is None else highest) + rate
    )
    for bare, heavy in zip(
        alias_candidates(before[0], decay_rate, rate, highest=highest), loaded, strict=False
    ):
        excess = (bare.natural_frequency / heavy.natural_frequency) ** 2 - 1
        if excess > 0 and moving_mass[0] <= added_mass / excess <= moving_mass[1]:
            fits.append(MassLoadedMode(*bare, added_mass / excess))
    return fits
