"""How a rig stands today: its trends against its own history, and what is due."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from quintain.domain.measured import Measured
from quintain.domain.rig import Rig

__all__ = ["DueCheck", "RigState", "Trend"]


@dataclass(frozen=True, slots=True)
class Trend:
    """
    One quantity of a rig over its log.

    Limits come from all values but the newest; they are None while there are too few. ``average`` is
    the exponentially weighted moving average at each value, with its own limits; empty likewise.
    """

    quantity: str
    when: tuple[datetime, ...]
    values: tuple[Measured, ...]
    centre: float | None = None
    lower: float | None = None
    upper: float | None = None
    average: tuple[float, ...] = ()
    average_lower: tuple[float, ...] = ()
    average_upper: tuple[float, ...] = ()

    @property
    def known(self) -> bool:
        """Whether the log is long enough for limits."""
        return self.centre is not None

    @property
    def jumped(self) -> bool:
        """Whether the newest value lies outside the limits of those before it."""
        if self.lower is None or self.upper is None:
            return False
        return not self.lower <= self.values[-1].value <= self.upper

    @property
    def drifted(self) -> bool:
        """Whether the moving average has left its limits: a small shift that lasts."""
        if not self.average:
            return False
        return not self.average_lower[-1] <= self.average[-1] <= self.average_upper[-1]


@dataclass(frozen=True, slots=True)
class DueCheck:
    """One kind of check: when it was last done, and how many days it may rest."""

    kind: str
    last: datetime | None
    days_since: float | None
    allowed_days: float

    @property
    def overdue(self) -> bool:
        """Whether it was never done, or too long ago."""
        return self.days_since is None or self.days_since > self.allowed_days


@dataclass(frozen=True, slots=True)
class RigState:
    """
    How a rig stands.

    ``verdict`` is 'sound', 'doubt' or 'undecided' (nothing proves it yet); ``reasons`` say why in words.
    """

    rig: Rig
    verdict: str
    reasons: tuple[str, ...]
    trends: tuple[Trend, ...]
    due: tuple[DueCheck, ...]
    n_entries: int
    n_earlier_versions: int
