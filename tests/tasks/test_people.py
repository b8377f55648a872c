"""People by code; what identifies lies apart, is theirs to have, and can be erased down to the bytes."""

from __future__ import annotations

import csv
import json
import sqlite3

import pytest
from sqlalchemy import func, select

from quintain.errors import ConflictError, LabError, UsageError
from quintain.store.lab import Lab
from quintain.store.queries import observations
from quintain.store.schema import Analysis, Audit, Identity, Recording, Result, Session, Source, Strike
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.doctor import doctor
from quintain.tasks.erase_person import erase_person
from quintain.tasks.export_person import export_person
from quintain.tasks.people import add_person, edit_person, identify_person, show_person
from quintain.tasks.review import note, reject, retag
from quintain.tasks.sessions import add_session
from simulated_lab import RATE, add_recording, make_lab, write_recording

NAME = "Zenobia Quastenflosser"
CONTACT = "zenobia@example.org"
WHO = "tester"


@pytest.fixture
def lab(tmp_path):
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        yield lab


@pytest.fixture
def struck(tmp_path):
    """One person with three recordings, analysed; and one of two people."""
    with make_lab(tmp_path, n=3) as lab:
        identify_person(lab, "P01", name=NAME, contact=CONTACT, who=WHO)
        add_person(lab, "P02", who=WHO, body_mass=80.0)
        both = add_recording(lab, write_recording(tmp_path / "both.csv", 99, n=2), reading={"rate": RATE})
        analyse_lab(lab, who=WHO)
        with lab.reading() as database:
            first, second = database.scalars(
                select(Strike.id).where(Strike.recording_sha256 == both).order_by(Strike.start)
            )
        retag(lab, first, person="P01", who=WHO)
        retag(lab, second, person="P02", who=WHO)
        yield lab


def entries(lab):
    with lab.reading() as database:
        return list(database.scalars(select(Audit).order_by(Audit.id)))


def count(lab, table):
    with lab.reading() as database:
        return database.scalar(select(func.count()).select_from(table))


def everywhere(folder, text):
    """Files of a lab that hold a text, in any spelling the database uses."""
    spelled = {text.encode(), json.dumps(text).encode()[1:-1], text.encode("utf-16-le")}
    return sorted(
        str(file.relative_to(folder))
        for file in folder.rglob("*")
        if file.is_file() and any(one in file.read_bytes() for one in spelled)
    )


def test_facts_come_back_and_an_empty_text_takes_them_away(lab):
    added = add_person(lab, "P01", body_mass=72, height=1.78, side="right", experience=3, who=WHO)
    assert (added.facts.body_mass, added.facts.side, added.changes) == (72.0, "right", 0)
    changed = edit_person(lab, "P01", side="", height=None, body_mass=71.5, who=WHO)
    assert (changed.facts.side, changed.facts.height, changed.facts.body_mass) == ("", None, 71.5)
    assert changed.facts.experience == 3.0
    assert edit_person(lab, "P01", new_code="P10", who=WHO).code == "P10"
    with pytest.raises(LabError, match="did you mean 'P10'"):
        show_person(lab, "P01")


def test_a_code_is_never_used_twice(lab):
    add_person(lab, "P01", who=WHO)
    for code in ("P01", "p01"):
        with pytest.raises(ConflictError, match="taken by another person"):
            add_person(lab, code, who=WHO)
    add_person(lab, "P02", who=WHO)
    with pytest.raises(ConflictError, match="taken"):
        edit_person(lab, "P02", new_code="P01", who=WHO)
    erase_person(lab, "P01", who=WHO)
    with pytest.raises(ConflictError, match="never used twice"):
        add_person(lab, "P01", who=WHO)
    with pytest.raises(LabError, match="was erased"):
        edit_person(lab, "P01", body_mass=70, who=WHO)
    assert count(lab, Identity) == 0


def test_what_is_not_plausible_leaves_nothing_behind(lab):
    for facts in ({"height": 178}, {"weight": 70}, {"body_mass": "much"}):
        with pytest.raises(UsageError):
            add_person(lab, "P01", who=WHO, **facts)
    with pytest.raises(UsageError, match="born"):
        add_person(lab, "P01", identity={"born": "1.1.90"}, who=WHO)
    with pytest.raises(LabError, match="no person"):
        show_person(lab, "P01")


def test_two_who_edit_at_once_notice_each_other(lab):
    seen = add_person(lab, "P01", who=WHO)
    edit_person(lab, "P01", body_mass=70, changes=seen.changes, who="one")
    with pytest.raises(ConflictError, match="changed since you looked"):
        edit_person(lab, "P01", body_mass=71, changes=seen.changes, who="other")
    assert show_person(lab, "P01").facts.body_mass == 70.0


def test_the_audit_names_entries_and_never_their_values(lab):
    add_person(lab, "P01", body_mass=71.25, note="left knee", identity={"name": NAME}, who=WHO)
    identify_person(lab, "P01", name="Somebody Else", born="1990-05-17", who=WHO)
    edit_person(lab, "P01", body_mass=72.75, note="", who=WHO)
    erase_person(lab, "P01", data=True, who=WHO)
    told = json.dumps([[e.before, e.after] for e in entries(lab)])
    for value in ("Zenobia", "Somebody", "1990", "71.25", "72.75", "knee"):
        assert value not in told
    assert [e.after["fields"] for e in entries(lab) if e.action == "edit identity"] == [
        ["name"], ["name", "born"],
    ]  # fmt: skip


def test_what_identifies_is_shown_only_when_asked_for(lab):
    add_person(lab, "P01", identity={"name": NAME}, who=WHO)
    shown = show_person(lab, "P01")
    assert shown.identified
    assert shown.identity is None
    assert show_person(lab, "P01", identity=True).identity.name == NAME


def test_erased_bytes_are_in_no_file_of_the_lab(lab):
    """Also those of earlier edits, which lie in freed pages and in the log."""
    folder = lab.folder
    add_person(lab, "P01", identity={"name": "Earlier Zenobia", "note": "x" * 20_000 + NAME}, who=WHO)
    identify_person(lab, "P01", name=NAME, contact=CONTACT, note="", who=WHO)
    with sqlite3.connect(folder / "lab.db") as database:
        database.execute("pragma wal_checkpoint(full)")
    database.close()
    assert everywhere(folder, NAME), "the test looks for something that is there"
    done = erase_person(lab, "P01", who=WHO)
    lab.close()
    assert everywhere(folder, "Zenobia") == []
    assert everywhere(folder, CONTACT) == []
    assert "identity.name, identity.contact" in done.removed[0]
    assert not any("old pages" in line for line in done.remains)


def test_another_who_reads_keeps_old_pages_and_it_is_said(lab):
    add_person(lab, "P01", identity={"name": NAME}, who=WHO)
    with lab.reading() as reader:
        reader.scalar(select(Identity.name))
        done = erase_person(lab, "P01", who=WHO)
        assert any("old pages" in line for line in done.remains)
    again = erase_person(lab, "P01", who=WHO)
    assert not any("old pages" in line for line in again.remains)
    assert everywhere(lab.folder, NAME) == []


def test_a_name_in_notes_and_file_names_goes_too(struck):
    with struck.reading() as database:
        strike = database.scalars(select(Strike).join(Strike.person).where(Strike.type == "jab")).first()
        if strike is None:
            strike = database.scalars(select(Strike)).first()
        own = database.scalars(select(Recording).where(Recording.person_id.is_not(None))).first()
    with struck.writing(WHO) as writer:
        writer.database.get(Recording, own.sha256).name = "zenobia_01.csv"
        writer.database.query(Source).first().path = "/data/Zenobia_Quastenflosser/01.csv"
    note(struck, strike.id, "asked Zenobia  Quastenflosser to wait", who=WHO)
    done = erase_person(struck, "P01", who=WHO)
    with struck.reading() as database:
        assert database.get(Strike, strike.id).note == "asked erased to wait"
        assert database.get(Recording, own.sha256).name == "erased_01.csv"
        assert database.query(Source).first().path == "/data/erased/01.csv"
    assert any("names of recordings" in line for line in done.removed)


def test_a_name_typed_into_the_audit_stays_and_is_told(struck):
    """The audit is append-only; what somebody typed there is not hidden."""
    reject(struck, 1, f"{NAME} slipped", who=WHO)
    done = erase_person(struck, "P01", who=WHO)
    assert any("entries of the audit" in line for line in done.remains)
    assert not any("Zenobia" in line for line in done.remains)


def test_without_data_results_stay_under_the_code(struck):
    before = (count(struck, Strike), count(struck, Result))
    done = erase_person(struck, "P01", who=WHO)
    assert (count(struck, Strike), count(struck, Result)) == before
    assert any("under the code" in line and "strikes" in line for line in done.remains)


def test_with_data_bytes_strikes_and_results_go_and_others_keep_theirs(struck):
    folder = struck.folder
    with struck.reading() as database:
        own = list(database.scalars(select(Recording.sha256).where(Recording.person_id.is_not(None))))
        shared = database.scalar(select(Recording.sha256).where(Recording.name == "both.csv"))
        theirs = database.scalar(
            select(Result)
            .join(Strike, Strike.result_id == Result.id)
            .where(Strike.recording_sha256 == shared)
            .order_by(Strike.start.desc())
        )
    assert len(own) == 3
    done = erase_person(struck, "P01", data=True, who=WHO)
    assert all(struck.originals.find(sha256) is None for sha256 in own)
    assert struck.originals.find(shared) is not None
    assert any("both.csv" in line and "strikes of others" in line for line in done.remains)
    with struck.reading() as database:
        first, second = database.scalars(select(Strike).order_by(Strike.start)).all()
        assert (first.person_id, first.state, first.reason, first.result_id) == (
            None,
            "rejected",
            "erased",
            None,
        )
        assert second.result_id == theirs.id
        assert database.get(Result, theirs.id).peak_force == theirs.peak_force
        assert database.scalar(select(func.count()).select_from(Analysis)) == 1
        assert all(database.get(Recording, sha256).gone is not None for sha256 in own)
    assert list((folder / "cache").glob("*")) == []
    assert observations(struck, quantity="impulse", factors=()).columns["person"].tolist() == ["P02"]
    struck.close()
    assert [f for f in doctor(folder).findings if f.fault] == []


def test_erasing_is_in_the_audit_once_each_time(struck):
    before = len(entries(struck))
    erase_person(struck, "P01", data=True, who=WHO)
    (one,) = entries(struck)[before:]
    assert (one.action, one.who, one.subject) == ("erase person", WHO, "person")
    assert one.after["recordings"] == 3


def test_a_motion_that_others_use_stays(tmp_path, struck):
    path = tmp_path / "motion.csv"
    path.write_text("only a stand-in\n")
    motion = add_recording(struck, path, kind="motion")
    with struck.writing(WHO) as writer:
        rows = writer.database.scalars(select(Recording).where(Recording.kind == "strikes")).all()
        for row in rows:
            row.motion_sha256 = motion
    erase_person(struck, "P01", data=True, who=WHO)
    assert struck.originals.find(motion) is not None


def test_a_person_gets_everything_that_is_held_on_them(tmp_path, struck):
    add_session(struck, "S9", who=WHO)
    with struck.reading() as database:
        n = database.scalar(
            select(func.count()).select_from(Strike).where(Strike.person_id == show_person(struck, "P01").id)
        )
    note(struck, 1, "=1+1", who=WHO)
    done = export_person(struck, "P01", tmp_path / "out", recordings=True)
    told = json.loads((tmp_path / "out/person.json").read_text())
    assert told["identity"]["name"] == NAME
    assert (told["code"], told["lab"], told["invented"]) == ("P01", "invented", True)
    rows = list(csv.DictReader((tmp_path / "out/strikes.csv").read_text().splitlines()))
    assert len(rows) == n == done.n_strikes
    assert all(float(row["peak_force_raw [N]"]) > 0 for row in rows)
    assert "'=1+1" in {row["note"] for row in rows}, "no spreadsheet takes a note for a formula"
    assert done.shared == ("both.csv",)
    copies = list((tmp_path / "out/recordings").iterdir())
    assert len(copies) == 3
    for copy in copies:
        assert copy.read_bytes() == struck.originals.path(copy.stem).read_bytes()
    assert "P02" not in (tmp_path / "out/strikes.csv").read_text()
    with pytest.raises(UsageError, match="not empty"):
        export_person(struck, "P01", tmp_path / "out")
    with pytest.raises(LabError, match="no person"):
        export_person(struck, "P77", tmp_path / "new")
    assert not (tmp_path / "new").exists()
    assert count(struck, Session) == 2
