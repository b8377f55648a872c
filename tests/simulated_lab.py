"""A small invented lab whose recordings are simulated, and one that nobody can read."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import quintain as q
from quintain.store.lab import Lab
from quintain.store.schema import Person, Recording, Rig, RigVersion, Session, Source
from ringing_rig import record

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
