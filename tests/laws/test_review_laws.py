"""Laws of review: every act grows the audit by what it touched, and taking it back restores the strike."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from quintain.errors import ConflictError, UsageError
from quintain.store.lab import Lab
from quintain.store.schema import Audit, Recording, Session, Strike
from quintain.tasks import review
from quintain.tasks.people import add_person

SHA = "a" * 64
N = 4
STATED = ("state", "reason", "note", "person_id", "type", "side", "series", "planned_id")

numbers = st.integers(1, N)

acts = st.one_of(
    st.builds(lambda i: ("accept", i, {}), numbers),
    st.builds(lambda i, r: ("reject", i, {"reason": r}), numbers, st.sampled_from(("slipped", "late"))),
    st.builds(lambda i: ("wait_again", i, {}), numbers),
    st.builds(lambda i, t: ("note", i, {"text": t}), numbers, st.sampled_from(("", "glove", "wet"))),
    st.builds(
        lambda i, person, type, side: ("retag", i, {"person": person, "type": type, "side": side}),
        numbers, st.sampled_from(("P01", "P02", "")), st.sampled_from(("jab", "cross", "")),
        st.sampled_from(("left", "right", "")),
    ),
    st.builds(
        lambda i, k: ("retag_range", i, {"last": i + k, "side": "left"}), numbers, st.integers(0, 3)
    ),
)  # fmt: skip


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    with Lab.create(tmp_path_factory.mktemp("review") / "lab", name="invented", invented=True) as lab:
        add_person(lab, "P01", who="t")
        add_person(lab, "P02", who="t")
        with lab.writing("t") as writer:
            writer.database.add_all(
                [Session(id=1, code="S1"), Recording(sha256=SHA, name="a.csv", n_bytes=1, session_id=1)]
            )
            writer.database.flush()
            writer.database.add_all(
                Strike(id=i, recording_sha256=SHA, session_id=1, position=i, start=float(i))
                for i in range(1, N + 1)
            )
        yield lab


def state(lab):
    with lab.reading() as database:
        rows = database.scalars(select(Strike).order_by(Strike.id))
        return [tuple(getattr(row, name) for name in STATED) for row in rows]


def audit(lab):
    with lab.reading() as database:
        return [
            (e.id, e.at, e.who, e.action, e.subject_id, e.before, e.after)
            for e in database.scalars(select(Audit).order_by(Audit.id))
        ]


def carry_out(lab, act, who):
    name, strike, more = act
    if name == "retag_range":
        return review.retag_range(lab, "S1", strike, who=who, **{"last": more["last"], "side": more["side"]})
    if name == "reject":
        return (review.reject(lab, strike, more["reason"], who=who),)
    if name == "note":
        return (review.note(lab, strike, more["text"], who=who),)
    return (getattr(review, name)(lab, strike, who=who, **more),)


@settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(acts, min_size=1, max_size=6))
def test_taking_all_back_restores_everything_and_the_audit_only_grows(lab, asked):
    begin = state(lab)
    with lab.reading() as database:
        who = f"reviewer {database.scalar(select(func.count()).select_from(Audit))}"
    steps = [begin]
    for act in asked:
        before = audit(lab)
        done = carry_out(lab, act, who)
        after = audit(lab)
        assert after[: len(before)] == before, "nothing that was written before has changed"
        assert len(after) == len(before) + len(done), "one entry for each strike"
        steps.append(state(lab))
    for wanted in reversed(steps[:-1]):
        before = audit(lab)
        done = review.undo(lab, who=who)
        assert state(lab) == wanted
        after = audit(lab)
        assert after[: len(before)] == before
        assert len(after) == len(before) + len(done.strikes)
    assert state(lab) == begin
    with pytest.raises(UsageError, match="nothing of"):
        review.undo(lab, who=who)


@settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts, acts)
def test_who_looked_before_somebody_else_changed_it_is_told(lab, first, second):
    with lab.reading() as database:
        seen = database.get(Strike, first[1]).changes
    carry_out(lab, first, "one")
    before = state(lab)
    with pytest.raises(ConflictError, match=r"changed since you looked at it; the last to change it was one"):
        review.accept(lab, first[1], changes=seen, who="other")
    assert state(lab) == before
    assert carry_out(lab, second, "other")
