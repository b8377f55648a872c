"""
A value and its uncertainty as people read them: rounded by the uncertainty.

The expanded uncertainty keeps two digits when it begins with 1 or 2, else one, and the value follows
its last place (JCGM 100:2008, 7.2.6, asks for at most two digits; one or two by the leading digit is
common practice, no source). Thousands are parted by a narrow no-break space and the minus is U+2212.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Context, Decimal
from functools import lru_cache
from typing import NamedTuple

from quintain.domain.measured import Measured

__all__ = ["MINUS", "NARROW", "Shown", "number", "rounded", "rounded_change", "shown"]

NARROW = "\u202f"
"""Narrow no-break space: parts thousands."""

MINUS = "\u2212"

_UNKNOWN = "?"
_DIGITS_ALONE = 3
"""Significant digits of a value whose uncertainty is not known."""

_WIDE = Context(prec=800)
"""Holds every float to any place without overflow."""


class Shown(NamedTuple):
    """Value and expanded uncertainty (95 %) as text, in the unit people read."""

    value: str
    expanded: str
    unit: str

    @property
    def spread(self) -> str:
        """The right half of the spine: ``± 50 N``; the unit alone for a number that is exact."""
        return self.unit if self.expanded == "0" else f"± {self.expanded} {self.unit}".rstrip()

    @property
    def text(self) -> str:
        """The whole: ``3 220 ± 50 N``."""
        return f"{self.value} {self.spread}"


def shown(measured: Measured) -> Shown:
    """
    Round a measured value by its uncertainty, in the unit the glossary shows.

    Examples
    --------
    >>> shown(Measured("impulse", 38.4234, 0.21)).text
    '38.4 ± 0.4 N s'
    >>> shown(Measured("contact_time", 0.0354912, None)).text
    '35.5 ± ? ms'
    """
    entry = measured.entry
    factor = entry.shown_factor
    expanded = None if measured.expanded is None else measured.expanded * factor
    return Shown(
        *rounded(measured.value * factor, expanded), "" if entry.shown_unit == "1" else entry.shown_unit
    )


@lru_cache(maxsize=1 << 14)
def rounded(value: float, expanded: float | None) -> tuple[str, str]:
    """
    Value and expanded uncertainty as text.

    Parameters
    ----------
    value, expanded : float
        In the same unit; ``expanded`` is None, NaN or infinite where it is not known, and then reads
        ``?`` while the value keeps three significant digits.

    Examples
    --------
    >>> rounded(-8.6012, 0.1413)
    ('−8.60', '0.14')
    >>> rounded(1.0, 0.0999)
    ('1.00', '0.10')
    """
    if not math.isfinite(value):
        return _UNKNOWN, _UNKNOWN
    if expanded is None or not math.isfinite(expanded):
        alone = number(value, _DIGITS_ALONE)
        return (alone.rstrip("0").rstrip(".") if "." in alone else alone), _UNKNOWN
    if expanded == 0:
        return number(value, _DIGITS_ALONE), "0"
    place = _last_place(Decimal(repr(abs(float(expanded)))))
    return _at_place(Decimal(repr(float(value))), place), _at_place(
        Decimal(repr(abs(float(expanded)))), place
    )


def rounded_change(change: float, limit: float) -> tuple[str, str]:
    """
    A change with its sign, and the limit it is held against, told apart where one or two digits would not.

    Parameters
    ----------
    change, limit : float
        In the same unit; ``limit`` above 0.

    Examples
    --------
    >>> rounded_change(2.1, 0.42), rounded_change(-470.0, 458.0)
    (('+2.1', '0.4'), ('−470', '458'))
    """
    value, half = rounded(change, limit)
    if value.lstrip(MINUS) == half:
        value, half = number(change, 3), number(limit, 3)
    return f"+{value}" if change > 0 and value.strip("0.") else value, half


def number(value: float, digits: int) -> str:
    """
    One number with a count of significant digits.

    Examples
    --------
    >>> number(-12345.6, 4)
    '−12\u202f350'
    """
    exact = Decimal(repr(float(value)))
    place = 0 if exact == 0 else exact.adjusted() - digits + 1
    if exact and _quantize(exact, place).adjusted() > exact.adjusted():
        place += 1
    return _at_place(exact, place)


def _last_place(expanded: Decimal) -> int:
    """Power of ten of the last digit kept; 0.0951 keeps 0.10, since rounding makes it begin with 1."""
    two = _quantize(expanded, expanded.adjusted() - 1)
    begins_small = two.as_tuple().digits[0] in (1, 2)
    return two.adjusted() - 1 if begins_small else two.adjusted()


def _quantize(exact: Decimal, place: int) -> Decimal:
    return exact.quantize(Decimal(1).scaleb(place), ROUND_HALF_UP, _WIDE)


def _at_place(exact: Decimal, place: int) -> str:
    at_place = _quantize(exact, place)
    text = f"{abs(at_place):,f}".replace(",", NARROW)
    return f"{MINUS}{text}" if at_place < 0 else text
