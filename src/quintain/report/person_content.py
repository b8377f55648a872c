"""What the report of one person says: each kind now against then, then sessions, sides, rule and sources."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from quintain.domain.session_summary import Usual
from quintain.quantities import GLOSSARY
from quintain.report.cautions import STRIKE_CAUTIONS
from quintain.report.document import document
from quintain.report.figures.frame import CHARACTER
from quintain.report.figures.points import Level, Point, draw_points
from quintain.report.parts import Fact, Figure, as_words
from quintain.report.rounding import number, rounded, rounded_change
from quintain.report.shared_parts import named_parts
from quintain.report.verdict import Verdict
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
from quintain.study.progress import RULE, Progress, SessionChange

__all__ = [
    "Course",
    "PersonPage",
    "SessionRow",
    "SideRow",
    "Sides",
    "Standing",
    "judge_person",
    "person_content",
]

_SMALL = (270, 128)
"""Width and height of the figure of one quantity; four stand side by side. [px]"""

_LUCK = (
    "Of twenty sessions each compared with the first, one is called real by luck alone: name the session "
    "that counts beforehand."
)
_USUAL = (
    "Usual, the pale band of a figure: the middle 80 % of this person's own accepted strikes of that kind "
    "before the latest session, where there are five or more. Nobody is held against anybody else."
)
_WAITING = "Strikes that wait for review are counted: none of the kind is accepted."


@dataclass(frozen=True, slots=True)
class Standing:
    """One quantity of one kind, the latest session against the first; ``refused`` where it is not judged."""

    label: str
    first: str = ""
    now: str = ""
    change: str = ""
    spread: str = ""
    exact: str = ""
    swc: str = ""
    usual: str = ""
    words: str = ""
    real: bool = False
    refused: str = ""


@dataclass(frozen=True, slots=True)
class Course:
    """One kind of strike: what changed in a sentence, figures side by side, a line a quantity."""

    title: str
    note: str
    says: str
    figures: tuple[Figure, ...]
    standings: tuple[Standing, ...]


@dataclass(frozen=True, slots=True)
class SessionCell:
    """Mean and SD of a session; for a session between first and latest, its change and the rule's words."""

    value: str
    exact: str = ""
    change: str = ""
    change_exact: str = ""
    real: bool = False


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One session of one kind; ``kind`` is empty where the row above says it."""

    kind: str
    session: str
    day: str
    n: str
    cells: tuple[SessionCell, ...]


@dataclass(frozen=True, slots=True)
class RigSessions:
    """Sessions on one rig; another pad gives other forces."""

    where: str
    rows: tuple[SessionRow, ...]


@dataclass(frozen=True, slots=True)
class SideRow:
    """Left over right in one quantity; places on the scale of all rows in per cent from its left end."""

    label: str
    percent: str = ""
    exact: str = ""
    interval: str = ""
    words: str = ""
    at: float = 0.0
    ends: tuple[float, float] | None = None
    refused: str = ""


@dataclass(frozen=True, slots=True)
class Sides:
    """Left against right in one type on one rig."""

    title: str
    rows: tuple[SideRow, ...]


@dataclass(frozen=True, slots=True)
class PersonPage:
    """All that the page says besides verdict, definitions, provenance and cautions."""

    courses: tuple[Course, ...]
    unjudged: tuple[str, ...]
    columns: tuple[str, ...]
    rigs: tuple[RigSessions, ...]
    sides: tuple[Sides, ...]
    alike: float
    """Where left equals right on the scale of the sides, in per cent from its left end."""
    rule: tuple[str, ...]
    methods: str


def judge_person(summary: PersonSummary) -> Verdict:
    """What changed beyond the error of measurement in the kind struck most, and what cannot be told yet."""
    if not summary.courses:
        return Verdict(
            "open", "Undecided", f"No strike of {summary.code} is told yet.",
            "Tag strikes with this code in review, or plan a session and tag by its plan.",
        )  # fmt: skip
    course = summary.courses[0]
    assert course.kind is not None
    what = _what(course.kind)
    why = _WAITING if course.unreviewed else ""
    judged = _judged(course)
    if not judged:
        reason = next((line.refused for line in course.lines if line.refused), "no quantity is stated")
        return Verdict("open", "Undecided", f"Progress in {what} cannot be judged yet: {reason}.", why)
    since = judged[0][0].sessions
    sentence = f"{_capital(what)}, {since[-1]} against {since[0]}: {_changed(course)}."
    if course.unreviewed:
        return Verdict("doubt", "With doubt", sentence, why)
    return Verdict("sound", "Sound", sentence)


def _judged(course: PersonProgress) -> list[tuple[ProgressLine, Progress]]:
    return [(line, line.progress) for line in course.lines if line.progress is not None]


def _changed(course: PersonProgress) -> str:
    """What the latest session changed in any quantity, in half a sentence."""
    real = [
        f"{_label(line.quantity)} {'rose' if progress.changes[-1].change > 0 else 'fell'}"
        for line, progress in _judged(course)
        if progress.changes[-1].real
    ]
    if real:
        return f"{_joined(real)} beyond the error of measurement"
    return "no change beyond the error of measurement"


def person_content(summary: PersonSummary, *, invented: bool) -> dict[str, Any]:
    """Everything the report says, as words ready to set."""
    names = tuple(dict.fromkeys(line.quantity for c in summary.courses for line in c.lines if line.sessions))
    counted = sum(one.n for one in summary.sessions)
    sessions = sorted({one.session for one in summary.sessions})
    rigs = sorted({one.kind.rig for one in summary.sessions if one.kind.rig})
    erased = (
        "What identified this person was erased; the strikes remain under the code." if summary.erased else ""
    )
    sides, alike = _sides(summary.courses[0].sides if summary.courses else ())
    page = PersonPage(
        courses=tuple(_course(course, summary) for course in summary.courses if _judged(course)),
        unjudged=_unjudged(summary.courses),
        columns=tuple(_named(name) for name in names),
        rigs=_rigs(summary, names),
        sides=sides,
        alike=alike,
        rule=(RULE, _LUCK, _USUAL) if summary.courses else (),
        methods=summary.methods or "Nothing was computed.",
    )
    said: dict[str, Any] = as_words(page)
    return said | document(
        title=f"Person {summary.code}",
        kind="report of a person",
        file=f"person {summary.code}",
        invented=invented,
        verdict=judge_person(summary),
        why=erased,
        sections=(),
        cautions=STRIKE_CAUTIONS,
        names=names,
        provenance=(
            Fact("Person", f"{summary.code}, known by this code alone"),
            Fact("Sessions", ", ".join(sessions) or "none"),
            Fact("Software", f"quintain {summary.software}"),
            Fact("Rigs", ", ".join(rigs) or "not stated"),
            Fact("Methods", ", ".join(m[:12] for m in summary.method_sha256) or "none", mono=True),
            Fact("Rig versions", ", ".join(v[:12] for v in summary.rig_versions) or "none", mono=True),
            Fact("Strikes", f"{summary.accepted} accepted, {summary.waiting} waiting, "
                 f"{summary.rejected} rejected; {counted} counted here"),
            Fact("Values that went in", summary.data_sha256, mono=True),
        ),
        software=summary.software,
        date=summary.made,
    )  # fmt: skip


# -- each kind, now against then


def _course(course: PersonProgress, summary: PersonSummary) -> Course:
    kind = course.kind
    assert kind is not None
    own = [one for one in summary.sessions if one.kind == kind]
    judged = _judged(course)
    ends = judged[0][0].sessions
    people = sorted({line.n_people for line, _ in judged})
    note = (
        f"on {_rig(kind)}, {ends[-1]} against {ends[0]}; error of measurement from "
        f"{' to '.join(map(str, dict.fromkeys((people[0], people[-1]))))} people in the same sessions"
    )
    figures, standings = [], []
    for line in course.lines:
        usual = summary.usual.get((kind, line.quantity))
        if line.progress is None:
            standings.append(Standing(_named(line.quantity), refused=_sentence(line.refused)))
        else:
            standings.append(_standing(line, line.progress, usual, ends))
            figures.append(_figure(line, line.progress, own, usual))
    says = f"{_capital(_changed(course))}.{' ' + _WAITING if course.unreviewed else ''}"
    return Course(_capital(_what(kind)), note, says, tuple(figures), tuple(standings))


def _standing(line: ProgressLine, progress: Progress, usual: Usual | None, ends: Sequence[str]) -> Standing:
    """Values are rounded by what is detectable, so that a change can be read off them."""
    factor = GLOSSARY[line.quantity].shown_factor
    last = progress.changes[-1]
    value, half = rounded_change(last.change * factor, last.half * factor)

    def said(session: str, place: int) -> str:
        shown = rounded(line.means[place] * factor, progress.mdc * factor)[0]
        return shown if session == ends[place] else f"{shown} in {session}"

    return Standing(
        _named(line.quantity),
        first=said(line.sessions[0], 0),
        now=said(last.session, -1),
        change=value,
        spread=f"±\u00a0{half}",
        exact=repr(last.change),
        swc=rounded(progress.rule.swc * factor, progress.rule.swc * factor)[1],
        usual="" if usual is None else f"{_range(usual, factor)}, of {usual.n}",
        words=_by_the_rule(last, progress, line.quantity),
        real=last.real,
    )


def _by_the_rule(change: SessionChange, progress: Progress, quantity: str) -> str:
    said = f"{'real' if change.real else 'not beyond error'}; {change.verdict}"
    if change.common is not None and progress.widened(change):
        named = f"{named_parts(change.common, quantity)} {_unit(quantity)}".rstrip()
        said += f"; calibrated anew in between ({named})"
    return said


def _range(usual: Usual, factor: float) -> str:
    return f"{number(usual.low * factor, 3)} to {number(usual.high * factor, 3)}"


def _figure(line: ProgressLine, progress: Progress, own: list[SessionStrikes], usual: Usual | None) -> Figure:
    """Sessions in order, each with the SD between its strikes; the usual range and the limits of a change."""
    factor, unit = GLOSSARY[line.quantity].shown_factor, _unit(line.quantity)
    spread = {one.session: one.quantities[line.quantity].sd for one in own if line.quantity in one.quantities}
    points = [
        Point(float(i), mean, spread.get(session))
        for i, (session, mean) in enumerate(zip(line.sessions, line.means, strict=True))
    ]
    levels = [
        Level(progress.reference, "first"),
        Level(progress.reference + progress.mdc, "+ MDC", limit=True),
        Level(progress.reference - progress.mdc, "− MDC", limit=True),
    ]
    band = ""
    if usual is not None:
        middle, half = 0.5 * (usual.low + usual.high), 0.5 * (usual.high - usual.low)
        levels.insert(0, Level(middle, "", band=half, line=False))
        band = "; pale: the usual range"
    said = ", ".join(
        f"{s} {number(v * factor, 3)} {unit}".rstrip() for s, v in zip(line.sessions, line.means, strict=True)
    )
    label = (
        f"{GLOSSARY[line.quantity].label} by session with the SD between strikes, dashed: the first session "
        f"plus and minus the minimal detectable change{band}: {said}"
    )
    svg = draw_points(
        points,
        name=_named(line.quantity),
        x_unit="",
        label=label,
        levels=levels,
        x_words=_under_the_points(line.sessions),
        y_factor=factor,
        width=_SMALL[0],
        height=_SMALL[1],
    )
    return Figure(svg, label)


def _under_the_points(sessions: Sequence[str]) -> list[tuple[float, str]]:
    """Names of the sessions where there is room, else of the first and the latest, else their numbers."""
    room = (_SMALL[0] - 110) / CHARACTER
    words = [(float(i), name) for i, name in enumerate(sessions)]
    if max(map(len, sessions)) * len(sessions) <= room:
        return words
    ends = [words[0], words[-1]]
    if max(len(name) for _, name in ends) <= room / 2:
        return ends
    return [(i, str(round(i) + 1)) for i, _ in ends]


def _unjudged(courses: Sequence[PersonProgress]) -> tuple[str, ...]:
    """Kinds that cannot be judged in any quantity: one sentence a reason."""
    kinds: dict[str, list[str]] = {}
    for course in courses:
        if not _judged(course):
            assert course.kind is not None
            reason = "; ".join(dict.fromkeys(line.refused for line in course.lines))
            waiting = " (strikes that wait are counted)" if course.unreviewed else ""
            kinds.setdefault(reason, []).append(f"{_what(course.kind)} on {_rig(course.kind)}{waiting}")
    return tuple(f"{_capital('; '.join(whats))}: {reason.rstrip('.')}." for reason, whats in kinds.items())


# -- from session to session


def _rigs(summary: PersonSummary, names: tuple[str, ...]) -> tuple[RigSessions, ...]:
    between = {
        (course.kind, change.session, line.quantity): change
        for course in summary.courses
        for line, progress in _judged(course)
        for change in progress.changes[:-1]
    }
    rows: dict[str, list[SessionRow]] = {}
    above: Kind | None = None
    for one in summary.sessions:
        cells = tuple(
            _cell(one.quantities.get(name), between.get((one.kind, one.session, name)), name)
            for name in names
        )
        kind = "" if one.kind == above else _what(one.kind)
        day = f"{one.when:%Y-%m-%d}" if one.when else "–"
        rows.setdefault(_rig(one.kind), []).append(SessionRow(kind, one.session, day, str(one.n), cells))
        above = one.kind
    return tuple(RigSessions(f"On {where}", tuple(own)) for where, own in rows.items())


def _cell(told: SessionMean | None, change: SessionChange | None, name: str) -> SessionCell:
    if told is None:
        return SessionCell("–")
    factor = GLOSSARY[name].shown_factor
    if told.sd:
        # a mean of strikes is rounded by the SD between them, which says how far single strikes lie from it
        value, spread = rounded(told.mean * factor, told.sd * factor)
    else:
        value, spread = number(told.mean * factor, 3), "–"
    exact = repr(told.mean)
    if change is None:
        return SessionCell(f"{value} ({spread})", exact)
    moved = rounded_change(change.change * factor, change.half * factor)[0]
    said = f"{moved}, {'real; ' if change.real else ''}{change.verdict}"
    return SessionCell(f"{value} ({spread})", exact, said, repr(change.change), change.real)


# -- left against right


def _sides(lines: Sequence[SideLine]) -> tuple[tuple[Sides, ...], float]:
    """Left against right by type and rig on one scale, and where on it the sides are alike."""
    ends = [0.0]
    for line in lines:
        if line.asymmetry is not None:
            ends += [line.asymmetry.percent, *(_interval(line.asymmetry) or ())]
    low, high = min(ends), max(ends)

    def at(percent: float) -> float:
        return round(100 * (percent - low) / ((high - low) or 1.0), 1)

    found = []
    for (type, rig), group in groupby(lines, lambda line: (line.type, line.rig)):
        title = f"{_capital(type)}, on {rig or 'no stated rig'}"
        rows = tuple(_side(line, at) for line in group)
        if len(rows) > 1 and len({row.refused for row in rows}) == 1 and rows[0].refused:
            rows = (SideRow("Every quantity", refused=rows[0].refused),)
        found.append(Sides(title, rows))
    return tuple(found), at(0.0)


def _side(line: SideLine, at: Callable[[float], float]) -> SideRow:
    label, own = GLOSSARY[line.quantity].label, line.asymmetry
    if own is None:
        return SideRow(label, refused=line.refused)
    larger = "alike" if abs(own.percent) < 0.5 else "left larger" if own.percent > 0 else "right larger"
    beyond = {None: "too few strikes for an interval", True: "beyond own scatter",
              False: "not beyond own scatter"}[own.beyond_own_spread]  # fmt: skip
    between = _interval(own)
    return SideRow(
        label,
        percent=f"{_signed(own.percent)} %",
        exact=repr(own.percent),
        interval="" if between is None else f"{_signed(between[0])} to {_signed(between[1])} %",
        words=f"{larger}; {beyond}",
        at=at(own.percent),
        ends=None if between is None else (at(between[0]), at(between[1])),
    )


def _interval(own: PersonAsymmetry) -> tuple[float, float] | None:
    """Interval of the left over the right. [per cent of the right]"""
    if own.interval is None:
        return None
    low, high = (100 * math.expm1(end) for end in own.interval)
    return low, high


def _signed(percent: float) -> str:
    said = number(percent, 2 if abs(percent) >= 1 else 1)
    return f"+{said}" if percent > 0 else said


# -- words


def _what(kind: Kind) -> str:
    return f"{kind.type}, {kind.side}" if kind.side else kind.type


def _rig(kind: Kind) -> str:
    return kind.rig or "no stated rig"


def _label(quantity: str) -> str:
    label = GLOSSARY[quantity].label
    return label[:1].lower() + label[1:]


def _unit(quantity: str) -> str:
    unit = GLOSSARY[quantity].shown_unit
    return "" if unit == "1" else unit


def _named(quantity: str) -> str:
    """Label and unit, as axes and heads say it."""
    unit = _unit(quantity)
    return f"{GLOSSARY[quantity].label}, {unit}" if unit else GLOSSARY[quantity].label


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _sentence(words: str) -> str:
    return f"{_capital(words).rstrip('.')}." if words else ""


def _joined(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
