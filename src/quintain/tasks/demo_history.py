"""
What was done on the invented rigs before today: weekly taps and monthly drops, simulated like the rest.

The wall pad holds still from test to test, as far as a rig ever does. The post pad's mount works loose:
three quarters of a hertz is too little to see in any one test, and stays.
"""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from quintain.domain.as_json import drops_as_json, taps_as_json
from quintain.domain.drop import DropSettings, DropTest
from quintain.domain.rig import Rig
from quintain.domain.tap import TapTest
from quintain.store.lab import Lab
from quintain.tasks import demo_recordings as invented
from quintain.tasks.demo_recordings import POST, WALL, InventedRig
from quintain.tasks.drop_record import record_drops
from quintain.tasks.drops import analyse_drops_file
from quintain.tasks.lab_rigs import rig_on_paper, rig_text
from quintain.tasks.progress import Progress, silent
from quintain.tasks.tap import record_taps, tap_files
from quintain.version import __version__

__all__ = ["HISTORY", "PastTest", "add_history"]

DROP_HEIGHT = 0.60
"""Today's drops come from three heights; what a pad does is compared at the middle one. [m]"""


@dataclass(frozen=True, slots=True)
class PastTest:
    """A test of former days, and the rig as it was on its day."""

    kind: str
    days_ago: int
    rig: InventedRig

    def simulate(self) -> str:
        """Its recording, as text."""
        if self.kind == "tap":
            return invented.as_text(invented.taps(self.rig, n_taps=2), self.rig)
        return invented.as_text(invented.drops(self.rig, heights=(DROP_HEIGHT,)), self.rig)


def _taps(rig: InventedRig, offsets: tuple[float, ...]) -> tuple[PastTest, ...]:
    """Weekly taps, oldest first; offsets of the natural frequency from today's. [Hz]"""
    n = len(offsets)
    swing = (1.0, 1.012, 0.985, 1.006, 0.991, 1.015, 0.994)
    return tuple(
        PastTest(
            "tap", 7 * (n - i),
            replace(rig, frequency=rig.frequency + offset, damping=rig.damping * swing[i % len(swing)],
                    seed=rig.seed + 100 + i),
        )
        for i, offset in enumerate(offsets)
    )  # fmt: skip


def _drops(rig: InventedRig, days: tuple[tuple[float, float, float], ...]) -> tuple[PastTest, ...]:
    """Monthly drops, oldest first: stiffness and friction of the pad over today's, and the chain's gain."""
    n = len(days)
    return tuple(
        PastTest(
            "drops", 30 * (n - i),
            replace(rig, stiffness=stiffness, friction=friction, gain=gain, seed=rig.seed + 200 + i),
        )
        for i, (stiffness, friction, gain) in enumerate(days)
    )  # fmt: skip


HISTORY = (
    *_taps(WALL, (0.21, -0.28, 0.09, 0.33, -0.17, -0.24, 0.31, -0.08, 0.12)),
    *_drops(
        WALL,
        (
            (1.012, 1.004, 1.0006), (0.991, 0.988, 0.9992), (1.006, 1.009, 1.0003), (0.986, 1.012, 0.9996),
            (1.015, 0.993, 1.0007), (0.994, 1.006, 0.9994), (1.008, 0.990, 1.0002),
        ),
    ),
    *_taps(POST, (1.0, 0.6, 1.05, 0.7, 0.85, 1.1, 0.6, 0.9, 0.8, 0.45, 0.2, -0.05, 0.2)),
)  # fmt: skip
"""Chosen by hand: how much a rig swings from day to day is invented, not measured."""


def add_history(
    lab: Lab,
    place: Path,
    names: dict[str, str],
    *,
    now: datetime,
    who: str,
    executor: Executor | None = None,
    progress: Progress = silent,
) -> None:
    """
    Simulate the tests of former days, analyse them, and enter each under its day.

    They come after today's tests, as from an old notebook: the rig files stay as today's tests made them.

    Parameters
    ----------
    lab : Lab
        The lab; its rigs are proved already.
    place : path
        Where the recordings are left.
    names : dict of str to str
        Names of the rigs in the lab, by their invented names.
    now : datetime.datetime
        The instant from which days are counted back.
    who : str
        In whose name.
    executor : concurrent.futures.Executor, optional
        Where to simulate and analyse; in this process if not given.
    progress : Progress, optional
        Told of tests.
    """
    texts = {rig: rig_text(lab, name) for rig, name in names.items()}
    paths = []
    for test in HISTORY:
        folder = place / f"{test.rig.name.replace(' ', '-')}-history"
        folder.mkdir(exist_ok=True)
        paths.append(folder / f"{test.kind}-{test.days_ago:03}-days-ago.csv")
    run = map if executor is None else executor.map
    made = run(_make, HISTORY, paths, [texts[test.rig.name] for test in HISTORY])
    for i, (test, path, result) in enumerate(zip(HISTORY, paths, made, strict=True)):
        when = now - timedelta(days=test.days_ago)
        with rig_on_paper(lab, names[test.rig.name], kind=test.kind, recordings=[path], who=who) as paper:
            if isinstance(result, TapTest):
                record_taps(result, paper.path, when=when)
                paper.answer = taps_as_json(result, version=__version__)
            else:
                record_drops(result, paper.path, when=when)
                paper.answer = drops_as_json(result, version=__version__)
        progress("tests of former days", i + 1, len(HISTORY))


def _make(test: PastTest, path: Path, rig_file: str) -> TapTest | DropTest:
    """Simulate a test, write its recording, and analyse it on the rig as its file is today."""
    path.write_text(test.simulate(), encoding="utf-8")
    rig = Rig.from_toml(rig_file)
    if test.kind == "tap":
        return tap_files([path], rig=rig, n_modes=1)
    settings = DropSettings(mass=invented.DROP_MASS, heights=(DROP_HEIGHT,), u_mass=invented.U_DROP_MASS)
    return analyse_drops_file(path, settings, rig=rig)
