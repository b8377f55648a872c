"""The report of a static calibration: curve, uncertainty, and what the standards of the trade make of it."""

from __future__ import annotations

import math
from pathlib import PurePath
from typing import Any

from quintain.domain.calibration import StaticCalibration
from quintain.report.cautions import LOAD_CAUTIONS
from quintain.report.document import document
from quintain.report.figures.points import Level, Point, draw_points
from quintain.report.parts import Cell, Column, Fact, Figure, Section, Table, gathered_doubts, unbroken
from quintain.report.provenance import recording_pair
from quintain.report.rig_facts import exactly
from quintain.report.rounding import number, rounded
from quintain.report.verdict import Verdict
from quintain.version import __version__

__all__ = ["calibration_content", "calibration_sections"]

COVERAGE = 1.96
DYNAMIC = "A static class says nothing about how the cell reads an impact: prove that with drops and taps."


def calibration_content(result: StaticCalibration, *, invented: bool) -> dict[str, Any]:
    """Everything the report says, as words ready to set."""
    name = PurePath(result.path).name or "a load table"
    return document(
        title=f"Static calibration, {name}",
        kind="report of a static calibration",
        file=name,
        invented=invented,
        verdict=_verdict(result),
        why=DYNAMIC,
        sections=calibration_sections(result),
        cautions=LOAD_CAUTIONS,
        provenance=(
            *recording_pair(result.path, result.sha256),
            Fact("Rows", str(result.n_rows)),
            Fact("Software", f"quintain {__version__}"),
        ),
        history=result.history,
        software=__version__,
    )


def _verdict(result: StaticCalibration) -> Verdict:
    span = unbroken(
        f"{exactly(float(f'{result.lowest:.4g}'))} to {exactly(float(f'{result.highest:.4g}'))} N"
    )
    within = f"{number(100 * COVERAGE * result.u_gain, 2)} %"
    said = f"The cell is calibrated from {span}, near the upper end within {within} (95 %)."
    only_static = {flag.code for flag in result.flags} <= {"static-only"}
    return Verdict("sound", "Sound", said) if only_static else Verdict("doubt", "With doubt", said)


def calibration_sections(result: StaticCalibration) -> tuple[Section, ...]:
    """The evidence of a static calibration, for its own report or a rig's."""
    sections = [_curve(result), _class(result), _forces(result)]
    doubts = gathered_doubts(result.flags, (), noun="row")
    if doubts:
        sections.append(Section("Doubts about the static calibration", doubts=doubts))
    return tuple(sections)


def _curve(result: StaticCalibration) -> Section:
    unit = result.reading_unit
    facts = [Fact("Sensitivity", f"{_with_spread(result.sensitivity, result.u_sensitivity)} {unit}/N")]
    powers = ("", "/N", "/N²", "/N³")
    for i, (value, u) in enumerate(zip(result.coefficients, result.u_coefficients, strict=True)):
        facts.append(Fact(f"c{i}", f"{_with_spread(value, u)} {unit}{powers[min(i, 3)]}"))
    facts.append(Fact("Back to newtons", ", ".join(_power(c) for c in result.to_force)))
    facts.append(Fact("Scatter about the curve", f"{_power(result.residual_sd)} {unit}"))
    if result.gravity is not None:
        facts.append(Fact("Gravity at the place", f"{result.gravity:.5f} m/s²"))
    if result.shunt_expected is not None and result.shunt_read is not None:
        shunt = f"read {_power(result.shunt_read)}, expected {_power(result.shunt_expected)} V/V"
        facts.append(Fact("Shunt", shunt))
    note = "reading = c0 + c1 F + …; value ± expanded uncertainty, 95 %"
    return Section("Static calibration: the curve", note=note, facts=tuple(facts))


def _exponent(value: float) -> int:
    """Power of a thousand to write a value with."""
    return 3 * math.floor(math.log10(abs(value)) / 3) if value and math.isfinite(value) else 0


def _times(exponent: int) -> str:
    raised = str(exponent).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"10{raised}" if exponent else ""


def _with_spread(value: float, u: float) -> str:
    exponent = _exponent(value)
    scale = 10.0**exponent
    shown, expanded = rounded(value / scale, COVERAGE * u / scale)
    return f"({shown} ± {expanded}) × {_times(exponent)}" if exponent else f"{shown} ± {expanded}"


def _power(value: float) -> str:
    """A number of any size with four digits."""
    exponent = _exponent(value)
    digits = number(value / 10.0**exponent, 4)
    return f"{digits} × {_times(exponent)}" if exponent else digits


def _class(result: StaticCalibration) -> Section:
    kinds = [(kind.replace("_", " "), value) for kind, value in result.errors.items() if value is not None]
    lines = tuple((Cell(kind), Cell(number(value, 2), exact=repr(value))) for kind, value in kinds)
    held = (
        f"The largest errors keep to what class {result.class_name} of ISO 376 would ask; no certificate."
        if result.class_name
        else "The largest errors keep to no class of ISO 376, or the table does not hold what one asks for."
    )
    reasons = [f"Limited by {', '.join(result.limited_by)}."] if result.limited_by else []
    reasons += [f"Not in this table: {', '.join(result.missing)}."] if result.missing else []
    return Section(
        "Static calibration: as the standards would see it",
        says=held,
        reasons=tuple(reasons),
        facts=(
            Fact("Lower limit factor, ASTM E74", f"{number(result.lower_limit_factor, 3)} N"),
            Fact("Class A from", f"{number(result.class_a_from, 3)} N"),
            Fact("Class AA from", f"{number(result.class_aa_from, 3)} N"),
        ),
        tables=(
            Table((Column("largest relative error", kind="words"), Column("found", "%", "number")), lines),
        ),
    )


def _forces(result: StaticCalibration) -> Section:
    steps = [step for step in result.steps if step.force > 0]
    kinds = list(dict.fromkeys(kind for step in steps for kind in step.errors))
    exponent = _exponent(max((abs(step.reading) for step in steps), default=0.0))
    reading = Column("reading", f"{_times(exponent)} {result.reading_unit}".strip(), "number")
    columns = [Column("force", "N", "number"), reading, Column("U of force", "N", "number")]
    columns += [Column(kind.replace("_", " "), "%", "number") for kind in kinds]
    lines = []
    for step in steps:
        cells = [
            Cell(number(step.force, 5), exact=repr(step.force)),
            Cell(number(step.reading / 10.0**exponent, 5), exact=repr(step.reading)),
            Cell(number(COVERAGE * step.u_force, 2), exact=repr(COVERAGE * step.u_force)),
        ]
        for kind in kinds:
            value = step.errors.get(kind)
            cells.append(
                Cell("–", stated=False) if value is None else Cell(number(value, 2), exact=repr(value))
            )
        lines.append(tuple(cells))
    figures: tuple[Figure, ...] = ()
    if steps:
        label = f"Expanded uncertainty of the force read back, in per cent, at {len(steps)} forces."
        points = [Point(step.force, COVERAGE * step.u_force / step.force) for step in steps]
        svg = draw_points(
            points,
            name="Expanded uncertainty of force, %",
            x_unit="N",
            label=label,
            levels=(Level(0.0, ""),),
            y_factor=100.0,
            from_zero=True,
        )
        figures = (Figure(svg, label),)
    return Section(
        "Static calibration: force by force", figures=figures, tables=(Table(tuple(columns), tuple(lines)),)
    )
