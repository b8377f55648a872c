"""
The demo lab: two rigs, eight invented people, five sessions, three studies; all of it simulated.

It goes the way a real lab goes: rigs are proved, sessions planned, recordings imported and analysed,
strikes told by the plan and reviewed, studies planned before their numbers are looked at. Each rig has a
history of tests before today's; the post pad is in doubt on purpose, and its note says why.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from quintain.domain.as_json import drops_as_json, taps_as_json
from quintain.domain.drop import DropSettings
from quintain.domain.protocol import Condition, Protocol
from quintain.domain.rig import Rig
from quintain.store.lab import Lab
from quintain.store.queries import strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.tasks import demo_recordings as invented
from quintain.tasks.analyse_lab import LabRun, analyse_lab
from quintain.tasks.calibrate import calibrate_file, record_calibration
from quintain.tasks.demo_files import FIRST, SESSIONS, InventedSession, write_demo_files
from quintain.tasks.demo_history import add_history
from quintain.tasks.demo_people import PEOPLE
from quintain.tasks.demo_recordings import POST, SCENARIO, WALL, InventedRig, Truth
from quintain.tasks.drop_record import record_drops
from quintain.tasks.drops import analyse_drops_file
from quintain.tasks.import_recordings import import_recordings
from quintain.tasks.lab_rigs import add_rig, rig_on_paper, rig_text
from quintain.tasks.people import add_person
from quintain.tasks.progress import Progress, silent
from quintain.tasks.review import accept, accept_unflagged, reject, retag
from quintain.tasks.sessions import add_session, plan_session
from quintain.tasks.study import add_study
from quintain.tasks.tag_by_plan import tag_by_plan
from quintain.tasks.tap import record_taps, tap_files
from quintain.tasks.zero import check_zero, record_zero
from quintain.version import __version__

__all__ = ["STUDIES", "DemoLab", "make_demo_lab"]

WHO = "demo"

ACCEPTED_DOUBTS = {"late-push", "pulse-near-rig-period"}
"""Doubts with which the reviewer of the demo accepts a strike."""

STRIKES = (
    Condition("jab", "left"),
    Condition("cross", "right"),
    Condition("front kick", "left"),
    Condition("front kick", "right"),
)
REPETITIONS = 3

STUDIES = (
    """\
code = "days"
title = "Crosses from day to day (invented)"
question = "Which numbers of a cross repeat from day to day, and how large must a change be to count?"
quantities = ["impulse", "peak_force", "contact_time", "approach_speed", "effective_mass", "energy"]

[select]
types = ["cross"]
sessions = ["S-02", "S-03", "S-04"]

[[reliability]]
across = "session"
model = "2,1"

[[trend]]
kind = "progress"
""",
    """\
code = "sides"
title = "Front kicks of either side (invented)"
question = "Is the front kick of one side stronger, and does it tire?"
quantities = ["impulse", "peak_force", "effective_mass"]

[select]
types = ["front kick"]
sessions = ["S-02", "S-03", "S-04"]

[[comparison]]
factor = "side"
levels = ["left", "right"]
mixed = true

[[trend]]
kind = "asymmetry"

[[trend]]
kind = "fatigue"
""",
    """\
code = "rigs"
title = "The same people on two pads (invented)"
question = "Which numbers survive a change of pad, and which do not?"
quantities = ["peak_force", "impulse", "effective_mass"]

[select]
types = ["cross"]
sessions = ["S-04", "S-05"]

[[agreement]]
factor = "rig"

[[comparison]]
factor = "rig"
""",
)
"""Plans of the demo's studies; each is fixed before its strikes are analysed."""


@dataclass(frozen=True, slots=True)
class DemoLab:
    """What was made: the lab's folder, the run of its analysis, and what the simulation knows."""

    folder: Path
    run: LabRun
    truth: dict[str, tuple[Truth, ...]]
    """By name of the recording."""


def make_demo_lab(
    folder: str | Path,
    *,
    files: str | Path | None = None,
    executor: Executor | None = None,
    progress: Progress = silent,
) -> DemoLab:
    """
    Invent a lab and do its work.

    Parameters
    ----------
    folder : path
        A new or empty folder for the lab.
    files : path, optional
        Where to leave the recordings as they came from the machines; they are forgotten if not given.
    executor : concurrent.futures.Executor, optional
        Where recordings are simulated and analysed; in this process if not given.
    progress : Progress, optional
        Told how far the work is.

    Returns
    -------
    DemoLab
        Everything in it is simulated, and the lab says so.

    Raises
    ------
    LabError, OutputError
        If a folder cannot be written to.
    """
    folder = Path(folder)
    with (
        _place_for(files) as place,
        Lab.create(folder, name=SCENARIO.split(":")[0], invented=True) as lab,
    ):
        for person in PEOPLE:
            add_person(
                lab, person.code, who=WHO, body_mass=person.body_mass, height=person.height,
                side=person.side, experience=person.experience, note="invented",
            )  # fmt: skip
        orders = {session.code: _plan(lab, session) for session in SESSIONS}
        add_session(lab, FIRST.code, who=WHO, title=FIRST.title, when=FIRST.when)
        truth = write_demo_files(place, orders, executor=executor, progress=progress)
        for rig in (WALL, POST):
            _prove(lab, place, rig, progress)
        add_history(
            lab, place, {rig.name: _name(rig) for rig in (WALL, POST)}, now=datetime.now(UTC), who=WHO,
            executor=executor, progress=progress,
        )  # fmt: skip
        for session in (FIRST, *SESSIONS):
            import_recordings(
                lab, [place / session.code], sidecar=place / session.code / "recordings.csv",
                rig=_name(session.rig), who=WHO, progress=progress,
            )  # fmt: skip
        for text in STUDIES:
            add_study(lab, text, who=WHO)
        run = analyse_lab(lab, executor=executor, who=WHO, progress=progress)
        for session in SESSIONS:
            tag_by_plan(lab, session.code, recording_is="person", who=WHO)
        _tell_first(lab, truth[f"{FIRST.code}/first.csv"])
        _review(lab)
    return DemoLab(folder, run, truth)


@contextmanager
def _place_for(files: str | Path | None) -> Iterator[Path]:
    if files is not None:
        yield Path(files)
        return
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder)


def _name(rig: InventedRig) -> str:
    return f"{rig.name} (invented)"


def _plan(lab: Lab, session: InventedSession) -> dict[str, list[tuple[str, str]]]:
    """Lay down a session's plan; the order in which each person strikes."""
    add_session(lab, session.code, who=WHO, title=session.title, when=session.when)
    protocol = Protocol(
        tuple(person.code for person in PEOPLE),
        STRIKES,
        repetitions=REPETITIONS,
        arrangement="rounds",
        order="random",
        rest=2.5,
        rest_between_blocks=2.5,
        seed=session.seed,
    )
    order: dict[str, list[tuple[str, str]]] = {}
    for strike in plan_session(lab, session.code, protocol, who=WHO):
        order.setdefault(strike.person, []).append((strike.type, strike.side))
    return order


def _prove(lab: Lab, place: Path, rig: InventedRig, progress: Progress) -> None:
    """Zero, loads, taps and drops, each entered into the rig's log in the lab, with what it rests on."""
    stem, name = rig.name.replace(" ", "-"), _name(rig)
    file = place / f"{stem}.toml"
    quiet, loads, taps, drops = (place / f"{stem}-{what}.csv" for what in ("quiet", "loads", "taps", "drops"))
    add_rig(lab, file, who=WHO)
    with rig_on_paper(lab, name, kind="zero", recordings=[quiet], who=WHO) as paper:
        record_zero(check_zero(quiet), paper.path)
    with rig_on_paper(lab, name, kind="calibration", recordings=[loads], who=WHO) as paper:
        record_calibration(calibrate_file(loads, rig=Rig.load(paper.path)), paper.path)
    with rig_on_paper(lab, name, kind="tap", recordings=[taps], who=WHO) as paper:
        rung = tap_files([taps], rig=Rig.load(paper.path))
        record_taps(rung, paper.path)
        paper.answer = taps_as_json(rung, version=__version__)
    settings = DropSettings(
        mass=invented.DROP_MASS, heights=invented.DROP_HEIGHTS, u_mass=invented.U_DROP_MASS
    )
    with rig_on_paper(lab, name, kind="drops", recordings=[drops], who=WHO) as paper:
        fell = analyse_drops_file(drops, settings, rig=Rig.load(paper.path), progress=progress)
        record_drops(fell, paper.path, pad=f"{rig.pad} foam (invented)")
        paper.answer = drops_as_json(fell, version=__version__)
    file.write_text(rig_text(lab, name), encoding="utf-8")


def _tell_first(lab: Lab, truth: tuple[Truth, ...]) -> None:
    """Tags of the first session, which had no plan, by hand."""
    for strike in strike_page(lab, StrikeFilter(sessions=(FIRST.code,)), limit=100).rows:
        true = truth[int(np.argmin([abs(known.start - strike.start) for known in truth]))]
        retag(lab, strike.id, person=true.person, type=true.kind, side=true.side, who=WHO)


def _review(lab: Lab) -> None:
    """A first review: what has no doubt is accepted, what was cut off rejected, the rest waits."""
    accept_unflagged(lab, who=WHO)
    reviewed = tuple(session.code for session in SESSIONS[:-1])
    looked_at = strike_page(lab, StrikeFilter(sessions=reviewed, states=("waiting",)), limit=500)
    for strike in looked_at.rows:
        if set(strike.codes) <= ACCEPTED_DOUBTS:
            accept(lab, strike.id, who=WHO)
    cut_off = strike_page(lab, StrikeFilter(flags=("clipped",)), limit=500)
    for strike in cut_off.rows:
        reject(lab, strike.id, "the amplifier's range was too small: the force is cut off", who=WHO)
