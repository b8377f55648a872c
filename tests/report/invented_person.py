"""An invented person's course over sessions, for tests and for looking at reports: nobody was measured."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from quintain.domain.session_summary import Usual
from quintain.study.asymmetry import PersonAsymmetry
from quintain.study.person_course import (
    Kind,
    PersonProgress,
    PersonSummary,
    ProgressLine,
    SessionMean,
    SessionStrikes,
    SideLine,
)
from quintain.study.progress import ProgressRule, judge_progress

CROSS = Kind("cross", "right", "wall pad (invented)", 8, 3)
JAB = Kind("jab", "left", "wall pad (invented)", 1, 1)
FIRST = datetime(2026, 9, 1, 17, tzinfo=UTC)
SESSIONS = ("S-1", "S-2", "S-3")
MEANS = (30.0, 31.0, 36.0)
"""Of impulse. [N s]"""
RULE = ProgressRule(sem=1.0, sem_df=float("inf"), swc=1.0)


def person() -> PersonSummary:
    """Crosses of three sessions whose last impulse rose beyond error; one jab; no effective mass."""
    when = tuple(FIRST + timedelta(days=7 * i) for i in range(3))
    asymmetry = PersonAsymmetry("P-01", 3, 8, 0.1, (0.02, 0.18), 10.517, True)
    sides = (
        SideLine("cross", CROSS.rig, "impulse", asymmetry, ""),
        SideLine("cross", CROSS.rig, "peak_force", None, "one side states it only"),
    )
    lines = (
        ProgressLine("impulse", SESSIONS, when, (3, 3, 2), MEANS, (0.1, 0.1, 0.1),
                     judge_progress(SESSIONS, MEANS, RULE), "", 8),
        ProgressLine("effective_mass", (), (), (), (), (), None, "no strike states it", 0),
    )  # fmt: skip
    refused = "one session so far; progress needs a second one"
    jab = ProgressLine("impulse", SESSIONS[:1], when[:1], (1,), (18.0,), (0.1,), None, refused, 0)
    struck = [
        SessionStrikes(CROSS, name, at, n, {"impulse": SessionMean(mean, sd, n)})
        for name, at, n, mean, sd in zip(SESSIONS, when, (3, 3, 2), MEANS, (0.6, 0.8, 0.7), strict=True)
    ]
    return PersonSummary(
        code="P-01",
        erased=False,
        accepted=9,
        waiting=1,
        rejected=2,
        sessions=(*struck, SessionStrikes(JAB, "S-1", when[0], 1, {"impulse": SessionMean(18.0, None, 1)})),
        courses=(
            PersonProgress("P-01", (CROSS, JAB), CROSS, False, lines, sides),
            PersonProgress("P-01", (CROSS, JAB), JAB, False, (jab,), sides),
        ),
        usual={(CROSS, "impulse"): Usual(29.4, 31.9, 6)},
        methods="Force was corrected (invented).",
        method_sha256=("ab" * 32,),
        rig_versions=("cd" * 6,),
        data_sha256="ef" * 32,
        software="0.0",
        made="2026-11-25T15:00:00+00:00",
    )


def many_kinds() -> PersonSummary:
    """The same person with four kinds of strikes, each judged in four quantities."""
    one = person()
    names = ("impulse", "peak_force", "approach_speed", "effective_mass")
    cross = one.courses[0]
    kinds = tuple(
        Kind(type, side, CROSS.rig, 8, 3)
        for type, side in (
            ("cross", "right"),
            ("front kick", "left"),
            ("front kick", "right"),
            ("jab", "left"),
        )
    )
    lines = tuple(replace(cross.lines[0], quantity=name) for name in names)
    sides = tuple(
        replace(cross.sides[0], type=type, quantity=name) for type in ("cross", "jab") for name in names
    )
    told = {name: SessionMean(31.0, 0.8, 3) for name in names}
    return replace(
        one,
        courses=tuple(replace(cross, kinds=kinds, kind=kind, lines=lines, sides=sides) for kind in kinds),
        sessions=tuple(
            replace(session, kind=kind, quantities=told) for kind in kinds for session in one.sessions[:3]
        ),
        usual={(kind, name): Usual(29.4, 31.9, 6) for kind in kinds for name in names},
        methods="Force was corrected, and this sentence is as long as one of a methods paragraph is. " * 12,
    )
