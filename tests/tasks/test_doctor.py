"""What the doctor finds, and what it mends."""

from __future__ import annotations

import hashlib
import os
import sqlite3
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from quintain.errors import LabError
from quintain.store.lab import Lab
from quintain.store.schema import Audit, Evidence, Job, Recording, Rig
from quintain.tasks.doctor import Finding, doctor
from quintain.tasks.import_recordings import import_recordings


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[Lab]:
    files = tmp_path / "files"
    files.mkdir()
    for n in range(3):
        text = "".join(f"{i / 1000:.3f},{n if i == 50 else 0}\n" for i in range(100))
        (files / f"{n}.csv").write_text(f"time_s,force_N\n{text}")
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        import_recordings(lab, [files])
        yield lab


def _places(lab: Lab) -> list[tuple[str, Path]]:
    return list(lab.originals.entries())


def _only(lab: Lab, *, repair: bool = False) -> Finding:
    findings = doctor(lab.folder, repair=repair, who="Ann").findings
    assert len(findings) == 1, findings
    return findings[0]


def test_a_sound_lab(lab: Lab) -> None:
    seen: list[float] = []
    report = doctor(lab.folder, progress=lambda what, done, total: seen.append(done))
    assert report.sound
    assert (report.name, report.n_recordings, report.n_gone, report.n_originals) == ("invented", 3, 0, 3)
    assert report.n_bytes == sum(place.stat().st_size for _, place in _places(lab)) == max(seen)


@pytest.mark.parametrize("way", ["one bit", "cut short", "longer"])
def test_altered_bytes_are_found_and_set_aside(lab: Lab, way: str) -> None:
    sha256, place = _places(lab)[1]
    content = place.read_bytes()
    other = {
        "one bit": content[:40] + bytes([content[40] ^ 1]) + content[41:],
        "cut short": content[:-1],
        "longer": content + b"\n",
    }[way]
    place.chmod(0o644)
    place.write_bytes(other)
    found = _only(lab)
    assert (found.code, found.subject, found.fault, found.repaired) == (
        "original-damaged",
        sha256,
        True,
        False,
    )
    assert "files" in found.message  # where it came from
    assert _only(lab, repair=True).repaired
    assert (lab.folder / "set-aside" / place.name).read_bytes() == other
    report = doctor(lab.folder)
    assert (report.sound, report.n_gone, report.findings) == (True, 1, ())
    with lab.reading() as database:
        noted = database.scalars(select(Audit).order_by(Audit.id.desc())).first()
    assert noted is not None
    assert (noted.action, noted.subject_id, noted.who) == ("original lost", sha256, "Ann")


def test_a_lost_original_that_comes_back_is_noticed(lab: Lab, tmp_path: Path) -> None:
    sha256, place = _places(lab)[0]
    place.rename(tmp_path / place.name)
    found = _only(lab)
    assert (found.code, found.subject, found.fault) == ("original-missing", sha256, True)
    assert doctor(lab.folder, repair=True).sound
    (tmp_path / place.name).rename(place)
    assert _only(lab).code == "original-back"
    assert _only(lab, repair=True).repaired
    report = doctor(lab.folder)
    assert (report.findings, report.n_gone) == ((), 0)


def test_bytes_of_no_recording(lab: Lab, tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_bytes(b"abc")
    lab.originals.put(tmp_path / "x.csv")
    young = _only(lab, repair=True)
    assert (young.code, young.fault, young.repaired) == ("original-unclaimed", False, False)
    place = lab.originals.path(hashlib.sha256(b"abc").hexdigest())
    os.utime(place, (time.time() - 3600,) * 2)
    assert _only(lab, repair=True).repaired
    assert (lab.folder / "set-aside" / place.name).read_bytes() == b"abc"
    assert doctor(lab.folder).findings == ()


def test_half_files_are_taken_away_unless_somebody_writes_them(lab: Lab) -> None:
    with lab.originals._incoming(folder=False) as going_on:
        left = lab.originals.folder / "incoming.1234.part"
        left.write_bytes(b"half")
        (lab.folder / "lab.toml.part").write_bytes(b"half")
        report = doctor(lab.folder, repair=True)
        assert [finding.code for finding in report.findings] == ["left-behind"] * 2
        assert going_on.exists()
        assert not left.exists()
    assert doctor(lab.folder).findings == ()


def test_jobs_whose_process_is_gone(lab: Lab) -> None:
    long_ago = datetime.now(UTC) - timedelta(hours=1)
    with lab.writing("me") as writer:
        writer.database.add_all(
            [
                Job(kind="analyse", state="running", added=long_ago),
                Job(kind="alive", state="running", added=long_ago, touched=datetime.now(UTC)),
                Job(kind="waits", state="waiting", added=long_ago),
            ]
        )
    found = _only(lab, repair=True)
    assert (found.code, found.repaired) == ("job-stuck", True)
    with lab.reading() as database:
        states = {job.kind: (job.state, job.message) for job in database.scalars(select(Job))}
    assert states["analyse"] == ("failed", "the process that did it ended; ask for it again")
    assert (states["alive"][0], states["waits"][0]) == ("running", "waiting")


def test_references_that_no_key_holds(lab: Lab) -> None:
    with lab.writing("me") as writer:
        rig = Rig(name="wall", current="f" * 64)
        writer.database.add(rig)
        writer.database.flush()
        writer.database.add(Evidence(rig_id=rig.id, kind="tap", when=datetime.now(UTC), inputs=["e" * 64]))
    report = doctor(lab.folder, repair=True)
    assert not report.sound
    assert {finding.subject for finding in report.findings} == {"rig wall", "evidence 1"}


def test_references_lost_behind_the_labs_back(lab: Lab) -> None:
    lab.close()
    with sqlite3.connect(lab.folder / "lab.db") as link:
        link.execute("update recording set person_id = 77 where name = '1.csv'")
    link.close()
    found = _only(lab)
    assert (found.code, found.fault) == ("reference", True)
    assert found.message == "a row of recording points to no row of person"


def test_no_lab(tmp_path: Path) -> None:
    with pytest.raises(LabError, match="no lab here"):
        doctor(tmp_path)


def test_without_its_database_the_originals_are_checked(lab: Lab) -> None:
    lab.close()
    place = _places(lab)[0][1]
    place.chmod(0o644)
    place.write_bytes(b"other")
    (lab.folder / "lab.db").unlink()
    report = doctor(lab.folder)
    assert not report.sound
    assert [finding.code for finding in report.findings] == ["database", "original-damaged"]
    assert report.n_originals == 3


def test_marked_recordings_keep_their_rows(lab: Lab) -> None:
    for _, place in _places(lab):
        place.unlink()
    doctor(lab.folder, repair=True)
    with lab.reading() as database:
        assert all(row.gone for row in database.scalars(select(Recording)))
        assert len(database.scalars(select(Recording)).all()) == 3
