"""Rigs in the lab: versions, evidence, what is due; the same judge as for files."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from sqlalchemy import select

from quintain.domain.measured import Measured
from quintain.domain.rig import Rig
from quintain.domain.rig_log import LogEntry
from quintain.errors import ConflictError, LabError, RigFileError, UsageError
from quintain.store.lab import Lab
from quintain.store.schema import Audit, Evidence, Recording, RigVersion
from quintain.tasks.lab_rigs import (
    add_evidence,
    add_rig,
    due_checks,
    rig_of,
    rig_on_paper,
    use_version,
)
from quintain.tasks.lab_views import rig_state_in_lab
from quintain.tasks.rig_file import append_log, read_log, update_rig
from quintain.tasks.rig_health import rig_state
from quintain.tasks.zero import check_zero, record_zero

WHO = "tester"
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture
def lab(tmp_path):
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        yield lab


def entry(day, kind="drops", gain=1.0):
    values = {"gain": Measured("gain", gain, 0.002)}
    return LogEntry(NOW - timedelta(days=day), kind, "v", (f"{day:064d}",), values, "pass", "0")


@pytest.fixture
def file(tmp_path):
    """A rig file with two earlier versions and ten drop tests, the newest of them far off."""
    path = tmp_path / "wall.toml"
    path.write_text('# our wall (invented)\nname = "wall"\n[cell]\ncapacity = 5000.0\n')
    for i in range(10):
        append_log(path, entry(20 - i, gain=1.2 if i == 9 else 1 + 0.001 * (i % 3)))
    update_rig(path, {"cell": {"capacity": 6000.0}})
    update_rig(path, {"cell": {"capacity": 7000.0}})
    return path


@pytest.mark.parametrize("name", ["wall/left", "..", " ", "w" * 201])
def test_a_name_that_can_have_no_page_is_refused(lab, file, name):
    file.write_text(file.read_text().replace('name = "wall"', f'name = "{name}"'))
    with pytest.raises(LabError, match="rename the rig"):
        add_rig(lab, file, who=WHO)


def test_a_rig_comes_with_its_past_and_again_only_with_what_is_new(lab, file):
    added = add_rig(lab, file, who=WHO)
    assert (added.name, added.new_rig, len(added.new_versions), added.new_evidence) == ("wall", True, 3, 10)
    assert added.version == Rig.load(file).version
    again = add_rig(lab, file, who=WHO)
    assert (again.new_rig, again.new_versions, again.new_evidence) == (False, (), 0)
    append_log(file, entry(1))
    update_rig(file, {"cell": {"capacity": 8000.0}})
    more = add_rig(lab, file, who=WHO)
    assert (len(more.new_versions), more.new_evidence) == (1, 1)
    assert rig_of(lab, "wall").cell.capacity == 8000.0
    with lab.reading() as database:
        texts = database.scalars(select(RigVersion.toml)).all()
        assert all("# our wall (invented)" in text for text in texts), "the text itself is kept"


def test_the_same_judge_speaks_for_file_and_lab(lab, file):
    add_rig(lab, file, who=WHO)
    ours, theirs = rig_state_in_lab(lab, "wall", now=NOW), rig_state(file, now=NOW)
    assert ours == theirs
    assert ours.verdict == "doubt"
    assert any("outside the limits" in reason for reason in ours.reasons)


def test_earlier_versions_stay_and_can_be_taken_into_use(lab, file):
    added = add_rig(lab, file, who=WHO)
    first = added.new_versions[0]
    assert rig_of(lab, "wall", first).cell.capacity == 5000.0
    assert rig_of(lab, "wall").cell.capacity == 7000.0
    use_version(lab, "wall", first, who=WHO)
    assert rig_of(lab, "wall").cell.capacity == 5000.0
    assert add_rig(lab, file, who=WHO).version == first, "a version the lab knows changes nothing"
    for ask in (lambda: rig_of(lab, "wall", "nothing"), lambda: use_version(lab, "wall", "nothing", who=WHO)):
        with pytest.raises(LabError, match="no version 'nothing'"):
            ask()
    with pytest.raises(LabError, match=r"no rig 'wal'.*did you mean 'wall'"):
        rig_of(lab, "wal")


def test_what_is_due_over_all_rigs(lab, file):
    add_rig(lab, file, who=WHO)
    due = {(one.rig, one.check.kind): one.check.days_since for one in due_checks(lab, now=NOW)}
    assert due == {("wall", "tap"): None, ("wall", "calibration"): None}
    later = {one.check.kind for one in due_checks(lab, now=NOW + timedelta(days=30))}
    assert later == {"tap", "drops", "calibration"}


def quiet(tmp_path, name="quiet.csv", seed=1):
    path = tmp_path / name
    force = np.random.default_rng(seed).normal(3.0, 1.0, 6000)
    path.write_text("time_s,force_N\n" + "\n".join(f"{i / 2000:.4f},{f:.3f}" for i, f in enumerate(force)))
    return path


def test_a_test_is_entered_with_the_bytes_it_rests_on(lab, file, tmp_path):
    add_rig(lab, file, who=WHO)
    recording = quiet(tmp_path)
    with rig_on_paper(lab, "wall", kind="zero", recordings=[recording], who=WHO) as paper:
        check = check_zero(recording, rig=Rig.load(paper.path))
        record_zero(check, paper.path)
        paper.answer = {"results": "all of it"}
    with lab.reading() as database:
        evidence = database.scalars(select(Evidence).where(Evidence.kind == "zero")).one()
        kept = database.get(Recording, evidence.inputs[0])
        assert (kept.kind, kept.name, kept.sha256) == ("zero", "quiet.csv", check.sha256)
        assert lab.originals.path(kept.sha256).read_bytes() == recording.read_bytes()
        assert evidence.answer == {"results": "all of it"}
        assert evidence.values["zero"]["value"] == check.quantities["zero"].value
        assert evidence.rig_version == rig_of(lab, "wall").version
    assert "zero" in {trend.quantity for trend in rig_state_in_lab(lab, "wall").trends}
    assert not paper.path.exists()


def test_an_older_test_joins_the_log_and_a_known_recording_may_be_judged_anew(lab, file, tmp_path):
    add_rig(lab, file, who=WHO)
    recording = quiet(tmp_path)
    may = datetime(2026, 5, 4, tzinfo=UTC)
    before = len(rig_state_in_lab(lab, "wall").trends[0].values)
    for _ in range(2):
        with rig_on_paper(lab, "wall", kind="zero", recordings=[recording], who=WHO) as paper:
            assert len(read_log(paper.path)) >= 10, "the lab's own log is at hand"
            record_zero(check_zero(recording), paper.path, when=may)
    state = rig_state_in_lab(lab, "wall")
    assert len(state.trends[0].values) == before, "nothing of the past came in twice"
    (zero,) = [trend for trend in state.trends if trend.quantity == "zero"]
    assert zero.when == (may,), "the same once more is nothing new"
    update_rig(file, {"cell": {"capacity": 9000.0}})
    add_rig(lab, file, who=WHO)
    with rig_on_paper(lab, "wall", kind="zero", recordings=[recording], who=WHO) as paper:
        record_zero(check_zero(recording), paper.path, when=may)
    (zero,) = [trend for trend in rig_state_in_lab(lab, "wall").trends if trend.quantity == "zero"]
    assert zero.when == (may, may), "on another version of the rig it is another judgement"
    future = dataclasses.replace(entry(0), when=datetime(2999, 1, 1, tzinfo=UTC))
    with pytest.raises(UsageError, match="ahead of now"):
        add_evidence(lab, "wall", future, who=WHO)


def test_a_test_that_fails_leaves_nothing(lab, file, tmp_path):
    add_rig(lab, file, who=WHO)

    def fails():
        with rig_on_paper(lab, "wall", who=WHO) as paper:
            update_rig(paper.path, {"cell": {"capacity": 1.0}})
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fails()
    assert rig_of(lab, "wall").cell.capacity == 7000.0
    bad = tmp_path / "bad.csv"
    bad.write_text("no numbers")
    with pytest.raises(LabError, match="not taken into the lab"):
        add_evidence(lab, "wall", entry(0, "zero"), recordings=[bad], who=WHO)
    with lab.reading() as database:
        assert database.scalars(select(Evidence).where(Evidence.kind == "zero")).all() == []


def test_two_stations_that_change_a_rig_at_once_notice(lab, file):
    add_rig(lab, file, who=WHO)

    def both():
        with rig_on_paper(lab, "wall", who="a") as a:
            update_rig(a.path, {"cell": {"capacity": 1.0}})
            with rig_on_paper(lab, "wall", who="b") as b:
                update_rig(b.path, {"cell": {"capacity": 2.0}})

    with pytest.raises(ConflictError, match="changed since the test began"):
        both()
    assert rig_of(lab, "wall").cell.capacity == 2.0


def test_evidence_is_entered_once(lab, file):
    add_rig(lab, file, who=WHO)
    assert add_evidence(lab, "wall", entry(0, "tap"), who=WHO)
    assert not add_evidence(lab, "wall", entry(0, "tap"), who=WHO)
    with lab.reading() as database:
        assert len(database.scalars(select(Audit).where(Audit.action == "add evidence")).all()) == 11
    with pytest.raises(UsageError, match="choose from tap"), rig_on_paper(lab, "wall", kind="taps", who=WHO):
        pass


def test_a_broken_file_brings_nothing(lab, tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text("name = 3\n")
    with pytest.raises(RigFileError):
        add_rig(lab, path, who=WHO)
    path.write_text('name = "a"\n')
    path.with_suffix(".log.jsonl").write_text("{}\n{}\n")
    with pytest.raises(RigFileError, match="line 1"):
        add_rig(lab, path, who=WHO)
    with pytest.raises(LabError, match="no rig"):
        rig_of(lab, "a")
