"""A study's plan: what is asked of which strikes, fixed before the numbers are looked at."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from quintain.domain.history import hash_of
from quintain.domain.person import check_code
from quintain.domain.toml_schema import parse_toml, read_toml
from quintain.errors import StudyPlanError
from quintain.quantities import GLOSSARY

__all__ = [
    "FACTORS",
    "Agreement",
    "Comparison",
    "Reliability",
    "Rules",
    "Select",
    "StudyPlan",
    "Trend",
]

FACTORS = ("type", "side", "session", "rig", "method")
"""By what strikes of the same people can be compared."""


def _number(unit: str = "", **limits: float) -> dict[str, Any]:
    return {"unit": unit, **limits}


@dataclass(frozen=True, slots=True)
class Select:
    """
    Which strikes the study is about; an empty list leaves nothing out.

    ``unreviewed`` also takes strikes that wait for their review.
    """

    sessions: tuple[str, ...] = ()
    people: tuple[str, ...] = ()
    types: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()
    rigs: tuple[str, ...] = ()
    without_flags: tuple[str, ...] = ()
    """Strikes with one of these flags are left out."""
    unreviewed: bool = False


@dataclass(frozen=True, slots=True)
class Reliability:
    """
    Does a number repeat: from session to session (means of a person's trials) or from trial to trial.

    ``by`` repeats the question for each type or side.
    """

    across: str = field(default="session", metadata={"choices": ("session", "trial")})
    model: str = field(default="2,1", metadata={"choices": ("1,1", "2,1", "3,1", "1,k", "2,k", "3,k")})
    by: str = field(default="", metadata={"choices": ("", "type", "side")})


@dataclass(frozen=True, slots=True)
class Comparison:
    """
    Do levels of a factor differ: types, sides, sessions, rigs or methods.

    ``paired`` compares within people; otherwise the levels hold different people. With ``mixed`` a model
    with people as random effects is fitted over all trials too.
    """

    factor: str = field(metadata={"choices": FACTORS})
    levels: tuple[str, ...] = ()
    paired: bool = True
    mixed: bool = False


@dataclass(frozen=True, slots=True)
class Agreement:
    """Do two rigs or two methods give the same: differences of the same people's means."""

    factor: str = field(metadata={"choices": ("rig", "method", "session")})
    levels: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Trend:
    """How a number goes within a series (fatigue) or over sessions (progress), or which side leads."""

    kind: str = field(metadata={"choices": ("fatigue", "progress", "asymmetry")})


@dataclass(frozen=True, slots=True)
class Rules:
    """
    Words that follow from numbers by a rule fixed beforehand.

    Lower ends of the interval of the ICC above which a number is said to tell people, or groups, apart;
    the smallest worthwhile change as a share of the spread between people; the probability of intervals.
    """

    tells_people: float = field(default=0.75, metadata=_number("", at_least=0, at_most=1))
    tells_groups: float = field(default=0.5, metadata=_number("", at_least=0, at_most=1))
    worthwhile: float = field(default=0.2, metadata=_number("", above=0, at_most=2))
    probability: float = field(default=0.95, metadata=_number("", above=0.5, at_most=0.999))
    seed: int = field(default=1, metadata=_number("", at_least=0))


@dataclass(frozen=True, slots=True)
class StudyPlan:
    """
    A study's plan as its ``study.toml`` states it.

    Parameters
    ----------
    code, title, question : str
        What it is called, and what it asks.
    quantities : tuple of str
        Glossary names.
    select : Select
        Which strikes.
    reliability, comparison, agreement, trend : tuple
        Questions asked of them, each any number of times.
    rules : Rules
        From numbers to words.

    Examples
    --------
    >>> plan = StudyPlan.from_toml('''
    ... code = "days"
    ... title = "From day to day (invented)"
    ... quantities = ["impulse"]
    ... [[reliability]]
    ... across = "session"
    ... ''')
    >>> plan.reliability[0].model
    '2,1'
    """

    code: str
    title: str
    quantities: tuple[str, ...]
    question: str = ""
    select: Select = Select()
    reliability: tuple[Reliability, ...] = ()
    comparison: tuple[Comparison, ...] = ()
    agreement: tuple[Agreement, ...] = ()
    trend: tuple[Trend, ...] = ()
    rules: Rules = Rules()

    def __post_init__(self) -> None:
        check_code(self.code)
        if not self.quantities:
            raise ValueError("name at least one quantity, e.g. quantities = ['impulse']")
        unknown = [name for name in self.quantities if name not in GLOSSARY]
        if unknown:
            raise ValueError(
                f"not in the glossary: {', '.join(unknown)}; names are as in JSON, e.g. peak_force"
            )
        if not (self.reliability or self.comparison or self.agreement or self.trend):
            raise ValueError("ask something: [[reliability]], [[comparison]], [[agreement]] or [[trend]]")

    @classmethod
    def from_toml(cls, text: str, *, origin: str = "study") -> StudyPlan:
        """Parse the text of a study's plan; errors name ``origin`` and the line."""
        return parse_toml(text, cls, origin=origin, error=StudyPlanError)

    @classmethod
    def load(cls, path: str | Path) -> StudyPlan:
        """
        Read a study's plan.

        Raises
        ------
        StudyPlanError
            If the file cannot be read or holds an entry that cannot be used.
        """
        return read_toml(path, cls, what="study", error=StudyPlanError)

    @property
    def sha256(self) -> str:
        """Hash of everything the plan states."""
        return hash_of(dataclasses.asdict(self))
