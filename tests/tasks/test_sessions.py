"""Sessions, their plan, and tags by it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from quintain.domain.protocol import Protocol, conditions_of
from quintain.errors import ConflictError, LabError, UsageError
from quintain.store.lab import Lab
from quintain.store.queries_lists import list_sessions
from quintain.store.schema import Planned, Recording, Rig, RigVersion, Session, Strike
from quintain.tasks.erase_person import erase_person
from quintain.tasks.people import add_person
from quintain.tasks.review import reject, retag, undo
from quintain.tasks.sessions import (
    add_session,
    edit_session,
    plan_session,
    planned_strikes,
    protocol_of,
    running_sheet,
    show_session,
)
from quintain.tasks.strike_types import add_type, list_types
from quintain.tasks.tag_by_plan import WARM_UP, tag_by_plan

WHO = "tester"
PROTOCOL = Protocol(
    ("P01", "P02"), conditions_of(("jab", "cross"), ("left",)), repetitions=3, order="written", warm_ups=1
)
BEGIN = datetime(2026, 11, 2, 9, tzinfo=UTC)


@pytest.fixture
def lab(tmp_path):
    with Lab.create(tmp_path / "lab", name="Invented lab", invented=True) as lab:
        for code in ("P01", "P02"):
            add_person(lab, code, who=WHO)
        add_session(lab, "S1", who=WHO, title="first", when=BEGIN)
        yield lab


def record(lab, *starts, when=BEGIN, name="a.csv", **more):
    """A recording with strikes at these times, as an analysis would leave them."""
    sha256 = name.encode().hex().ljust(64, "0")
    with lab.writing(WHO) as writer:
        database = writer.database
        session = database.scalar(select(Session.id).where(Session.code == "S1"))
        n = len(database.scalars(select(Strike.id)).all())
        database.add(Recording(sha256=sha256, name=name, n_bytes=1, session_id=session, when=when, **more))
        database.flush()
        for i, start in enumerate(starts, n + 1):
            database.add(
                Strike(
                    recording_sha256=sha256, session_id=session, position=i, start=start,
                    person_id=more.get("person_id"), type=more.get("type"), side=more.get("side", ""),
                )
            )  # fmt: skip


def tags(lab):
    with lab.reading() as database:
        rows = database.scalars(select(Strike).order_by(Strike.position)).all()
        return [(r.person.code if r.person else "", r.type or "", r.side, r.series) for r in rows]


def asked(lab):
    return [(one.person, one.type, one.side, one.block or None) for one in planned_strikes(lab, "S1")]


def test_a_session_and_its_entries(lab):
    with lab.writing(WHO) as writer:
        writer.database.add(Rig(id=1, name="wall", current="v"))
        writer.database.flush()
        writer.database.add(RigVersion(version="v", rig_id=1, toml='name = "wall"'))
    seen = show_session(lab, "S1")
    changed = edit_session(lab, "S1", rig="wall", title="second", changes=seen.changes, who=WHO)
    assert (changed.rig, changed.title, changed.when) == ("wall", "second", BEGIN)
    with pytest.raises(ConflictError, match="changed since you looked"):
        edit_session(lab, "S1", title="third", changes=seen.changes, who=WHO)
    assert edit_session(lab, "S1", rig="", when=None, who=WHO).when is None
    for code in ("S1", "s1"):
        with pytest.raises(ConflictError, match="already"):
            add_session(lab, code, who=WHO)
    with pytest.raises(LabError, match=r"no rig 'walls'.*did you mean 'wall'"):
        add_session(lab, "S2", rig="walls", who=WHO)
    with pytest.raises(UsageError, match="offset from UTC"):
        add_session(lab, "S2", when=datetime(2026, 1, 1), who=WHO)
    assert [one.code for one in list_sessions(lab)] == ["S1"]


def test_a_plan_is_kept_as_asked_and_in_its_order(lab):
    planned = plan_session(lab, "S1", PROTOCOL, who=WHO)
    assert planned_strikes(lab, "S1") == planned
    assert protocol_of(lab, "S1") == PROTOCOL
    assert list_sessions(lab)[0].n_planned == 16
    other = plan_session(lab, "S1", replace(PROTOCOL, seed=2, repetitions=1), who=WHO)
    assert planned_strikes(lab, "S1") == other


def test_a_plan_names_people_and_types_that_there_are(lab):
    with pytest.raises(LabError, match="no person 'P03'"):
        plan_session(lab, "S1", replace(PROTOCOL, people=("P01", "P03")), who=WHO)
    with pytest.raises(UsageError, match=r"no type of strike 'jabb'.*'jab'"):
        plan_session(lab, "S1", replace(PROTOCOL, conditions=conditions_of(("jabb",))), who=WHO)
    erase_person(lab, "P02", who=WHO)
    with pytest.raises(LabError, match="'P02' was erased"):
        plan_session(lab, "S1", PROTOCOL, who=WHO)
    assert planned_strikes(lab, "S1") == ()


def test_the_running_sheet_names_everything_and_warns(lab):
    with pytest.raises(UsageError, match="no plan yet"):
        running_sheet(lab, "S1")
    planned = plan_session(lab, "S1", PROTOCOL, who=WHO)
    sheet = running_sheet(lab, "S1")
    assert sheet.count("[ ]") == len(planned)
    assert "Invented lab (invented): session S1" in sheet
    assert "12 strikes of 2 people, and 4 warm-ups" in sheet
    assert "injure hands" in sheet
    assert "Local rules" in sheet
    assert "rest 60 s before it" in sheet


def test_protocol_files_name_the_line():
    text = 'people = ["P01"]\nrepetition = 3\n[[conditions]]\ntype = "jab"\n'
    with pytest.raises(UsageError, match="line 2: repetition: no such entry; did you mean 'repetitions'"):
        Protocol.from_toml(text)
    good = text.replace("repetition ", "repetitions ")
    assert Protocol.from_toml(good).repetitions == 3
    with pytest.raises(UsageError, match="stands twice"):
        Protocol.from_toml(good.replace('["P01"]', '["P01", "P01"]'))


def test_strikes_are_tagged_from_the_plan_and_warm_ups_are_rejected(lab):
    plan_session(lab, "S1", PROTOCOL, who=WHO)
    record(lab, *range(16))
    report = tag_by_plan(lab, "S1", who=WHO)
    assert (len(report.tagged), report.unsure, report.extra) == (16, (), ())
    assert tags(lab) == asked(lab)
    with lab.reading() as database:
        warm = database.scalars(select(Strike).where(Strike.reason == WARM_UP)).all()
        planned = database.scalars(select(Strike.planned_id).order_by(Strike.position)).all()
        assert planned == database.scalars(select(Planned.id).order_by(Planned.position)).all()
    assert [one.state for one in warm] == ["rejected"] * 4
    assert tag_by_plan(lab, "S1", who=WHO).tagged == (), "again changes nothing"
    with pytest.raises(ConflictError, match="tagged by its plan"):
        plan_session(lab, "S1", PROTOCOL, who=WHO)
    undo(lab, who=WHO)
    assert tags(lab) == [("", "", "", None)] * 16
    assert plan_session(lab, "S1", PROTOCOL, who=WHO)


def test_warm_ups_need_not_be_recorded(lab):
    plan_session(lab, "S1", PROTOCOL, who=WHO)
    record(lab, *range(12))
    tag_by_plan(lab, "S1", warm_ups_recorded=False, who=WHO)
    assert tags(lab) == [one for one in asked(lab) if one[3] is not None]


def test_a_number_that_does_not_fit_tags_nothing_and_says_what_to_state(lab):
    with pytest.raises(UsageError, match="has no plan"):
        tag_by_plan(lab, "S1", who=WHO)
    plan_session(lab, "S1", PROTOCOL, who=WHO)
    with pytest.raises(UsageError, match="has no strikes"):
        tag_by_plan(lab, "S1", who=WHO)
    record(lab, *range(14))
    with pytest.raises(UsageError, match=r"14 strikes for 16.*at least 2 are missing"):
        tag_by_plan(lab, "S1", who=WHO)
    record(lab, *range(4), name="b.csv", when=BEGIN + timedelta(hours=1))
    with pytest.raises(UsageError, match="at least 2 are extra"):
        tag_by_plan(lab, "S1", who=WHO)
    assert tags(lab) == [("", "", "", None)] * 18


def test_what_cannot_be_told_is_said_and_left(lab):
    plan_session(lab, "S1", replace(PROTOCOL, warm_ups=0, repetitions=5), who=WHO)
    record(lab, *range(19))
    dry = tag_by_plan(lab, "S1", missing=1, dry_run=True, who=WHO)
    assert tags(lab) == [("", "", "", None)] * 19
    report = tag_by_plan(lab, "S1", missing=1, who=WHO)
    assert report.tagged == dry.tagged
    assert [(run.first, run.last) for run in report.unsure] == [(5, 5), (10, 10), (15, 15)]
    assert report.unsure[0].may_be == ("P01 jab left (block 1)", "P01 cross left (block 2)")
    told = tags(lab)
    assert told[4] == ("", "", "", None)
    assert told[3] == ("P01", "jab", "left", 1)


def test_recordings_gaps_and_rejected_strikes_settle_it(lab):
    plan_session(lab, "S1", replace(PROTOCOL, warm_ups=0, repetitions=5, turns="person"), who=WHO)
    times = [60.0 * (i // 5) + i for i in range(20)]
    record(lab, *times[:7], *times[8:])
    report = tag_by_plan(lab, "S1", missing=1, gap=30.0, who=WHO)
    assert report.unsure == ()
    assert tags(lab) == asked(lab)[:7] + asked(lab)[8:]


def test_every_recording_a_block(lab):
    plan_session(lab, "S1", replace(PROTOCOL, warm_ups=0, repetitions=5), who=WHO)
    for i, n in enumerate((5, 4, 5, 6)):
        record(lab, *range(n), name=f"{i}.csv", when=BEGIN + timedelta(minutes=i))
    report = tag_by_plan(lab, "S1", missing=1, extra=1, recording_is="block", who=WHO)
    assert [(run.first, run.last) for run in report.unsure] == [(15, 20)]
    assert "none of the plan" in report.unsure[0].may_be
    assert tags(lab)[5:9] == [asked(lab)[5]] * 4
    reject(lab, 17, "touched the pad", who=WHO)
    report = tag_by_plan(lab, "S1", missing=1, recording_is="block", who=WHO)
    assert (report.unsure, report.extra) == ((), (17,))


def test_what_recordings_and_hands_say_stays_and_helps(lab):
    plan_session(lab, "S1", replace(PROTOCOL, warm_ups=0, repetitions=2), who=WHO)
    record(lab, *range(7))
    retag(lab, 2, type="cross", who=WHO)
    report = tag_by_plan(lab, "S1", missing=1, who=WHO)
    told = tags(lab)
    assert told[0] == ("P01", "jab", "left", 1)
    assert told[1] == ("", "cross", "", None), "tags by hand stay as they are"
    assert told[2] == ("P01", "cross", "left", 2)
    assert 2 not in report.tagged
    assert report.unsure == ()


def test_recordings_without_a_time_are_in_no_order_unless_their_names_are(lab):
    plan_session(lab, "S1", replace(PROTOCOL, warm_ups=0), who=WHO)
    for name in ("b.csv", "a.csv"):
        record(lab, *range(6), name=name, when=None)
    with pytest.raises(UsageError, match=r"2 of 2 recordings .* state no time"):
        tag_by_plan(lab, "S1", who=WHO)
    tag_by_plan(lab, "S1", by_name=True, who=WHO)
    assert tags(lab)[6:] == asked(lab)[:6], "a.csv came first"


def test_types_of_the_trade_and_the_labs_own(lab):
    assert [t for t in list_types(lab) if t.own] == []
    assert add_type(lab, " flying   knee", family="knee", who=WHO).name == "flying knee"
    assert [t.name for t in list_types(lab) if t.own] == ["flying knee"]
    for name, family, error in (
        ("Jab", "punch", ConflictError), ("", "punch", UsageError), ("=x", "punch", UsageError),
        ("slap", "hand", UsageError), ("x" * 61, "punch", UsageError),
    ):  # fmt: skip
        with pytest.raises(error):
            add_type(lab, name, family=family, who=WHO)
