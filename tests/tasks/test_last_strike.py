"""The newest strike in its striker's own range, and what asks to stop."""

from __future__ import annotations

import numpy as np
import pytest
from sqlalchemy import select

from invented_lab import invent_lab
from quintain.errors import LabError
from quintain.store.queries import strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.store.schema import Result, Strike
from quintain.tasks.last_strike import DRIFTING, answer_stop, last_strike, open_stop
from quintain.tasks.review import reject


@pytest.fixture
def lab(tmp_path):
    with invent_lab(tmp_path / "lab", n_sessions=3, n_people=2, per_recording=60) as lab:
        yield lab


def newest(lab, code="S3"):
    chosen = StrikeFilter(sessions=(code,), states=("waiting", "accepted"))
    return strike_page(lab, chosen, descending=True, limit=50).rows


def flag(lab, ids, code):
    """As an analysis would have flagged them; the strike is touched so that copies in memory notice."""
    with lab.writing("tester") as writer:
        for strike in writer.database.scalars(select(Strike).where(Strike.id.in_(ids))):
            result = writer.database.get(Result, strike.result_id)
            result.codes = f"{result.codes} {code}".strip()
            strike.note += "."


def test_the_newest_strike_is_held_against_the_strikers_own(lab):
    seen = last_strike(lab, "S3")
    row = seen.strike
    assert row.id == newest(lab)[0].id
    own = StrikeFilter(
        people=(row.person,),
        types=(row.type,),
        sides=(row.side,),
        rigs=(row.rig,),
        states=("waiting", "accepted"),
    )
    others = [r for r in strike_page(lab, own, limit=500).rows if r.id != row.id]
    assert seen.n_own == len(others)
    lead = seen.headlines[0]
    known = [r.quantities["impulse"].value for r in others if r.quantities["impulse"].value is not None]
    low, high = np.percentile(known, [10, 90])  # the middle 80 %
    assert (lead.usual.low, lead.usual.high, lead.usual.n) == (
        pytest.approx(low, rel=1e-12), pytest.approx(high, rel=1e-12), len(known)
    )  # fmt: skip
    assert len(lead.recent) <= 10


def test_a_rejected_strike_is_not_the_last(lab):
    first = last_strike(lab, "S3").strike.id
    reject(lab, first, "not a strike", who="tester")
    assert last_strike(lab, "S3").strike.id != first


def test_an_overload_stops_until_it_is_answered(lab):
    assert open_stop(lab, "S3") is None
    last, before = (row.id for row in newest(lab)[:2])
    flag(lab, [last], "overload")
    seen = last_strike(lab, "S3")
    assert (seen.stop.why, seen.stop.strikes) == ("overload", (last,))
    assert seen.strike.id == before
    reject(lab, last, "a kick at the mount", who="tester")
    assert open_stop(lab, "S3").strikes == (last,)  # rejecting is no answer
    answer_stop(lab, "S3", [last], who="tester")
    assert open_stop(lab, "S3") is None
    flag(lab, [before], "overload")
    assert open_stop(lab, "S3").strikes == (before,)


def test_a_rig_that_rings_otherwise_in_a_row_stops(lab):
    ids = [row.id for row in newest(lab)[:DRIFTING]]
    flag(lab, ids[1:], "mode-drift")
    assert open_stop(lab, "S3") is None
    flag(lab, ids[:1], "mode-drift")
    stop = open_stop(lab, "S3")
    assert (stop.why, set(stop.strikes)) == ("rig-changed", set(ids))
    assert last_strike(lab, "S3").strike.id not in ids
    answer_stop(lab, "S3", ids, who="tester")
    assert open_stop(lab, "S3") is None


def test_an_unknown_session_is_an_error(lab):
    with pytest.raises(LabError, match="no session"):
        last_strike(lab, "S9")
