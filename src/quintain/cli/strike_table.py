"""The table of strikes people read in a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table

from quintain.domain.analysis import Analysis
from quintain.domain.measured import Measured
from quintain.quantities import GLOSSARY
from quintain.report.figures.clocks import clock_facts
from quintain.report.rounding import shown

__all__ = ["print_strikes"]

_ALWAYS = {
    "contact_time": "contact",
    "impulse": "impulse",
    "peak_force": "peak",
    "peak_force_raw": "raw peak",
}
_WHERE_KNOWN = {
    "approach_speed": "speed",
    "effective_mass": "eff. mass",
    "effective_mass_low": "mass from",
    "effective_mass_high": "to",
    "energy": "energy",
    "peak_power": "peak power",
}


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
            console.print(_table(analysis))
        if analysis.clock is not None:
            for name, value in clock_facts(analysis.clock):
                console.print(f"clocks, {name[0].lower()}{name[1:]}: {value}", markup=False)
        for flag in analysis.flags:
            console.print(f"◇ {flag.code}: {flag.message}", markup=False)
        codes = {flag.code: flag for strike in analysis.strikes for flag in strike.flags}
        for code, flag in codes.items():
            concerned = [s.number for s in analysis.strikes if any(f.code == code for f in s.flags)]
            numbers = ", ".join(map(str, concerned))
            console.print(f"◇ {code} ({numbers}): {_meaning(flag.code)}", markup=False)


def _meaning(code: str) -> str:
    from quintain.domain.flags import FLAGS

    return f"{FLAGS[code].meaning} {FLAGS[code].remedy}"


def _table(analysis: Analysis) -> Table:
    known = {n: w for n, w in _WHERE_KNOWN.items() if any(n in s.quantities for s in analysis.strikes)}
    names = _ALWAYS | known
    if known:
        del names["peak_force_raw"]  # room for the limb; the report has both
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, caption="± expanded uncertainty, 95 %")
    table.add_column("no.", justify="right")
    table.add_column("start, s", justify="right")
    for name, words in names.items():
        table.add_column(f"{words}, {GLOSSARY[name].shown_unit}", justify="right", no_wrap=True)
    table.add_column("doubts", no_wrap=True)
    for strike in analysis.strikes:
        table.add_row(
            str(strike.number),
            f"{strike.start:.3f}",
            *(_cell(strike.quantities.get(name)) for name in names),
            f"◇ {len(strike.flags)}" if strike.flags else "",
        )
    return table
