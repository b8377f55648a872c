"""Progress of one person over sessions, judged by a rule fixed beforehand."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from quintain.domain.shared_error import Source
from quintain.errors import StudyError
from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.study.common_part import CommonPart, common_of_sum, with_common

__all__ = ["RULE", "Progress", "ProgressRule", "SessionChange", "Trend", "judge_progress"]


class ProgressRule(NamedTuple):
    """What is fixed before the person is measured again. In the unit of the values."""

    sem: float
    """Standard error of measurement of one session's mean, from a reliability study session to session."""
    sem_df: float
    """Its degrees of freedom; infinite if known for good. [1]"""
    swc: float
    """Smallest worthwhile change."""
    n_baseline: int = 1
    """Sessions at the start whose mean is the reference."""
    probability: float = 0.95
    """Of the intervals. [1]"""


RULE = (
    "A change is called real if its interval, the change plus or minus the minimal detectable change, "
    "leaves out 0, that is if it exceeds the minimal detectable change (wider where cell or sensor were "
    "calibrated anew in between); worthwhile if the whole interval "
    "lies beyond the smallest worthwhile change; trivial if the whole interval lies within it; otherwise "
    "unclear."
)
"""The rule in words, for page and paper."""


WIDER = 1.05
"""Interval of a change over the MDC from which it is said that calibrations show in it. [1]"""


class SessionChange(NamedTuple):
    """One later session against the reference."""

    session: str
    value: float
    change: float
    """Session less reference. [as the values]"""
    interval: tuple[float, float]
    real: bool
    """Beyond what error of measurement explains."""
    verdict: str
    """``worthwhile rise``, ``worthwhile fall``, ``trivial`` or ``unclear``."""
    common: CommonPart | None
    """What strikes share of the measurement uncertainty, in ``change``: little on one calibration. It is in
    ``interval``; None where it was not told apart, and then it is not."""

    @property
    def half(self) -> float:
        """Half the interval: the minimal detectable change, or more where calibrations changed."""
        return 0.5 * (self.interval[1] - self.interval[0])


class Trend(NamedTuple):
    """Straight line through all sessions in order."""

    slope: float
    """Change per session. [values' unit a session]"""
    interval: tuple[float, float]
    """From the error of measurement, not from the scatter about the line."""
    real: bool


class Progress(NamedTuple):
    """One person over sessions."""

    rule: ProgressRule
    reference: float
    """Mean of the baseline sessions. [as the values]"""
    mdc: float
    """Minimal detectable change of one session against this reference. [as the values]"""
    changes: tuple[SessionChange, ...]
    trend: Trend | None
    """None below three sessions."""
    words: str
    """The latest session, in a sentence."""

    def widened(self, change: SessionChange) -> bool:
        """Whether what strikes share makes the interval of a change wider than the MDC by a twentieth."""
        return change.half > WIDER * self.mdc


def _verdict(low: float, high: float, swc: float) -> str:
    if low > swc:
        return "worthwhile rise"
    if high < -swc:
        return "worthwhile fall"
    return "trivial" if -swc < low and high < swc else "unclear"


def judge_progress(
    sessions: Sequence[str],
    values: ArrayLike,
    rule: ProgressRule,
    *,
    common: Mapping[Source, ArrayLike] | None = None,
) -> Progress:
    r"""
    Judge one person's sessions against a rule fixed beforehand.

    Parameters
    ----------
    sessions : sequence of str
        Names, in order of time.
    values : array_like, shape (n,)
        Mean of the person's trials of each session. [any]
    rule : ProgressRule
        Error of measurement, smallest worthwhile change, baseline.
    common : mapping of Source to array_like of shape (n,), optional
        Signed contributions of shared errors to the value of each session. [as the values]

    Returns
    -------
    Progress
        Every session after the baseline, and the trend.

    Raises
    ------
    StudyError
        If no session follows the baseline, a value is missing, a session stands twice, or the rule is no
        rule.

    Notes
    -----
    :math:`\mathrm{MDC} = t\,\mathrm{SEM}\sqrt{1 + 1/b}` for b baseline sessions; b = 1 and a SEM known for
    good give the usual :math:`1.96\sqrt2\,\mathrm{SEM}` (Hopkins 2000, Sports Medicine 30, 1-15; Weir 2005,
    J. Strength Cond. Res. 19, 231-240; Student's t for a SEM from few people is derived here). The MDC is
    itself the half-width of the interval of a change, so "exceeds the MDC" and "leaves out 0" are one test.
    The SEM is the group's: a person less steady than most is called changed too often. Of twenty sessions
    each compared with the first one is called real by luck: judge the session named beforehand.

    A gain that is wrong moves all people of a session alike and is in no SEM. Calibrated anew between two
    sessions, it moves the change by what both calibrations are uncertain: the interval is then wider than the
    MDC (:func:`~quintain.study.common_part.half_interval`).

    Examples
    --------
    >>> rule = ProgressRule(sem=1.0, sem_df=float("inf"), swc=1.0)
    >>> p = judge_progress(["May", "June", "July"], [30.0, 31.5, 35.0], rule)
    >>> round(p.mdc, 2), [(c.real, c.verdict) for c in p.changes]
    (2.77, [(False, 'unclear'), (True, 'worthwhile rise')])
    """
    x = np.asarray(values, dtype=float)
    names = [str(s) for s in sessions]
    if x.shape != (len(names),) or not np.isfinite(x).all():
        raise StudyError(f"need one finite value a session, got {x.size} for {len(names)} sessions")
    if len(set(names)) < len(names):
        raise StudyError("a session stands twice; take the mean of each session first")
    if not (math.isfinite(rule.sem) and rule.sem > 0 and rule.swc > 0 and rule.n_baseline >= 1):
        raise StudyError("the rule needs an error of measurement and a smallest worthwhile change above 0")
    if x.size <= rule.n_baseline:
        raise StudyError(
            f"{x.size} session(s), {rule.n_baseline} of them the baseline: nothing to compare "
            "yet; measure again"
        )
    b = rule.n_baseline
    reference = float(x[:b].mean())
    se = rule.sem * math.sqrt(1 + 1 / b)
    mdc = coverage_factor(rule.probability, rule.sem_df) * se
    changes: list[SessionChange] = []
    for name, value in zip(names[b:], x[b:].tolist(), strict=True):
        d = value - reference
        weights = np.where(np.arange(x.size) < b, -1 / b, 0.0)
        weights[b + len(changes)] = 1.0
        shared = None if common is None else common_of_sum(common, weights)
        whole = with_common(d, se, rule.sem_df, shared, probability=rule.probability)
        ends = (d - mdc, d + mdc) if whole is None else whole.interval
        real = ends[0] > 0 or ends[1] < 0
        verdict = _verdict(ends[0], ends[1], rule.swc)
        changes.append(SessionChange(name, value, d, ends, real, verdict, shared))
    last = changes[-1]
    words = (
        f"{last.session}: {'real' if last.real else 'not told from error of measurement'}, {last.verdict} "
        f"({100 * rule.probability:.0f} % interval against the reference)."
    )
    return Progress(rule, reference, mdc, tuple(changes), _trend(x, rule, common), words)


def _trend(x: np.ndarray, rule: ProgressRule, common: Mapping[Source, ArrayLike] | None) -> Trend | None:
    if x.size < 3:
        return None
    order = np.arange(x.size) - (x.size - 1) / 2
    weights = order / float(order @ order)
    slope, se = float(weights @ x), rule.sem * math.sqrt(float(weights @ weights))
    shared = None if common is None else common_of_sum(common, weights)
    whole = with_common(slope, se, rule.sem_df, shared, probability=rule.probability)
    half = coverage_factor(rule.probability, rule.sem_df) * se
    low, high = (slope - half, slope + half) if whole is None else whole.interval
    return Trend(slope, (low, high), low > 0 or high < 0)
