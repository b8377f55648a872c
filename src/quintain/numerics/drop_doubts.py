"""What speaks against believing a drop: codes for flags, and reasons in plain words."""

from __future__ import annotations

import math

import numpy as np

from quintain.numerics.drop_train import Train
from quintain.numerics.uncertainty.linear import Estimate

__all__ = ["doubts_about", "flags_of_train"]

LEAST_RESTITUTION, LARGEST_RESTITUTION = 0.02, 0.99
"""Outside of these a pad does not give the speed back (common practice, no source)."""
FLIGHT_APART = 0.12
"""By how much speed from flight time may differ from closure: soft foams reach a few per cent."""
GAINS_APART, UNLIKELY = 0.02, 1.5
"""Gains with and without height may differ by this share, or by so many expanded uncertainties: mass and
gravity are common to both, so that they agree better than they are known."""
LEAST_GAIN, LARGEST_GAIN = 0.7, 1.4
"""Outside of these a wrong mass or height is likelier than a wrong chain (common practice, no source)."""


def flags_of_train(train: Train) -> list[str]:
    """
    Codes of what is particular to the way a train was followed.

    Parameters
    ----------
    train : Train
        The drop.

    Returns
    -------
    list of str
        Flag codes.
    """
    flags = []
    if len(train.starts) == 1:
        flags.append("one-contact")
    if not train.zero.straight:
        flags.append("irregular-zero")
    if train.through_plate:
        flags.append("plate-delays-start")
    elif train.loadings and train.loadings[0].chi2 > 5:
        flags.append("start-uncertain")
    if any(not f.free for f in train.flights):
        flags.append("flight-not-free")
    if any(f.frequency.size > train.rig.frequency.size for f in train.flights):
        flags.append("plate-swings")
    return flags


def doubts_about(
    train: Train,
    v1: Estimate | None,
    e: Estimate | None,
    flight_speed: float | None,
    rest: Estimate | None,
    by_height: Estimate | None,
    gain: Estimate | None,
    free_gain: Estimate | None,
    flags: list[str],
) -> list[str]:
    """Why this drop decides nothing, in plain words."""
    doubts = []
    if len(train.starts) == 1:
        if len(train.contacts) > 1:
            flags.append("hit-twice")
            doubts.append(
                "The pad was touched twice in quick succession: the mass was tilted, or did not fall freely."
            )
        else:
            doubts.append("The mass did not come back: there is no second start to close the balance with.")
        return doubts
    if "plate-swings" not in flags and _has_two_humps(train):
        flags.append("hit-twice")
        doubts.append("The first contact has two humps: the mass was tilted and came down on two edges.")
    if by_height is None and free_gain is None:
        doubts.append("There is one flight only and no height: nothing to judge the gain by.")
    if v1 is not None and v1.value <= 0:
        doubts.append("The force gives no downward speed: mass, sign or zero are wrong.")
    if e is not None and not LEAST_RESTITUTION < e.value < LARGEST_RESTITUTION:
        flags.append("restitution-implausible")
        doubts.append(
            f"The restitution would be {e.value:.2f}: the mass was pushed, caught, or is not the one stated."
        )
    if v1 is not None and v1.value > 0 and flight_speed is not None:
        apart = flight_speed / v1.value - 1
        if abs(apart) > FLIGHT_APART:
            flags.append("hit-twice")
            doubts.append(
                f"Flight time and closure disagree by {100 * abs(apart):.0f} %: between the contacts the "
                "mass was not in free flight."
            )
    if gain is not None and not LEAST_GAIN < gain.value < LARGEST_GAIN:
        agree = free_gain is not None and abs(free_gain.value / gain.value - 1) < 0.05
        if not agree:
            flags.append("mass-or-height-implausible")
            doubts.append(
                f"With this mass and height the gain would be {gain.value:.2f}: one of them is not what was "
                "stated, or the mass hit the edge of the pad."
            )
    if gain is not None and free_gain is not None:
        apart = gain.value / free_gain.value - 1
        allowed = max(
            GAINS_APART, 2 * UNLIKELY * math.hypot(gain.u / gain.value, free_gain.u / free_gain.value)
        )
        if abs(apart) > allowed:
            flags.append("height-and-bounces-disagree")
            doubts.append(
                f"Height and bounces give gains that differ by {100 * abs(apart):.1f} %: the height is not "
                "what was stated, the guide rubs, or something else touched pad or mass."
            )
    if train.loadings and train.loadings[0].chi2 > 25 and not train.through_plate:
        doubts.append("The first touch does not look like one clean touch; its start is not certain.")
    if v1 is not None and v1.value > 0 and float(train.u_starts[:2].max()) > 1.5e-3:
        doubts.append("The contact starts are uncertain by more than a millisecond.")
    return doubts


def _has_two_humps(train: Train) -> bool:
    """Whether the slow force of the first contact falls almost to nothing and rises again."""
    i, j = (int(k) for k in train.contacts[0])
    hump = train.slow[i:j]
    most = float(hump.max())
    before = np.maximum.accumulate(hump)
    after = np.maximum.accumulate(hump[::-1])[::-1]
    dip = (before > 0.3 * most) & (after > 0.3 * most) & (hump < 0.15 * most)
    return bool(dip.any())
