"""The state of a rig as people read it in a terminal."""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table

from quintain.domain.rig_state import RigState, Trend
from quintain.quantities import GLOSSARY
from quintain.report.rounding import shown

__all__ = ["print_rig_state"]


def print_rig_state(state: RigState, verdict: str, console: Console) -> None:
    """Print verdict, reasons, trends and what is due."""
    console.print(f"{state.rig.name}, version {state.rig.version}", markup=False)
    console.print(verdict, markup=False)
    for reason in state.reasons:
        console.print(f"  - {reason}", markup=False)
    if state.trends:
        table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
        for name in ("quantity", "newest", "usual range of this rig", "checks"):
            table.add_column(name, justify="left" if name == "quantity" else "right")
        for trend in state.trends:
            newest = shown(trend.values[-1])
            table.add_row(GLOSSARY[trend.quantity].label, newest.text, _limits(trend), str(len(trend.values)))
        console.print(table)
    for check in state.due:
        last = "never" if check.last is None else f"{check.last:%Y-%m-%d}"
        late = "  ◇ due" if check.overdue else ""
        console.print(f"{check.kind:<12} last {last}, every {check.allowed_days:g} days{late}", markup=False)
    console.print(f"{state.n_earlier_versions} earlier versions of the rig file are kept")


def _limits(trend: Trend) -> str:
    if trend.lower is None or trend.upper is None:
        return "too few checks"
    entry = GLOSSARY[trend.quantity]
    low, high = (limit * entry.shown_factor for limit in (trend.lower, trend.upper))
    return f"{low:.4g} to {high:.4g} {entry.shown_unit}"
