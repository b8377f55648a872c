"""The verdict and the table of drops people read in a terminal."""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table

from quintain.domain.drop import Drop, DropTest
from quintain.domain.flags import FLAGS
from quintain.domain.measured import Measured
from quintain.quantities import GLOSSARY
from quintain.report.rounding import shown

__all__ = ["print_drops"]

_PROOF = {
    "approach_speed": "speed",
    "speed_by_height": "by height",
    "restitution": "e",
    "gain": "gain",
}
_PROOF_BY_BOUNCES = {
    "approach_speed": "speed",
    "rebound_speed": "rebound",
    "restitution": "e",
    "gain_without_height": "gain",
}
_BLOW = {
    "impulse": "impulse",
    "peak_force": "peak",
    "contact_time": "contact",
    "pad_compression": "depth",
    "pad_energy_lost": "kept",
}


def print_drops(test: DropTest, console: Console) -> None:
    """Print verdict and reasons first, then the drops; values are rounded by their uncertainty (95 %)."""
    console.print(f"{test.path}: drops found on {test.channel!r}: {len(test.drops)}", markup=False)
    console.print(f"verdict: {test.verdict}", markup=False)
    for reason in test.reasons:
        console.print(f"  {reason}", markup=False)
    for name in ("gain", "gain_without_height"):
        if name in test.quantities:
            label = GLOSSARY[name].label.lower()
            console.print(f"{label}, all drops: {_cell(test.quantities[name])}", markup=False)
    agreement = test.agreement
    if agreement is not None:
        console.print(
            f"force less height: {agreement.bias:+.4f} m/s, limits of agreement {agreement.lower:+.4f} to "
            f"{agreement.upper:+.4f} m/s (n = {agreement.n})",
            markup=False,
        )
    if test.drops:
        proof = _PROOF if any("gain" in d.quantities for d in test.drops) else _PROOF_BY_BOUNCES
        console.print(_table(test.drops, proof, verdicts=True))
        if any(name in _quantities(d) for d in test.drops for name in _BLOW):
            console.print(_table(test.drops, _BLOW, verdicts=False))
    for flag in test.flags:
        console.print(f"◇ {flag.code}: {flag.message}", markup=False)
    for code in dict.fromkeys(flag.code for drop in test.drops for flag in drop.flags):
        concerned = ", ".join(str(d.number) for d in test.drops if any(f.code == code for f in d.flags))
        console.print(f"◇ {code} ({concerned}): {FLAGS[code].meaning} {FLAGS[code].remedy}", markup=False)


def _cell(measured: Measured | None) -> str:
    if measured is None:
        return "not stated"
    rounded = shown(measured)
    return f"{rounded.value} ± {rounded.expanded}" if measured.u is not None else f"{rounded.value} ± ?"


def _quantities(drop: Drop) -> dict[str, Measured]:
    return {**drop.quantities, **(drop.pad.quantities if drop.pad else {})}


def _table(drops: tuple[Drop, ...], columns: dict[str, str], *, verdicts: bool) -> Table:
    known = {name: words for name, words in columns.items() if any(name in _quantities(d) for d in drops)}
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, caption="± expanded uncertainty, 95 %")
    table.add_column("no.", justify="right")
    if verdicts:
        table.add_column("start, s", justify="right")
    for name, words in known.items():
        unit = GLOSSARY[name].shown_unit
        table.add_column(words if unit == "1" else f"{words}, {unit}", justify="right", no_wrap=True)
    if verdicts:
        table.add_column("verdict", no_wrap=True)
    for drop in drops:
        cells = [_cell(_quantities(drop).get(name)) for name in known]
        if verdicts:
            cells = [f"{drop.start:.2f}", *cells, drop.verdict]
        table.add_row(str(drop.number), *cells)
    return table
