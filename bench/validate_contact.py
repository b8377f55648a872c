"""When a contact starts and how long it lasts, against truth: writes ``docs/validation/contact.md``."""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np

import quintain as q
from quintain.tasks.demo_people import Blow
from quintain.tasks.demo_recordings import (
    FINE,
    POST,
    WALL,
    InventedRig,
    as_text,
    simulate_blow,
    strike_series,
)
from quintain.version import __version__

KINDS = {"jab": (1.6, 5.9, 90.0), "cross": (2.4, 7.4, 180.0), "front kick": (3.6, 5.8, 260.0)}
"""Moving mass [kg], speed [m/s] and push [N], each drawn within a fifth of it."""

EACH = 20

RIG = """
name = "{name} (invented)"
[anti_alias]
cutoff = 800
order = 4
[[modes]]
natural_frequency = {frequency}
damping_ratio = {damping}
u_natural_frequency = 0.01
u_damping_ratio = 1e-5
"""


class Error(NamedTuple):
    """Of one strike: of its start, and of its contact time against two truths. [ms]"""

    start: float
    above_threshold: float
    above_zero: float
    u: float


def _errors(rig: InventedRig, folder: Path) -> dict[str, list[Error]]:
    rng = np.random.default_rng(3)
    blows = [
        Blow("P", kind, *(value * rng.uniform(0.8, 1.2) for value in KINDS[kind]))
        for _ in range(EACH)
        for kind in KINDS
    ]
    series = strike_series(blows, rig, np.random.default_rng(5))
    path = folder / "strikes.csv"
    path.write_text(as_text(series.force, rig), encoding="utf-8")
    described = RIG.format(name=rig.name, frequency=rig.frequency, damping=rig.damping)
    analysis = q.analyse(q.read(path), rig=q.Rig.from_toml(described))
    path.unlink()
    found: dict[str, list[Error]] = {kind: [] for kind in KINDS}
    for strike in analysis.strikes:
        i = int(np.argmin([abs(truth.start - strike.start) for truth in series.truth]))
        force = simulate_blow(blows[i], rig).force_on_cell
        lasts = [1e3 * np.ptp(np.flatnonzero(force > part * force.max())) / FINE for part in (0.01, 1e-6)]
        stated = strike.quantities["contact_time"]
        assert stated.u is not None
        found[blows[i].kind].append(
            Error(
                1e3 * (strike.start - series.truth[i].start),
                1e3 * stated.value - lasts[0],
                1e3 * stated.value - lasts[1],
                1e3 * stated.u,
            )
        )
    return found


def _line(rig: InventedRig, kind: str, errors: list[Error]) -> str:
    start, above, zero, u = np.array(errors).T
    holds = [f"{np.mean(np.abs(error) <= 1.96 * u):.2f}" for error in (above, zero)]
    cells = [
        f"{np.median(start):.2f} ({np.percentile(np.abs(start), 95):.2f})",
        f"{np.median(above):.1f} ({np.percentile(np.abs(above), 95):.1f})",
        f"{np.median(zero):.1f} ({np.percentile(np.abs(zero), 95):.1f})",
        f"{np.median(u):.1f}",
        *holds,
    ]
    return f"| {rig.name} | {kind} | {len(errors)} | {' | '.join(cells)} |"


def main() -> None:
    """Simulate, analyse, and write the page."""
    with tempfile.TemporaryDirectory() as folder:
        rows = [
            _line(rig, kind, errors)
            for rig in (WALL, POST)
            for kind, errors in _errors(rig, Path(folder)).items()
        ]
    lines = [
        "# When a contact starts and how long it lasts",
        "",
        f"Made by `make validate` on {datetime.now(UTC):%Y-%m-%d} with Quintain {__version__}. Simulation "
        "only: the two rigs of the invented lab, 2 kHz, 3 N of noise. Errors in ms, median (95 % of their "
        "size). The contact time is stated above 1 % of the peak; beside that truth stands the time above "
        "zero, from touch to parting. *holds* is the share of 95 % intervals that hold either.",
        "",
        "| rig | strike | n | start | above 1 % | above 0 | stated u | holds 1 % | holds 0 |",
        "|---|---|---|---|---|---|---|---|---|",
        *rows,
        "",
        "A pad lets go slowly: its last newtons lie below any threshold, and the correction, which is unsure "
        "about the end, ends early rather than late. Compare contact times of one rig, and do not read the "
        "parting of hand and pad from them.",
        "",
    ]
    target = Path(__file__).parents[1] / "docs" / "validation" / "contact.md"
    target.write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
