"""Small cases by hand, other libraries as oracles, and words."""

from __future__ import annotations

import json
import math
import subprocess
import sys

import numpy as np
import pytest
from scipy import stats

from quintain.domain.method import Correction, Method
from quintain.domain.shared_error import Source
from quintain.errors import StudyError
from quintain.study.asymmetry import measure_asymmetry
from quintain.study.common_part import common_of_sum, one_sided
from quintain.study.compare import compare_groups, compare_levels, compare_paired, judge_equivalence
from quintain.study.describe import describe, weigh_measurement
from quintain.study.effect_size import noncentrality_interval
from quintain.study.fatigue import find_fatigue
from quintain.study.mean_curves import Curve, average_curves
from quintain.study.methods_text import SENTENCES, DoneStep, steps_of_method, write_methods
from quintain.study.mixed import fit_mixed
from quintain.study.observations import Observations
from quintain.study.permutation import flip_signs, swap_groups
from quintain.study.progress import ProgressRule, judge_progress
from quintain.study.sample_size import (
    people_for_icc,
    people_for_sem,
    plan_trials,
    power_paired,
    power_unpaired,
)
from quintain.study.variance_table import one_way

ROUNDING = 1e-12
"""Another library computes the same formula in another order."""


@pytest.fixture
def rng():
    return np.random.default_rng(7)


def test_describe_counts_each_person_once():
    # nine trials of one person do not outweigh one of another
    o = Observations("impulse", ["a"] * 9 + ["b"], [10.0] * 9 + [20.0])
    d = describe(o)[0]
    assert (d.n_people, d.n_trials, d.trials_per_person) == (2, 10, (1, 9))
    assert (d.mean, d.sd_within) == (15.0, 0.0)
    # two people: SD 10/sqrt 2, SE 5, interval by t(1) = 12.706
    assert (d.sd_between, d.se_mean) == pytest.approx((10 / math.sqrt(2), 5.0), rel=ROUNDING)
    assert d.interval[1] == pytest.approx(15 + 12.706 * 5, abs=2e-3)  # table of t to three decimals
    assert describe(o.rows([0, 9]))[0].sd_within is None


def test_describe_by_factor():
    o = Observations("impulse", list("abab"), [1.0, 3.0, 5.0, 9.0], factors={"side": ["l", "l", "r", "r"]})
    assert [(d.group, d.mean) for d in describe(o, "side")] == [("side l", 2.0), ("side r", 7.0)]


GAIN = Source("gain", "gain", "wall pad (invented)")


def test_measurement_beside_biology(rng):
    # 100 people of 20 trials: scatter 1.0 of the person and 0.5 of the chain, 20 % of the variance
    person = np.repeat(np.arange(100), 20)
    value = 30 + rng.normal(0, 4, 100)[person] + rng.normal(0, 1, 2000) + rng.normal(0, 0.5, 2000)
    u, common = np.full(2000, math.hypot(0.5, 0.3)), {GAIN: np.full(2000, 0.3)}
    share = weigh_measurement(Observations("impulse", person, value, u, common))
    # the variance within is known to sqrt(2/1900) = 3.2 %, three of these
    assert share.share_of_within == pytest.approx(0.2, rel=0.1)
    assert share.biological_sd == pytest.approx(1.0, rel=0.06)
    assert share.told_apart
    # a common part ten times as large shows neither in the scatter nor in the share
    large = {GAIN: np.full(2000, 5.0)}
    much = weigh_measurement(
        Observations("impulse", person, value + 5.0, np.full(2000, math.hypot(0.5, 5)), large)
    )
    assert much[2:6] == pytest.approx(share[2:6], rel=1e-9)
    unknown = weigh_measurement(Observations("impulse", person, value, np.where(person == 3, np.nan, u)))
    assert unknown.n_known == 1980
    assert not unknown.told_apart
    assert "at most" in unknown.words
    assert "20 of 2000 trials state none" in unknown.words
    types = Observations(
        "impulse", person, value + 9 * (np.arange(2000) % 2), u, factors={"type": np.arange(2000) % 2}
    )
    assert weigh_measurement(types, "type").share_of_within > 10 * weigh_measurement(types).share_of_within
    too_much = weigh_measurement(Observations("impulse", person, value, u * 10, {}))
    assert "more than all" in too_much.words


def test_a_mean_keeps_what_strikes_share():
    # means 20, 30, 40 (SE 10/sqrt 3) of one gain known to 10 %: u of the mean 3, by hand
    value = np.array([19.0, 21.0, 29.0, 31.0, 39.0, 41.0])
    o = Observations("impulse", list("aabbcc"), value, 0.2 * value, {GAIN: 0.1 * value})
    d = describe(o)[0]
    assert d.common.u == pytest.approx(3.0, rel=ROUNDING)
    assert d.common.parts == (("gain", d.common.u),)
    assert d.whole.u == pytest.approx(math.sqrt(100 / 3 + 9), rel=ROUNDING)
    # t(2) = 4.3027 and z = 1.9600 (any table): never narrower than either alone
    half = math.sqrt(4.3027**2 * 100 / 3 + 1.96**2 * 9)
    assert d.whole.interval == pytest.approx((30 - half, 30 + half), abs=2e-3)
    alone = describe(Observations("impulse", list("aabbcc"), value, 0.2 * value))[0]
    assert (alone.common, alone.whole) == (None, None)
    assert alone.interval == d.interval


def test_a_difference_keeps_what_its_sides_do_not_share(rng):
    # 8 people on two rigs that read 2 and 1 % off at 1000 N; all people alike up to a little scatter
    first, second = 1000 + rng.normal(0, 1, 8), 1010 + rng.normal(0, 1, 8)
    value, rig = np.r_[first, second], np.repeat(["a", "b"], 8)
    person = np.tile(np.arange(8), 2)
    own = {
        Source("gain", "gain", r): np.where(rig == r, g * value, 0.0) for r, g in (("a", 0.02), ("b", 0.01))
    }
    rigs = Observations("peak_force", person, value, 0.03 * value, own, {"rig": rig})
    apart = compare_levels(rigs, "rig", "a", "b", generator=rng)
    assert apart.common.u == pytest.approx(math.hypot(20, 10.1), rel=2e-3)  # scatter 1 N of 1000 N
    assert abs(apart.t) > 10, "over people the rigs differ beyond doubt"
    assert apart.whole.interval[0] < 0 < apart.whole.interval[1], "it may be their calibrations"
    assert judge_equivalence(apart, 5.0).verdict == "unclear"
    # the same gain on both cancels to its part of the difference, 2 % of 10 N
    shared = Observations("peak_force", person, value, 0.03 * value, {GAIN: 0.02 * value}, {"rig": rig})
    one = compare_levels(shared, "rig", "a", "b", generator=rng)
    assert one.common.u == pytest.approx(0.02 * abs(one.difference), rel=1e-9)
    assert (one.interval, one.p) == (apart.interval, apart.p)
    assert judge_equivalence(one, 5.0).verdict == "second larger"


def test_equivalence_far_from_its_margin_and_beyond_it():
    # by scipy's t where nothing is shared, by the normal distribution where nothing scatters
    assert one_sided(3.0, 1.0, 7, 0.0) == pytest.approx(stats.t.sf(3.0, 7), rel=1e-9)
    assert one_sided(3.0, 1e-9, 7, 1.0) == pytest.approx(stats.norm.sf(3.0), rel=1e-6)
    assert one_sided(-3.0, 1e-9, 7, 1.0) == pytest.approx(stats.norm.cdf(3.0), rel=1e-9)
    assert one_sided(1e6, 1.0, 7, 1.0) < 1e-15, "so far off that a probability of 1 less it is 1"


def test_ten_resistors_of_one_standard():
    """
    JCGM 100:2008, 5.2.2, example: ten resistors of 1000 Ω, each compared with one standard known to 100 mΩ
    and with nothing else uncertain, are 10 kΩ in series, known to 1 Ω; not to the 0.32 Ω of independent ones
    (from memory of the Guide, whose numbers these are).
    """
    ohm = Observations("peak_force", ["chain"] * 10, [1000.0] * 10, [0.1] * 10, {GAIN: [0.1] * 10})
    assert 10 * float(ohm.means().u[0]) == pytest.approx(1.0, rel=ROUNDING)
    assert common_of_sum(ohm.common, np.ones(10)).u == pytest.approx(1.0, rel=ROUNDING)
    alone = Observations("peak_force", ["chain"] * 10, [1000.0] * 10, [0.1] * 10, {})
    assert 10 * float(alone.means().u[0]) == pytest.approx(0.32, abs=0.005)


def test_one_way_against_scipy(rng):
    groups = [rng.normal(i, 1, 4 + i) for i in range(4)]
    ours, theirs = one_way(groups), stats.f_oneway(*groups)
    assert (ours.f, ours.p) == pytest.approx((theirs.statistic, theirs.pvalue), rel=ROUNDING * 100)


def test_comparisons_against_scipy(rng):
    a, b = rng.normal(1, 1, 9), rng.normal(0, 3, 9)
    paired, other = compare_paired(a, b, generator=rng), stats.ttest_rel(a, b)
    assert (paired.t, paired.p) == pytest.approx((other.statistic, other.pvalue), rel=1e-10)
    assert paired.interval == pytest.approx(tuple(other.confidence_interval()), rel=1e-10)
    groups, other = compare_groups(a, b[:6], generator=rng), stats.ttest_ind(a, b[:6], equal_var=False)
    assert (groups.t, groups.p) == pytest.approx((other.statistic, other.pvalue), rel=1e-10)
    assert groups.interval == pytest.approx(tuple(other.confidence_interval()), rel=1e-10)


def test_permutations_against_scipy(rng):
    # both try every rearrangement
    a, b = rng.normal(1, 1, 6), rng.normal(0, 1, 5)
    flips = stats.permutation_test((a,), np.sum, permutation_type="samples", n_resamples=np.inf)
    assert flip_signs(a, rng).p == pytest.approx(flips.pvalue, rel=ROUNDING)
    swaps = stats.permutation_test(
        (a, b),
        lambda x, y, axis: stats.ttest_ind(x, y, axis=axis, equal_var=False).statistic,
        permutation_type="independent",
        vectorized=True,
        n_resamples=np.inf,
    )
    # scipy doubles the smaller tail, ours counts both tails as they are: 462 groupings, alike within a few
    assert swap_groups(a, b, rng).p == pytest.approx(swaps.pvalue, abs=0.02)


def test_drawn_permutations_meet_the_t_test(rng):
    a, b = rng.normal(0.3, 1, 30), rng.normal(0, 1, 25)
    flips, swaps = flip_signs(a, rng), swap_groups(a, b, rng)
    assert not flips.exact
    assert not swaps.exact
    # normal values: p of t; 9999 draws scatter by 0.005 at most, the laws differ by about as much
    assert flips.p == pytest.approx(stats.ttest_1samp(a, 0).pvalue, abs=0.02)
    assert swaps.p == pytest.approx(stats.ttest_ind(a, b, equal_var=False).pvalue, abs=0.02)
    assert flips.smallest == pytest.approx(1e-4, rel=1e-9)


def test_same_seed_same_p(rng):
    a = rng.normal(0, 1, 30)
    assert flip_signs(a, np.random.default_rng(3)) == flip_signs(a, np.random.default_rng(3))


@pytest.mark.parametrize(("t", "df"), [(-4.0, 3), (0.0, 7), (2.5, 7), (12.0, 5), (60.0, 9)])
def test_noncentrality_against_its_definition(t, df):
    # P(T < t) = E[normal cdf(t s - nc)], s a chi over the root of df; by quadrature to about 1e-8
    s = np.linspace(1e-9, stats.chi.ppf(1 - 1e-14, df) / math.sqrt(df), 100_001)
    weight = stats.chi.pdf(s * math.sqrt(df), df) * math.sqrt(df)
    for nc, p in zip(noncentrality_interval(t, df), (0.975, 0.025), strict=True):
        assert np.trapezoid(stats.norm.cdf(t * s - nc) * weight, s) == pytest.approx(p, abs=1e-6)


def test_levels_pair_people_by_code_not_by_row(rng):
    o = Observations(
        "impulse",
        list("cabbca"),
        [5.0, 1.0, 2.0, 4.0, 9.0, 2.5],
        factors={"type": ["x", "x", "x", "y", "y", "y"]},
    )
    c = compare_levels(o, "type", "y", "x", generator=rng)
    assert (c.design, c.first, c.difference) == ("paired", "type y", pytest.approx((1.5 + 2.0 + 4.0) / 3))
    groups = Observations(
        "impulse", list("abcd"), [1.0, 2.0, 5.0, 7.0], factors={"group": ["u", "u", "v", "v"]}
    )
    assert compare_levels(groups, "group", "u", "v", generator=rng).design == "unpaired"


def test_equivalence_verdicts_against_statsmodels(rng):
    weight = pytest.importorskip("statsmodels.stats.weightstats")
    a = rng.normal(0, 1, 20)
    b = a + rng.normal(0.1, 0.5, 20)
    c = compare_paired(a, b, generator=rng)
    p, _, _ = weight.ttost_paired(a, b, -0.4, 0.4)
    found = judge_equivalence(c, 0.4)
    assert found.p == pytest.approx(p, rel=1e-9)
    assert (found.verdict == "equivalent") == (p < 0.05)
    assert judge_equivalence(c._replace(difference=5.0), 0.4).verdict == "first larger"
    assert judge_equivalence(c._replace(difference=-5.0), 0.4).verdict == "second larger"
    assert judge_equivalence(c._replace(difference=0.4), 0.4).verdict == "unclear"
    with pytest.raises(StudyError, match="above 0"):
        judge_equivalence(c, 0.0)


def test_power_against_statsmodels():
    power = pytest.importorskip("statsmodels.stats.power")
    for n, d in ((5, 0.3), (12, 0.8), (40, 0.5), (200, 0.05)):
        assert power_paired(n, d) == pytest.approx(power.TTestPower().power(d, n, 0.05), abs=1e-6)
        theirs = power.TTestIndPower().power(d, n, 0.05, ratio=1.5)
        assert power_unpaired(n, n * 3 // 2, d) == pytest.approx(theirs, abs=1e-6 if n % 2 == 0 else 0.02)


def test_holm_against_statsmodels(rng):
    from quintain.study.compare import adjust_holm

    multiple = pytest.importorskip("statsmodels.stats.multitest")
    p = rng.random(9) ** 3
    assert adjust_holm(p) == pytest.approx(multiple.multipletests(p, method="holm")[1], rel=ROUNDING)


def test_people_for_an_icc_meets_bonetts_formula():
    # Bonett (2002), from memory: 8 z^2 (1-r)^2 (1+(k-1)r)^2 / (k(k-1)w^2) + 1, first order:
    # within 12 %
    for r, w, k in ((0.8, 0.2, 2), (0.9, 0.1, 3), (0.7, 0.2, 4)):
        bonett = 8 * 1.96**2 * (1 - r) ** 2 * (1 + (k - 1) * r) ** 2 / (k * (k - 1) * w**2) + 1
        assert people_for_icc(r, w, n_columns=k) == pytest.approx(bonett, rel=0.12)


def test_people_for_a_sem_by_the_table_of_chi_squared():
    # 50 degrees of freedom: 32.357 and 71.420 (any table): half-width (sqrt(50/32.357) - sqrt(50/71.420))/2
    half = (math.sqrt(50 / 32.357) - math.sqrt(50 / 71.420)) / 2
    assert people_for_sem(half + 1e-4) == 51
    assert people_for_sem(half - 1e-3) > 51


def test_trials_help_only_so_far():
    plans = plan_trials(1.0, 1.0, 2.0, trials=(1, 4, 1000))
    assert [p.n_people for p in plans] == sorted((p.n_people for p in plans), reverse=True)
    assert plans[-1].effect == pytest.approx(1.0, abs=0.01)  # 2 x 4 / 1000 beside 1: 0.4 %


def test_asymmetry_by_hand_and_its_sign():
    o = Observations("impulse", list("aabb"), [22.0, 20.0, 33.0, 30.0], factors={"side": ["l", "r"] * 2})
    a = measure_asymmetry(o, "l", "r")
    assert [p.percent for p in a.people] == pytest.approx([10.0, 10.0], rel=ROUNDING * 10)
    assert a.people[0].interval is None
    assert a.size_by_chance is None
    assert measure_asymmetry(o, "r", "l").mean_log_ratio == pytest.approx(-a.mean_log_ratio, rel=ROUNDING)


def test_fatigue_slopes_of_series_with_levels_of_their_own():
    # the second series starts higher; within both every strike loses exactly 0.5
    trial = np.tile([1, 2, 3, 4], 4)
    series = np.tile(np.repeat([1, 2], 4), 2)
    person = np.repeat(["a", "b"], 8)
    value = 30 + 10 * (series == 2) - 0.5 * trial * np.where(person == "a", 1, 3)
    o = Observations("impulse", person, value, factors={"trial": trial, "series": series})
    assert [p.slope for p in find_fatigue(o).people] == pytest.approx([-0.5, -1.5], rel=ROUNDING * 100)


def test_progress_rule():
    rule = ProgressRule(sem=1.0, sem_df=7, swc=0.5, n_baseline=2)
    p = judge_progress(["1", "2", "3", "4", "5"], [10.0, 12.0, 11.3, 20.0, 2.0], rule)
    # t(7) = 2.3646 (any table), root of 1 + 1/2
    assert p.mdc == pytest.approx(2.3646 * math.sqrt(1.5), abs=1e-4)
    assert p.reference == 11.0
    assert [c.verdict for c in p.changes] == ["unclear", "worthwhile rise", "worthwhile fall"]
    assert [c.real for c in p.changes] == [False, True, True]
    # calibrated anew before 4: 3 % of 20 and 3 % of the reference 11, independent; before that it cancels
    old, new = Source("gain", "gain", "post", "old"), Source("gain", "gain", "post", "new")
    gain = {old: [0.3, 0.36, 0.339, 0.0, 0.0], new: [0.0, 0.0, 0.0, 0.6, 0.06]}
    again = judge_progress(["1", "2", "3", "4", "5"], [10.0, 12.0, 11.3, 20.0, 2.0], rule, common=gain)
    assert again.changes[0].common.u == pytest.approx(0.03 * 0.3, rel=1e-9)
    assert again.changes[1].common.u == pytest.approx(0.03 * math.hypot(20, 11), rel=1e-9)
    assert [again.widened(c) for c in again.changes] == [False, True, False]
    assert again.changes[0].half == pytest.approx(p.changes[0].half, rel=1e-4)
    assert again.mdc == p.mdc
    # on one calibration throughout, the slope holds 3 % of itself
    one = judge_progress(["1", "2", "3"], [10.0, 12.0, 14.0], rule, common={old: [0.3, 0.36, 0.42]})
    assert one.trend.slope == pytest.approx(2.0)
    alone = judge_progress(["1", "2", "3"], [10.0, 12.0, 14.0], rule)
    half = math.hypot(alone.trend.interval[1] - 2.0, 1.96 * 0.06)
    assert one.trend.interval == pytest.approx((2 - half, 2 + half), rel=1e-4)  # 1.96 is rounded
    wide = judge_progress(["1", "2"], [10.0, 10.1], ProgressRule(0.1, math.inf, 5.0))
    assert (wide.changes[0].verdict, wide.trend) == ("trivial", None)


def test_mean_curve_pads_only_after_contact():
    t = np.linspace(0, 0.010, 101)
    curves = [Curve(p, t, np.full(101, f), end) for p, f, end in (("a", 1.0, 0.005), ("b", 2.0, 0.010))]
    curves += [Curve("b", t, np.full(101, 4.0), 0.010), Curve("c", t, np.full(101, 6.0), 0.010)]
    m = average_curves(curves, generator=np.random.default_rng(1), n_points=11)
    # people's means first: b counts once with 3; a is 0 after 5 ms
    assert m.mean[:6] == pytest.approx([10 / 3] * 6, rel=ROUNDING)
    assert m.mean[6:] == pytest.approx([3.0] * 5, rel=ROUNDING)
    assert (m.n_trials, m.n_padded) == (4, 1)
    assert "zero force (1 strikes" in m.words
    assert (m.simultaneous[0] <= m.pointwise[0]).all()


def test_one_time_alone_gives_students_t():
    t = np.array([0.0, 0.01])
    curves = [Curve(str(i), t, np.full(2, f), 0.01) for i, f in enumerate([1.0, 2.0, 4.0, 7.0, 7.5])]
    m = average_curves(curves, generator=np.random.default_rng(1), n_points=2)
    # both times are one: the quantile of 4000 draws of |t(4)| scatters by 2.5 %, three of these
    assert m.factor == pytest.approx(2.776, rel=0.075)


def test_mixed_model_words_and_shares(rng):
    person, kind = np.repeat(np.arange(5), 8), np.tile(np.repeat(["x", "y"], 4), 5)
    side = np.tile(["l", "r"], 20)
    o = Observations(
        "impulse",
        person,
        30 + rng.normal(0, 4, 5)[person] + rng.normal(0, 1, 40),
        factors={"type": kind, "side": side},
    )
    m = fit_mixed(o, ["type", "side", "type:side"])
    assert m.random == ("person", "person:type", "person:side", "person:type:side")
    assert sum(c.share for c in m.components) == pytest.approx(1, rel=ROUNDING)
    assert [t.term for t in m.tests] == ["type", "side", "type:side"]
    assert any("5 people are few" in w for w in m.words)


def test_days_of_a_person_are_a_random_part_of_their_own(rng):
    person, day = np.repeat(np.arange(8), 12), np.tile(np.repeat([1, 2, 3], 4), 8)
    kind = np.tile(["x", "x", "y", "y"], 24)
    y = 30 + rng.normal(0, 4, 8)[person] + rng.normal(0, 2, (8, 4))[person, day] + rng.normal(0, 1, 96)
    m = fit_mixed(Observations("impulse", person, y, factors={"type": kind, "session": day}), ["type"])
    assert m.random == ("person", "person:type", "person:session")
    # 16 degrees of freedom: the variance of days is known to 35 %, three of these below
    assert m.components[2].sd == pytest.approx(2.0, rel=0.6)
    # a type made on a day of its own: the two groupings are one
    m = fit_mixed(Observations("impulse", person, y, factors={"type": day, "session": day}), ["type"])
    assert m.random == ("person", "person:type")


def test_groups_of_different_people_in_a_mixed_model():
    # a balanced nested table: the group contrast is Welch's with equal spreads, t of the people's means
    rng = np.random.default_rng(2)
    person, group = np.repeat(np.arange(10), 6), np.repeat(["u", "v"], 30)
    y = rng.normal(0, 3, 10)[person] + rng.normal(0, 1, 60) + 30
    o = Observations("impulse", person, y, factors={"group": group})
    c = fit_mixed(o, ["group"]).contrasts[0]
    means = o.means("group")
    t = stats.ttest_ind(
        means.value[means.factors["group"] == "u"], means.value[means.factors["group"] == "v"]
    )
    assert (c.t, c.p, c.df) == pytest.approx((t.statistic, t.pvalue, 8), rel=1e-7)


def test_one_trial_a_person():
    rng = np.random.default_rng(2)
    o = Observations(
        "impulse", np.arange(12), rng.normal(30, 3, 12), factors={"group": np.repeat(["u", "v"], 6)}
    )
    m = fit_mixed(o, ["group"])
    t = stats.ttest_ind(o.value[:6], o.value[6:])
    assert m.random == ()
    assert m.contrasts[0].p == pytest.approx(t.pvalue, rel=1e-9)
    assert any("one trial only" in w for w in m.words)


def test_methods_text_says_only_what_was_done():
    text = write_methods(
        [
            *steps_of_method(Method(correction=Correction(kind="none", cfc=600))),
            DoneStep("paired comparison", {"what": ["side left", "side right"]}),
            DoneStep("nothing left out", {"n_kept": 160}),
            DoneStep("fixed order", {"order": "left before right"}),
        ]
    )
    assert "ringing was left in the force" in text
    assert "frequency class 600" in text
    assert "smoother" not in text
    assert "side left and side right were compared by paired t tests" in text.lower()
    assert "40 N" in text
    assert text.endswith("No sample size was planned beforehand, or none was recorded.")


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ([DoneStep("prayer", {})], "no sentence for a step 'prayer'"),
        ([DoneStep("seed", {})], "does not say seed"),
        ([DoneStep("reliability", {"across": "sessions", "forms": [], "percent": 95})], "does not say forms"),
        ([DoneStep("seed", {"seed": 1})], "must name the software"),
    ],
)
def test_methods_text_never_guesses(steps, words):
    with pytest.raises(StudyError, match=words):
        write_methods(steps)


def test_every_sentence_can_be_told():
    class Anything(dict):
        def __missing__(self, key):
            return 1.0

    for kind, sentence in SENTENCES.items():
        assert "{" not in sentence.format_map(Anything()), kind


def test_statistics_need_no_table_library():
    names = (
        "asymmetry compare describe fatigue mean_curves methods_text mixed progress reliability sample_size"
    )
    code = (
        f"import sys, json; [__import__('quintain.study.' + n) for n in {names.split()!r}]; "
        "print(json.dumps([m for m in ('pandas', 'statsmodels', 'matplotlib', 'numba') if m in sys.modules]))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(out.stdout) == []
