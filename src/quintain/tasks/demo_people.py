"""
Eight invented people and the strikes they throw.

Nobody was measured: masses, speeds and their spreads are made up so that a study of them has
something to find: people differ more than their days do, one side is the stronger, and people tire.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

__all__ = ["KINDS", "PEOPLE", "Blow", "InventedPerson", "Kind", "throw"]


@dataclass(frozen=True, slots=True)
class Kind:
    """What a type of strike is like at the middle of the group: moving mass [kg], speed [m/s], push [N]."""

    mass: float
    speed: float
    push: float


KINDS = {
    "jab": Kind(1.7, 5.8, 70.0),
    "cross": Kind(2.3, 7.2, 130.0),
    "palm heel": Kind(2.0, 5.4, 110.0),
    "elbow": Kind(2.6, 4.8, 120.0),
    "front kick": Kind(3.6, 5.6, 180.0),
    "turning kick": Kind(4.4, 8.6, 220.0),
}


@dataclass(frozen=True, slots=True)
class InventedPerson:
    """
    Somebody who does not exist.

    ``mass_factor`` and ``speed_factor`` say how this person differs from the middle of the group,
    ``weaker`` by how much the other side is slower, ``tires`` the share of speed lost with each strike.
    """

    code: str
    body_mass: float
    height: float
    side: str
    experience: float
    mass_factor: float
    speed_factor: float
    weaker: float
    tires: float


PEOPLE = (
    InventedPerson("P-01", 71.0, 1.76, "right", 6.0, 0.94, 1.02, 0.06, 0.004),
    InventedPerson("P-02", 58.5, 1.65, "right", 3.0, 0.82, 0.95, 0.05, 0.006),
    InventedPerson("P-03", 88.0, 1.88, "right", 11.0, 1.14, 1.08, 0.04, 0.003),
    InventedPerson("P-04", 64.0, 1.70, "left", 2.0, 0.90, 0.90, 0.09, 0.008),
    InventedPerson("P-05", 79.5, 1.81, "right", 8.0, 1.05, 1.05, 0.03, 0.004),
    InventedPerson("P-06", 69.0, 1.73, "right", 1.0, 0.97, 0.86, 0.08, 0.009),
    InventedPerson("P-07", 93.0, 1.92, "left", 14.0, 1.20, 1.00, 0.05, 0.005),
    InventedPerson("P-08", 61.5, 1.68, "right", 5.0, 0.87, 1.06, 0.06, 0.004),
)

DAY_SPREAD = 0.02
"""Standard deviation, from day to day, of a person's speed, as a share of it."""

TRIAL_SPREAD = {"mass": 0.03, "speed": 0.025, "push": 0.10}
"""The same from strike to strike."""


@dataclass(frozen=True, slots=True)
class Blow:
    """One invented strike."""

    person: str
    kind: str
    mass: float
    speed: float
    push: float
    side: str = ""
    after: float = 0.0
    """A second blow follows so many seconds later. [s]"""
    lean: float = 0.0
    """Force with which the person leans on the pad before. [N]"""


def throw(
    person: InventedPerson, strikes: list[tuple[str, str]], generator: np.random.Generator
) -> list[Blow]:
    """
    The strikes of one person on one day.

    Parameters
    ----------
    person : InventedPerson
        Who.
    strikes : list of (str, str)
        Type and side of each, in order.
    generator : numpy.random.Generator
        Draws the day and the strikes.

    Returns
    -------
    list of Blow
        One for each.
    """
    today = math.exp(DAY_SPREAD * generator.standard_normal())
    blows = []
    for i, (name, side) in enumerate(strikes):
        kind = KINDS[name]
        drawn = {part: math.exp(s * generator.standard_normal()) for part, s in TRIAL_SPREAD.items()}
        slower = (1.0 if side in ("", person.side) else 1.0 - person.weaker) * (1.0 - person.tires) ** i
        blows.append(
            Blow(
                person.code,
                name,
                mass=kind.mass * person.mass_factor * drawn["mass"],
                speed=kind.speed * person.speed_factor * today * slower * drawn["speed"],
                push=kind.push * person.mass_factor * drawn["push"],
                side=side,
            )
        )
    return blows
