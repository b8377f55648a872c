"""Judge a rig by its own log: control charts, and what is due."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from quintain.domain.rig import Rig
from quintain.domain.rig_log import LogEntry
from quintain.domain.rig_state import DueCheck, RigState, Trend
from quintain.numerics.control_chart import FEWEST_POINTS, chart_ewma, chart_individuals
from quintain.quantities import GLOSSARY
from quintain.tasks.rig_file import earlier_versions, read_log

__all__ = ["judge_rig", "rig_state"]


def rig_state(path: str | Path, *, now: datetime | None = None) -> RigState:
    """
    Say how a rig stands.

    Parameters
    ----------
    path : path
        The rig file; its log lies beside it.
    now : datetime.datetime, optional
        The instant to judge for; this one if not given.

    Returns
    -------
    RigState
        Verdict with reasons, trends of everything the log holds, and what is due.

    Raises
    ------
    RigFileError
        If the rig file or its log cannot be read.
    """
    return judge_rig(Rig.load(path), read_log(path), len(earlier_versions(path)), now=now)


def judge_rig(
    rig: Rig, log: Sequence[LogEntry], n_earlier_versions: int = 0, *, now: datetime | None = None
) -> RigState:
    """Say how a rig stands by a log at hand, oldest entry first; :func:`rig_state` reads it from files."""
    now = now or datetime.now(UTC)
    trends = _trends(log)
    due = _due(rig, log, now)
    verdict, reasons = _judge(log, trends, due)
    return RigState(rig, verdict, tuple(reasons), trends, due, len(log), n_earlier_versions)


def _trends(log: Sequence[LogEntry]) -> tuple[Trend, ...]:
    # a calibration's gain is the rig file's own, a drop test's is what was left to correct: never one chart
    tests = [entry for entry in log if entry.kind != "calibration"]
    names = [name for name in GLOSSARY if any(name in entry.values for entry in tests)]
    return tuple(_trend(name, [entry for entry in tests if name in entry.values]) for name in names)


def _trend(name: str, entries: Sequence[LogEntry]) -> Trend:
    when = tuple(entry.when for entry in entries)
    values = tuple(entry.values[name] for entry in entries)
    history = len(values) - 1
    if history < FEWEST_POINTS:
        return Trend(name, when, values)
    numbers = [m.value for m in values]
    single = chart_individuals(numbers, n_baseline=history)
    average = chart_ewma(numbers, n_baseline=history)
    return Trend(
        name,
        when,
        values,
        single.centre,
        single.lower,
        single.upper,
        tuple(average.average.tolist()),
        tuple(average.lower.tolist()),
        tuple(average.upper.tolist()),
    )


def _due(rig: Rig, log: Sequence[LogEntry], now: datetime) -> tuple[DueCheck, ...]:
    allowed = {
        "tap": rig.due.tap_days,
        "drops": rig.due.drops_days,
        "calibration": rig.due.calibration_days,
    }
    checks = []
    for kind, days in allowed.items():
        last = max((entry.when for entry in log if entry.kind == kind), default=None)
        if kind == "calibration" and last is None and rig.calibration.date is not None:
            last = datetime.combine(rig.calibration.date, datetime.min.time(), tzinfo=UTC)
        since = None if last is None else (now - last).total_seconds() / 86_400
        checks.append(DueCheck(kind, last, since, days))
    return tuple(checks)


def _judge(
    log: Sequence[LogEntry], trends: Sequence[Trend], due: Sequence[DueCheck]
) -> tuple[str, list[str]]:
    reasons = []
    drops = [entry for entry in log if entry.kind == "drops"]
    if not drops:
        reasons.append("no drop test in the log proves the chain: make one")
    elif drops[-1].verdict != "pass":
        reasons.append(f"the last drop test ended '{drops[-1].verdict or 'without a verdict'}'")
    if drops and any(entry.kind == "calibration" and entry.when > drops[-1].when for entry in log):
        reasons.append("calibrated after the last drop test, which proved the chain before that: drop again")
    for trend in trends:
        label = GLOSSARY[trend.quantity].label.lower()
        if trend.jumped:
            reasons.append(f"{label}: the newest value lies outside the limits of this rig's own history")
        elif trend.drifted:
            reasons.append(f"{label}: a small shift that lasts")
    for check in due:
        if check.last is None:
            reasons.append(f"{check.kind}: never done")
        elif check.overdue:
            reasons.append(
                f"{check.kind}: last done {check.days_since:.0f} days ago, allowed are {check.allowed_days:g}"
            )
    if not drops or drops[-1].verdict == "undecided":
        return "undecided", reasons
    return ("doubt" if reasons else "sound"), reasons
