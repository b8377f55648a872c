"""A small invented lab whose recordings are simulated, and one that nobody can read."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

import quintain as q
from quintain.store.lab import Lab
from quintain.store.schema import Person, Recording, Rig, RigVersion, Session, Source
from ringing_rig import record
from simulated_limb import simulate_blow

RATE = 2000.0
RIG = """name = "wall (invented)"
[[modes]]
natural_frequency = 150.0
damping_ratio = 0.03
u_natural_frequency = 0.5
u_damping_ratio = 0.001
"""


def write_recording(path: Path, seed: int, *, n: int = 1) -> Path:
    """Text of ``n`` blows on a rig that rings at 150 Hz."""
    blows = [(0.8 + 1.3 * i, 700.0 + 60 * (seed % 5) + 40 * i, 0.020) for i in range(n)]
    force = record(blows, rate=RATE, seconds=1.0 + 1.3 * n, seed=seed)
    path.write_text("force [N]\n" + "\n".join(f"{value:.2f}" for value in force) + "\n")
    return path


RIG_OF_LIMB = """name = "invented rig"
[[modes]]
natural_frequency = 220.0
damping_ratio = 0.02
u_natural_frequency = 0.5
u_damping_ratio = 0.001
[calibration]
u_gain = 0.003
"""
"""The rig that :func:`write_force_and_motion` strikes."""

SENSOR_AHEAD = 100.0
"""The clock of the motion less that of the force. [s]"""


def write_force_and_motion(
    folder: Path, starts: Sequence[float] = (1.5, 4.1, 7.4, 9.3), *, pulse: float | None = None
) -> tuple[Path, Path]:
    """
    Four equal blows, and an inertial sensor with a clock of its own whose x axis points into the pad.

    With a pulse, both have a channel that shows it at this time of the force.
    """
    rng = np.random.default_rng(1)
    blow = simulate_blow(speed=6.0, pad="soft")
    t, ti = np.arange(24_000) / 2000.0, np.arange(12_000) / 1000.0
    force, hand = np.zeros(t.size), np.zeros(ti.size)
    for start in starts:
        force += np.interp(t - start, blow.since, blow.motion.cell_output, left=0.0, right=0.0)
        since = ti - start
        launch, during, back = (
            (since > a) & (since <= b) for a, b in ((-0.2, -0.001), (-0.001, 0.03), (0.03, 0.33))
        )
        hand[launch] += 6.0 / (launch.sum() / 1000.0)
        hand[during] += np.interp(since[during], blow.since, blow.motion.striker_acceleration)
        hand[back] -= hand[launch | during].sum() / back.sum()
    force += rng.normal(0, 3.0, t.size)
    noise = rng.normal((0.0, 0.0, 9.80665), 0.02, (ti.size, 3))
    noise[:, 0] += hand
    turn = rng.normal(0, 0.001, (ti.size, 3))
    paths = folder / "force.csv", folder / "motion.csv"
    names = "time_s,force_N", "time_s,ax_m/s2,ay_m/s2,az_m/s2,gx_rad/s,gy_rad/s,gz_rad/s"
    tables = np.c_[t, force], np.c_[ti + SENSOR_AHEAD, noise, turn]
    if pulse is not None:
        shown = [5.0 * ((pulse <= time) & (time < pulse + 0.05)) for time in (t, ti)]
        names = f"{names[0]},sync_V", f"{names[1]},trigger_V"
        tables = np.c_[tables[0], shown[0]], np.c_[tables[1], shown[1]]
    for path, header, table in zip(paths, names, tables, strict=True):
        np.savetxt(path, table, delimiter=",", header=header, comments="", fmt="%.6f")
    return paths


def add_recording(lab: Lab, path: Path, **more: object) -> str:
    """Put a file into the lab as an import would."""
    sha256, _ = lab.originals.put(path)
    with lab.writing("tester") as writer:
        row = {"reading": {"rate": RATE}, "when": datetime(2026, 11, 2, 9, tzinfo=UTC), **more}
        writer.database.add(Recording(sha256=sha256, name=path.name, n_bytes=path.stat().st_size, **row))
        writer.database.flush()
        writer.database.add(Source(recording_sha256=sha256, path=str(path), who="tester"))
    return sha256


def set_rig(lab: Lab, text: str) -> str:
    """Make this text the version of its rig that is in use."""
    rig = q.Rig.from_toml(text)
    with lab.writing("tester") as writer:
        row = writer.database.query(Rig).filter_by(name=rig.name).one_or_none()
        if row is None:
            row = Rig(name=rig.name)
            writer.database.add(row)
            writer.database.flush()
        writer.database.add(RigVersion(version=rig.version, rig_id=row.id, toml=text))
        row.current = rig.version
    return rig.version


def make_lab(folder: Path, *, n: int = 3, broken: bool = False) -> Lab:
    """A lab with one session of ``n`` recordings of one person."""
    lab = Lab.create(folder / "lab", name="invented", invented=True)
    set_rig(lab, RIG)
    with lab.writing("tester") as writer:
        writer.database.add_all([Person(id=1, code="P01"), Session(id=1, code="S1", rig_id=1)])
    for i in range(n):
        path = write_recording(folder / f"blow_{i:03d}.csv", i, n=1 + i % 2)
        when = datetime(2026, 11, 2, 9, tzinfo=UTC) + timedelta(minutes=i)
        add_recording(lab, path, session_id=1, person_id=1, type="jab", when=when)
    if broken:
        path = folder / "broken.csv"
        path.write_bytes(b"\x00\x01nobody knows this\xff" * 20)
        add_recording(lab, path, session_id=1)
    return lab
