"""What the data do not carry is refused in words that say what to do."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.errors import StudyError
from quintain.study.asymmetry import measure_asymmetry
from quintain.study.compare import compare_groups, compare_levels, compare_paired
from quintain.study.describe import describe, weigh_measurement
from quintain.study.fatigue import find_fatigue
from quintain.study.mean_curves import Curve, average_curves
from quintain.study.mixed import fit_mixed
from quintain.study.observations import Observations
from quintain.study.progress import ProgressRule, judge_progress
from quintain.study.reliability import assess_reliability, icc_unbalanced, spearman_brown
from quintain.study.sample_size import people_for_icc, people_for_paired, plan_trials
from quintain.study.typical_error import assess_typical_error
from quintain.study.variance_table import one_way

GENERATOR = np.random.default_rng(1)
SIDES = {"side": ["left", "right"] * 2}
FOUR = Observations("impulse", list("aabb"), [20.0, 22.0, 30.0, 34.0], factors=SIDES)
ONE_PERSON = Observations("impulse", list("aaaa"), [20.0, 22.0, 30.0, 34.0], factors=SIDES)
SIX = Observations(
    "impulse",
    list("aabbcc"),
    [20.0, 22.0, 30.0, 34.0, 25.0, 26.0],
    factors={"side": ["left", "right"] * 3, "same": ["x", "y"] * 3, "one": ["z"] * 6, "trial": [1, 2] * 3},
)
T = np.linspace(0, 0.01, 11)


def curves(**changes):
    rows = [Curve(p, T, np.full(11, f), 0.01)._asdict() for p, f in (("a", 1.0), ("b", 2.0), ("c", 4.0))]
    rows[0] |= changes
    return [Curve(**row) for row in rows]


@pytest.mark.parametrize(
    ("words", "ask"),
    [
        ("need 2 people at least", lambda: assess_reliability([[1.0, 2.0, 3.0]])),
        ("need 2 trials or sessions", lambda: assess_reliability([[1.0], [2.0]])),
        ("person 2, column 1 holds no value", lambda: assess_reliability([[1.0, 2.0], [np.nan, 2.0]])),
        ("a table of people by trials", lambda: assess_reliability([1.0, 2.0])),
        ("same mean", lambda: assess_reliability([[1.0, 2.0], [2.0, 1.0]])),
        ("there is no 'ICC", lambda: assess_reliability([[1.0, 2.0], [3.0, 1.0]]).icc("ICC(4,1)")),
        ("holds one value only", lambda: icc_unbalanced([[1.0], [2.0]])),
        ("cannot be carried", lambda: spearman_brown(-0.9, 4)),
        ("must be finite", lambda: one_way([[1.0, np.nan], [2.0, 3.0]])),
        ("mean is 0", lambda: assess_typical_error([[1.0, -1.0], [2.0, -2.0]])),
        ("one person", lambda: describe(ONE_PERSON)),
        ("no trial states its measurement", lambda: weigh_measurement(FOUR)),
        ("'x' has 1 person", lambda: compare_paired([1.0], [2.0], generator=GENERATOR, names=("x", "y"))),
        ("2 people give no effect size", lambda: compare_paired([1.0, 2.0], [2.0, 5.0], generator=GENERATOR)),
        ("same people twice", lambda: compare_paired([1.0, 2.0, 3.0], [2.0, 5.0], generator=GENERATOR)),
        ("same amount", lambda: compare_paired([1.0, 2.0, 3.0], [2.0, 3.0, 4.0], generator=GENERATOR)),
        ("all alike", lambda: compare_groups([1.0, 1.0], [2.0, 2.0], generator=GENERATOR)),
        (
            "but c did one only",
            lambda: compare_levels(SIX.rows([0, 1, 2, 3, 4]), "side", "left", "right", generator=GENERATOR),
        ),
        ("needs 3 people at least", lambda: fit_mixed(FOUR, ["side"])),
        ("one level only", lambda: fit_mixed(SIX, ["one"])),
        ("cannot be told apart", lambda: fit_mixed(SIX, ["side", "same"])),
        ("never measured", lambda: fit_mixed(SIX, ["side:same"])),
        ("name the factors", lambda: fit_mixed(SIX, [])),
        ("begin with person", lambda: fit_mixed(SIX, ["side"], random=["side"])),
        ("of its own", lambda: fit_mixed(SIX, ["side"], random=["person:side"])),
        ("group the trials alike", lambda: fit_mixed(SIX, ["side"], random=["person", "person:one"])),
        ("one side|no trial at side right", lambda: measure_asymmetry(SIX.rows([0, 1, 2]), "left", "right")),
        ("2 people at least", lambda: measure_asymmetry(ONE_PERSON, "left", "right")),
        ("must count strikes", lambda: find_fatigue(SIX, order="side", series=None)),
        ("carry no 'series'", lambda: find_fatigue(SIX)),
        ("one strike in each series", lambda: find_fatigue(SIX, series="trial")),
        ("nothing to compare yet", lambda: judge_progress(["a"], [1.0], ProgressRule(1.0, 10, 1.0))),
        ("stands twice", lambda: judge_progress(["a", "a"], [1.0, 2.0], ProgressRule(1.0, 10, 1.0))),
        ("above 0", lambda: judge_progress(["a", "b"], [1.0, 2.0], ProgressRule(0.0, 10, 1.0))),
        ("must not be 0", lambda: people_for_paired(0.0)),
        ("more than 100000 people", lambda: people_for_paired(1e-5)),
        ("an ICC from 0", lambda: people_for_icc(1.0, 0.1)),
        ("one above 0", lambda: plan_trials(1.0, 0.0, 0.0)),
        ("needs 3 people at least", lambda: average_curves(curves()[:2], generator=GENERATOR)),
        (
            "contact lasts from 0 to 12.00 ms",
            lambda: average_curves(curves(contact_time=0.012), generator=GENERATOR),
        ),
        ("no contact time", lambda: average_curves(curves(contact_time=np.nan), generator=GENERATOR)),
        ("do not rise", lambda: average_curves(curves(time=T[::-1]), generator=GENERATOR)),
        ("as many times", lambda: average_curves(curves(time=T[:5]), generator=GENERATOR)),
    ],
)
def test_refused(words, ask):
    with pytest.raises(StudyError, match=words):
        ask()


def test_constant_values_have_nothing_to_judge_by():
    with pytest.raises(StudyError, match="do not vary"):
        fit_mixed(Observations("impulse", list("aabbcc"), np.full(6, 3.0), factors=SIX.factors), ["side"])


def test_what_is_compared_must_not_be_the_people_themselves():
    own = Observations("impulse", SIX.person, SIX.value, factors={"group": SIX.person})
    with pytest.raises(StudyError, match="from what is compared"):
        fit_mixed(own, ["group"])


def test_people_without_scatter_have_no_residual():
    exact = Observations(
        "impulse", list("aabbccdd"), [1.0, 2, 5, 6, 3, 4, 9, 10], factors={"side": [0, 1] * 4}
    )
    with pytest.raises(StudyError, match="no residual"):
        fit_mixed(exact, ["side"])
