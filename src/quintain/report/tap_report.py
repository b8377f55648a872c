"""The report of a tap test: how the rig rings, and what that allows."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from quintain.domain.measured import Measured
from quintain.domain.tap import TapMode, TapTest
from quintain.quantities import GLOSSARY
from quintain.report.cautions import TAP_CAUTIONS
from quintain.report.document import document
from quintain.report.figures.points import Level, Point, draw_points
from quintain.report.parts import (
    Cell,
    Column,
    Fact,
    Figure,
    Section,
    Table,
    cell_of,
    gathered_doubts,
    quantity_rows,
    unbroken,
)
from quintain.report.provenance import recording_pair
from quintain.report.rig_facts import exactly
from quintain.report.rounding import number, shown
from quintain.report.verdict import Verdict
from quintain.version import __version__

__all__ = ["tap_content", "tap_sections", "tap_verdict"]

_NEAR = 0.05
"""A tap's frequency this near the mode's is drawn beside it."""


def tap_content(test: TapTest, *, invented: bool) -> dict[str, Any]:
    """Everything the report says, as words ready to set."""
    files = [PurePath(path).name or "made in memory" for path, _ in test.inputs]
    return document(
        title=f"Taps of {files[0]}",
        kind="report of a tap test",
        file=files[0] if len(files) == 1 else f"{files[0]} and {len(files) - 1} more",
        invented=invented,
        verdict=tap_verdict(test),
        why="What a rig rings like decides which peaks can be trusted. Impulse does not depend on it.",
        sections=tap_sections(test),
        cautions=TAP_CAUTIONS,
        names=("natural_frequency", "damping_ratio"),
        provenance=(
            *(fact for path, sha in test.inputs for fact in recording_pair(path, sha)),
            Fact("Channel", f"{test.channel}, {test.unit}"),
            Fact("Sampling rate", ", ".join(f"{exactly(rate)} Hz" for rate in dict.fromkeys(test.rates))),
            Fact("Software", f"quintain {__version__}"),
        ),
        history=test.history,
        software=__version__,
    )


def tap_verdict(test: TapTest) -> Verdict:
    """The first sentence about a tap test."""
    mode = test.main_mode
    rings = (
        f"The rig rings at {unbroken(shown(mode.natural_frequency).text)}, "
        f"damping ratio {unbroken(shown(mode.damping_ratio).text)}"
    )
    more = f", and in {len(test.modes) - 1} more modes" if len(test.modes) > 1 else ""
    doubted = bool(test.flags) or any(tap.flags for tap in test.taps)
    mark, word = ("doubt", "With doubt") if doubted else ("sound", "Sound")
    return Verdict(mark, word, f"{rings}{more}.")


def tap_sections(test: TapTest) -> tuple[Section, ...]:
    """The evidence of a tap test, for its own report or a rig's."""
    sections = [_modes(test), _allowed(test), _taps(test)]
    doubts = gathered_doubts(test.flags, [(i, t.flags) for i, t in enumerate(test.taps, 1)], noun="tap")
    if doubts:
        sections.append(Section("Doubts about the taps", doubts=doubts))
    return tuple(sections)


def _modes(test: TapTest) -> Section:
    columns = (
        Column("natural frequency", "Hz"),
        Column("damping ratio", "%"),
        Column("static share", "%", "number"),
        Column("spread of taps", "Hz", "number"),
        Column("seen in", kind="number"),
        Column("over least", kind="number"),
        Column("could be folded from", "Hz", "words"),
    )
    note = "over least: uncertainty of one tap over the Cramer-Rao bound"
    left = ", ".join(f"{number(f, 4)} Hz" for f in test.left_out)
    caption = f"Seen in too few taps and left out: {left}." if left else ""
    lines = tuple(_mode_line(mode, len(test.taps)) for mode in test.modes)
    return Section(
        "Tap test: how the rig rings",
        note=f"{len(test.taps)} taps; value ± expanded uncertainty, 95 %; {note}",
        figures=_figure(test),
        tables=(Table(columns, lines, caption),),
    )


def _mode_line(mode: TapMode, n_taps: int) -> tuple[Cell, ...]:
    others = ", ".join(number(f, 4) for f in mode.candidates)
    return (
        cell_of(mode.natural_frequency),
        cell_of(mode.damping_ratio),
        Cell(number(100 * mode.share, 3), exact=repr(mode.share)),
        Cell(number(mode.spread, 2), exact=repr(mode.spread)),
        Cell(f"{mode.n_seen} of {n_taps}", exact=str(mode.n_seen)),
        Cell(number(mode.over_least, 2), exact=repr(mode.over_least)),
        Cell(others or "–"),
    )


def _figure(test: TapTest) -> tuple[Figure, ...]:
    """Natural frequency of the main mode, tap by tap, beside what they agree on."""
    joint = test.main_mode.natural_frequency
    points = []
    for i, tap in enumerate(test.taps, 1):
        near = min(tap.natural_frequency, key=lambda f: abs(f - joint.value), default=None)
        if near is not None and abs(near - joint.value) < _NEAR * joint.value:
            points.append(Point(float(i), near, doubted=bool(tap.flags)))
    if not points:
        return ()
    label = f"Natural frequency of the main mode in {len(points)} taps, beside {shown(joint).text}."
    svg = draw_points(
        points,
        name="Natural frequency of the main mode, Hz, tap by tap",
        x_unit="",
        x_words=[(p.x, f"{p.x:.0f}") for p in points[:: -(-len(points) // 12)]],
        label=label,
        levels=(Level(joint.value, "together", band=joint.expanded),),
    )
    return (Figure(svg, label),)


def _allowed(test: TapTest) -> Section:
    facts = [
        Fact(
            f"Raw peak within {100 * pulse.tolerance:g} %",
            f"pulses of {number(1e3 * pulse.duration, 3)} ms and longer ({pulse.shape} decides)",
        )
        for pulse in test.shortest_pulses
    ]
    corrected = test.shortest_corrected_pulse
    facts.append(
        Fact(
            "Corrected peak",
            "not at this sampling rate"
            if corrected is None
            else f"pulses of {number(1e3 * corrected, 3)} ms and longer",
        )
    )
    facts.append(Fact("A steady sine within 5 %", f"up to {number(test.bandwidth, 3)} Hz"))
    weighed: dict[str, Measured] = {
        m.quantity: m for m in (test.moving_mass, test.moving_stiffness) if m is not None
    }
    rows = quantity_rows(weighed, (tuple(weighed),), always=(), headline=tuple(weighed), flags=test.flags)
    return Section("Tap test: what it allows", facts=tuple(facts), rows=rows)


def _taps(test: TapTest) -> Section:
    symbol = GLOSSARY["natural_frequency"].label.lower()
    columns = (
        Column("no.", kind="number"),
        Column("recording", kind="words"),
        Column("decay from", "s", "number"),
        Column("used", "s", "number"),
        Column(symbol, "Hz", "words"),
        Column("damping ratio", "%", "words"),
        Column("modes tried", kind="words"),
    )
    lines = []
    for i, tap in enumerate(test.taps, 1):
        lines.append(
            (
                Cell(str(i), exact=str(i)),
                Cell(PurePath(tap.path).name or "made in memory"),
                Cell(f"{tap.start:.3f}", exact=repr(tap.start)),
                Cell(number(tap.duration, 3), exact=repr(tap.duration)),
                Cell(", ".join(number(f, 5) for f in tap.natural_frequency)),
                Cell(", ".join(number(100 * d, 3) for d in tap.damping_ratio)),
                Cell(", ".join(str(n) for n in dict.fromkeys(order[0] for order in tap.orders)) or "–"),
            )
        )
    return Section("Tap test: tap by tap", tables=(Table(columns, tuple(lines)),))
