"""What study statistics must do whatever the numbers are."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from quintain.study.asymmetry import measure_asymmetry
from quintain.study.compare import adjust_holm, compare_groups, compare_paired
from quintain.study.describe import describe
from quintain.study.mixed import fit_mixed
from quintain.study.observations import Observations
from quintain.study.progress import ProgressRule, judge_progress
from quintain.study.reliability import assess_reliability, icc_unbalanced, spearman_brown
from quintain.study.sample_size import people_for_paired, power_paired
from quintain.study.typical_error import assess_typical_error
from quintain.study.variance_table import one_way

FEW = settings(deadline=None, max_examples=40)
CELLS = st.integers(-1000, 1000).map(lambda i: i / 8)  # eighths: sums are exact, so laws hold to rounding
TABLES = st.tuples(st.integers(3, 7), st.integers(2, 5)).flatmap(lambda s: arrays(float, s, elements=CELLS))
ROUNDING = 1e-7
"""Mean squares lose up to seven digits where a table is nearly constant against its shift."""


def varied(table) -> bool:
    """People and residuals that differ by more than rounding."""
    x = table - table.mean()
    left = x - x.mean(axis=1, keepdims=True) - x.mean(axis=0)
    return bool(x.mean(axis=1).std() > 0.5 and left.std() > 0.5)


def iccs(table) -> list[float]:
    return [icc.value for icc in assess_reliability(table).iccs[:3]]


@FEW
@given(TABLES, st.integers(-4000, 4000), st.sampled_from([-3.0, 0.25, 7.0]))
def test_icc_knows_neither_unit_nor_zero(table, shift, scale):
    assume(varied(table))
    assert iccs(scale * table + shift) == pytest.approx(iccs(table), rel=ROUNDING, abs=ROUNDING)


@FEW
@given(TABLES, st.randoms(use_true_random=False))
def test_icc_knows_no_order_of_people_or_columns(table, random):
    assume(varied(table))
    people, columns = list(range(table.shape[0])), list(range(table.shape[1]))
    random.shuffle(people)
    random.shuffle(columns)
    assert iccs(table[people][:, columns]) == pytest.approx(iccs(table), rel=ROUNDING, abs=ROUNDING)


def test_an_icc_with_next_to_no_degrees_of_freedom_has_ends():
    """Found by the law below: a quantile of F is infinite here, and the interval ends at its limit."""
    r = assess_reliability([[0, 0], [0, 0], [-4.25, 6.375]])
    ms = r.mean_squares
    assert r.icc("ICC(2,1)").lower == pytest.approx(-3 * ms.error / (2 * ms.columns + ms.error), rel=1e-9)
    assert not any(math.isnan(end) for icc in r.iccs for end in (icc.lower, icc.upper))


@FEW
@given(TABLES)
def test_interval_holds_the_estimate_and_forms_are_ordered(table):
    assume(varied(table))
    r = assess_reliability(table)
    for icc in r.iccs:
        assert icc.value <= 1
        assert icc.lower <= icc.value + 1e-9
        assert icc.value <= icc.upper + 1e-9 or icc.name.startswith("ICC(2")
    single, k = r.iccs[:3], r.n_columns
    for one, mean in zip(single, r.iccs[3:], strict=True):
        if 1 + (k - 1) * one.value > 1e-3:
            assert mean.value == pytest.approx(spearman_brown(one.value, k), rel=1e-6, abs=1e-6)
    assert icc_unbalanced(table).value == pytest.approx(r.icc("ICC(1,1)").value, rel=ROUNDING, abs=ROUNDING)


@FEW
@given(arrays(float, 5, elements=CELLS), st.integers(2, 4))
def test_perfect_agreement_is_one(people, k):
    assume(people.std() > 0.5)
    r = assess_reliability(np.tile(people[:, None], k))
    assert [icc.value for icc in r.iccs] == [1.0] * 6
    assert {(icc.lower, icc.upper) for icc in r.iccs} == {(1.0, 1.0)}


@FEW
@given(TABLES, st.integers(-100, 100))
def test_a_shift_common_to_all_people_costs_agreement_not_consistency(table, shift):
    assume(varied(table))
    moved = table + shift * np.arange(table.shape[1])
    assert iccs(moved)[2] == pytest.approx(iccs(table)[2], rel=ROUNDING, abs=ROUNDING)
    x, y = table + 5000, moved + 5000
    assert assess_typical_error(y).sem == pytest.approx(assess_typical_error(x).sem, rel=ROUNDING)


@FEW
@given(TABLES)
def test_two_groups_in_one_way_are_the_pooled_t_test(table):
    a, b = table[0], table[1:].ravel()
    assume(np.std(a) + np.std(b) > 0.1)
    pooled = ((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()
    t2 = (a.mean() - b.mean()) ** 2 / (pooled / (a.size + b.size - 2)) / (1 / a.size + 1 / b.size)
    assert one_way([a, b]).f == pytest.approx(t2, rel=ROUNDING, abs=1e-9)


@FEW
@given(arrays(float, (2, 6), elements=CELLS), st.sampled_from([0.5, 8.0]))
def test_swapping_turns_the_sign_and_nothing_else(pair, scale):
    assume((pair[0] - pair[1]).std() > 0.5 and pair.std(axis=1).min() > 0.5)
    for compare in (compare_paired, compare_groups):
        there = compare(pair[0], pair[1], generator=np.random.default_rng(1))
        back = compare(scale * pair[1], scale * pair[0], generator=np.random.default_rng(1))
        assert back.difference == pytest.approx(-scale * there.difference, abs=1e-9)
        assert back.p == pytest.approx(there.p, rel=1e-9)
        assert back.effect.value == pytest.approx(-there.effect.value, rel=1e-9, abs=1e-12)
        assert back.effect.interval[0] == pytest.approx(-there.effect.interval[1], rel=1e-6, abs=1e-6)
        assert back.permutation.p == there.permutation.p


@FEW
@given(st.lists(st.floats(0, 1), min_size=1, max_size=8))
def test_holm_only_raises_and_keeps_order(p):
    adjusted = adjust_holm(p)
    assert all(a >= b for a, b in zip(adjusted, p, strict=True))
    assert [adjusted[i] for i in np.argsort(p, kind="stable")] == sorted(adjusted)
    assert max(adjusted) <= 1


@FEW
@given(st.lists(st.sampled_from("abcd"), min_size=8, max_size=20), st.randoms(use_true_random=False))
def test_order_of_rows_does_not_matter(people, random):
    assume(len(set(people)) >= 2)
    value = [10.0 + 3 * i % 7 for i in range(len(people))]
    order = list(range(len(people)))
    random.shuffle(order)
    first = describe(Observations("impulse", people, value))[0]
    second = describe(Observations("impulse", [people[i] for i in order], [value[i] for i in order]))[0]
    assert (second.mean, second.sd_between, second.sd_within, second.se_mean) == pytest.approx(
        (first.mean, first.sd_between, first.sd_within, first.se_mean), rel=1e-9, abs=1e-9
    )


@FEW
@given(arrays(float, (4, 2, 3), elements=st.integers(1, 400).map(float)), st.sampled_from([0.01, 30.0]))
def test_asymmetry_knows_no_unit_and_turns_with_the_sides(values, scale):
    person, side = np.repeat(list("abcd"), 6), np.tile(np.repeat(["left", "right"], 3), 4)
    there = measure_asymmetry(
        Observations("impulse", person, values.ravel(), factors={"side": side}), "left", "right"
    )
    scaled = Observations("impulse", person, scale * values.ravel(), factors={"side": side})
    back = measure_asymmetry(scaled, "right", "left")
    assert back.mean_log_ratio == pytest.approx(-there.mean_log_ratio, abs=1e-12)
    assert back.interval[0] == pytest.approx(-there.interval[1], abs=1e-9)
    # percentages turn as ratios do: (1 + a)(1 + b) = 1
    assert (1 + there.percent / 100) * (1 + back.percent / 100) == pytest.approx(1, rel=1e-9)


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10**6), st.sampled_from([0.1, 50.0]), st.floats(-500, 500))
def test_mixed_model_knows_neither_unit_nor_zero_nor_order(seed, scale, shift):
    rng = np.random.default_rng(seed)
    person, kind = np.repeat(np.arange(5), 8), np.tile(np.repeat([0, 1], 4), 5)
    y = rng.normal(0, 2, 5)[person] + rng.normal(0, 1, (5, 2))[person, kind] + rng.normal(0, 1, 40)
    keep = rng.permutation(40)[:33]
    first = fit_mixed(Observations("impulse", person[keep], y[keep], factors={"type": kind[keep]}), ["type"])
    again = np.sort(keep)
    second = fit_mixed(
        Observations("impulse", person[again], scale * y[again] + shift, factors={"type": kind[again]}),
        ["type"],
    )
    assert second.contrasts[0].difference == pytest.approx(
        scale * first.contrasts[0].difference, rel=1e-5, abs=1e-6
    )
    # both fits end at steps of 1e-8 of the variances' sum; a likelihood flat near the bound magnifies that
    assert second.contrasts[0].p == pytest.approx(first.contrasts[0].p, rel=1e-3, abs=1e-6)
    assert [c.share for c in second.components] == pytest.approx(
        [c.share for c in first.components], abs=1e-4
    )


@FEW
@given(st.integers(3, 200), st.floats(0.05, 2))
def test_power_grows_with_people_and_effect(n, dz):
    here = power_paired(n, dz)
    assert 0.05 <= here <= 1 + 1e-12
    assert power_paired(n + 1, dz) >= here - 1e-9
    assert power_paired(n, 1.1 * dz) >= here - 1e-9
    if dz > 0.2:
        needed = people_for_paired(dz)
        assert power_paired(needed, dz) >= 0.8
        assert needed == 2 or power_paired(needed - 1, dz) < 0.8


@FEW
@given(arrays(float, 5, elements=CELLS))
def test_progress_mirrors(values):
    rule = ProgressRule(sem=3.0, sem_df=math.inf, swc=2.0)
    names = list("vwxyz")
    up, down = judge_progress(names, values, rule), judge_progress(names, -values, rule)
    for a, b in zip(up.changes, down.changes, strict=True):
        assert a.real == b.real
        assert {a.verdict, b.verdict} in (
            {"unclear"},
            {"trivial"},
            {"worthwhile rise", "worthwhile fall"},
        )
        assert a.real == (abs(a.change) > up.mdc)
