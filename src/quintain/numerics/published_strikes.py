"""
Ranges of what has been published of human strikes, to doubt what lies outside them.

They tell a slip of unit or sensor from a blow, and nothing about a person: rigs, pads and definitions
differ between studies, and a mean of trials is no limit of what people can do.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["RANGES", "PublishedRange", "implausible"]


class PublishedRange(NamedTuple):
    """Range in SI units and where its ends come from."""

    lowest: float
    highest: float
    source: str


_WIDER = "; widened by half at both ends, which is our choice"

RANGES: dict[str, dict[str, PublishedRange]] = {
    "punch": {
        "speed": PublishedRange(
            1.0, 17.0,
            "2.86 m/s (arm, three-inch punch: Gulledge & Dapena 2008, J. Sports Sci. 26:189) to "
            "9.14 + 2.06 m/s (Walilko et al. 2005, Br. J. Sports Med. 39:710)" + _WIDER,
        ),
        "mass": PublishedRange(
            0.3, 23.0,
            "0.9 kg (2.9 - 2.0 kg, Walilko et al. 2005) to 15.1 kg (impulse over speed of the arm, from "
            "Gulledge & Dapena 2008)" + _WIDER,
        ),
        "peak_force": PublishedRange(
            50.0, 8000.0,
            "790 N (Gulledge & Dapena 2008) to 5027 N (4800 + 227 N, Smith et al. 2000, J. Sports Sci. "
            "18:441, from memory); light strikes are real, so the lower end only tells a wrong unit" + _WIDER,
        ),
    },
    "kick": {
        "speed": PublishedRange(
            1.5, 27.0, "5.2 to 18.3 m/s (88 studies: Corcoran et al. 2024, Sports 12:74)" + _WIDER
        ),
        "mass": PublishedRange(0.3, 40.0, "no source found; a leg with a good part of the trunk, our choice"),
        "peak_force": PublishedRange(
            50.0, 13500.0, "122.6 to 9015 N (88 studies: Corcoran et al. 2024, Sports 12:74)" + _WIDER
        ),
    },
}  # fmt: skip
"""By kind of strike: 'punch' for all strikes of hand and arm, 'kick' for those of the leg."""


def implausible(kind: str, **values: float) -> tuple[tuple[str, float, PublishedRange], ...]:
    """
    Tell which values lie outside what has been published.

    Parameters
    ----------
    kind : str
        'punch', 'kick', or 'any' for the wider of both.
    **values : float
        'speed' [m/s], 'mass' [kg], 'peak_force' [N].

    Returns
    -------
    tuple of (name, value, PublishedRange)
        One for each value outside its range.

    Raises
    ------
    ValueError
        If the kind or a name is not known.

    Examples
    --------
    A hand at 25 m/s:

    >>> [(name, value) for name, value, _ in implausible("punch", speed=25.0, mass=2.9)]
    [('speed', 25.0)]
    """
    if kind not in ("any", *RANGES):
        raise ValueError(f"kind must be any or one of {', '.join(RANGES)}, got {kind!r}")
    found = []
    for name, value in values.items():
        ranges = [RANGES[k].get(name) for k in (RANGES if kind == "any" else (kind,))]
        known = [r for r in ranges if r is not None]
        if not known:
            raise ValueError(f"no range is known for {name!r}; known are {', '.join(RANGES['punch'])}")
        widest = PublishedRange(
            min(r.lowest for r in known), max(r.highest for r in known), "; ".join(r.source for r in known)
        )
        if not widest.lowest <= value <= widest.highest:
            found.append((name, value, widest))
    return tuple(found)
