"""What the report of a rig says: its verdict, what is due, its trends, and the evidence beside them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from quintain.domain.calibration import StaticCalibration
from quintain.domain.drop import DropTest
from quintain.domain.rig_state import RigState, Trend
from quintain.domain.tap import TapTest
from quintain.quantities import GLOSSARY
from quintain.report.calibration_report import calibration_sections
from quintain.report.cautions import RIG_CAUTIONS
from quintain.report.document import document
from quintain.report.drops_report import drop_sections
from quintain.report.figures.points import Course, Level, Point, draw_points
from quintain.report.parts import (
    Cell,
    Column,
    Fact,
    Figure,
    Section,
    Table,
    cell_of,
)
from quintain.report.provenance import recording_pair
from quintain.report.rig_facts import exactly, rig_facts
from quintain.report.rounding import rounded, shown
from quintain.report.tap_report import tap_sections
from quintain.report.verdict import Verdict

__all__ = ["CHECK_WORDS", "drawn_trends", "rig_content", "rig_verdict", "trend_section"]

CHECK_WORDS = {"tap": "Tap test", "drops": "Drop test", "calibration": "Static calibration"}

_LEADING = ("natural_frequency", "damping_ratio", "gain", "gain_without_height")
_FEWEST = 3
"""Values from which on a trend is drawn."""

_KNOWN_WORDS = "; dashed three standard deviations of the earlier ones; line and pale range: moving average"
_WORDS = {"sound": ("sound", "Sound"), "doubt": ("doubt", "With doubt"), "undecided": ("open", "Undecided")}


def rig_content(
    state: RigState,
    *,
    invented: bool,
    software: str,
    calibrations: Sequence[StaticCalibration] = (),
    taps: Sequence[TapTest] = (),
    drops: Sequence[DropTest] = (),
) -> dict[str, Any]:
    """Everything the report of a rig says, as plain mappings, lists and strings."""
    evidence = [section for test in drops for section in drop_sections(test)]
    evidence += [section for test in taps for section in tap_sections(test)]
    evidence += [section for test in calibrations for section in calibration_sections(test)]
    recordings = [(table.path, table.sha256) for table in calibrations]
    recordings += [(test.path, test.sha256) for test in drops]
    recordings += [pair for test in taps for pair in test.inputs]
    judged = _judged(state)
    drawn = drawn_trends(state)
    trends = [trend_section(trend) for trend in drawn]
    few = [trend for trend in state.trends if trend not in drawn]
    if few:
        trends.append(_few(few))
    return document(
        title=f"Rig {state.rig.name}",
        kind="report of a rig",
        file=state.rig.name,
        invented=invented,
        verdict=rig_verdict(state),
        why="A static calibration says how the cell reads a dead weight; only drops and taps say how the rig "
        "reads a blow.",
        sections=(_reasons(state), _due(state), *evidence, *trends),
        cautions=RIG_CAUTIONS,
        names=[trend.quantity for trend in state.trends],
        rig=rig_facts(state.rig),
        provenance=(
            Fact("Judged", judged.isoformat(sep=" ", timespec="minutes") if judged else "date not known"),
            Fact("Rig version", state.rig.version, mono=True),
            Fact("Earlier versions kept", str(state.n_earlier_versions)),
            Fact("Entries in the log", str(state.n_entries)),
            *(fact for path, sha in recordings for fact in recording_pair(path, sha)),
            Fact("Software", f"quintain {software}"),
        ),
        history=[
            *(step for table in calibrations for step in table.history),
            *(step for test in taps for step in test.history),
            *(step for test in drops for step in test.history),
        ],
        software=software,
        date=judged.isoformat() if judged else "",
    )


def _judged(state: RigState) -> datetime | None:
    """The instant the state was judged for, from any check that was ever done."""
    for check in state.due:
        if check.last is not None and check.days_since is not None:
            return (check.last + timedelta(days=check.days_since)).replace(microsecond=0)
    return None


def rig_verdict(state: RigState) -> Verdict:
    """The first sentence about a rig."""
    mark, word = _WORDS[state.verdict]
    highest = state.rig.calibration.highest
    upto = f" up to {exactly(highest)} N" if highest is not None else ""
    if state.verdict == "sound":
        return Verdict(mark, word, f"Fit for use{upto}; every check is in date and inside its usual range.")
    if state.verdict == "undecided":
        return Verdict(mark, word, "Nothing proves this rig yet.", "A drop test that passes would decide.")
    count = len(state.reasons)
    things = "One thing has" if count == 1 else f"{count} things have"
    return Verdict(mark, word, f"{things} to be looked at before this rig is relied on{upto}.")


def _reasons(state: RigState) -> Section:
    if not state.reasons:
        return Section("Reasons", says="Nothing speaks against this rig.")
    return Section("Reasons", reasons=tuple(f"{r[0].upper()}{r[1:]}." for r in state.reasons if r))


def _due(state: RigState) -> Section:
    columns = (
        Column("check", kind="words"),
        Column("last done", kind="words"),
        Column("allowed rest", "days", kind="number"),
        Column("", kind="words"),
    )
    lines = []
    for check in state.due:
        last = "never" if check.last is None else f"{check.last:%Y-%m-%d}"
        when = "due now" if check.overdue else _days(check.allowed_days - (check.days_since or 0))
        allowed = Cell(exactly(check.allowed_days), exact=repr(check.allowed_days))
        name = CHECK_WORDS.get(check.kind, check.kind)
        lines.append((Cell(name), Cell(last), allowed, Cell(when)))
    return Section("What is due", tables=(Table(columns, tuple(lines)),))


def _days(left: float) -> str:
    whole = int(left)
    return "due today" if whole == 0 else f"due in {whole} day{'s' if whole > 1 else ''}"


def drawn_trends(state: RigState) -> list[Trend]:
    """Trends with enough values for a chart: the doubted first, then how the rig rings, then the chain."""
    drawn = [trend for trend in state.trends if len(trend.values) >= _FEWEST]
    return sorted(drawn, key=_by_weight)


def _by_weight(trend: Trend) -> tuple[bool, int, str]:
    place = _LEADING.index(trend.quantity) if trend.quantity in _LEADING else len(_LEADING)
    return not (trend.jumped or trend.drifted), place, GLOSSARY[trend.quantity].label


def _few(trends: Sequence[Trend]) -> Section:
    """Quantities of which there is no course yet."""
    return Section(
        "Newest of what was seldom checked",
        says=f"Fewer than {_FEWEST} checks make no chart.",
        facts=tuple(Fact(GLOSSARY[trend.quantity].label, shown(trend.values[-1]).text) for trend in trends),
    )


def trend_section(trend: Trend) -> Section:
    """One quantity of a rig over its log: the control chart, and the newest values."""
    entry = GLOSSARY[trend.quantity]
    unit = f", {entry.shown_unit}" if entry.shown_unit != "1" else ""
    newest = shown(trend.values[-1])
    first = trend.when[0]
    days = [(when - first).total_seconds() / 86_400 for when in trend.when]
    wrong = trend.jumped or trend.drifted
    points = [
        Point(day, value.value, value.expanded, doubted=wrong and i == len(days) - 1)
        for i, (day, value) in enumerate(zip(days, trend.values, strict=True))
    ]
    label = (
        f"{entry.label} of this rig, {len(days)} checks from {first:%Y-%m-%d}; the newest is {newest.text}."
    )
    figure = draw_points(
        points,
        name=f"{entry.label}{unit}",
        x_unit="",
        x_words=_dates(trend.when, days),
        label=label,
        levels=_levels(trend),
        course=Course(days, trend.average, trend.average_lower, trend.average_upper) if trend.known else None,
        y_factor=entry.shown_factor,
    )
    return Section(
        title=f"{entry.label}, over time",
        note=f"{len(days)} check{'s' if len(days) > 1 else ''}; bars 95 %"
        + (_KNOWN_WORDS if trend.known else ""),
        mark="doubt" if wrong else ("sound" if trend.known else "open"),
        says=_trend_words(trend, newest.text),
        figures=(Figure(figure, label),),
        tables=(_trend_table(trend),),
    )


def _levels(trend: Trend) -> tuple[Level, ...]:
    if trend.centre is None or trend.lower is None or trend.upper is None:
        return ()
    return (
        Level(trend.upper, "upper limit", limit=True),
        Level(trend.centre, "mean"),
        Level(trend.lower, "lower limit", limit=True),
    )


def _trend_words(trend: Trend, newest: str) -> str:
    if not trend.known:
        return f"Newest {newest}. Too few checks for limits from this rig's own history."
    if trend.jumped:
        return f"Newest {newest}: outside the limits of this rig's own history. Look for what changed."
    if trend.drifted:
        return (
            f"Newest {newest}: inside the limits, but a small shift lasts. {_average_words(trend)} "
            "Watch bolts and pad."
        )
    return f"Newest {newest}: inside the limits of this rig's own history."


def _average_words(trend: Trend) -> str:
    """Where the moving average stands, and where it would stay if nothing had shifted."""
    entry = GLOSSARY[trend.quantity]
    ends = (trend.average, trend.average_lower, trend.average_upper)
    average, low, high = (entry.shown_factor * end[-1] for end in ends)
    told = [rounded(value, (high - low) / 20)[0] for value in (average, low, high)]
    unit = "" if entry.shown_unit == "1" else f" {entry.shown_unit}"
    return (
        f"The moving average of all checks, {told[0]}{unit}, has left {told[1]} to {told[2]}{unit}, "
        "within which chance alone would keep it."
    )


_NEWEST = 6
"""Values of a trend that are listed in figures."""


def _trend_table(trend: Trend) -> Table:
    entry = GLOSSARY[trend.quantity]
    unit = "" if entry.shown_unit == "1" else entry.shown_unit
    columns = (Column("date", kind="words"), Column(entry.label.lower(), unit))
    newest = list(zip(trend.when, trend.values, strict=True))[-_NEWEST:]
    lines = tuple((Cell(f"{when:%Y-%m-%d %H:%M}"), cell_of(value)) for when, value in reversed(newest))
    limits = ""
    if trend.lower is not None and trend.upper is not None:
        low, high = trend.lower * entry.shown_factor, trend.upper * entry.shown_factor
        spread = (high - low) / 2
        low_text, high_text = rounded(low, spread / 10)[0], rounded(high, spread / 10)[0]
        limits = f" Usual range of this rig: {low_text} to {high_text} {unit}".rstrip() + "."
    left = len(trend.values) - len(newest)
    more = f"The newest {len(newest)}; {left} earlier ones are in the log." if left else ""
    return Table(columns, lines, (more + limits).strip())


def _dates(when: Sequence[datetime], days: Sequence[float]) -> list[tuple[float, str]]:
    """Dates for the lower axis: first and last, and some between where there is room."""
    most = 5
    wanted = sorted({round(i * (len(days) - 1) / (most - 1)) for i in range(most)})
    span = days[-1] - days[0]
    chosen: list[tuple[float, str]] = []
    for i in wanted:
        if not chosen or days[i] - chosen[-1][0] > 0.18 * span:
            chosen.append((days[i], f"{when[i]:%d %b %Y}".lstrip("0")))
    return chosen
