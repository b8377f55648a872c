"""People by their codes: what is stated, what they struck, how it goes on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from fastapi import APIRouter, HTTPException, Request
from markupsafe import Markup
from starlette.responses import Response

from quintain.errors import MissingError
from quintain.quantities import GLOSSARY
from quintain.report.rounding import number, rounded, rounded_change
from quintain.report.shared_parts import named_parts
from quintain.store.lab import Lab
from quintain.store.queries_groups import GroupRow
from quintain.store.queries_lists import list_people
from quintain.tasks.lab_views import PersonView, person_view
from quintain.tasks.people import PersonRecord, show_person
from quintain.tasks.person_progress import PersonProgress, ProgressLine, SideLine, person_progress
from quintain.web.current import CurrentLab
from quintain.web.forms import EMPTY, Filled
from quintain.web.navigation import Nav
from quintain.web.pages._strike_shapes import Course, draw_course
from quintain.web.rendering import page

__all__ = ["NAV", "find_person", "people_page", "router"]

NAV = Nav("People", "/people", 30)

router = APIRouter(prefix="/people", include_in_schema=False)

_SHOWN = ("peak_force", "impulse", "contact_time", "approach_speed", "effective_mass")


class _Course(NamedTuple):
    """One quantity over sessions: words, the rule's numbers, picture, and a row a session."""

    line: ProgressLine
    name: str
    words: str
    rule: str
    svg: Markup | None
    rows: tuple[tuple[str, str, int, str, str, str], ...]
    """Session, day, strikes, mean, change with its interval, verdict."""


@router.get("")
def people(request: Request, lab: CurrentLab) -> Response:
    """All people by code, and a form for a new one."""
    return people_page(request, lab)


@router.get("/{code}")
def person(
    request: Request, lab: CurrentLab, code: str, type: str = "", side: str = "", rig: str = ""
) -> Response:
    """One person: facts, strikes by type and side, the course over sessions, left against right."""
    record, seen = find_person(lab, code)
    course = person_progress(lab, code, type=type, side=side, rig=rig)
    lines = [_course(line) for line in course.lines]
    mark, sentence, why = _verdict(record, seen, course, lines)
    return page(
        request,
        "person.html",
        person=record,
        seen=seen,
        row=seen.row,
        mark=mark,
        sentence=sentence,
        why=why,
        course=course,
        lines=lines,
        groups=[(group, _means(group)) for group in seen.groups],
        shown_quantities=_SHOWN,
        side_words=_side_words,
    )


def people_page(request: Request, lab: Lab, filled: Filled = EMPTY) -> Response:
    """The list, with what somebody typed into the form of a new person."""
    found = list_people(lab)
    return page(
        request,
        "people.html",
        status=filled.status,
        people=found,
        living=sum(one.erased is None for one in found),
        typed=filled.typed,
        problem=filled.problem,
    )


def find_person(lab: Lab, code: str) -> tuple[PersonRecord, PersonView]:
    """
    A person by code, without what identifies them.

    Raises
    ------
    HTTPException
        404 if there is no such person.
    """
    try:
        return show_person(lab, code), person_view(lab, code, limit=1)
    except MissingError:
        raise HTTPException(404, f"There is no person {code!r} in this lab.") from None


def _verdict(
    record: PersonRecord, seen: PersonView, course: PersonProgress, lines: Sequence[_Course]
) -> tuple[str, str, str]:
    if record.erased is not None:
        remains = f"{seen.total} strikes remain under the code" if seen.total else "no strike remains"
        return "open", f"Erased on {record.erased:%-d %b %Y}; {remains}.", "The code is never given again."
    if course.kind is None:
        return (
            "open",
            "No strike of this person is told yet.",
            "Tag strikes with this code, or plan a session.",
        )
    kind = course.kind
    what = f"{kind.type}, {kind.side}" if kind.side else kind.type
    why = (
        "Strikes that wait for review are counted, because none is accepted yet." if course.unreviewed else ""
    )
    judged = [line for line in lines if line.line.progress is not None]
    if not judged:
        reason = lines[0].line.refused if lines else ""
        return "open", f"Progress in {what} cannot be judged yet: {reason}.", why
    real = [line.name for line in judged if line.line.progress and line.line.progress.changes[-1].real]
    since = judged[0].line.sessions
    told = f"{what[:1].upper()}{what[1:]}, {since[-1]} against {since[0]}"
    if not real:
        return "sound", f"{told}: no change beyond the error of measurement.", why
    return "sound", f"{told}: {_joined(real)} changed beyond the error of measurement.", why


def _course(line: ProgressLine) -> _Course:
    entry = GLOSSARY[line.quantity]
    factor, unit = entry.shown_factor, "" if entry.shown_unit == "1" else entry.shown_unit
    name = entry.label[:1].lower() + entry.label[1:]
    progress = line.progress
    changes = {} if progress is None else {c.session: c for c in progress.changes}
    rows = []
    for i, session in enumerate(line.sessions):
        day = line.when[i]
        mean = number(factor * line.means[i], 3)
        change = changes.get(session)
        if change is None or progress is None:
            told = ("reference" if progress is not None else "", "")
        else:
            value, half = rounded_change(factor * change.change, factor * change.half)
            told = (f"{value} ± {half}",
                    f"{'real' if change.real else 'not beyond error'}; {change.verdict}")  # fmt: skip
        rows.append((session, f"{day:%-d %b %Y}" if day else "–", line.n_strikes[i], mean, *told))
    if progress is None:
        return _Course(line, name, line.refused[:1].upper() + line.refused[1:] + ".", "", None, tuple(rows))
    last = progress.changes[-1]
    words = (
        f"{last.session}: {'a real change' if last.real else 'no change beyond the error of measurement'}; "
        f"{last.verdict}."
    )
    if last.common is not None and progress.widened(last):
        words += f" Calibrated anew in between: {named_parts(last.common, line.quantity)} {unit}."
    mdc, swc = (
        rounded(factor * progress.mdc, factor * progress.mdc)[1],
        rounded(factor, factor * progress.rule.swc)[1],
    )
    rule = (
        f"Minimal detectable change (MDC) {mdc} {unit}, smallest worthwhile change (SWC) {swc} {unit}; error "
        f"of measurement from {line.n_people} people in the same sessions."
    )
    return _Course(line, name, words, rule, _draw(line, entry.label, unit, factor), tuple(rows))


def _draw(line: ProgressLine, label: str, unit: str, factor: float) -> Markup:
    progress = line.progress
    assert progress is not None
    values = tuple(factor * value for value in line.means)
    course = Course(
        line.sessions, values, factor * progress.reference, factor * progress.mdc, factor * progress.rule.swc
    )
    said = ", ".join(f"{s} {number(v, 3)} {unit}" for s, v in zip(line.sessions, values, strict=True))
    return draw_course(
        course,
        label=f"{label} by session, with the first session as reference, a band of the smallest worthwhile "
        f"change and lines at the minimal detectable change: {said}.",
    )


def _means(group: GroupRow) -> list[str]:
    """Mean and SD of trials of each shown quantity, in words of the dense table."""
    found = []
    for name in _SHOWN:
        told = group.quantities[name]
        if told.mean is None:
            found.append("–")
            continue
        entry = GLOSSARY[name]
        # a mean of trials is rounded by the SD of trials, which says how far single strikes lie from it
        value, spread = rounded(entry.shown_factor * told.mean, entry.shown_factor * (told.sd or 0.0) or None)
        found.append(f"{value} (SD {spread})" if told.sd else value)
    return found


def _side_words(line: SideLine) -> str:
    told = line.asymmetry
    if told is None:
        return line.refused
    if abs(told.percent) < 0.5:
        return "alike within half a per cent"
    larger = "left larger" if told.percent > 0 else "right larger"
    if told.beyond_own_spread is None:
        return f"{larger} by {abs(told.percent):.0f} %; one strike of a side is too few for an interval"
    beyond = "beyond" if told.beyond_own_spread else "not beyond"
    return f"{larger} by {abs(told.percent):.0f} %, {beyond} the person’s own scatter"


def _joined(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
