"""The recordings of the invented lab as files, session by session, each with a table of who and when."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from quintain.errors import OutputError
from quintain.tasks import demo_recordings as invented
from quintain.tasks.demo_people import PEOPLE, Blow, InventedPerson, throw
from quintain.tasks.demo_recordings import POST, SCENARIO, WALL, InventedRig, Truth
from quintain.tasks.progress import Progress, silent

__all__ = ["FIRST", "SESSIONS", "InventedSession", "rig_text", "write_demo_files"]


@dataclass(frozen=True, slots=True)
class InventedSession:
    """A day in the lab: everybody throws the same strikes, each in an order of their own."""

    code: str
    title: str
    when: datetime
    rig: InventedRig
    seed: int


FIRST = InventedSession(
    "S-01", "First blows: what can go wrong", datetime(2026, 9, 3, 17, 0, tzinfo=UTC), WALL, 1
)
"""Two people, one recording, and in it everything that goes wrong in a lab."""

SESSIONS = (
    InventedSession("S-02", "Day to day, first day", datetime(2026, 9, 8, 17, 0, tzinfo=UTC), WALL, 2),
    InventedSession("S-03", "Day to day, second day", datetime(2026, 9, 15, 17, 0, tzinfo=UTC), WALL, 3),
    InventedSession("S-04", "Day to day, third day", datetime(2026, 9, 22, 17, 0, tzinfo=UTC), WALL, 4),
    InventedSession("S-05", "The same people on the post", datetime(2026, 9, 24, 17, 0, tzinfo=UTC), POST, 5),
)

_PERSON = {person.code: person for person in PEOPLE}


def rig_text(rig: InventedRig) -> str:
    """The rig file as it is before anything was proved."""
    return f"""\
# {SCENARIO}
name = "{rig.name} (invented)"
note = "{SCENARIO}{"; " if rig.note else ""}{rig.note}"
pad = ""

[cell]
capacity = 10000        # N
safe_overload = 15000   # N
direction = "positive"
range_limit = {rig.limit:g}      # N

[anti_alias]
cutoff = 800            # Hz
order = 4

[place]
latitude = {invented.LATITUDE}
altitude = {invented.ALTITUDE}

[sensor]
name = "wrist (invented)"
normal = [1.0, 0.0, 0.0]
u_normal = 0.05         # rad
acceleration_limit = {400 * 9.80665:.0f}   # m/s²
rate_limit = 35.0       # rad/s
"""


def write_demo_files(
    folder: Path,
    orders: dict[str, dict[str, list[tuple[str, str]]]],
    *,
    executor: Executor | None = None,
    progress: Progress = silent,
) -> dict[str, tuple[Truth, ...]]:
    """
    Simulate every recording of the invented lab.

    Parameters
    ----------
    folder : path
        Where to put them; made if it is not there.
    orders : dict
        By session and person, type and side of each strike, as the plan asks for them and in its order.
    executor : concurrent.futures.Executor, optional
        Where to simulate; in this process if not given.
    progress : Progress, optional
        Told of recordings.

    Returns
    -------
    dict of str to tuple of Truth
        What the simulation knows, by name of the recording within the folder.

    Raises
    ------
    OutputError
        If the folder cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for rig in (WALL, POST):
            _write_rig(folder, rig)
        jobs = [
            (folder, session, _PERSON[code], strikes)
            for session in SESSIONS
            for code, strikes in orders[session.code].items()
        ]
        truth = {f"{FIRST.code}/first.csv": _write_first(folder)}
        run = map if executor is None else executor.map
        for i, (name, known) in enumerate(run(_write_series, *zip(*jobs, strict=True))):
            progress("simulated recordings", i, len(jobs))
            truth[name] = known
        for session in SESSIONS:
            _write_table(folder, session, list(orders[session.code]))
    except OSError as problem:
        raise OutputError(f"{folder}: cannot write the demo there: {problem.strerror}") from None
    return truth


def _stem(rig: InventedRig) -> str:
    return rig.name.replace(" ", "-")


def _write_rig(folder: Path, rig: InventedRig) -> None:
    stem = _stem(rig)
    texts = {
        f"{stem}.toml": rig_text(rig),
        f"{stem}-quiet.csv": invented.as_text(invented.quiet(rig), rig),
        f"{stem}-loads.csv": invented.loads_as_text(rig),
        f"{stem}-taps.csv": invented.as_text(invented.taps(rig), rig),
        f"{stem}-drops.csv": invented.as_text(invented.drops(rig), rig),
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")


def _write_first(folder: Path) -> tuple[Truth, ...]:
    place = folder / FIRST.code
    place.mkdir(exist_ok=True)
    series = invented.strike_series(invented.FIRST_STRIKES, WALL, np.random.default_rng(20261125))
    (place / "first.csv").write_text(invented.as_text(series.force, WALL), encoding="utf-8")
    (place / "first.truth.txt").write_text(invented.truth_as_text(series.truth), encoding="utf-8")
    table = f"file,session,when\nfirst.csv,{FIRST.code},{FIRST.when.isoformat()}\n"
    (place / "recordings.csv").write_text(table, encoding="utf-8")
    return series.truth


def _write_series(
    folder: Path, session: InventedSession, person: InventedPerson, strikes: Sequence[tuple[str, str]]
) -> tuple[str, tuple[Truth, ...]]:
    place = folder / session.code
    place.mkdir(exist_ok=True)
    generator = np.random.default_rng([session.seed, int(person.code[2:])])
    blows: list[Blow] = throw(person, list(strikes), generator)
    series = invented.strike_series(blows, session.rig, generator)
    (place / f"{person.code}.csv").write_text(invented.as_text(series.force, session.rig), encoding="utf-8")
    (place / f"{person.code}.motion.parquet").write_bytes(invented.motion_as_parquet(series.motion))
    (place / f"{person.code}.truth.txt").write_text(invented.truth_as_text(series.truth), encoding="utf-8")
    return f"{session.code}/{person.code}.csv", series.truth


def _write_table(folder: Path, session: InventedSession, people: Sequence[str]) -> None:
    lines = ["file,person,session,when,motion"]
    for i, code in enumerate(people):
        when = session.when + timedelta(minutes=6 * i)
        lines.append(f"{code}.csv,{code},{session.code},{when.isoformat()},{code}.motion.parquet")
    place = folder / session.code
    place.mkdir(exist_ok=True)
    (place / "recordings.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
