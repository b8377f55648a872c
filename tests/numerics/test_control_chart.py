"""Control charts against worked examples and on a rig that changes."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.control_chart import chart_ewma, chart_individuals

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 EWMA example (from memory, recomputed)
HANDBOOK = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
HANDBOOK += [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_individuals_example_of_the_handbook():
    # 6.3.2.2, flow rates: mean 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159 (from memory;
    # printed with 1.128 for d2, hence 1e-3)
    chart = chart_individuals(HANDBOOK[10:])
    assert chart.centre == pytest.approx(50.81, abs=1e-9)
    assert chart.moving_range.mean() == pytest.approx(1.8778, abs=1e-4)
    assert (chart.upper, chart.lower) == pytest.approx((55.8041, 45.8159), abs=2e-3)
    assert chart.signals.size == 0


def test_ewma_example_of_the_handbook():
    chart = chart_ewma(HANDBOOK, weight=0.3, centre=50.0, sigma=2.0539)
    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
    printed += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
    assert chart.average == pytest.approx(printed, abs=0.0051)  # printed to two decimals
    # the handbook's limits are those of the long run
    assert (chart.upper[-1], chart.lower[-1]) == pytest.approx((52.5884, 47.4115), abs=2e-3)


def test_a_loosening_bolt_is_seen_by_the_ewma_first():
    rng = np.random.default_rng(4)
    frequency = 240 + rng.normal(0, 0.2, 40)
    frequency[25:] -= 0.35
    slow = chart_ewma(frequency, n_baseline=20)
    single = chart_individuals(frequency, n_baseline=20)
    assert slow.signals.size
    assert 25 <= slow.signals[0] <= 35
    assert not single.signals.size or single.signals[0] >= slow.signals[0]


def test_one_wild_value_is_seen_in_value_and_range():
    values = 240 + np.random.default_rng(6).normal(0, 0.2, 20)
    values[15] += 3
    chart = chart_individuals(values, n_baseline=12)
    assert list(chart.signals) == [15]
    assert set(chart.range_signals) >= {15, 16}


def test_eight_in_a_row_on_one_side():
    values = [10, 12, 9, 11, 10, 10.5, 9.5, 11, 10, *[10.6] * 9]
    assert list(chart_individuals(values, n_baseline=9).runs) == [16, 17]


def test_false_alarms_are_as_rare_as_the_limits_say():
    rng = np.random.default_rng(8)
    alarms = sum(chart_individuals(rng.normal(0, 1, 1100), n_baseline=1000).signals.size for _ in range(60))
    # 0.27 % of 66000 values: 178, counting sd 13; sigma from 1000 values adds 3 %
    assert alarms == pytest.approx(178, abs=60)


def test_short_histories_make_no_limits():
    with pytest.raises(ValueError, match="keep logging"):
        chart_individuals([1, 2, 3.0])
    with pytest.raises(ValueError, match="weight"):
        chart_ewma(HANDBOOK, weight=0)
