"""A person who strikes: a code, a few facts, and apart from them what identifies."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

__all__ = ["FACTS", "IDENTIFYING", "LIMITS", "SIDES", "Identity", "PersonFacts", "check_code"]

SIDES = ("", "left", "right")
"""Empty where it is not stated or makes no difference."""

LIMITS: dict[str, tuple[float, float, str]] = {
    "body_mass": (10.0, 300.0, "kg"),
    "height": (0.5, 2.6, "m"),
    "experience": (0.0, 90.0, "years"),
}
"""
Lowest and highest plausible value, and the unit; they catch slips such as centimetres.

Common practice, no source.
"""

FACTS = ("body_mass", "height", "side", "experience", "note")
"""What a lab may state of a person under their code."""

IDENTIFYING = ("name", "contact", "born", "note")
"""What stands in the separate table alone."""

_CODE = re.compile(r"\w[\w.\-]{0,39}")
_BORN = re.compile(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?")


@dataclass(frozen=True, slots=True)
class PersonFacts:
    """
    What a lab states of a person; None or empty where it states nothing.

    Parameters
    ----------
    body_mass : float or None
        [kg]
    height : float or None
        [m]
    side : str
        The stronger side, 'left' or 'right'.
    experience : float or None
        Years of training.
    note : str
        Anything else that does not identify.

    Raises
    ------
    ValueError
        If a value is not plausible; the message gives the limits with their unit.

    Examples
    --------
    >>> PersonFacts(height=178.0)
    Traceback (most recent call last):
    ...
    ValueError: height must lie from 0.5 to 2.6 m, got 178 m
    """

    body_mass: float | None = None
    height: float | None = None
    side: str = ""
    experience: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        for name, (low, high, unit) in LIMITS.items():
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                words = name.replace("_", " ")
                raise ValueError(f"{words} must lie from {low:g} to {high:g} {unit}, got {value:g} {unit}")
        if self.side not in SIDES:
            raise ValueError(f"side must be 'left', 'right' or empty, got {self.side!r}")


@dataclass(frozen=True, slots=True)
class Identity:
    """
    What identifies a person.

    Parameters
    ----------
    name, contact, note : str
        As the person wants it.
    born : str
        Year, month or day of birth: '1990', '1990-05' or '1990-05-17'.

    Raises
    ------
    ValueError
        If a value cannot be kept as it is.
    """

    name: str = ""
    contact: str = ""
    born: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.born and not _BORN.fullmatch(self.born):
            # the value itself is not repeated: messages end up in logs
            raise ValueError("born must be a year, a month or a day, as 1990, 1990-05 or 1990-05-17")
        for name, longest in (("name", 200), ("contact", 300)):
            if len(getattr(self, name)) > longest:
                raise ValueError(f"{name} is longer than {longest} letters")


def check_code(code: str) -> str:
    """
    A person's, session's or study's code as it may be written.

    Parameters
    ----------
    code : str
        At most 40 letters, digits, points, hyphens and underscores; a letter or digit first, so that no
        spreadsheet takes it for a formula.

    Returns
    -------
    str
        The code.

    Raises
    ------
    ValueError
        If it has another form.

    Examples
    --------
    >>> check_code("P07")
    'P07'
    """
    if not _CODE.fullmatch(code) or code.startswith("_"):
        raise ValueError(
            f"a code is 1 to 40 letters, digits, points, hyphens or underscores and starts with a letter or "
            f"digit, got {code[:60]!r}"
        )
    return code
