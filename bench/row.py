"""One measured figure beside its goal."""

from __future__ import annotations

import os
from dataclasses import dataclass

__all__ = ["Row"]


@dataclass(frozen=True)
class Row:
    """A figure, its unit and the goal it is held against (None: shown only)."""

    what: str
    figure: float
    unit: str
    at_most: float | None = None
    at_least: float | None = None

    @property
    def met(self) -> bool:
        """Whether the goal is reached."""
        return (self.at_most is None or self.figure <= self.at_most) and (
            self.at_least is None or self.figure >= self.at_least
        )

    def __str__(self) -> str:
        goal = ""
        if self.at_most is not None:
            goal = f"  (goal: at most {self.at_most:g})"
        if self.at_least is not None:
            goal = f"  (goal: at least {self.at_least:g})"
        mark = "ok  " if self.met else "MISS"
        return f"{mark} {self.what}: {self.figure:.4g} {self.unit}{goal}  [{os.cpu_count()} cores]"
