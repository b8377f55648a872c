"""The report of one person: own strikes session by session, what changed beyond error, left against right."""

from __future__ import annotations

import math
from itertools import groupby
from pathlib import Path
from typing import Any

from quintain.domain.session_summary import Usual
from quintain.quantities import GLOSSARY
from quintain.report.cautions import STRIKE_CAUTIONS
from quintain.report.document import document
from quintain.report.figures.intervals import Interval, draw_intervals
from quintain.report.figures.points import Level, Point, draw_points
from quintain.report.page import render
from quintain.report.parts import Cell, Column, Fact, Figure, Section, Table
from quintain.report.rounding import MINUS, number, rounded
from quintain.report.typeset import typeset
from quintain.report.verdict import Verdict
from quintain.report.whole_file import write_whole
from quintain.study.person_course import (
    Kind,
    PersonProgress,
    PersonSummary,
    ProgressLine,
    SessionMean,
    SessionStrikes,
    SideLine,
)
from quintain.study.progress import RULE, Progress

__all__ = ["judge_person", "person_content", "write_person_html", "write_person_pdf"]

_LUCK = (
    "Of twenty sessions each compared with the first, one is called real by luck alone: name the session "
    "that counts beforehand."
)
_USUAL = (
    "Usual: the middle 80 % of this person's own accepted strikes of that kind before the latest session, "
    "where there are five or more. Nobody is held against anybody else."
)


def write_person_html(summary: PersonSummary, path: str | Path, *, invented: bool) -> Path:
    """
    Write the report as one HTML file; the same summary gives the same bytes.

    Raises
    ------
    OutputError
        If the file cannot be written; it is replaced whole or not at all.
    """
    content = person_content(summary, invented=invented)
    return write_whole(path, render("sections.html", content).encode("utf-8"))


def write_person_pdf(summary: PersonSummary, path: str | Path, *, invented: bool) -> Path:
    """
    Write the report as PDF; the same summary gives the same bytes.

    Raises
    ------
    OutputError
        If the file cannot be written; it is replaced whole or not at all.
    """
    return write_whole(path, typeset("sections.typ", person_content(summary, invented=invented)))


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
    why = (
        "Strikes that wait for review are counted: none of the kind is accepted." if course.unreviewed else ""
    )
    judged = [(line, line.progress) for line in course.lines if line.progress is not None]
    if not judged:
        reason = next((line.refused for line in course.lines if line.refused), "no quantity is stated")
        return Verdict("open", "Undecided", f"Progress in {what} cannot be judged yet: {reason}.", why)
    since = judged[0][0].sessions
    told = f"{what[:1].upper()}{what[1:]}, {since[-1]} against {since[0]}:"
    real = [
        f"{_label(line.quantity)} {'rose' if progress.changes[-1].change > 0 else 'fell'}"
        for line, progress in judged
        if progress.changes[-1].real
    ]
    sentence = (
        f"{told} {_joined(real)} beyond the error of measurement."
        if real
        else f"{told} no change beyond the error of measurement."
    )
    if course.unreviewed:
        return Verdict("doubt", "With doubt", sentence, why)
    return Verdict("sound", "Sound", sentence)


def person_content(summary: PersonSummary, *, invented: bool) -> dict[str, Any]:
    """Everything the report says, as words ready to set."""
    names = tuple(dict.fromkeys(line.quantity for c in summary.courses for line in c.lines if line.sessions))
    counted = sum(one.n for one in summary.sessions)
    sessions = sorted({one.session for one in summary.sessions})
    rigs = sorted({one.kind.rig for one in summary.sessions if one.kind.rig})
    erased = (
        "What identified this person was erased; the strikes remain under the code." if summary.erased else ""
    )
    return document(
        title=f"Person {summary.code}",
        kind="report of a person",
        file=f"person {summary.code}",
        invented=invented,
        verdict=judge_person(summary),
        why=erased,
        sections=_sections(summary, names),
        cautions=STRIKE_CAUTIONS,
        names=names,
        provenance=(
            Fact("Person", f"{summary.code}, known by this code alone"),
            Fact("Strikes", f"{summary.accepted} accepted, {summary.waiting} waiting, "
                 f"{summary.rejected} rejected; {counted} counted here"),
            Fact("Sessions", ", ".join(sessions) or "none"),
            Fact("Rigs", ", ".join(rigs) or "not stated"),
            Fact("Rig versions", ", ".join(v[:12] for v in summary.rig_versions) or "none", mono=True),
            Fact("Methods", ", ".join(m[:12] for m in summary.method_sha256) or "none", mono=True),
            Fact("Values that went in", summary.data_sha256, mono=True),
            Fact("Software", f"quintain {summary.software}"),
        ),
        software=summary.software,
        date=summary.made,
    )  # fmt: skip


def _sections(summary: PersonSummary, names: tuple[str, ...]) -> tuple[Section, ...]:
    if not summary.courses:
        return (
            Section("From session to session", says="There is no strike to show yet."),
            Section("Methods paragraph", says="Nothing was computed."),
        )
    sections = [_strikes(summary, names)]
    for course in summary.courses:
        sections += _course(course, summary)
    sections += [_sides(list(rows)) for _, rows in groupby(_all_sides(summary), lambda s: (s.type, s.rig))]
    sections.append(Section("The rule", "fixed before the numbers", says=RULE, reasons=(_LUCK, _USUAL)))
    note = "made from what was done; to be edited"
    sections.append(Section("Methods paragraph", note, says=summary.methods or "Nothing was computed."))
    return tuple(sections)


# -- strikes by type, side and session


def _strikes(summary: PersonSummary, names: tuple[str, ...]) -> Section:
    heads = (
        Column("strike", kind="words"),
        Column("session", kind="words"),
        Column("day", kind="words"),
        Column("n", kind="number"),
        *(Column(_label(name), _unit(name), kind="number") for name in names),
    )
    lines = tuple(
        (
            Cell(_what(one.kind) + (f", {one.kind.rig}" if one.kind.rig else "")),
            Cell(one.session),
            Cell(f"{one.when:%Y-%m-%d}" if one.when else "–"),
            Cell(str(one.n)),
            *(_mean(one.quantities.get(name), name) for name in names),
        )
        for one in summary.sessions
    )
    caption = "Mean of the session's strikes, in brackets the SD between them; n: strikes that count."
    note = "own strikes by type and side; another pad gives other forces, so rigs are kept apart"
    return Section("From session to session", note, tables=(Table(heads, lines, caption),))


def _mean(told: SessionMean | None, name: str) -> Cell:
    if told is None:
        return Cell("–", stated=False)
    factor = GLOSSARY[name].shown_factor
    if not told.sd:
        return Cell(f"{number(told.mean * factor, 3)} (–)", exact=repr(told.mean))
    # a mean of strikes is rounded by the SD between them, which says how far single strikes lie from it
    value, spread = rounded(told.mean * factor, told.sd * factor)
    return Cell(f"{value} ({spread})", exact=repr(told.mean))


# -- the course of one kind


def _course(course: PersonProgress, summary: PersonSummary) -> list[Section]:
    """A section a quantity; kinds that cannot be judged in any quantity take one line."""
    kind = course.kind
    assert kind is not None
    where = f"{_what(kind)}, on {kind.rig or 'no stated rig'}"
    title = f"{where[:1].upper()}{where[1:]}"
    refused = [line for line in course.lines if line.progress is None]
    if len(refused) == len(course.lines):
        reasons = dict.fromkeys(line.refused for line in refused)
        return [Section(title, "not judged: refused rather than faked", says=_sentence("; ".join(reasons)))]
    own = [one for one in summary.sessions if one.kind == kind]
    sections = []
    for line in course.lines:
        name = f"{title}: {_label(line.quantity)}"
        if line.progress is None:
            sections.append(Section(name, "not judged", says=_sentence(line.refused)))
        else:
            usual = summary.usual.get((kind, line.quantity))
            sections.append(_judged(name, line, line.progress, own, usual))
    return sections


def _judged(
    title: str, line: ProgressLine, progress: Progress, own: list[SessionStrikes], usual: Usual | None
) -> Section:
    factor, unit = GLOSSARY[line.quantity].shown_factor, _unit(line.quantity)
    last = progress.changes[-1]
    says = (
        f"{last.session} against {line.sessions[0]}: "
        f"{'a real change' if last.real else 'no change beyond the error of measurement'}, {last.verdict}."
    )
    mdc = rounded(progress.mdc * factor, progress.mdc * factor)[1]
    swc = rounded(progress.rule.swc * factor, progress.rule.swc * factor)[1]
    rule = (
        f"Minimal detectable change (MDC) {mdc} {unit}, smallest worthwhile change (SWC) {swc} {unit}; error "
        f"of measurement from {line.n_people} people in the same sessions."
    )
    reasons = [rule]
    if usual is not None:
        low, high = (number(v * factor, 3) for v in (usual.low, usual.high))
        reasons.append(
            f"Usual before {last.session}, the pale band: {low} to {high} {unit}, of {usual.n} strikes."
        )
    heads = (
        Column("session", kind="words"), Column("change ± MDC", unit), Column("by the rule", kind="words"),
    )  # fmt: skip
    lines = [(Cell(line.sessions[0]), Cell("reference"), Cell(""))]
    for change in progress.changes:
        value, half = _change(change.change * factor, progress.mdc * factor)
        words = f"{'real' if change.real else 'not beyond error'}; {change.verdict}"
        lines.append((
            Cell(change.session),
            Cell(value, f"±\u00a0{half}", repr(change.change)),
            Cell(words),
        ))  # fmt: skip
    return Section(
        title,
        says=says,
        reasons=tuple(reasons),
        figures=(_figure(line, progress, own, usual),),
        tables=(Table(heads, tuple(lines), "Bars: SD between the strikes of a session."),),
    )


def _change(change: float, mdc: float) -> tuple[str, str]:
    """A change and what is detectable; a third digit where two would make them look alike."""
    value, half = rounded(change, mdc)
    if value.lstrip(MINUS) == half:
        value, half = number(change, 3), number(mdc, 3)
    return f"+{value}" if change > 0 else value, half


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
        name=f"{GLOSSARY[line.quantity].label}, {unit}" if unit else GLOSSARY[line.quantity].label,
        x_unit="",
        label=label,
        levels=levels,
        x_words=[(float(i), session) for i, session in enumerate(line.sessions)],
        y_factor=factor,
        height=180,
    )
    return Figure(svg, label)


# -- left against right


def _all_sides(summary: PersonSummary) -> tuple[SideLine, ...]:
    return summary.courses[0].sides if summary.courses else ()


def _sides(rows: list[SideLine]) -> Section:
    title = f"Left against right, {rows[0].type}, on {rows[0].rig or 'no stated rig'}"
    note = "ratio of geometric means less 1, in per cent of the right; interval of 95 % from own strikes"
    told = [(row.quantity, row.asymmetry) for row in rows if row.asymmetry is not None]
    reasons = tuple(
        f"{GLOSSARY[row.quantity].label}: {row.refused}." for row in rows if row.asymmetry is None
    )
    if not told:
        return Section(title, "not told", reasons=reasons)
    drawn, lines = [], []
    for name, own in told:
        low, high = (
            (math.nan, math.nan)
            if own.interval is None
            else (100 * math.expm1(own.interval[0]), 100 * math.expm1(own.interval[1]))
        )
        label = GLOSSARY[name].label
        drawn.append(Interval(label, own.percent, low, high))
        larger = "alike" if abs(own.percent) < 0.5 else "left larger" if own.percent > 0 else "right larger"
        beyond = {None: "too few strikes for an interval", True: "beyond own scatter",
                  False: "not beyond own scatter"}[own.beyond_own_spread]  # fmt: skip
        sign = "+" if own.percent > 0 else ""
        said = f"{sign}{number(own.percent, 2 if abs(own.percent) >= 1 else 1)} %"
        lines.append((Cell(label), Cell(said, exact=repr(own.percent)), Cell(f"{larger}; {beyond}")))
    heads = (
        Column("quantity", kind="words"), Column("left over right", kind="number"),
        Column("in words", kind="words"),
    )  # fmt: skip
    label = f"{rows[0].type}: left over right, per cent, with 95 % intervals, of {len(told)} quantities"
    svg = draw_intervals(drawn, name="left over right, %", label=label, marks=(0.0,))
    return Section(
        title, note, reasons=reasons, figures=(Figure(svg, label),), tables=(Table(heads, tuple(lines)),)
    )


# -- words


def _what(kind: Kind) -> str:
    return f"{kind.type}, {kind.side}" if kind.side else kind.type


def _label(quantity: str) -> str:
    label = GLOSSARY[quantity].label
    return label[:1].lower() + label[1:]


def _unit(quantity: str) -> str:
    unit = GLOSSARY[quantity].shown_unit
    return "" if unit == "1" else unit


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}." if words else ""


def _joined(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
