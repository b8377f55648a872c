"""The report of a drop test: whether the whole chain tells the truth about a known mass."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import Any

from quintain.domain.drop import Agreement, Drop, DropTest
from quintain.domain.measured import Measured
from quintain.domain.strike import Contact, Strike
from quintain.quantities import GLOSSARY
from quintain.report.cautions import DROP_CAUTIONS
from quintain.report.document import document
from quintain.report.figures.loops import Loop, draw_loops
from quintain.report.figures.points import Level, Point, draw_points
from quintain.report.figures.strike import describe, draw_strike
from quintain.report.parts import (
    Cell,
    Column,
    Fact,
    Figure,
    Section,
    Table,
    budget_of,
    cell_of,
    doubt_of,
    gathered_doubts,
    quantity_rows,
    unbroken,
)
from quintain.report.provenance import recording_facts
from quintain.report.rig_facts import exactly, rig_facts
from quintain.report.rounding import MINUS, number, rounded, shown
from quintain.report.verdict import Verdict

__all__ = ["drop_sections", "drop_verdict", "drops_content"]

FIGURES_AT_MOST = 12
"""Drops whose force is drawn; all stand in the tables."""
LOOPS_AT_MOST = 5

_PROOF = ("height", "speed_by_height", "approach_speed", "gain")
_BOUNCES = ("approach_speed", "rebound_speed", "restitution", "friction_excess", "gain_without_height")
_BLOW = ("impulse", "peak_force", "contact_time", "pad_compression", "pad_energy_lost", "pad_stiffness")
_SHORT = {
    "height": "height",
    "speed_by_height": "speed by height",
    "approach_speed": "speed by force",
    "rebound_speed": "rebound speed",
    "friction_excess": "height against force",
    "restitution": "restitution",
    "gain": "gain",
    "gain_without_height": "gain, bounces",
    "impulse": "impulse",
    "peak_force": "peak force",
    "contact_time": "contact time",
    "pad_compression": "pad depth",
    "pad_energy_lost": "pad kept",
    "pad_stiffness": "pad stiffness",
}
_SHORT_CUTS = {
    "half_impulse": "half the impulse over the mass",
    "flight_time": "half the flight time times g",
}
_PAD = (
    ("pad_compression", "pad_stiffness", "pad_exponent"),
    ("pad_energy_in", "pad_energy_lost", "pad_loss_fraction"),
    ("pad_bottoming_index", "pad_bottoming_at"),
)
_GAINS = ("gain", "gain_without_height")
_UNITS = {
    "mass": "kg",
    "height": "m",
    "heights": "m",
    "gravity": "m/s²",
    "cell_stiffness": "N/m",
    "natural_frequency": "Hz",
}


def drops_content(test: DropTest, *, invented: bool) -> dict[str, Any]:
    """Everything the report says, as words ready to set."""
    names = {name for drop in test.drops for name in _all(drop)}
    return document(
        title=f"Drops of {PurePath(test.path).name or 'a recording'}",
        kind="report of a drop test",
        file=PurePath(test.path).name or "made in memory",
        invented=invented,
        verdict=drop_verdict(test),
        why="A known mass falls. Its speed follows from the height, and from the force alone. Where both "
        "agree, the chain from pad to number tells the truth.",
        sections=drop_sections(test),
        cautions=DROP_CAUTIONS,
        names=[name for name in (*_PROOF, *_BOUNCES, *_BLOW) if name in names],
        rig=rig_facts(test.rig) if test.rig else (),
        provenance=recording_facts(test),
        history=test.history,
        software=test.quintain,
    )


def drop_verdict(test: DropTest) -> Verdict:
    """The first sentence about a drop test."""
    count = "One drop" if len(test.drops) == 1 else f"{len(test.drops)} drops"
    gain = next((test.quantities[name] for name in _GAINS if name in test.quantities), None)
    found = f": gain of the chain {unbroken(shown(gain).text)}" if gain else ""
    deviation = f", Eₙ\u00a0{_signed(test.e_n, 2)}" if test.e_n is not None else ""
    if test.verdict == "pass":
        doubted = bool(test.flags) or any(drop.flags for drop in test.drops)
        mark, word = ("doubt", "With doubt") if doubted else ("sound", "Sound")
        return Verdict(mark, word, f"{count} came out right{found}{deviation}.")
    if test.verdict == "fail":
        said = f"The chain does not read dropped masses right{found}{deviation}."
        return Verdict("stop", "Stop", said, "Find the cause before any strike is relied on.")
    return Verdict("open", "Undecided", f"{count} cannot tell whether the chain reads right{found}.")


def drop_sections(test: DropTest) -> tuple[Section, ...]:
    """The evidence of a drop test, for its own report or a rig's."""
    drops = test.drops
    sections = [_chain(test)]
    if drops:
        sections.append(_proof(drops))
        sections += _agreement(drops, test.agreement)
        bounces, blow = _table(drops, _BOUNCES, verdicts=False), _table(drops, _BLOW, verdicts=False)
        sections.append(Section("Drop test: bounces, blow and pad", tables=(bounces, blow)))
        sections += _pad(drops)
    doubts = gathered_doubts(test.flags, [(d.number, d.flags) for d in drops], noun="drop")
    if doubts:
        sections.append(Section("Doubts about the drops", doubts=doubts))
    sections += _short_cuts(drops)
    sections += [_single(drop, test.rate) for drop in drops[:FIGURES_AT_MOST] if drop.curve is not None]
    return tuple(sections)


def _chain(test: DropTest) -> Section:
    rows = quantity_rows(test.quantities, (_GAINS,), always=(), headline=_GAINS, flags=test.flags)
    budgets = [budget_of(test.quantities[name]) for name in _GAINS if name in test.quantities]
    return Section(
        "Drop test: the whole chain",
        note="value ± expanded uncertainty, 95 %",
        reasons=tuple(f"{reason[:1].upper()}{reason[1:].rstrip('.')}." for reason in test.reasons),
        rows=rows,
        budgets=tuple(budget for budget in budgets if budget),
        facts=_settings(test.settings),
    )


def _settings(settings: Mapping[str, Any]) -> tuple[Fact, ...]:
    facts = []
    for name, value in settings.items():
        if value is None or value == () or value == []:
            continue
        base = name.removeprefix("u_")
        words = base.replace("_", " ")
        unit = _UNITS.get(base, "")
        facts.append(Fact(words if base == name else f"u({words})", f"{_plain(value)} {unit}".rstrip()))
    return tuple(facts)


def _plain(value: Any) -> str:
    if isinstance(value, (list, tuple)):
        return ", ".join(_plain(item) for item in value)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return exactly(float(f"{value:.6g}"))
    return str(value)


def _all(drop: Drop) -> dict[str, Measured]:
    return {**drop.quantities, **(drop.pad.quantities if drop.pad else {})}


def _table(drops: Sequence[Drop], names: Sequence[str], *, verdicts: bool) -> Table:
    known = [name for name in names if any(name in _all(drop) for drop in drops)]
    columns = [Column("no.", kind="number")]
    columns += [Column(_SHORT[name], GLOSSARY[name].shown_unit.replace("1", "")) for name in known]
    if verdicts:
        columns += [Column("Eₙ", kind="number"), Column("verdict", kind="words")]
    lines = []
    for drop in drops:
        quantities = _all(drop)
        cells = [Cell(str(drop.number), exact=str(drop.number))]
        cells += [cell_of(quantities.get(name), drop.flags) for name in known]
        if verdicts:
            shown_en = "–" if drop.e_n is None else _signed(drop.e_n, 2)
            cells += [
                Cell(shown_en, exact="" if drop.e_n is None else repr(drop.e_n), stated=drop.e_n is not None),
                Cell(drop.verdict),
            ]
        lines.append(tuple(cells))
    return Table(tuple(columns), tuple(lines))


def _signed(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}".replace("-", MINUS)


def _proof(drops: Sequence[Drop]) -> Section:
    """The gain each drop gives, against height, or in their order where heights are not stated."""
    name = "gain" if any("gain" in d.quantities for d in drops) else "gain_without_height"
    given = [d for d in drops if name in d.quantities]
    by_height = bool(given) and all("height" in d.quantities for d in given)
    figures: tuple[Figure, ...] = ()
    if given:
        points = [
            Point(
                d.quantities["height"].value if by_height else float(d.number),
                d.quantities[name].value,
                d.quantities[name].expanded,
                doubted=d.verdict != "pass",
            )
            for d in given
        ]
        label = f"{GLOSSARY[name].label} of {len(given)} drops with 95 % intervals, against 1."
        svg = draw_points(
            points,
            name=GLOSSARY[name].label,
            x_unit="m" if by_height else "",
            x_words=None if by_height else [(float(d.number), str(d.number)) for d in given[:12]],
            label=label,
            levels=(Level(1.0, "right"),),
            from_zero=by_height,
        )
        figures = (Figure(svg, label),)
    return Section(
        "Drop test: drop by drop",
        note="filled: passed; hollow: failed or undecided; bars 95 %",
        figures=figures,
        tables=(_table(drops, _PROOF, verdicts=True),),
    )


def _agreement(drops: Sequence[Drop], agreement: Agreement | None) -> list[Section]:
    both = [d for d in drops if {"approach_speed", "speed_by_height"} <= set(d.quantities)]
    if agreement is None or not both:
        return []
    points = []
    for drop in both:
        by_force, by_height = (drop.quantities[n].value for n in ("approach_speed", "speed_by_height"))
        points.append(Point((by_force + by_height) / 2, by_force - by_height))
    half = (agreement.bias_interval[1] - agreement.bias_interval[0]) / 2
    levels = (
        Level(agreement.upper, "+1.96 s", limit=True),
        Level(agreement.bias, "mean", band=half),
        Level(agreement.lower, f"{MINUS}1.96 s", limit=True),
    )
    label = f"Speed by force less speed by height, {len(points)} drops, with limits of agreement."
    name = "Speed by force less by height, m/s"
    svg = draw_points(points, name=name, x_unit="m/s", label=label, levels=levels)
    rows = [
        ("mean difference, m/s", agreement.bias, agreement.bias_interval),
        ("lower limit of agreement, m/s", agreement.lower, agreement.lower_interval),
        ("upper limit of agreement, m/s", agreement.upper, agreement.upper_interval),
    ]
    if agreement.slope is not None and agreement.slope_interval is not None:
        rows.append(("slope, force over height", agreement.slope, agreement.slope_interval))
    if agreement.intercept is not None and agreement.intercept_interval is not None:
        rows.append(("intercept, m/s", agreement.intercept, agreement.intercept_interval))
    lines = tuple(
        (
            Cell(words),
            Cell(rounded(value, (high - low) / 2)[0], exact=repr(value)),
            Cell(" to ".join(rounded(end, (high - low) / 2)[0] for end in (low, high))),
        )
        for words, value, (low, high) in rows
    )
    interval = Column("95 % interval", kind="words")
    columns = (Column("", kind="words"), Column("value", kind="number"), interval)
    return [
        Section(
            "Drop test: agreement of force and height",
            note=f"{agreement.n} drops; Bland and Altman 1986; shaded: 95 % interval of the mean",
            figures=(Figure(svg, label),),
            tables=(Table(columns, lines),),
        )
    ]


def _pad(drops: Sequence[Drop]) -> list[Section]:
    padded = [drop for drop in drops if drop.pad is not None]
    if not padded:
        return []
    hardest = max(padded, key=lambda d: float(d.pad.force.max(initial=0.0)) if d.pad else 0.0)
    assert hardest.pad is not None
    others = [drop for drop in padded if drop is not hardest][: LOOPS_AT_MOST - 1]
    loops = [
        Loop(drop.pad.compression, drop.pad.force, f"drop {drop.number}")
        for drop in (*others, hardest)
        if drop.pad is not None
    ]
    label = f"Force against compression of the pad, {len(loops)} drops; drop {hardest.number} in blue."
    bottoms = [drop.number for drop in padded if drop.pad and drop.pad.bottoms]
    says = (
        "The pad bottoms out: a harder blow would reach the plate. Use a thicker or stiffer pad."
        if bottoms
        else ""
    )
    return [
        Section(
            "Drop test: the pad",
            note=f"numbers of drop {hardest.number}, the hardest",
            mark="doubt" if bottoms else "",
            says=says,
            figures=(Figure(draw_loops(loops, label=label), label),),
            rows=quantity_rows(
                hardest.pad.quantities, _PAD, always=(), headline=("pad_compression",), flags=hardest.flags
            ),
        )
    ]


def _short_cuts(drops: Sequence[Drop]) -> list[Section]:
    names = list(dict.fromkeys(n for drop in drops for n in drop.others))
    if not names:
        return []
    columns = [Column("no.", kind="number"), Column("by force", "m/s")]
    columns += [Column(_SHORT_CUTS.get(name, name.replace("_", " ")), "m/s", "number") for name in names]
    lines = []
    for drop in drops:
        cells = [Cell(str(drop.number), exact=str(drop.number))]
        cells.append(cell_of(drop.quantities.get("approach_speed"), drop.flags))
        for name in names:
            value = drop.others.get(name)
            cells.append(
                Cell("–", stated=False) if value is None else Cell(number(value, 4), exact=repr(value))
            )
        lines.append(tuple(cells))
    caption = (
        "The usual short cuts, for comparison only: they take the blow as symmetric, or the pad as back at "
        "its full height when the mass takes off."
    )
    return [Section("Drop test: speed by short cuts", tables=(Table(tuple(columns), tuple(lines), caption),))]


def _single(drop: Drop, rate: float) -> Section:
    assert drop.curve is not None
    contact = drop.quantities.get("contact_time")
    contacts = (Contact(drop.start, drop.start + contact.value),) if contact else ()
    seen = Strike(drop.number, drop.start, contacts, drop.quantities, drop.flags, drop.curve)
    label = describe(seen, noun="drop")
    return Section(
        f"Drop {drop.number}",
        note=f"touches at {drop.start:.3f} s; {drop.verdict}",
        reasons=drop.reasons,
        figures=(Figure(draw_strike(seen, rate=rate, height=216, noun="drop"), label),),
        doubts=tuple(doubt_of(flag) for flag in drop.flags),
    )
