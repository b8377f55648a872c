"""Parts of every report as words ready to set: quantities, budgets, doubts, facts, figures."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quintain.domain.flags import FLAGS, Flag
from quintain.domain.history import Step
from quintain.domain.measured import Measured
from quintain.quantities import GLOSSARY
from quintain.report.rounding import rounded, shown
from quintain.report.verdict import UNSAFE, numbers

__all__ = [
    "Bar",
    "Budget",
    "Cell",
    "Column",
    "Definition",
    "Doubt",
    "Fact",
    "Figure",
    "Row",
    "Section",
    "StepLine",
    "Table",
    "as_words",
    "budget_of",
    "cell_of",
    "definitions",
    "doubt_of",
    "doubting",
    "gathered_doubts",
    "quantity_rows",
    "step_line",
    "unbroken",
]

_BARS = 6
_LEAST_SHARE = 0.01
"""Contributions shown by name: the largest, down to this share of the variance; the rest are summed."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A name and what is so; ``mono`` for hashes and code."""

    name: str
    value: str
    mono: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing and its words for those who cannot see it."""

    svg: str
    alt: str


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity on the spine; ``exact`` is the unrounded value in SI units, for copying."""

    name: str
    label: str
    symbol: str
    subscript: str
    value: str
    spread: str
    exact: str
    stated: bool
    doubted: bool
    codes: tuple[str, ...]
    headline: bool
    group: bool
    definition: str


@dataclass(frozen=True, slots=True)
class Bar:
    """One contribution: its standard uncertainty and its share of the variance."""

    name: str
    u: str
    share: str
    percent: float
    first: bool


@dataclass(frozen=True, slots=True)
class Budget:
    """What makes one quantity uncertain, largest first."""

    label: str
    bars: tuple[Bar, ...]
    total: str
    advice: str


@dataclass(frozen=True, slots=True)
class Doubt:
    """A flag in words, with the remedy, and whom it concerns."""

    code: str
    unsafe: bool
    words: str
    where: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a dense table: words, or a number with what stands right of the spine."""

    value: str
    spread: str = ""
    exact: str = ""
    stated: bool = True
    doubted: bool = False


@dataclass(frozen=True, slots=True)
class Column:
    """Head of a column; ``kind`` is 'words', 'number', or 'spine' for value ± uncertainty."""

    name: str
    unit: str = ""
    kind: str = "spine"


@dataclass(frozen=True, slots=True)
class Table:
    """A dense table."""

    columns: tuple[Column, ...]
    lines: tuple[tuple[Cell, ...], ...]
    caption: str = ""


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step of the history."""

    utc: str
    function: str
    version: str
    settings: str
    output: str


@dataclass(frozen=True, slots=True)
class Section:
    """One piece of evidence: what it says, the figure, the numbers, the doubts. Empty parts are left out."""

    title: str
    note: str = ""
    mark: str = ""
    says: str = ""
    reasons: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    rows: tuple[Row, ...] = ()
    tables: tuple[Table, ...] = ()
    budgets: tuple[Budget, ...] = ()
    facts: tuple[Fact, ...] = ()
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, slots=True)
class Definition:
    """An entry of the glossary."""

    label: str
    symbol: str
    subscript: str
    unit: str
    definition: str
    source: str


def _split_symbol(symbol: str) -> tuple[str, str]:
    """``J_z`` into letter and subscript."""
    letter, _, below = symbol.partition("_")
    return letter, below


def quantity_rows(
    quantities: Mapping[str, Measured],
    groups: Sequence[Sequence[str]],
    *,
    always: Iterable[str],
    headline: Iterable[str],
    flags: Sequence[Flag],
) -> tuple[Row, ...]:
    """
    Rows of a table of quantities, in groups.

    A quantity of ``always`` that is missing reads "not stated", with the flag that says why; others
    appear where they are known. Quantities that no group names follow at the end: none is lost.
    """
    named = {name for group in groups for name in group}
    rest = tuple(name for name in quantities if name not in named)
    rows: list[Row] = []
    for group in (*groups, rest):
        shown_names = [name for name in group if name in quantities or name in set(always)]
        for i, name in enumerate(shown_names):
            first_of_group = i == 0 and bool(rows)
            rows.append(_row(name, quantities.get(name), name in set(headline), first_of_group, flags))
    return tuple(rows)


def _row(name: str, measured: Measured | None, headline: bool, group: bool, flags: Sequence[Flag]) -> Row:
    entry = GLOSSARY[name]
    letter, below = _split_symbol(entry.symbol)
    if measured is None:
        withholding = [f.code for f in flags if f.code in FLAGS and FLAGS[f.code].withholds]
        codes = tuple(c for c in withholding if name in FLAGS[c].withholds) or tuple(withholding)
        return Row(
            name, entry.label, letter, below, "not stated", "", "", False, False, codes, headline, group,
            entry.definition,
        )  # fmt: skip
    value = shown(measured)
    codes = doubting(name, flags)
    return Row(
        name, entry.label, letter, below, value.value, unbroken(value.spread),
        repr(float(measured.value)), True, bool(codes), codes, headline, group, entry.definition,
    )  # fmt: skip


def cell_of(measured: Measured | None, flags: Sequence[Flag] = ()) -> Cell:
    """A quantity as one cell of a dense table, whose head holds the unit."""
    if measured is None:
        return Cell("–", stated=False)
    value = shown(measured)
    spread = "" if value.expanded == "0" else f"±\u00a0{value.expanded}"
    doubted = bool(doubting(measured.quantity, flags))
    return Cell(value.value, spread, repr(float(measured.value)), True, doubted)


def doubting(name: str, flags: Sequence[Flag]) -> tuple[str, ...]:
    """Codes of the flags that doubt a stated quantity."""
    return tuple(
        f.code for f in flags if f.code in FLAGS and name in (*FLAGS[f.code].doubts, *FLAGS[f.code].withholds)
    )


def budget_of(measured: Measured) -> Budget | None:
    """The budget of a quantity, or None where it has none."""
    total = sum(c.u**2 for c in measured.budget)
    if not measured.budget or not total > 0:
        return None
    entry = measured.entry
    unit = "" if entry.shown_unit == "1" else f" {entry.shown_unit}"
    ordered = sorted(measured.budget, key=lambda c: -abs(c.u))
    named = [c for c in ordered[:_BARS] if c.u**2 >= _LEAST_SHARE * total]
    left = ordered[len(named) :]
    parts = [(c.name.replace("_", " "), abs(c.u)) for c in named]
    if left:
        name = left[0].name.replace("_", " ") if len(left) == 1 else f"{len(left)} smaller"
        parts.append((name, sum(c.u**2 for c in left) ** 0.5))
    largest = parts[0][1] ** 2
    drawn = tuple(
        Bar(
            name,
            _standard(u * entry.shown_factor) + unit,
            _share(u**2 / total),
            round(100 * u**2 / largest, 1),
            i == 0,
        )
        for i, (name, u) in enumerate(parts)
    )
    advice = f"First to improve: {parts[0][0]}."
    return Budget(entry.label, drawn, _standard(total**0.5 * entry.shown_factor) + unit, advice)


def unbroken(words: str) -> str:
    """Words that stay on one line."""
    return words.replace(" ", "\u00a0")


def _standard(u: float) -> str:
    return rounded(u, u)[1]


def _share(part: float) -> str:
    return f"{100 * part:.0f} %" if part >= 0.005 else "< 1 %"


def doubt_of(flag: Flag, *, words: str | None = None, where: str | None = None) -> Doubt:
    """A flag as the report words it."""
    known = FLAGS.get(flag.code)
    return Doubt(
        flag.code,
        flag.code in UNSAFE,
        flag.message if words is None else words,
        flag.where if where is None else where,
        known.remedy if known else "",
    )


def gathered_doubts(
    whole: Sequence[Flag], each: Iterable[tuple[int, Sequence[Flag]]], *, noun: str
) -> tuple[Doubt, ...]:
    """Doubts about the recording, then those of its parts, each code once with the parts it concerns."""
    found = [doubt_of(flag, where=flag.where or "recording") for flag in whole]
    concerned: dict[str, list[int]] = {}
    example: dict[str, Flag] = {}
    for place, flags in each:
        for code, flag in {flag.code: flag for flag in flags}.items():
            concerned.setdefault(code, []).append(place)
            example.setdefault(code, flag)
    for code in sorted(concerned, key=lambda c: (c not in UNSAFE, concerned[c][0], c)):
        words = FLAGS[code].meaning if code in FLAGS else example[code].message
        where = f"{noun}{'' if len(concerned[code]) == 1 else 's'} {numbers(concerned[code])}"
        found.append(doubt_of(example[code], words=words, where=where))
    return tuple(found)


def step_line(step: Step, *, known: Mapping[str, Any] | None = None) -> StepLine:
    """One step with all its settings; those shown elsewhere (``known``) are only named."""
    if known is not None and dict(step.settings) == known:
        settings = "all settings of the method, above"
    else:
        settings = json.dumps(dict(step.settings), ensure_ascii=False, sort_keys=True, default=str)
    return StepLine(step.utc, step.function, step.version, settings, step.output[:12])


def definitions(names: Iterable[str]) -> tuple[Definition, ...]:
    """Glossary entries of the quantities a report uses, in the glossary's order."""
    used = set(names)
    return tuple(
        Definition(q.label, *_split_symbol(q.symbol), "" if q.shown_unit == "1" else q.shown_unit,
                   q.definition, q.source)
        for q in GLOSSARY.values()
        if q.name in used
    )  # fmt: skip


_UNPRINTABLE = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)
"""Control characters, halves of pairs, and marks that turn the direction of writing."""


def as_words(content: Any) -> Any:
    """A dataclass as plain lists and mappings, with unprintable characters shown as U+FFFD."""
    return _clean(dataclasses.asdict(content))


def _clean(value: Any) -> Any:
    if isinstance(value, str):
        return _UNPRINTABLE.sub("\ufffd", value)
    if isinstance(value, dict):
        return {key: _clean(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_clean(item) for item in value]
    return value
