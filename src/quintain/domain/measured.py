"""A value with its standard uncertainty, unit, definition and budget."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from quintain.quantities import GLOSSARY, Quantity

__all__ = ["Contribution", "Measured"]


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one source of doubt adds: its standard uncertainty in the unit of the result, with sign."""

    name: str
    u: float


@dataclass(frozen=True, slots=True)
class Measured:
    """
    One measured quantity.

    Parameters
    ----------
    quantity : str
        Name in the glossary, which gives unit, symbol and definition.
    value : float
        Best estimate, in the SI unit of the glossary.
    u : float or None
        Standard uncertainty; None only where it cannot be known, and then a flag says why.
    budget : tuple of Contribution
        Contributions to ``u`` by independent source, largest first.

    Examples
    --------
    >>> Measured.of("impulse", 38.42, [Contribution("zero", 0.12), Contribution("gain", 0.16)]).u
    0.2
    """

    quantity: str
    value: float
    u: float | None
    budget: tuple[Contribution, ...] = ()

    def __post_init__(self) -> None:
        if self.quantity not in GLOSSARY:
            raise KeyError(f"{self.quantity!r} is not in the glossary")

    @classmethod
    def of(cls, quantity: str, value: float, contributions: Iterable[Contribution]) -> Measured:
        """Combine independent contributions in quadrature (JCGM 100, 5.1.2)."""
        budget = tuple(sorted(contributions, key=lambda c: -abs(c.u)))
        return cls(quantity, float(value), math.sqrt(sum(c.u**2 for c in budget)), budget)

    @property
    def entry(self) -> Quantity:
        """The glossary's entry."""
        return GLOSSARY[self.quantity]

    @property
    def unit(self) -> str:
        """SI unit of value and uncertainty."""
        return self.entry.unit

    @property
    def expanded(self) -> float | None:
        """Expanded uncertainty, coverage factor 1.96 (95 % of a normal distribution)."""
        return None if self.u is None else 1.96 * self.u
