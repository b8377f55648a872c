"""Stating facts of a recording behaves alike on both kinds of database."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import select

from quintain.errors import ConflictError
from quintain.store.lab import Lab
from quintain.store.schema import Audit, Person, Recording, Rig, Session, Strike
from quintain.tasks.bring_motion import bring_motion
from quintain.tasks.import_recordings import import_recordings
from quintain.tasks.state_recording import state_recording


def test_facts_strikes_and_audit(lab: Lab, tmp_path: Path) -> None:
    force, imu = tmp_path / "force.csv", tmp_path / "imu.csv"
    force.write_text("time_s,force_N\n" + "".join(f"{i / 1000},{i % 9}\n" for i in range(400)))
    imu.write_text("time_s,ax_m/s2\n" + "".join(f"{i / 1000},{i % 9}\n" for i in range(400)))
    with lab.writing("me") as writer:
        database = writer.database
        rigs = [Rig(name="wall"), Rig(name="post")]
        database.add_all([Person(code="P-01"), Person(code="P-02"), *rigs])
        database.flush()
        database.add_all([Session(code="S1", rig_id=rigs[0].id), Session(code="S2", rig_id=rigs[1].id)])
    sha256 = import_recordings(lab, [force], session="S1").files[0].sha256
    with lab.writing("me") as writer:
        row = writer.database.get_one(Recording, sha256)
        writer.database.add_all(
            Strike(recording_sha256=sha256, session_id=row.session_id, position=i, start=0.1 * i)
            for i in (1, 2)
        )
    seen = state_recording(lab, sha256, {"person": "P-02", "session": "S2"}, changes=0, who="Ann")
    assert seen.changed == ("rig", "session", "person")
    assert (seen.facts["rig"], seen.n_strikes, seen.changes) == ("post", 2, 1)
    told = bring_motion(lab, sha256, imu, {"offset": "0.1+-0.05", "normal": "1,0,0"}, changes=1, who="Ann")
    with lab.reading() as database:
        row = database.get_one(Recording, sha256)
        assert row.motion_sha256 == told.facts["motion"]
        assert row.alignment == {"offset": "0.1+-0.05", "normal": "1,0,0"}
        strikes = database.scalars(select(Strike).order_by(Strike.start)).all()
        assert [(s.position, s.person_id, s.session_id) for s in strikes] == [
            (1, row.person_id, row.session_id), (2, row.person_id, row.session_id),
        ]  # fmt: skip
        noted = database.scalars(
            select(Audit).where(Audit.action == "state", Audit.subject == "recording")
        ).all()
        last = next(
            entry for entry in noted if entry.subject_id == sha256 and "offset" in (entry.after or {})
        )
        assert last.before == {"motion": "", "offset": "", "normal": ""}
    with pytest.raises(ConflictError, match="was changed by Ann since you looked at it"):
        state_recording(lab, sha256, {"side": "left"}, changes=1, who="Ben")
