"""Review: accept, reject with a reason, retag, note, take back."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from quintain.errors import ConflictError, LabError, UsageError
from quintain.store.schema import Audit, Result, Strike
from quintain.tasks import review
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.people import add_person
from simulated_lab import RIG, make_lab, set_rig

WHO = "tester"


@pytest.fixture
def lab(tmp_path):
    """Four strikes in three recordings of one session, two of them with a flag."""
    with make_lab(tmp_path, n=3) as lab:
        add_person(lab, "P02", who=WHO)
        analyse_lab(lab, who=WHO)
        with lab.writing(WHO) as writer:
            for row in writer.database.scalars(select(Strike)):
                result = writer.database.get(Result, row.result_id)
                result.codes = "clipped" if row.position in (2, 3) else ""
        yield lab


def row(lab, strike):
    with lab.reading() as database:
        return database.get(Strike, strike)


def last(lab):
    with lab.reading() as database:
        return database.scalars(select(Audit).order_by(Audit.id.desc())).first()


def in_order(lab):
    with lab.reading() as database:
        return list(database.scalars(select(Strike.id).order_by(Strike.position)))


def test_each_act_says_before_and_after(lab):
    review.reject(lab, 1, " slipped off ", who="Ann")
    entry = last(lab)
    assert (entry.who, entry.action, entry.subject, entry.subject_id) == ("Ann", "reject", "strike", "1")
    assert entry.before == {"state": "waiting", "reason": ""}
    assert entry.after == {"state": "rejected", "reason": "slipped off"}
    done = review.accept(lab, 1, who="Ben")
    assert (done.state, done.reason) == ("accepted", "")
    assert last(lab).before == {"state": "rejected", "reason": "slipped off"}


def test_a_rejected_strike_stays_with_its_results(lab):
    before = row(lab, 1)
    review.reject(lab, 1, "late", who=WHO)
    after = row(lab, 1)
    assert (after.result_id, after.start, after.type) == (before.result_id, before.start, before.type)


@pytest.mark.parametrize("reason", ["", "  \n"])
def test_no_reason_no_rejection(lab, reason):
    with pytest.raises(UsageError, match="for a reason"):
        review.reject(lab, 1, reason, who=WHO)
    assert row(lab, 1).state == "waiting"


def test_what_is_not_known_is_refused_and_nothing_is_written(lab):
    changes = row(lab, 1).changes
    for tags, error in (
        ({"person": "P77"}, LabError), ({"type": "jabb"}, UsageError), ({"side": "lft"}, UsageError),
        ({"series": -1}, UsageError), ({}, UsageError),
    ):  # fmt: skip
        with pytest.raises(error):
            review.retag(lab, 1, who=WHO, **tags)
    with pytest.raises(LabError, match="no strike 99"):
        review.accept(lab, 99, who=WHO)
    assert row(lab, 1).changes == changes


def test_tags_that_are_left_out_stay(lab):
    before = row(lab, 1)
    done = review.retag(lab, 1, person="P02", side="left", who=WHO)
    assert (done.person, done.type, done.side) == ("P02", before.type or "", "left")
    assert review.retag(lab, 1, person="", type="JAB", series=3, who=WHO).type == "jab"
    assert row(lab, 1).person_id is None
    assert row(lab, 1).series == 3


def test_all_without_a_flag_are_accepted_in_one_act(lab):
    ids = in_order(lab)
    review.reject(lab, ids[3], "late", who=WHO)
    assert review.accept_unflagged(lab, "S1", strikes=ids, who=WHO) == (ids[0],)
    assert [row(lab, i).state for i in ids] == ["accepted", "waiting", "waiting", "rejected"]
    assert review.accept_unflagged(lab, "S1", who=WHO) == ()
    undone = review.undo(lab, who=WHO)
    assert (undone.action, [one.id for one in undone.strikes]) == ("accept", [ids[0]])


def test_only_ones_own_acts_are_taken_back_and_none_that_was_changed_since(lab):
    review.accept(lab, 1, who="Ann")
    with pytest.raises(UsageError, match="nothing of 'Ben'"):
        review.undo(lab, who="Ben")
    review.note(lab, 1, "wet glove", who="Ben")
    assert review.undo(lab, who="Ann").strikes[0].note == "wet glove", (
        "another entry does not stand in the way"
    )
    review.accept(lab, 1, who="Ann")
    review.reject(lab, 1, "late", who="Ben")
    with pytest.raises(ConflictError, match=r"changed since .state, reason"):
        review.undo(lab, who="Ann")
    assert row(lab, 1).state == "rejected"


def test_taking_back_within_a_session(lab):
    review.accept(lab, 1, who=WHO)
    with lab.writing(WHO) as writer:
        writer.database.get(Strike, 2).session_id = None
    review.note(lab, 2, "elsewhere", who=WHO)
    assert review.undo(lab, session="S1", who=WHO).strikes[0].id == 1
    assert review.undo(lab, who=WHO).strikes[0].id == 2


def test_a_strike_that_is_gone_is_not_reviewed(lab):
    with lab.writing(WHO) as writer:
        writer.database.get(Strike, 1).state = "gone"
    with pytest.raises(ConflictError, match="no longer finds strike 1"):
        review.accept(lab, 1, who=WHO)


def test_a_new_analysis_between_look_and_act_is_noticed(lab):
    seen = row(lab, 1).changes
    set_rig(lab, RIG.replace("0.03", "0.04"))
    assert analyse_lab(lab, again=True, who=WHO).analysed
    with pytest.raises(ConflictError, match="since you looked at it by a new analysis"):
        review.accept(lab, 1, changes=seen, who=WHO)


def test_the_next_that_waits_comes_in_order_and_goes_round(lab):
    ids = in_order(lab)
    assert review.next_waiting(lab, "S1") == ids[0]
    assert review.next_waiting(lab, "S1", after=ids[1]) == ids[2]
    assert review.next_waiting(lab, "S1", after=ids[3]) == ids[0]
    for i in ids:
        review.accept(lab, i, who=WHO)
    assert review.next_waiting(lab) is None
    with pytest.raises(LabError, match="no session"):
        review.next_waiting(lab, "S7")


def test_a_lab_that_may_only_be_read_says_so(lab):
    lab.read_only = True
    with pytest.raises(LabError, match="read but not written"):
        review.accept(lab, 1, who=WHO)
