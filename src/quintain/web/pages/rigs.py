"""Rigs: fit for use or not, and the evidence for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Form, HTTPException, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response

from quintain.domain.rig_state import DueCheck, RigState, Trend
from quintain.errors import LabError, QuintainError
from quintain.quantities import GLOSSARY
from quintain.report.cautions import RIG_CAUTIONS
from quintain.report.parts import Section
from quintain.report.rig_content import CHECK_WORDS, drawn_trends, rig_verdict, trend_section
from quintain.report.rig_facts import rig_facts
from quintain.report.rounding import number, rounded
from quintain.report.verdict import Verdict
from quintain.store.lab import Lab
from quintain.store.queries_lists import RigRow, list_rigs
from quintain.tasks.lab_rigs import rig_text, use_version
from quintain.tasks.lab_views import rig_state_in_lab
from quintain.tasks.rig_evidence import EvidenceRow, evidence_sections, rig_evidence, rig_versions
from quintain.web.current import CurrentLab, CurrentVisitor
from quintain.web.navigation import Nav
from quintain.web.rendering import page
from quintain.web.security.roles import Role, needs

__all__ = ["NAV", "router"]

NAV = Nav("Rigs", "/rigs", 20)

router = APIRouter(prefix="/rigs", include_in_schema=False)

_FIRST = {
    "drops": (
        "Drop test: drop by drop", "Drop test: the whole chain", "Drop test: the pad",
        "Drop test: agreement of force and height",
    ),
    "tap": ("Tap test: how the rig rings", "Tap test: what it allows"),
}  # fmt: skip
"""Sections of a test that the page of its rig shows; the others stand on the page of the test."""

_KINDS = {"tap": "Tap test", "drops": "Drop test", "zero": "Zero", "calibration": "Static calibration"}
_LEADING = ("natural_frequency", "damping_ratio", "gain", "gain_without_height")


class RigLine(NamedTuple):
    """A rig in the list; ``state`` is None where its file cannot be read."""

    row: RigRow
    state: RigState | None
    judged: Verdict
    due: str


class TrendLine(NamedTuple):
    """The newest value of a trend, and this rig's usual range in words."""

    trend: Trend
    usual: str
    shape: str
    words: str


@router.get("")
def rigs(request: Request, lab: CurrentLab) -> Response:
    """All rigs."""
    lines = [_line(lab, row) for row in list_rigs(lab)]
    return page(request, "rigs.html", lines=lines, judged=_judge_all(lines))


@router.get("/{name}")
def rig(request: Request, lab: CurrentLab, name: str) -> Response:
    """One rig."""
    state, trouble = _state(lab, name)
    evidence = rig_evidence(lab, name)
    newest = [_newest(evidence, kind) for kind in ("drops", "tap")]
    shown_tests = [(row, _kept(lab, name, row)) for row in newest if row is not None]
    versions = rig_versions(lab, name)
    trends = () if state is None else tuple(sorted(state.trends, key=_by_weight))
    return page(
        request,
        "rig.html",
        name=name,
        state=state,
        judged=_judge(state, trouble),
        drawn=() if state is None else [_drawn(trend) for trend in drawn_trends(state)],
        lines=[_trend_line(trend) for trend in trends],
        tests=shown_tests,
        evidence=evidence,
        kinds=_KINDS,
        versions=versions,
        current=next((one.version for one in versions if one.in_use), ""),
        facts=() if state is None else [f for f in rig_facts(state.rig) if f.name not in ("Rig", "Version")],
        due=() if state is None else [(CHECK_WORDS[c.kind], *_due(c)) for c in state.due],
        cautions=RIG_CAUTIONS[:4],
    )


@router.get("/{name}/evidence/{evidence_id}")
def evidence(request: Request, lab: CurrentLab, name: str, evidence_id: int, part: bool = False) -> Response:
    """A test in full; ``part`` asks for what the page of the rig shows of it."""
    row = next((one for one in rig_evidence(lab, name) if one.id == evidence_id), None)
    if row is None:
        raise HTTPException(404, f"The rig {name!r} has no evidence {evidence_id}.")
    trouble = ""
    try:
        sections, note = evidence_sections(lab, name, evidence_id) or ([], "")
    except QuintainError as problem:
        sections, note, trouble = [], "", str(problem)
    if part:
        chosen = _chosen(row, sections)
        return page(request, "rig_test.html", name=name, row=row, sections=chosen, note=note, trouble=trouble)
    return page(
        request, "rig_evidence.html", name=name, row=row, sections=sections, note=note, trouble=trouble,
        judged=_judge_evidence(row), kinds=_KINDS,
    )  # fmt: skip


@router.get("/{name}/versions/{version}.toml")
def version_file(lab: CurrentLab, name: str, version: str) -> Response:
    """A version of the rig's file, as it came in."""
    try:
        text = rig_text(lab, name, version)
    except LabError as problem:
        raise HTTPException(404, str(problem)) from None
    return PlainTextResponse(
        text, headers={"Content-Disposition": f'attachment; filename="rig-{version[:12]}.toml"'}
    )


@router.post("/{name}/versions", dependencies=[needs(Role.ENGINEER)])
def take_version(
    lab: CurrentLab,
    visitor: CurrentVisitor,
    request: Request,
    name: str,
    version: Annotated[str, Form()] = "",
) -> Response:
    """Take an earlier version into use."""
    use_version(lab, name, version, who=visitor.who)
    return RedirectResponse(request.scope["raw_path"].decode("ascii").removesuffix("/versions"), 303)


# -- what the page says


def _line(lab: Lab, row: RigRow) -> RigLine:
    state, trouble = _state(lab, row.name)
    due = ""
    if state is not None:
        late = [CHECK_WORDS[check.kind].lower() for check in state.due if check.overdue]
        due = f"{', '.join(late)} due" if late else "nothing"
    return RigLine(row, state, _judge(state, trouble), due)


def _judge_all(lines: Sequence[RigLine]) -> Verdict:
    if not lines:
        return Verdict("open", "Undecided", "No rig yet.", "A rig is a cell with its mount, plate and pad.")
    bad = [line for line in lines if line.judged.mark != "sound"]
    n = len(lines)
    if not bad:
        all_of = "The rig is" if n == 1 else f"All {n} rigs are"
        return Verdict("sound", "Sound", f"{all_of} fit for use.")
    shape = "doubt" if any(line.judged.mark == "doubt" for line in bad) else "open"
    some = "the rig has" if n == 1 else f"{len(bad)} of {n} rigs {'has' if len(bad) == 1 else 'have'}"
    return Verdict(shape, "With doubt", f"{some[0].upper()}{some[1:]} to be looked at before use.")


def _state(lab: Lab, name: str) -> tuple[RigState | None, str]:
    try:
        return rig_state_in_lab(lab, name), ""
    except LabError as problem:
        raise HTTPException(404, f"{str(problem)[:1].upper()}{str(problem)[1:]}.") from None
    except QuintainError as problem:
        return None, str(problem)


def _judge(state: RigState | None, trouble: str) -> Verdict:
    if state is None:
        return Verdict("open", "Undecided", "The rig file in use cannot be read.", trouble)
    drops = next((check for check in state.due if check.kind == "drops"), None)
    ago = "" if drops is None or drops.days_since is None else _ago(drops.days_since)
    why = "; ".join(state.reasons)
    why = f"{why[:1].upper()}{why[1:]}." if why else ""
    if any("ended 'fail'" in reason for reason in state.reasons):
        return Verdict("stop", "Stop", f"Do not rely on this rig: the last drop test failed, {ago}.", why)
    highest = state.rig.calibration.highest
    if state.verdict == "undecided" or highest is None:
        judged = rig_verdict(state)
        return Verdict(judged.mark, judged.word, judged.sentence, why or judged.why)
    upto = f"up to {number(highest, 3)} N, checked {ago}"
    if state.verdict == "sound":
        return Verdict("sound", "Sound", f"Fit for use {upto}.", "Every check is in date and as usual.")
    n = len(state.reasons)
    things = "one thing has" if n == 1 else f"{n} things have"
    return Verdict("doubt", "With doubt", f"Proved {upto}, but {things} to be looked at.", why)


def _judge_evidence(row: EvidenceRow) -> Verdict:
    what = _KINDS.get(row.kind, row.kind)
    day = f"{row.when:%Y-%m-%d}"
    if row.verdict == "pass":
        return Verdict("sound", "Sound", f"{what} of {day}: passed.")
    if row.verdict == "fail":
        return Verdict(
            "stop", "Stop", f"{what} of {day}: failed. The chain does not read dropped masses right."
        )
    if row.verdict == "undecided":
        return Verdict("open", "Undecided", f"{what} of {day}: it cannot tell.")
    return Verdict("sound", "Sound", f"{what} of {day}.")


def _ago(days: float) -> str:
    whole = int(days)
    if whole == 0:
        return "today"
    return "yesterday" if whole == 1 else f"{whole} days ago"


def _due(check: DueCheck) -> tuple[str, bool]:
    """When a check is due, and whether that is now."""
    if check.days_since is None:
        return "never done", True
    left = int(check.allowed_days - check.days_since)
    if check.overdue:
        return "due now", True
    if left < 2:
        return "today" if left == 0 else "tomorrow", True
    return f"in {left} days" if left < 60 else f"in {left // 30} months", False


def _by_weight(trend: Trend) -> tuple[int, str]:
    place = _LEADING.index(trend.quantity) if trend.quantity in _LEADING else len(_LEADING)
    return place, "" if place < len(_LEADING) else GLOSSARY[trend.quantity].label


def _drawn(trend: Trend) -> Section:
    """A control chart; its values stand below it only where there is something to look into."""
    section = trend_section(trend)
    return section if trend.jumped or trend.drifted or not trend.known else replace(section, tables=())


def _trend_line(trend: Trend) -> TrendLine:
    entry = GLOSSARY[trend.quantity]
    if trend.lower is None or trend.upper is None:
        return TrendLine(trend, "too few checks", "open", "")
    low, high = trend.lower * entry.shown_factor, trend.upper * entry.shown_factor
    usual = " to ".join(rounded(end, (high - low) / 20)[0] for end in (low, high))
    if trend.jumped:
        return TrendLine(trend, usual, "doubt", "outside its limits")
    if trend.drifted:
        return TrendLine(trend, usual, "doubt", "a small shift lasts")
    return TrendLine(trend, usual, "sound", "")


def _newest(evidence: Sequence[EvidenceRow], kind: str) -> EvidenceRow | None:
    return next((row for row in evidence if row.kind == kind), None)


def _kept(lab: Lab, name: str, row: EvidenceRow) -> list[Mapping[str, Any]] | None:
    """Sections of a test for the page of its rig; None where they are still to be made."""
    try:
        found = evidence_sections(lab, name, row.id, make=False)
    except QuintainError:
        return []
    return None if found is None else _chosen(row, found[0])


def _chosen(row: EvidenceRow, sections: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The leading sections in their order; budgets and settings stand on the page of the test."""
    by_title = {section["title"]: section for section in sections}
    wanted = [by_title[title] for title in _FIRST.get(row.kind, ()) if title in by_title]
    return [{**section, "budgets": (), "facts": ()} if row.kind == "drops" else section for section in wanted]
