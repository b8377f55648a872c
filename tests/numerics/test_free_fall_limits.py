"""What free fall and the head injury criterion refuse, and their limiting cases."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quintain.numerics.free_fall import (
    buoyancy_factor,
    fall_time,
    impact_speed,
    impact_speed_in_air,
    normal_gravity,
)
from quintain.numerics.hic import head_injury_criterion


def test_no_air_is_free_fall():
    assert impact_speed_in_air(1.0, 5.0, 0.0) == impact_speed(1.0)
    assert impact_speed_in_air(1.0, 5.0, 1e-12) == pytest.approx(impact_speed(1.0), rel=1e-12)


def test_a_long_fall_ends_at_the_terminal_speed():
    area = 0.01
    assert impact_speed_in_air(1e6, 0.1, area) == pytest.approx(math.sqrt(2 * 0.1 * 9.80665 / (1.2 * area)))


def test_speed_is_gravity_times_time():
    assert 9.7 * fall_time(0.7, gravity=9.7) == pytest.approx(impact_speed(0.7, gravity=9.7), rel=1e-12)


def test_hic_takes_the_best_window_of_a_double_pulse():
    # brute force over all pairs of a short random record
    a = np.random.default_rng(1).uniform(-20, 80, 60)
    area = np.concatenate([[0.0], np.cumsum((a[1:] + a[:-1]) / 2000)])
    best = max(
        max((area[j] - area[i]) * 1000 / (j - i), 0.0) ** 2.5 * (j - i) / 1000
        for i in range(60)
        for j in range(i + 1, min(i + 15, 59) + 1)
    )
    assert head_injury_criterion(a, 1000).value == pytest.approx(best, rel=1e-12)


def test_hic_of_negative_acceleration_is_nothing():
    assert head_injury_criterion(np.full(50, -10.0), 1000).value == 0.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: impact_speed(-0.1), "the height must be at least 0 m, got -0.1"),
        (lambda: impact_speed(math.nan), "the height must be at least 0 m"),
        (lambda: fall_time(1.0, gravity=0.0), "gravity must be above 0 m/s²"),
        (lambda: impact_speed_in_air(1.0, 0.0, 0.1), "need a mass above 0 kg"),
        (lambda: normal_gravity(91.0), "the latitude must lie between -90 and 90 degrees, got 91"),
        (lambda: normal_gravity(45.0, 20_000.0), "the altitude must lie between"),
        (lambda: buoyancy_factor(1.0), "a density above that of the air"),
        (lambda: head_injury_criterion(np.ones(10), 10), "shorter than one step"),
        (lambda: head_injury_criterion([1.0, np.nan], 1000), "must be finite"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()
