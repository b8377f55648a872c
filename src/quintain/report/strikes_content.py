"""
What the report of one recording says, as words and numbers ready to set.

HTML and PDF are made from the same content, so they cannot disagree. Nothing is computed here but
rounding and layout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

from quintain.domain.analysis import Analysis
from quintain.domain.clock import ClockMatch
from quintain.domain.strike import Strike
from quintain.quantities import GLOSSARY
from quintain.report.cautions import LOCAL_RULES, STRIKE_CAUTIONS, Caution
from quintain.report.figures.clocks import clock_facts, describe_clocks, draw_clocks
from quintain.report.figures.limb import describe_power, describe_speed, draw_power, draw_speed
from quintain.report.figures.overview import draw_overview, one_scale
from quintain.report.figures.strike import describe, draw_strike
from quintain.report.parts import (
    Budget,
    Cell,
    Definition,
    Doubt,
    Fact,
    Figure,
    Row,
    StepLine,
    as_words,
    budget_of,
    cell_of,
    definitions,
    doubt_of,
    gathered_doubts,
    quantity_rows,
    step_line,
)
from quintain.report.provenance import recording_facts
from quintain.report.rig_facts import method_facts, rig_facts
from quintain.report.rounding import number, rounded
from quintain.report.verdict import UNSAFE, Verdict, judge_analysis, judge_strike, numbers

__all__ = ["PRINTED_HEIGHT", "strikes_content"]

FIGURES_AT_MOST = 60
"""Strikes that get a figure and a table of their own; all stand in the summary and the overview."""

PRINTED_HEIGHT = 216
"""Height of a figure with which two strikes stand on one page of A4. [px]"""

OVERVIEW_ROOM = 128
"""Strikes in one drawing of small multiples: what fits on a page of A4."""

_GROUPS = (
    ("impulse", "impulse_to_stop", "impulse_to_peak", "contact_time"),
    ("peak_force", "peak_force_raw", "peak_force_cfc", "time_to_peak", "rate_of_force_development"),
    ("expected_peak", "sampling_loss", "noise"),
    (
        "approach_speed", "time_to_stop", "effective_mass", "effective_mass_low", "effective_mass_high",
        "energy", "kinetic_energy", "mean_power", "peak_power",
    ),
)  # fmt: skip
_ALWAYS = ("impulse", "contact_time", "peak_force", "time_to_peak", "rate_of_force_development")
_HEADLINE = ("impulse", "contact_time", "peak_force", "approach_speed", "effective_mass", "energy")

_BUDGETS = ("impulse", "peak_force", "effective_mass", "energy")

_COLUMNS = ("impulse", "contact_time", "peak_force", "peak_force_raw", "rate_of_force_development")
_COLUMNS_WITH_LIMB = ("impulse", "contact_time", "peak_force", "approach_speed", "effective_mass", "energy")
_SHORT = {
    "impulse": "impulse",
    "contact_time": "contact time",
    "peak_force": "peak force",
    "peak_force_raw": "raw peak",
    "rate_of_force_development": "rate of force dev.",
    "approach_speed": "approach speed",
    "effective_mass": "effective mass",
    "energy": "energy",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One strike in the summary; ``anchor`` is empty when it has no figure."""

    number: int
    anchor: str
    start: str
    cells: tuple[Cell, ...]
    mark: str
    word: str
    code: str
    more: int


@dataclass(frozen=True, slots=True)
class StrikeSheet:
    """One strike in full."""

    number: int
    anchor: str
    verdict: Verdict
    facts: str
    figure: Figure
    limb: tuple[Figure, ...]
    """Speed and power on the same axis of time, where the limb's motion was recorded."""
    rows: tuple[Row, ...]
    budgets: tuple[Budget, ...]
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, slots=True)
class Clocks:
    """How the clocks of force and motion were tied."""

    figure: Figure
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Content:
    """The whole report."""

    title: str
    file: str
    invented: bool
    verdict: Verdict
    why: str
    columns: tuple[tuple[str, str], ...]
    lines: tuple[Line, ...]
    overview: tuple[Figure, ...]
    overview_note: str
    doubts: tuple[Doubt, ...]
    clocks: Clocks | None
    """Where strikes tied the clock of the motion to that of the force."""
    sheets: tuple[StrikeSheet, ...]
    sheets_note: str
    definitions: tuple[Definition, ...]
    method: tuple[tuple[str, tuple[Fact, ...]], ...]
    rig: tuple[Fact, ...]
    provenance: tuple[Fact, ...]
    history: tuple[StepLine, ...]
    cautions: tuple[Caution, ...]
    local_rules: str
    software: str
    date: str
    """When the last step finished, ISO 8601; empty when the history does not tell."""


def strikes_content(analysis: Analysis, *, invented: bool, figure_height: int = 340) -> dict[str, Any]:
    """Everything the report of one recording says, as plain mappings, lists and strings."""
    strikes = analysis.strikes
    drawn = strikes[:FIGURES_AT_MOST]
    names = _COLUMNS_WITH_LIMB if any("effective_mass" in s.quantities for s in strikes) else _COLUMNS
    overview, overview_note = _overview(strikes)
    sheets = tuple(_sheet(strike, analysis.rate, figure_height) for strike in drawn)
    used = {*names, *(row.name for sheet in sheets for row in sheet.rows)} if strikes else set()
    left = len(strikes) - len(drawn)
    content = Content(
        title=f"Strikes of {PurePath(analysis.path).name or 'a recording'}",
        file=PurePath(analysis.path).name or "made in memory",
        invented=invented,
        verdict=judge_analysis(analysis),
        why=_what_force(strikes),
        columns=tuple((_SHORT[name], GLOSSARY[name].shown_unit) for name in names),
        lines=tuple(_line(strike, names, i < len(drawn)) for i, strike in enumerate(strikes)),
        overview=overview,
        overview_note=overview_note,
        doubts=gathered_doubts(analysis.flags, [(s.number, s.flags) for s in strikes], noun="strike"),
        clocks=_clocks(analysis.clock),
        sheets=sheets,
        sheets_note=(
            f"Figures for the first {len(drawn)} of {len(strikes)} strikes; all {len(strikes)} stand in the "
            "table and in the overview."
            if left
            else ""
        ),
        definitions=definitions(used),
        method=method_facts(analysis.method),
        rig=rig_facts(analysis.rig) if analysis.rig else (),
        provenance=recording_facts(
            analysis,
            Fact("Method", f"{analysis.method.name}, version {analysis.method.version}"),
            Fact("Method hash", analysis.method.sha256, mono=True),
        ),
        history=tuple(step_line(s, known=analysis.method.settings()) for s in analysis.history),
        cautions=STRIKE_CAUTIONS,
        local_rules=LOCAL_RULES,
        software=analysis.quintain,
        date=analysis.history[-1].utc if analysis.history else "",
    )
    words: dict[str, Any] = as_words(content)
    return words


def _what_force(strikes: Sequence[Strike]) -> str:
    if not strikes:
        return ""
    if any(strike.force_kind == "contact_force" for strike in strikes):
        return (
            "Where it says contact force, the inertia of the plate is accounted for; elsewhere it is the "
            "force on the cell."
        )
    return (
        "Force is the force on the cell, corrected for the rig's ringing where that is honest; it is not "
        "the force at the glove."
    )


def _line(strike: Strike, names: Sequence[str], drawn: bool) -> Line:
    verdict = judge_strike(strike)
    cells = [cell_of(strike.quantities.get(name), strike.flags) for name in names]
    codes = [flag.code for flag in sorted(strike.flags, key=lambda f: f.code not in UNSAFE)]
    anchor = f"strike-{strike.number}" if drawn else ""
    start = f"{strike.start:,.3f}".replace(",", "\u202f")
    return Line(
        strike.number, anchor, start, tuple(cells), verdict.mark, verdict.word,
        codes[0] if codes else "", max(0, len(codes) - 1),
    )  # fmt: skip


def _overview(strikes: Sequence[Strike]) -> tuple[tuple[Figure, ...], str]:
    if not strikes:
        return (), ""
    scale = one_scale(strikes)
    figures = []
    for first in range(0, len(strikes), OVERVIEW_ROOM):
        some = strikes[first : first + OVERVIEW_ROOM]
        alt = (
            f"Strikes {some[0].number} to {some[-1].number}, force against time on one scale: {scale.words}."
        )
        figures.append(Figure(draw_overview(some, scale), alt))
    cut = f"; longer and cut here: {numbers(scale.cut)}" if scale.cut else ""
    return tuple(figures), scale.words + cut


def _clocks(clock: ClockMatch | None) -> Clocks | None:
    if clock is None:
        return None
    facts = tuple(Fact(name, value) for name, value in clock_facts(clock))
    return Clocks(Figure(draw_clocks(clock), describe_clocks(clock)), facts)


def _sheet(strike: Strike, rate: float, height: int) -> StrikeSheet:
    rows = quantity_rows(strike.quantities, _GROUPS, always=_ALWAYS, headline=_HEADLINE, flags=strike.flags)
    budgets = [budget_of(strike.quantities[n]) for n in _BUDGETS if n in strike.quantities]
    limb = [
        Figure(svg, words)
        for svg, words in (
            (draw_speed(strike), describe_speed(strike)),
            (draw_power(strike), describe_power(strike)),
        )
        if svg
    ]
    return StrikeSheet(
        strike.number,
        f"strike-{strike.number}",
        judge_strike(strike),
        _strike_facts(strike),
        Figure(draw_strike(strike, rate=rate, height=height), describe(strike)),
        tuple(limb),
        rows,
        tuple(b for b in budgets if b),
        tuple(doubt_of(flag) for flag in strike.flags),
    )


def _strike_facts(strike: Strike) -> str:
    parts = [f"starts at {strike.start:,.4f} s".replace(",", "\u202f")]
    if strike.samples_in_pulse is not None:
        parts.append(f"{number(strike.samples_in_pulse, 2)} samples in the pulse")
    if strike.periods_in_pulse is not None:
        parts.append(f"{number(strike.periods_in_pulse, 2)} periods of the rig in the pulse")
    for mode in strike.modes:
        u = mode.u_natural_frequency
        value, expanded = rounded(mode.natural_frequency, None if u is None else 1.96 * u)
        parts.append(f"ringing at {value} ± {expanded} Hz")
    return ", ".join(parts)
