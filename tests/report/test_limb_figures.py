"""Speed and power under the force, on one axis of time."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from tests.report.invented_analysis import strikes

from quintain.domain.measured import Contribution, Measured
from quintain.domain.strike import LimbCurve, Strike
from quintain.report.figures.limb import draw_power, draw_speed
from quintain.report.figures.strike import draw_strike


@pytest.fixture
def strike() -> Strike:
    one = strikes()[0]
    time = np.arange(-0.01, 0.04, 0.001)
    speed = np.where(time < 0, 7.0, 7.0 * np.cos(np.pi * time / 0.02))
    power_time = np.linspace(0, 0.012, 50)
    limb = LimbCurve(
        time,
        speed,
        np.full(time.size, 0.05),
        power_time,
        9000 * np.sin(np.pi * power_time / 0.01),
        0.0,
        0.010,
    )
    values = {
        "approach_speed": (7.0, 0.05), "impulse_to_stop": (21.0, 0.1), "effective_mass": (3.0, 0.05),
        "energy": (73.0, 1.0), "time_to_stop": (0.010, 0.0001), "peak_power": (9000.0, 90.0),
    }  # fmt: skip
    stated = {n: Measured.of(n, v, [Contribution("invented", u)]) for n, (v, u) in values.items()}
    return replace(one, limb=limb, quantities={**one.quantities, **stated})


def test_charts_are_well_formed_and_share_the_axis_of_time(strike: Strike) -> None:
    for drawn in (draw_speed(strike), draw_power(strike)):
        ElementTree.fromstring(drawn)
        ticks = re.findall(r'<path class="axis" d="M(\d+) \d+v4"', drawn)
        assert ticks == re.findall(r'<path class="axis" d="M(\d+) \d+v4"', draw_strike(strike, rate=2000))
        assert "limb stops" in drawn


def test_the_definition_of_effective_mass_is_drawn(strike: Strike) -> None:
    drawn = draw_speed(strike)
    assert 'class="limit"' in drawn
    assert "J(t_z)" in drawn
    assert "21.0 N s / 7.00 m/s" in drawn


def test_without_motion_nothing_is_drawn(strike: Strike) -> None:
    bare = replace(strike, limb=None)
    assert draw_speed(bare) == draw_power(bare) == ""
    empty = np.empty(0)
    typed = replace(strike, limb=LimbCurve(empty, empty, empty, empty, empty))
    assert draw_speed(typed) == draw_power(typed) == ""
