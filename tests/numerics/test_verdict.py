"""Verdicts: by E_n, never a pass on doubt, drops combined without averaging what they share."""

from __future__ import annotations

import math

import pytest

from quintain.numerics.uncertainty.linear import Contribution, Estimate
from quintain.numerics.verdict import combine_gains, en_number, judge_gain


@pytest.mark.parametrize(
    ("gain", "u", "decision"),
    [(1.0, 0.001, "pass"), (1.004, 0.001, "pass"), (1.02, 0.001, "fail"), (0.98, 0.001, "fail")],
)
def test_by_en(gain, u, decision):
    assert judge_gain(Estimate(gain, u), u_gain=0.0025).decision == decision


def test_doubt_beats_agreement():
    verdict = judge_gain(Estimate(1.0, 0.001), u_gain=0.0025, doubts=["it rang"])
    assert verdict.decision == "undecided"
    assert verdict.reasons == ("it rang",)


def test_too_uncertain_is_undecided():
    assert judge_gain(Estimate(1.0, 0.05), u_gain=0.0025).decision == "undecided"


def test_no_gain_is_undecided():
    assert judge_gain(None, u_gain=0.0025).decision == "undecided"


def test_direction_is_said_the_right_way_round():
    # true over shown force 0.97: the chain shows 3.1 % too much
    assert "3.1 % too high" in judge_gain(Estimate(0.97, 0.001), u_gain=0.0).reasons[0]


def test_en_needs_an_uncertainty():
    with pytest.raises(ValueError, match="not both 0"):
        en_number(1.0, 0.0, 1.0, 0.0)


def test_shared_part_is_not_averaged_away():
    drops = [
        Estimate(1.0 + 0.001 * k, 0.005, (Contribution("noise", 0.003), Contribution("mass", 0.004)))
        for k in (-1, 0, 1)
    ]
    joined = combine_gains(drops)
    assert joined.value == pytest.approx(1.0)
    assert joined.u == pytest.approx(math.hypot(0.003 / math.sqrt(3), 0.004))


def test_scatter_widens():
    drops = [Estimate(v, 0.001, (Contribution("noise", 0.001),)) for v in (0.99, 1.0, 1.01)]
    assert combine_gains(drops).u == pytest.approx(0.01 / math.sqrt(3), rel=1e-6)


def test_nothing_to_combine():
    with pytest.raises(ValueError, match="no gain"):
        combine_gains([])
