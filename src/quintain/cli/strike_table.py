"""The table of strikes people read in a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table

from quintain.domain.analysis import Analysis
from quintain.domain.flags import FLAGS
from quintain.domain.measured import Measured
from quintain.quantities import GLOSSARY
from quintain.report.figures.clocks import clock_sentence
from quintain.report.rounding import shown

__all__ = ["print_strikes"]

_FORCE = {
    "contact_time": "contact",
    "impulse": "impulse",
    "peak_force": "peak",
    "peak_force_raw": "raw peak",
}
_LIMB = {
    "approach_speed": "speed",
    "effective_mass": "eff. mass",
    "effective_mass_low": "mass from",
    "effective_mass_high": "to",
    "energy": "energy",
    "peak_power": "peak power",
}
"""A second table below the first: one with all of it is too wide for a terminal of 80 columns."""


_DETAILS = 3
"""Strikes of which a flag's own detail is printed; the JSON answer and the report have all."""


def _cell(measured: Measured | None) -> str:
    if measured is None:
        return "not stated"
    rounded = shown(measured)
    return f"{rounded.value} ± {rounded.expanded}" if measured.u is not None else f"{rounded.value} ± ?"


def print_strikes(analyses: Sequence[Analysis], console: Console) -> None:
    """Print one table a recording; values are rounded by their uncertainty (95 %)."""
    for analysis in analyses:
        console.print(f"{analysis.path}: {len(analysis.strikes)} strikes on {analysis.channel!r}")
        if analysis.strikes:
            for table in _tables(analysis):
                console.print(table)
        if analysis.clock is not None:
            console.print(f"clocks: {clock_sentence(analysis.clock)}", markup=False)
        for flag in analysis.flags:
            console.print(f"◇ {flag.code}: {flag.message} {FLAGS[flag.code].remedy}", markup=False)
        for code in dict.fromkeys(flag.code for strike in analysis.strikes for flag in strike.flags):
            said = {s.number: f.message for s in analysis.strikes for f in s.flags if f.code == code}
            numbers = ", ".join(map(str, said))
            console.print(f"◇ {code} ({numbers}): {_in_common(code, said)}", markup=False)


def _in_common(code: str, said: dict[int, str]) -> str:
    """What a flag says of all its strikes: the message where it is the same, else what the first ones add."""
    meaning, remedy = FLAGS[code].meaning, FLAGS[code].remedy
    messages = list(dict.fromkeys(said.values()))
    if len(messages) == 1:
        return f"{messages[0]} {remedy}"
    details = [
        f"{number}: {message.removeprefix(meaning).strip().rstrip('.')}" for number, message in said.items()
    ]
    more = "; …" if len(details) > _DETAILS else ""
    return f"{meaning} {'; '.join(details[:_DETAILS])}{more}. {remedy}"


def _tables(analysis: Analysis) -> list[Table]:
    limb = {n: w for n, w in _LIMB.items() if any(n in s.quantities for s in analysis.strikes)}
    return [_table(analysis, names) for names in (_FORCE, limb) if names]


def _table(analysis: Analysis, names: dict[str, str]) -> Table:
    caption = "± expanded uncertainty, 95 %"
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, caption=caption)
    table.add_column("no.", justify="right")
    if names is _FORCE:
        table.add_column("start, s", justify="right")
    for name, words in names.items():
        table.add_column(f"{words}, {GLOSSARY[name].shown_unit}", justify="right", no_wrap=True)
    if names is _FORCE:
        table.add_column("doubts", no_wrap=True)
    for strike in analysis.strikes:
        row = [str(strike.number)]
        if names is _FORCE:
            row.append(f"{strike.start:.3f}")
        row += [_cell(strike.quantities.get(name)) for name in names]
        if names is _FORCE:
            row.append(f"◇ {len(strike.flags)}" if strike.flags else "")
        table.add_row(*row)
    return table
