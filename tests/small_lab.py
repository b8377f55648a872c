"""
A small invented lab for tests of the app: two sessions, two people, seven strikes, two methods.

Session S1 holds two recordings of P01, one of which a second method analysed too, and a file nobody can
read; session S2 holds four strikes of P02 with the motion of the limb.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from quintain.domain.method import Method
from quintain.store.schema import Person, Session
from quintain.tasks.analyse_lab import analyse_lab
from simulated_lab import add_recording, make_lab, write_force_and_motion

__all__ = ["make_small_lab"]


def make_small_lab(folder: Path) -> Path:
    """Make it and give its folder; the first two strikes are of one recording each, ids count by session."""
    with make_lab(folder, n=2, broken=True) as lab:
        with lab.writing("tester") as writer:
            writer.database.add_all([Person(id=2, code="P02"), Session(id=2, code="S2", rig_id=1)])
        force, motion = write_force_and_motion(folder)
        when = datetime(2026, 11, 3, 9, tzinfo=UTC)
        moved = add_recording(lab, motion, kind="motion", reading={}, when=when, session_id=2)
        add_recording(
            lab, force, reading={}, when=when, session_id=2, person_id=2, type="cross", side="right",
            motion_sha256=moved,
        )  # fmt: skip
        analyse_lab(lab, who="tester")
        other = Method.from_toml('name = "unrefined"\nversion = 1\n[correction]\nrefine = false\n')
        analyse_lab(lab, who="tester", session="S1", method=other)
        return Path(lab.folder)
