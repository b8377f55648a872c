"""What strikes share of their errors, against simulated truth: writes ``docs/validation/shared.md``."""

from __future__ import annotations

import math
import tempfile
from collections import defaultdict
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np

from quintain.domain.analysis import Analysis
from quintain.domain.shared_error import shared_contributions
from quintain.domain.strike import Strike
from quintain.quantities import GLOSSARY
from quintain.store.lab import Lab
from quintain.tasks.demo import LEFT_OUT, analyses_in_force
from quintain.tasks.demo_lab import make_demo_lab
from quintain.tasks.demo_recordings import Truth
from quintain.version import __version__

__all__ = ["main"]

QUANTITIES = ("impulse", "peak_force", "approach_speed", "effective_mass")


class Error(NamedTuple):
    """Of one strike, relative to the true value: found, stated as shared, stated as new."""

    found: float
    shared: float
    new: float


def _error(strike: Strike, quantity: str, truth: Truth) -> Error | None:
    measured, true = strike.quantities.get(quantity), getattr(truth, quantity)
    if measured is None or measured.u is None:
        return None
    parts = shared_contributions(quantity, {quantity: [(c.name, c.u) for c in measured.budget]})
    assert parts is not None, f"a budget of {quantity} that cannot be told apart"
    shared = math.hypot(*parts.values())
    new = math.sqrt(max(measured.u**2 - shared**2, 0.0))
    return Error((measured.value - true) / true, shared / true, new / true)


def _errors(
    analyses: dict[str, Analysis], truth: dict[str, tuple[Truth, ...]], quantity: str
) -> list[list[Error]]:
    """Strikes of one type on one rig together; those without an undisturbed zero are left out."""
    kinds: dict[tuple[str, str], list[Error]] = defaultdict(list)
    for name, known in truth.items():
        analysis = analyses[name]
        for strike in analysis.strikes:
            if LEFT_OUT & {flag.code for flag in strike.flags}:
                continue
            true = known[int(np.argmin([abs(t.start - strike.start) for t in known]))]
            error = _error(strike, quantity, true)
            if error is not None and analysis.rig is not None:
                kinds[analysis.rig.name, true.kind].append(error)
    return [errors for errors in kinds.values() if len(errors) >= 10]


def _line(quantity: str, kinds: list[list[Error]]) -> str:
    means = [float(np.mean([e.found for e in errors])) for errors in kinds]
    spreads = [float(np.var([e.found for e in errors], ddof=1)) for errors in kinds]
    off, scatter = math.sqrt(np.mean(np.square(means))), math.sqrt(np.mean(spreads))
    everything = [e for errors in kinds for e in errors]
    shared = math.sqrt(np.mean([e.shared**2 for e in everything]))
    new = math.sqrt(np.mean([e.new**2 for e in everything]))
    return (
        f"| {GLOSSARY[quantity].label.lower()} | {len(everything)} | {len(kinds)} "
        f"| {100 * off:.3f} | {100 * shared:.3f} | {100 * scatter:.3f} | {100 * new:.3f} "
        f"| {off**2 / (off**2 + scatter**2):.2f} | {shared**2 / (shared**2 + new**2):.2f} |"
    )


def main() -> None:
    """Invent the demo's lab, hold its errors against the truth, and write the page."""
    with tempfile.TemporaryDirectory() as folder:
        made = make_demo_lab(Path(folder) / "lab")
        with Lab.open(made.folder) as lab:
            analyses = analyses_in_force(lab)
    lines = [
        "# What strikes share of their errors",
        "",
        f"Made by `make validate` on {datetime.now(UTC):%Y-%m-%d} with Quintain {__version__}. Simulation "
        "only: the invented lab of `quintain demo`, two rigs, three types of strike, one gain found by drops "
        "and one speed sensor.",
        "",
        "*mean off* is the root mean square, over types of strike on a rig, of the mean error of such "
        "strikes: what they share. *scatter* is the standard deviation of the errors about that mean: what "
        "is new with each strike. Beside either stands what the budgets say of it, and last the share of the "
        "whole that is shared, found and stated. All in per cent of the true value.",
        "",
        "| quantity | strikes | types on a rig | mean off, % | stated | scatter, % | stated "
        "| shared, of the variance | stated |",
        "|---|---|---|---|---|---|---|---|---|",
        *(_line(quantity, _errors(analyses, made.truth, quantity)) for quantity in QUANTITIES),
        "",
        "One lab is one draw of every shared error: a mean may lie anywhere within twice what is stated. "
        "That errors of the corrected force are shared to three quarters, and those of the clocks wholly, "
        "was chosen from such a table (decision 0114).",
        "",
    ]
    target = Path(__file__).parents[1] / "docs" / "validation" / "shared.md"
    target.write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
