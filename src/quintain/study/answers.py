"""What a study answers: each question of its plan with the numbers that speak to it, or why none can."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quintain.domain.study_plan import StudyPlan
from quintain.numerics.agreement import Differences
from quintain.study.asymmetry import Asymmetry
from quintain.study.common_part import CommonPart, Whole
from quintain.study.compare import Comparison, Equivalence
from quintain.study.describe import Description, MeasurementShare
from quintain.study.fatigue import Fatigue
from quintain.study.mean_curves import MeanCurve
from quintain.study.methods_text import DoneStep
from quintain.study.mixed import MixedModel
from quintain.study.progress import Progress
from quintain.study.reliability import Icc, Reliability
from quintain.study.typical_error import TypicalError

__all__ = [
    "AgreementAnswer",
    "Answer",
    "Answers",
    "AsymmetryAnswer",
    "ComparisonAnswer",
    "Described",
    "FatigueAnswer",
    "MixedAnswer",
    "ProgressAnswer",
    "Refused",
    "ReliabilityAnswer",
    "StudyResult",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Described:
    """One quantity in numbers, group by group, and how much of its spread is measurement."""

    quantity: str
    by: str
    """The factor of the groups, or empty."""
    rows: tuple[Description, ...]
    measurement: tuple[MeasurementShare | None, ...]
    """Row by row; None where no uncertainty is stated, or nobody has two strikes."""


@dataclass(frozen=True, slots=True)
class ReliabilityAnswer:
    """Whether a number repeats; ``icc`` is the form that the plan asks for, ``words`` follow its rules."""

    quantity: str
    across: str
    group: str
    """Level of the plan's ``by``, or empty."""
    note: str
    """What the table holds."""
    mean: float
    """Of all in the table. [SI unit of the quantity]"""
    icc: Icc
    reliability: Reliability
    error: TypicalError
    words: str


@dataclass(frozen=True, slots=True)
class ComparisonAnswer:
    """Whether two levels differ; ``people`` are (code, mean at the first, at the second) where paired."""

    quantity: str
    factor: str
    comparison: Comparison
    p_holm: float
    """Adjusted over all pairs of levels of this quantity."""
    equivalence: Equivalence
    intervals: tuple[tuple[float, float], tuple[float, float]]
    """Of the mean at either level, over people."""
    people: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True)
class MixedAnswer:
    """A mixed model over all trials, people as random."""

    quantity: str
    factor: str
    model: MixedModel
    sd_intervals: tuple[tuple[float, float], ...]
    """Of the SD of each of the model's components. [as the values]"""


@dataclass(frozen=True, slots=True)
class AgreementAnswer:
    """How far two ways to measure the same people differ: first less second, one point a person."""

    quantity: str
    factor: str
    first: str
    second: str
    people: tuple[str, ...]
    mean: Floats
    difference: Floats
    limits: Differences
    common: CommonPart | None
    """What strikes share of the measurement uncertainty, in the bias; None where it was not told apart."""
    whole: Whole | None
    """Uncertainty of the bias as a true one, over people and ``common`` together; None as above."""


@dataclass(frozen=True, slots=True)
class FatigueAnswer:
    """How a quantity goes from strike to strike."""

    quantity: str
    fatigue: Fatigue


@dataclass(frozen=True, slots=True)
class AsymmetryAnswer:
    """Which side is the larger."""

    quantity: str
    asymmetry: Asymmetry


@dataclass(frozen=True, slots=True)
class ProgressAnswer:
    """How one person goes from session to session, against the group's error of measurement."""

    quantity: str
    person: str
    sessions: tuple[str, ...]
    values: tuple[float, ...]
    progress: Progress


Answer = (
    ReliabilityAnswer
    | ComparisonAnswer
    | MixedAnswer
    | AgreementAnswer
    | FatigueAnswer
    | AsymmetryAnswer
    | ProgressAnswer
)


@dataclass(frozen=True, slots=True)
class Refused:
    """A question that the data cannot answer, and why."""

    quantity: str
    question: str
    reason: str


@dataclass(frozen=True, slots=True)
class Answers:
    """All answers of a plan in its order, the refusals, and the steps that the methods paragraph tells."""

    described: tuple[Described, ...]
    answers: tuple[Answer, ...]
    refused: tuple[Refused, ...]
    steps: tuple[DoneStep, ...]


@dataclass(frozen=True, slots=True)
class StudyResult:
    """
    A study with everything that its report says.

    Parameters
    ----------
    plan : StudyPlan
        What was asked.
    answers : Answers
        What the strikes say to it.
    curves : tuple of (str, MeanCurve)
        Mean force curve of each type, where three people or more have one.
    methods : str
        The methods paragraph, from what was really done.
    n_strikes : int
        Strikes that went in.
    people, sessions, rigs : tuple of str
        Who, when, on what.
    left_out : tuple of (str, int)
        Why strikes of the selection did not go in, and how many.
    data_sha256 : str
        Hash of the values that went in.
    software, date : str
        Version, and when it was computed (ISO 8601).
    """

    plan: StudyPlan
    answers: Answers
    curves: tuple[tuple[str, MeanCurve], ...]
    methods: str
    n_strikes: int
    people: tuple[str, ...]
    sessions: tuple[str, ...]
    rigs: tuple[str, ...]
    left_out: tuple[tuple[str, int], ...]
    data_sha256: str
    software: str
    date: str
