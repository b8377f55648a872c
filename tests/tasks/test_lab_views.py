"""What pages and commands show of a lab, against its tables."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import update

from invented_lab import BEGAN, invent_lab
from quintain.errors import LabError
from quintain.store.queries_filter import StrikeFilter
from quintain.store.schema import Evidence, Planned, RigVersion, Session, Source, Strike
from quintain.tasks.lab_views import (
    lab_overview,
    person_view,
    recording_view,
    rig_state_in_lab,
    session_view,
    strike_view,
)

RIG_TOML = """\
name = "rig 1"
[[modes]]
natural_frequency = 230.0
damping_ratio = 0.03
"""

NOW = datetime(2026, 4, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    with invent_lab(tmp_path_factory.mktemp("labs") / "lab") as lab:
        with lab.writing("tester") as writer:
            add = writer.database
            add.execute(update(RigVersion).where(RigVersion.rig_id == 1).values(toml=RIG_TOML))
            add.execute(update(RigVersion).where(RigVersion.rig_id == 2).values(toml="broken ="))
            add.add(
                Evidence(rig_id=1, kind="drops", when=NOW - timedelta(days=3), verdict="pass", inputs=[],
                         values={"gain": {"value": 1.001, "u": 0.004, "unit": "1"}})
            )  # fmt: skip
            add.add(Planned(id=1, session_id=1, position=1, person_id=1, type="jab", side="left", rest=20.0))
            add.add(Source(recording_sha256=f"{0:064x}", path="/somewhere/0-0.csv"))
            add.flush()
            add.execute(update(Strike).where(Strike.id == 2).values(planned_id=1))
            add.execute(update(Session).where(Session.id == 1).values(note="hall B"))
        yield lab


def test_overview(lab):
    told = lab_overview(lab, now=NOW, n_sessions=2)
    assert (told.name, told.invented) == ("invented lab", True)
    assert [s.code for s in told.sessions] == ["S4", "S3"]
    assert (told.n_sessions, told.n_people, told.n_recordings, told.n_unanalysed) == (4, 5, 20, 0)
    assert told.strikes.total == 240
    assert sum(s.strikes.waiting for s in told.waiting) == told.strikes.waiting > 0
    first, second = told.rigs
    assert first.state is not None
    assert first.state.verdict == "doubt"
    assert second.state is None
    assert "line" in second.trouble


def test_rig_state_counts_evidence(lab):
    state = rig_state_in_lab(lab, "rig 1", now=NOW)
    assert state.n_entries == 1
    drops = next(check for check in state.due if check.kind == "drops")
    assert drops.days_since == pytest.approx(3.0)
    with pytest.raises(LabError, match="no rig 'rig 9'"):
        rig_state_in_lab(lab, "rig 9")


def test_session(lab):
    told = session_view(lab, "S1", limit=10)
    assert (told.row.code, told.note, told.total, len(told.strikes)) == ("S1", "hall B", 60, 10)
    assert [p.strike_id for p in told.planned] == [2]
    assert len(told.recordings) == 5
    kept = told.row.strikes.accepted + told.row.strikes.waiting
    assert sum(group.n_strikes for group in told.groups) == kept


def test_person(lab):
    told = person_view(lab, "P02")
    assert told.row.code == "P02"
    when = [told.when[group.levels[0]] for group in told.sessions]
    assert when == sorted(when)
    assert {group.levels[0] for group in told.sessions} == {"S1", "S2", "S3", "S4"}
    assert sum(g.n_strikes for g in told.groups) == sum(g.n_strikes for g in told.sessions)
    assert told.strikes[0].when >= BEGAN + timedelta(days=21)
    assert told.total == told.row.strikes.total


@pytest.mark.parametrize("word", [f"{3:064x}", "0-3.csv"])
def test_recording(lab, word):
    told = recording_view(lab, word)
    assert (told.row.name, told.total, len(told.analyses)) == ("0-3.csv", 12, 1)
    assert [row.start for row in told.strikes] == sorted(row.start for row in told.strikes)
    assert recording_view(lab, "0-0.csv").sources == ("/somewhere/0-0.csv",)


def test_strike(lab):
    told = strike_view(lab, 7, StrikeFilter(people=("P01",)))
    assert (told.row.id, told.n_results, told.analysis.id) == (7, 1, 1)
    assert (told.neighbours.before, told.neighbours.after) == (6, 8)
    assert strike_view(lab, 61).neighbours.before is None, "its own session begins with it"


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda lab: session_view(lab, "S99"), "no session 'S99'"),
        (lambda lab: person_view(lab, "nobody"), "no person 'nobody'"),
        (lambda lab: recording_view(lab, "x.csv"), "no recording 'x.csv'"),
        (lambda lab: recording_view(lab, "0" * 40), "more than one recording"),
        (lambda lab: strike_view(lab, 9999), "no strike 9999"),
    ],
)
def test_what_there_is_not_is_said(lab, ask, words):
    with pytest.raises(LabError, match=words):
        ask(lab)
