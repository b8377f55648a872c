from __future__ import annotations

import numpy as np
import pytest

from quintain.domain.shared_error import Source
from quintain.errors import StudyError
from quintain.study.observations import Observations, number_trials

GAIN = Source("gain", "gain", "post pad (invented)")


def trials(**changes):
    given = {
        "quantity": "impulse",
        "person": ["a", "a", "b", "b"],
        "value": [20.0, 22.0, 30.0, 34.0],
        "factors": {"session": ["s2", "s10", "s2", "s10"]},
    }
    return Observations(**(given | changes))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"quantity": "swagger"}, "not in the glossary"),
        (
            {"value": [20.0, np.nan, 30.0, 34.0]},
            "1 of 4 trials have no value of 'impulse', the first in row 2",
        ),
        ({"value": []}, "there is no trial"),
        ({"person": ["a", "a", "b"]}, "'person' has 3 entries for 4 trials"),
        ({"person": ["a", "", "b", "b"]}, "'person' is empty in row 2"),
        ({"factors": {"side": ["left", None, "left", "left"]}}, "'side' is empty in row 2"),
        ({"factors": {"trial": [1.0, 2.0, np.nan, 1.0]}}, "'trial' is empty in row 3"),
        ({"u": [0.1, -0.1, 0.1, 0.1]}, "'u' must be 0 or more, but row 2 holds -0.1"),
        ({"u": [0.1] * 4, "common": {GAIN: [0.2] * 4}}, "cannot be larger"),
        (
            {"u": [0.1] * 4, "common": {GAIN: [0.05] * 3}},
            "the share of 'gain' needs one number for each of 4",
        ),
    ],
)
def test_bad_columns_are_told(changes, words):
    with pytest.raises(StudyError, match="^.*" + words):
        trials(**changes)


def test_mixed_quantities_are_refused():
    table = {"quantity": ["impulse", "peak_force"], "person": ["a", "b"], "value": [1.0, 2.0]}
    with pytest.raises(StudyError, match="mixes impulse, peak_force"):
        Observations.of_columns(table)
    with pytest.raises(StudyError, match="no column 'person'"):
        Observations.of_columns({"quantity": ["impulse"], "value": [1.0]})


def test_arrays_cannot_be_altered():
    o = trials()
    for array in (o.value, o.person, o.u, o.factors["session"]):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = array[1]


def test_sessions_sort_as_people_count():
    assert trials().table("session").levels == ("s2", "s10")


def test_select_and_means():
    o = trials()
    assert o.select(session="s10").value.tolist() == [22.0, 34.0]
    assert o.select(person=["b"], session=["s2", "s10"]).value.tolist() == [30.0, 34.0]
    assert o.means("session").value.size == 4
    with pytest.raises(StudyError, match="session at hand: s2, s10"):
        o.select(session="s3")
    with pytest.raises(StudyError, match="carry no 'side'; factors at hand: session"):
        o.select(side="left")


def test_select_from_numbers():
    o = trials(factors={"session": [1, 1, 2, 2]})
    assert o.select(session="2").value.tolist() == [30.0, 34.0]
    for other in (1.5, "first", []):
        with pytest.raises(StudyError, match="no trial is left"):
            o.select(session=other)


def test_uncertainty_of_a_mean_keeps_the_common_part():
    # u 0.5 of which 0.4 common leaves 0.3 a strike: sqrt(0.3^2/4 + 0.4^2) over four strikes
    o = Observations("impulse", ["a"] * 4, np.arange(4.0), [0.5] * 4, {GAIN: [0.4] * 4})
    assert o.u_common.tolist() == [0.4] * 4
    assert o.means().u == pytest.approx([np.sqrt(0.09 / 4 + 0.16)], rel=1e-12)
    assert np.isnan(Observations("impulse", ["a"] * 4, np.arange(4.0), [0.5] * 4).means().u).all()
    # two errors of either sign: what cancels in the mean is gone, and independent errors add in squares
    other = Source("sensor", "normal", "wrist (invented)")
    mixed = Observations("impulse", ["a"] * 2, [1.0, 2.0], [0.5] * 2, {GAIN: [0.4, 0.4], other: [0.3, -0.3]})
    assert mixed.u_common == pytest.approx([0.5, 0.5], rel=1e-12)
    assert mixed.means().u == pytest.approx([0.4], rel=1e-12)
    assert mixed.rows([0]).means().u == pytest.approx([0.5], rel=1e-12)
    # nothing is shared: the root of the number of trials
    assert Observations("impulse", ["a"] * 4, np.arange(4.0), [0.5] * 4, {}).means().u.tolist() == [0.25]


def test_table_refuses_missing_and_double_cells():
    with pytest.raises(StudyError, match=r"person 'b' at session 's10' has no value.*1 of 4 cells"):
        trials().rows([0, 1, 2]).table("session")
    with pytest.raises(StudyError, match="person 'a' at session 's2' has 2 values, one is needed"):
        trials().rows([0, 0, 1, 2, 3]).table("session")


def test_trials_are_numbered_anew_in_every_session():
    o = Observations("impulse", list("aaba"), np.ones(4), factors={"session": [1, 1, 1, 2]})
    assert number_trials(o).factors["trial"].tolist() == [1, 2, 1, 3]
    assert number_trials(o, "session").factors["trial"].tolist() == [1, 2, 1, 1]
