"""What the report of a study says: the verdict, then question by question figure, table and words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from quintain.domain.flags import FLAGS
from quintain.quantities import GLOSSARY
from quintain.report.cautions import STRIKE_CAUTIONS
from quintain.report.document import document
from quintain.report.figures.intervals import Interval, draw_intervals
from quintain.report.figures.mean_curve import draw_mean_curve
from quintain.report.figures.people import Level as PeopleLevel
from quintain.report.figures.people import draw_people
from quintain.report.figures.points import Level, Point, draw_points
from quintain.report.parts import Cell, Column, Fact, Figure, Section, Table
from quintain.report.rounding import number, rounded
from quintain.report.shared_parts import PARTS, named_parts
from quintain.report.verdict import Verdict
from quintain.study.answers import (
    AgreementAnswer,
    Answer,
    AsymmetryAnswer,
    ComparisonAnswer,
    Described,
    FatigueAnswer,
    MixedAnswer,
    ProgressAnswer,
    ReliabilityAnswer,
    StudyResult,
)
from quintain.study.common_part import CommonPart, Whole
from quintain.study.describe import Description
from quintain.study.progress import RULE

__all__ = ["judge_study", "study_content", "study_sections"]

SHOWS = 0.1
"""Share of a standard uncertainty from which a part of it shows: a tenth adds half a per cent. [1]"""


def study_content(result: StudyResult, *, invented: bool) -> dict[str, Any]:
    """Everything the report says, as words ready to set."""
    plan = result.plan
    return document(
        title=plan.title,
        kind="report of a study",
        file=f"study {plan.code}",
        invented=invented,
        verdict=judge_study(result),
        why=plan.question,
        sections=study_sections(result),
        cautions=STRIKE_CAUTIONS,
        names=plan.quantities,
        provenance=(
            Fact("Plan", plan.sha256, mono=True),
            Fact("Values that went in", result.data_sha256, mono=True),
            Fact("Strikes", f"{result.n_strikes} of {len(result.people)} people"),
            Fact("People", ", ".join(result.people)),
            Fact("Sessions", ", ".join(result.sessions)),
            Fact("Rigs", ", ".join(result.rigs) or "not stated"),
            Fact("Left out", _left_out(result)),
        ),
        software=result.software,
        date=result.date,
    )


def judge_study(result: StudyResult) -> Verdict:
    """The first sentence: what repeats and what differs, by the plan's rules, never by taste."""
    answers = result.answers
    if not answers.answers:
        return Verdict(
            "open", "Undecided", "None of the plan's questions can be answered from these strikes."
        )
    sentences = [*_reliability_verdict(answers.answers), *_comparison_verdict(answers.answers)]
    sentence = " ".join(sentences) or "The plan's questions are answered below."
    if answers.refused:
        n = len(answers.refused)
        why = f"{n} question{'s' if n > 1 else ''} could not be answered; the reasons stand below."
        return Verdict("doubt", "With doubt", sentence, why)
    return Verdict("sound", "Sound", sentence)


def study_sections(result: StudyResult) -> tuple[Section, ...]:
    """One section a question, then the description, mean curves, what was refused, and the methods."""
    sections: list[Section] = []
    for kind, group in _grouped(result.answers.answers, type):
        sections += _SECTIONS[kind](group)
    sections.append(_description(result.answers.described))
    sections += _measurement(result.answers.described)
    sections += [
        Section(
            f"Mean force curve, {name}",
            curve.words,
            figures=(
                Figure(draw_mean_curve(curve, label=_curve_label(name, curve)), _curve_label(name, curve)),
            ),
        )
        for name, curve in result.curves
    ]
    if result.answers.refused:
        lines = tuple(
            (Cell(_label(r.quantity)), Cell(r.question), Cell(r.reason)) for r in result.answers.refused
        )
        heads = (
            Column("quantity", kind="words"),
            Column("question", kind="words"),
            Column("why", kind="words"),
        )
        sections.append(Section("Not answered", "refused rather than faked", tables=(Table(heads, lines),)))
    note = "made from what was done; to be edited"
    sections.append(Section("Methods paragraph", note, says=result.methods))
    return tuple(sections)


# -- words and numbers

T = TypeVar("T")
K = TypeVar("K")


def _grouped(items: Iterable[T], key: Callable[[T], K]) -> list[tuple[K, list[T]]]:
    """Items with the same key together, in the order in which keys come first."""
    groups: dict[K, list[T]] = {}
    for item in items:
        groups.setdefault(key(item), []).append(item)
    return list(groups.items())


def _entry(quantity: str) -> tuple[str, str, float]:
    entry = GLOSSARY[quantity]
    return entry.label, "" if entry.shown_unit == "1" else entry.shown_unit, entry.shown_factor


def _label(quantity: str) -> str:
    return GLOSSARY[quantity].label


def _named(quantity: str) -> str:
    label, unit, _ = _entry(quantity)
    return f"{label}, {unit}" if unit else label


def _value(value: float | None, quantity: str, digits: int = 3) -> Cell:
    if value is None or not math.isfinite(value):
        return Cell("–", stated=False)
    return Cell(number(value * _entry(quantity)[2], digits), exact=repr(value))


def _plain(value: float | None, digits: int = 2) -> Cell:
    if value is None or not math.isfinite(value):
        return Cell("–", stated=False)
    return Cell(f"{value:.{digits}f}".replace("-", "−"), exact=repr(value))


def _percent(share: float | None) -> Cell:
    return _plain(None if share is None else 100 * share, 1)


def _probability(p: float) -> Cell:
    return Cell("< 0.001" if p < 0.001 else f"{p:.3f}", exact=repr(p))


def _spine(value: float, interval: tuple[float, float], quantity: str) -> Cell:
    """A value with half its interval, both in the shown unit; intervals here are symmetric."""
    factor = _entry(quantity)[2]
    half = 0.5 * (interval[1] - interval[0]) * factor
    text, spread = rounded(value * factor, half)
    return Cell(text, f"± {spread}", exact=repr(value))


def _words(names: Sequence[str]) -> str:
    names = [name[0].lower() + name[1:] if i else name for i, name in enumerate(names)]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _numbers(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, kind="number") for name in names)


def _left_out(result: StudyResult) -> str:
    return (
        "; ".join(f"{n} {FLAGS[why].code if why in FLAGS else why}" for why, n in result.left_out)
        or "nothing"
    )


def _curve_label(name: str, curve: Any) -> str:
    return f"Mean force over time of {curve.n_trials} strikes ({name}) of {len(curve.people)} people"


# -- does it repeat?


def _reliability_verdict(answers: Iterable[Answer]) -> list[str]:
    found = [a for a in answers if isinstance(a, ReliabilityAnswer)]
    by_words: dict[str, list[str]] = {}
    for answer in found:
        name = _label(answer.quantity) + (f" ({answer.group})" if answer.group else "")
        by_words.setdefault(answer.words, []).append(name)
    said = []
    people = by_words.get("Tells people apart", [])
    if people:
        said.append(f"{_words(people)} {'repeat' if len(people) > 1 else 'repeats'} from "
                    f"{found[0].across} to {found[0].across}.")  # fmt: skip
    groups = by_words.get("Tells groups apart", [])
    if groups:
        said.append(
            f"{_words(groups)} {'tell' if len(groups) > 1 else 'tells'} groups apart, people not yet."
        )
    rest = by_words.get("Not yet", [])
    if rest:
        said.append(f"{_words(rest)} {'do' if len(rest) > 1 else 'does'} not yet repeat.")
    return said


def _reliability(answers: list[ReliabilityAnswer]) -> list[Section]:
    sections = []
    for (across, note), rows in _grouped(answers, lambda a: (a.across, a.note)):
        heads = (
            Column("quantity", kind="words"),
            *_numbers("mean", "SD between", "ICC", "from", "to", "SEM", "MDC95", "MDC95, %", "SWC"),
            Column("in words", kind="words"),
        )
        lines = []
        for a in rows:
            change = f"; a change under {_value(a.error.mdc, a.quantity, 2).value} is noise."
            lines.append(
                (
                    Cell(_named(a.quantity) + (f" ({a.group})" if a.group else "")),
                    _value(a.mean, a.quantity),
                    _value(a.error.sd_observed, a.quantity, 2),
                    _plain(a.icc.value),
                    _plain(a.icc.lower),
                    _plain(a.icc.upper),
                    _value(a.error.sem, a.quantity, 2),
                    _value(a.error.mdc, a.quantity, 2),
                    _percent(a.error.mdc / abs(a.mean) if a.mean else None),
                    _value(a.error.swc, a.quantity, 2),
                    Cell(a.words + change),
                )
            )
        label = f"{rows[0].icc.name} with 95 % intervals of {len(rows)} quantities"
        figure = draw_intervals(
            [
                Interval(_label(a.quantity) + (f" ({a.group})" if a.group else ""), a.icc.value, a.icc.lower,
                         a.icc.upper)
                for a in rows
            ],
            name=rows[0].icc.name,
            label=label,
            limits=(0.0, 1.0),
            marks=(0.5, 0.75),
        )  # fmt: skip
        sections.append(
            Section(
                f"Reliability from {across} to {across}",
                f"{rows[0].icc.name}: {rows[0].icc.meaning}; {note}",
                figures=(Figure(figure, label),),
                tables=(Table(heads, tuple(lines), "SEM is the root of the residual mean square. SD between "
                              "people holds the error too. SWC: smallest worthwhile change."),),
            )
        )  # fmt: skip
    return sections


# -- do they differ?


def _comparison_verdict(answers: Iterable[Answer]) -> list[str]:
    said: dict[str, list[str]] = {}
    for a in answers:
        if not isinstance(a, ComparisonAnswer):
            continue
        verdict = a.equivalence.verdict
        if verdict in ("first larger", "second larger"):
            more, less = (a.comparison.first, a.comparison.second)[:: 1 if verdict == "first larger" else -1]
            said.setdefault(f"larger for {more} than for {less}", []).append(_label(a.quantity))
        elif verdict == "equivalent":
            said.setdefault(
                f"the same for {a.comparison.first} and {a.comparison.second} as far as it matters", []
            ).append(_label(a.quantity))
    return [f"{_words(names)} {'are' if len(names) > 1 else 'is'} {what}." for what, names in said.items()]


def _comparisons(answers: list[ComparisonAnswer]) -> list[Section]:
    sections = []
    for (quantity, factor), rows in _grouped(answers, lambda a: (a.quantity, a.factor)):
        heads = (
            Column("first less second", kind="words"),
            *_numbers("people", "mean of first", "mean of second"),
            Column("difference", GLOSSARY[quantity].shown_unit),
            *_numbers("p, adjusted", "p, permutation"),
            Column("effect size", kind="words"),
        )
        lines = tuple(
            (
                Cell(f"{a.comparison.first} less {a.comparison.second}"),
                Cell(str(a.comparison.n_first) if a.comparison.design == "paired"
                     else f"{a.comparison.n_first} and {a.comparison.n_second}"),
                _value(a.comparison.mean_first, quantity),
                _value(a.comparison.mean_second, quantity),
                _spine(a.comparison.difference, a.comparison.interval, quantity),
                _probability(a.p_holm),
                _probability(a.comparison.permutation.p),
                Cell(f"{a.comparison.effect.name} = {_plain(a.comparison.effect.value).value} "
                     f"({_plain(a.comparison.effect.interval[0]).value} to "
                    f"{_plain(a.comparison.effect.interval[1]).value})"),
            )
            for a in rows
        )  # fmt: skip
        figures = _people_figure(rows) if rows[0].people else ()
        said = [
            f"{_capital(a.equivalence.words)} "
            + _said_common(a.comparison.difference, a.comparison.common, a.comparison.whole, quantity)
            for a in rows
        ]
        sections.append(
            Section(
                f"{_label(quantity)} by {factor}",
                f"{rows[0].comparison.design}, means of people; p adjusted by Holm over {len(rows)}; "
                "worthwhile: a fifth of the spread between people unless the plan says otherwise",
                reasons=tuple(said),
                figures=figures,
                tables=(Table(heads, lines),),
            )
        )
    return sections


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]


def _people_figure(rows: list[ComparisonAnswer]) -> tuple[Figure, ...]:
    quantity = rows[0].quantity
    factor = _entry(quantity)[2]
    codes = sorted({code for a in rows for code, _, _ in a.people})
    at: dict[str, dict[str, float]] = {}
    mean: dict[str, float] = {}
    interval: dict[str, tuple[float, float]] = {}
    for a in rows:
        mean |= {a.comparison.first: a.comparison.mean_first, a.comparison.second: a.comparison.mean_second}
        interval |= dict(zip((a.comparison.first, a.comparison.second), a.intervals, strict=True))
        for code, first, second in a.people:
            at.setdefault(a.comparison.first, {})[code] = first
            at.setdefault(a.comparison.second, {})[code] = second
    levels = [
        PeopleLevel(
            name,
            [values.get(code) for code in codes],
            mean[name],
            interval[name],
            _spine(mean[name], interval[name], quantity).value
            + " "
            + _spine(mean[name], interval[name], quantity).spread,
        )
        for name, values in at.items()
    ]
    label = f"{_label(quantity)} of {len(codes)} people at {len(levels)} levels; a line joins one person"
    svg = draw_people(levels, name=_named(quantity), label=label, y_factor=factor)
    return (Figure(svg, label),)


def _mixed(answers: list[MixedAnswer]) -> list[Section]:
    sections = []
    for a in answers:
        heads = (
            Column("first", kind="words"),
            Column("second", kind="words"),
            Column("difference", GLOSSARY[a.quantity].shown_unit),
            *_numbers("df", "p, adjusted"),
        )
        lines = tuple(
            (
                Cell(f"{c.factor} {c.first}"),
                Cell(f"{c.factor} {c.second}"),
                _spine(c.difference, c.interval, a.quantity),
                _plain(c.df, 1),
                _probability(c.p_holm),
            )
            for c in a.model.contrasts
        )
        parts = (Column("varies", kind="words"), *_numbers("SD", "from", "to", "share of variance, %"))
        shares = tuple(
            (
                Cell(v.name),
                _value(v.sd, a.quantity, 2),
                *(_value(end, a.quantity, 2) for end in ends),
                _percent(v.share),
            )
            for v, ends in zip(a.model.components, a.sd_intervals, strict=True)
        )
        tests = "; ".join(f"{t.term}: F = {t.f:.2f}, p {_probability(t.p).value}" for t in a.model.tests)
        sections.append(
            Section(
                f"{_label(a.quantity)}, mixed model by {a.factor}",
                f"{a.model.n_trials} strikes of {a.model.n_people} people; {tests}",
                reasons=(*a.model.words, *_contrasts_common(a)),
                tables=(
                    Table(heads, lines),
                    Table(parts, shares, "Where the spread lies; intervals by profile likelihood."),
                ),
            )
        )
    return sections


def _contrasts_common(a: MixedAnswer) -> list[str]:
    """What strikes share in the contrasts, where it shows."""
    return [
        _said_common(c.difference, c.common, c.whole, a.quantity, f"difference of {c.first} less {c.second}")
        for c in a.model.contrasts
        if c.common is not None and c.whole is not None and c.common.u >= SHOWS * c.whole.u
    ]


# -- do they agree?


def _agreement(answers: list[AgreementAnswer]) -> list[Section]:
    sections = []
    for a in answers:
        label, unit, factor = _entry(a.quantity)
        limits = a.limits
        band = 0.5 * (limits.upper_interval[1] - limits.upper_interval[0])
        half = 0.5 * (limits.bias_interval[1] - limits.bias_interval[0])
        levels = [
            Level(limits.bias, f"bias {number(limits.bias * factor, 2)}", band=half),
            Level(limits.upper, f"+1.96 SD {number(limits.upper * factor, 2)}", limit=True, band=band),
            Level(limits.lower, f"−1.96 SD {number(limits.lower * factor, 2)}", limit=True, band=band),
        ]
        words = f"{label}: {a.factor} {a.first} less {a.second} of {len(a.people)} people against their mean"
        svg = draw_points(
            [Point(float(m), float(d)) for m, d in zip(a.mean, a.difference, strict=True)],
            name=f"{a.first} less {a.second}, {unit}",
            x_unit=unit,
            label=words,
            levels=levels,
            x_factor=factor,
            y_factor=factor,
            height=260,
        )
        low, high = (number(v * factor, 2) for v in (limits.lower, limits.upper))
        sections.append(
            Section(
                f"Agreement of {a.first} and {a.second}, {label[0].lower()}{label[1:]}",
                f"{len(a.people)} people, one point each; pale: 95 % intervals of bias and limits",
                says=f"For one person the two may differ by {low} to {high} {unit}.".strip(),
                reasons=(_said_common(limits.bias, a.common, a.whole, a.quantity, "bias"),),
                figures=(Figure(svg, words),),
            )
        )
    return sections


# -- where do they go?


def _fatigue(answers: list[FatigueAnswer]) -> list[Section]:
    heads = (
        Column("quantity", kind="words"),
        *_numbers("people"),
        Column("change a strike"),
        *_numbers("% a strike", "p"),
    )
    lines = tuple(
        (
            Cell(_named(a.quantity)),
            Cell(str(len(a.fatigue.people))),
            _spine(a.fatigue.mean, a.fatigue.interval, a.quantity),
            _plain(a.fatigue.percent, 2),
            _probability(a.fatigue.p),
        )
        for a in answers
    )
    note = "slope of each person within series, then Student's t over people"
    return [Section("From strike to strike", note, tables=(Table(heads, lines),))]


def _asymmetry(answers: list[AsymmetryAnswer]) -> list[Section]:
    sections = []
    for a in answers:
        found = a.asymmetry
        rows = [
            Interval(p.person, p.percent, *(_as_percent(p.interval) if p.interval else (math.nan, math.nan)))
            for p in found.people
        ]
        rows.append(Interval("all", found.percent, *found.percent_interval))
        label = f"{_label(a.quantity)}: {found.first} over {found.second} of {len(found.people)} people"
        svg = draw_intervals(rows, name=f"{found.first} over {found.second}, %", label=label, marks=(0.0,))
        sections.append(
            Section(
                f"Asymmetry, {_label(a.quantity)[0].lower()}{_label(a.quantity)[1:]}",
                f"positive where {found.first} is the larger; p {_probability(found.p).value}",
                figures=(Figure(svg, label),),
            )
        )
    return sections


def _as_percent(log_interval: tuple[float, float]) -> tuple[float, float]:
    low, high = (100 * math.expm1(v) for v in log_interval)
    return low, high


def _progress(answers: list[ProgressAnswer]) -> list[Section]:
    sections: list[Section] = []
    for quantity, rows in _grouped(answers, lambda a: a.quantity):
        heads = (
            Column("person", kind="words"),
            *_numbers("first", "last"),
            Column("change", GLOSSARY[quantity].shown_unit),
            Column("beyond error", kind="words"),
            Column("in words", kind="words"),
        )
        lines = tuple(
            (
                Cell(a.person),
                _value(a.values[0], quantity),
                _value(a.values[-1], quantity),
                _spine(a.progress.changes[-1].change, a.progress.changes[-1].interval, quantity),
                Cell("yes" if a.progress.changes[-1].real else "no"),
                Cell(a.progress.changes[-1].verdict),
            )
            for a in rows
        )
        sections.append(
            Section(
                f"Progress, {_label(quantity)[0].lower()}{_label(quantity)[1:]}",
                f"last session against the first, {rows[0].sessions[0]} to {rows[0].sessions[-1]}",
                tables=(Table(heads, lines, "" if sections else RULE),),  # the rule is said once
            )
        )
    return sections


def _description(described: Sequence[Described]) -> Section:
    names, named = _row_names(described)
    numbers = ("people", "strikes", "mean", "SD between", "SD within", "SE of mean", "lowest", "highest")
    heads = (*names, *_numbers(*numbers))
    lines = tuple(
        (
            *named(d, row),
            Cell(str(row.n_people)),
            Cell(str(row.n_trials)),
            _value(row.mean, d.quantity),
            _value(row.sd_between, d.quantity, 2),
            _value(row.sd_within, d.quantity, 2),
            _value(row.se_mean, d.quantity, 2),
            _value(row.lowest, d.quantity),
            _value(row.highest, d.quantity),
        )
        for d in described
        for row in d.rows
    )
    return Section(
        "In numbers",
        "SD between people's means, SD within people, SE of the mean of people; trials are not people",
        tables=(Table(heads, lines),),
    )


def _row_names(
    described: Sequence[Described],
) -> tuple[tuple[Column, ...], Callable[[Described, Description], tuple[Cell, ...]]]:
    """Columns that name a row, and its cells there: the quantity, and the group where there are several."""
    if all(len(d.rows) == 1 for d in described):
        return (Column("quantity", kind="words"),), lambda d, _: (Cell(_named(d.quantity)),)
    heads = (Column("quantity", kind="words"), Column("group", kind="words"))
    return heads, lambda d, row: (Cell(_named(d.quantity)), Cell(row.group))


def _measurement(described: Sequence[Described]) -> list[Section]:
    """How much of the spread is measurement, and what of it stays in every mean."""
    rows = [
        (d, row, share)
        for d in described
        for row, share in zip(d.rows, d.measurement, strict=True)
        if share is not None
    ]
    if not rows:
        return []
    names, named = _row_names(described)
    one_strike = tuple(
        (
            *named(d, row),
            _value(share.sd_within, d.quantity, 2),
            _value(share.u_strike, d.quantity, 2),
            _value(share.biological_sd, d.quantity, 2),
            Cell("< 1") if share.share_of_within < 0.01 else _plain(100 * share.share_of_within, 0),
        )
        for d, row, share in rows
    )
    there = [part for part in PARTS if any(_matters(part, row.common) for _, row, _ in rows)]
    of_mean = tuple(
        (
            *named(d, row),
            _value(row.se_mean, d.quantity, 2),
            *(_value(_by_part(row.common).get(part), d.quantity, 2) for part in there),
            _value(None if row.whole is None else row.whole.u, d.quantity, 2),
        )
        for d, row, _ in rows
    )
    reasons = tuple(
        f"{_label(d.quantity)}{f', {row.group}' if len(d.rows) > 1 else ''}: {share.words}"
        for d, row, share in rows
        if share.share_of_within > 1 or share.n_known < share.n_trials or not share.told_apart
    )
    return [
        Section(
            "Measurement beside people",
            "standard uncertainties; what strikes share does not average out",
            reasons=reasons,
            tables=(
                Table(
                    (*names, *_numbers("SD within", "of measurement", "of the person", "% of variance")),
                    one_strike,
                    "One strike: of the measurement what is new with each strike, and what it leaves of the "
                    "SD within for the person; share of the measurement in the variance.",
                ),
                Table(
                    (*names, *_numbers("SE of mean", *(PARTS[part] for part in there), "together")),
                    of_mean,
                    "Mean of the people: its SE, what strikes share of the measurement by what they share, "
                    "and both together.",
                ),
            ),
        )
    ]


def _matters(part: str, common: CommonPart | None) -> bool:
    """Whether a part is a tenth of the whole at least."""
    return common is not None and _by_part(common).get(part, 0.0) >= 0.1 * common.u > 0


def _by_part(common: CommonPart | None) -> dict[str, float]:
    return {} if common is None else dict(common.parts)


def _said_common(
    difference: float, common: CommonPart | None, whole: Whole | None, quantity: str, what: str = "difference"
) -> str:
    """What strikes share of the measurement in a difference, by name."""
    unit = GLOSSARY[quantity].shown_unit
    if common is None or whole is None:
        return f"What strikes share of the measurement is not known, and not in the {what}'s interval."
    cell = _spine(difference, whole.interval, quantity)
    u = f"u = {_value(common.u, quantity, 2).value} {unit}"
    if common.u < SHOWS * whole.u:
        return f"What strikes share of the measurement cancels in the {what} to {u}."
    return (
        f"With what strikes share of the measurement the {what} is {cell.value} {cell.spread} {unit} "
        f"({u}: {named_parts(common, quantity)})."
    )


_SECTIONS: dict[type, Any] = {
    ReliabilityAnswer: _reliability,
    ComparisonAnswer: _comparisons,
    MixedAnswer: _mixed,
    AgreementAnswer: _agreement,
    FatigueAnswer: _fatigue,
    AsymmetryAnswer: _asymmetry,
    ProgressAnswer: _progress,
}
