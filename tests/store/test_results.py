"""Results in the lab: nothing is overwritten, strikes keep what people said of them."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from sqlalchemy import select

import quintain as q
from quintain.domain.as_json import strike_as_json
from quintain.errors import LabError, RecordingError
from quintain.store.results import load_analysis, load_strike, match_starts, save_analysis
from quintain.store.schema import Analysis, Audit, Person, Recording, Result, Session, Strike
from ringing_rig import record

SHA = "a" * 64
OTHER = "b" * 64


@pytest.fixture(scope="module")
def analysis():
    """Two invented blows on a rig that is not known."""
    force = record([(1.0, 900.0, 0.02), (2.5, 700.0, 0.02)], seconds=4.0)
    return replace(q.analyse(q.Trace.from_array(force, 2000.0), curves=False), sha256=SHA)


@pytest.fixture
def lab(lab):
    """With a session of two recordings of one person; on both kinds of database."""
    with lab.writing("tester") as writer:
        writer.database.add_all([Person(id=1, code="P01"), Session(id=1, code="S1")])
        writer.database.flush()
        writer.database.add_all(
            Recording(sha256=sha, name=name, n_bytes=1, session_id=1, person_id=1, type="jab", side="left")
            for sha, name in ((SHA, "one.csv"), (OTHER, "two.csv"))
        )
    return lab


def save(lab, analysis, sha=SHA):
    with lab.writing("tester") as writer:
        return save_analysis(writer, sha, replace(analysis, sha256=sha))


def strikes(lab):
    with lab.reading() as database:
        return list(database.scalars(select(Strike).order_by(Strike.position)))


def moved(analysis, *starts):
    """The same strike at other times."""
    return replace(
        analysis,
        strikes=tuple(
            replace(analysis.strikes[0], number=i, start=start) for i, start in enumerate(starts, 1)
        ),
    )


def test_what_goes_in_comes_out(lab, analysis):
    saved = save(lab, analysis)
    again = load_analysis(lab, saved.analysis_id)
    assert [strike_as_json(s) for s in again.strikes] == [strike_as_json(s) for s in analysis.strikes]
    for ours, theirs in zip(again.strikes, analysis.strikes, strict=True):
        assert ours.quantities == dict(theirs.quantities)
        assert (ours.modes, ours.flags) == (theirs.modes, theirs.flags)
        assert ours.periods_in_pulse == theirs.periods_in_pulse
    assert replace(again, strikes=(), path="", n_bytes=0) == replace(analysis, strikes=(), path="", n_bytes=0)
    assert strike_as_json(load_strike(lab, saved.strike_ids[1])) == strike_as_json(analysis.strikes[1])


def test_new_strikes_wait_with_the_tags_of_their_recording(lab, analysis):
    save(lab, analysis)
    for strike in strikes(lab):
        assert (strike.state, strike.person_id, strike.type, strike.side) == ("waiting", 1, "jab", "left")


def test_tags_reviews_and_earlier_results_survive(lab, analysis):
    first = save(lab, analysis)
    with lab.writing("reviewer") as writer:
        strike = writer.database.get(Strike, first.strike_ids[0])
        strike.state, strike.reason, strike.note, strike.type = "rejected", "slipped", "see film", "hook"
    second = save(lab, moved(analysis, 1.003, 2.503))
    assert second.strike_ids == first.strike_ids
    assert (second.found_again, second.new, second.gone) == (2, 0, 0)
    strike = strikes(lab)[0]
    assert (strike.state, strike.reason, strike.note, strike.type) == (
        "rejected", "slipped", "see film", "hook",
    )  # fmt: skip
    with lab.reading() as database:
        assert len(database.scalars(select(Result)).all()) == 4
        in_force = database.get(Result, strike.result_id)
        assert in_force.analysis_id == second.analysis_id
        currents = dict(database.execute(select(Analysis.id, Analysis.current)).all())
    assert currents == {first.analysis_id: False, second.analysis_id: True}


def test_a_strike_that_is_gone_comes_back_as_it_was(lab, analysis):
    first = save(lab, analysis)
    with lab.writing("reviewer") as writer:
        writer.database.get(Strike, first.strike_ids[1]).state = "accepted"
    second = save(lab, moved(analysis, first_start := analysis.strikes[0].start))
    assert (second.found_again, second.gone) == (1, 1)
    assert [s.state for s in strikes(lab)] == ["waiting", "gone"]
    with lab.reading() as database:
        entry = database.scalars(select(Audit).where(Audit.action == "strike gone")).one()
    assert (entry.subject_id, entry.before) == (str(first.strike_ids[1]), {"state": "accepted"})
    third = save(lab, moved(analysis, first_start, analysis.strikes[1].start))
    assert third.strike_ids == first.strike_ids
    assert [s.state for s in strikes(lab)] == ["waiting", "accepted"]


def test_positions_count_through_the_session(lab, analysis):
    save(lab, analysis, OTHER)
    save(lab, moved(analysis, 1.0, 2.5))
    save(lab, moved(analysis, 0.5, 1.0, 2.5))
    found = strikes(lab)
    assert [s.position for s in found] == [1, 2, 3, 4, 5]
    assert [s.recording_sha256 for s in found] == [SHA] * 3 + [OTHER] * 2
    assert [s.start for s in found[:3]] == [0.5, 1.0, 2.5]


@pytest.mark.parametrize(
    ("new", "known", "expected"),
    [
        ([1.0, 2.0], [], [None, None]),
        ([1.0], [1.009], [None]),
        ([1.0], [1.0079], [0]),
        # the nearer one wins, and no strike is given away twice
        ([1.000, 1.005], [1.004], [None, 0]),
        ([1.000, 1.004], [1.001, 1.003], [0, 1]),
        ([5.0, 1.0], [1.0, 5.0], [1, 0]),
    ],
)
def test_starts_match_one_to_one(new, known, expected):
    assert match_starts(new, known) == expected


def test_other_bytes_and_unknown_recordings_are_refused(lab, analysis):
    with pytest.raises(LabError, match="other bytes"), lab.writing("tester") as writer:
        save_analysis(writer, OTHER, analysis)
    with pytest.raises(LabError, match="not in the lab"), lab.writing("tester") as writer:
        save_analysis(writer, "c" * 64, analysis)
    with pytest.raises(LabError, match="rig 'unknown'"):
        save(lab, replace(analysis, rig=q.Rig("unknown")))
    with pytest.raises(LabError, match="no strike 99"):
        load_strike(lab, 99)
    assert strikes(lab) == []


def test_what_was_erased_does_not_come_back(lab, analysis):
    with lab.writing("tester") as writer:
        writer.database.get_one(Recording, SHA).gone = datetime.now(UTC)
    with pytest.raises(RecordingError, match="taken out of the lab"):
        save(lab, analysis)
    assert strikes(lab) == []


def test_stations_that_save_at_once_take_turns(lab, analysis):
    """Three at once enter the same recording: one set of strikes, each time found again."""
    with ThreadPoolExecutor(3) as stations:
        saved = list(stations.map(lambda _: save(lab, analysis), range(3)))
    assert sorted(one.new for one in saved) == [0, 0, 2]
    assert len(strikes(lab)) == 2
    with lab.reading() as database:
        assert sorted(database.scalars(select(Analysis.current))) == [False, False, True]


def test_nothing_is_visible_of_a_transaction_that_fails(lab, analysis):
    def half():
        with lab.writing("tester") as writer:
            save_analysis(writer, SHA, analysis)
            raise RuntimeError("power cut")

    with pytest.raises(RuntimeError):
        half()
    assert strikes(lab) == []


def test_values_that_are_not_finite_are_kept_as_not_stated(lab, analysis):
    strike = analysis.strikes[0]
    measured = replace(strike.quantities["impulse"], value=float("nan"), u=None, budget=())
    odd = replace(strike, quantities={**strike.quantities, "impulse": measured})
    saved = save(lab, replace(analysis, strikes=(odd,)))
    again = load_strike(lab, saved.strike_ids[0])
    assert np.isnan(again.quantities["impulse"].value)
    assert again.quantities["impulse"].u is None
