"""
Effective mass, its uncertainty, and invented boxers against what has been published.

G.2 of JCGM 100, clause 9.7 of ISO 13528 and JCGM 101 are quoted where they apply; values marked
'derived here' follow from the formula beside them. Means of published strikes serve as plausibility:
trials are not people, and they are no instrument's truth.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.simulated_limb import simulate_blow

from quintain.numerics.bodies import Push
from quintain.numerics.effective_mass import LimbTrace, effective_mass, mass_by_definition
from quintain.numerics.energy import kinetic_energy
from quintain.numerics.limb_numbers import LimbDoubts, draw_limb, measure_limb
from quintain.numerics.published_strikes import RANGES, implausible
from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.numerics.uncertainty.monte_carlo import draw_normal, propagate_monte_carlo
from quintain.numerics.verdict import en_number


@pytest.mark.parametrize(("nu", "k"), [(1, 12.706), (3, 3.182), (5, 2.571), (10, 2.228), (50, 2.009)])
def test_coverage_factors_for_95_per_cent(nu: int, k: float) -> None:
    # JCGM 100:2008, Table G.2 (from memory, checked against the t distribution)
    assert coverage_factor(0.95, nu) == pytest.approx(k, abs=1e-3)


def test_mass_known_to_one_and_three_per_cent() -> None:
    # derived here: sqrt(1² + 3²) = 3.1623 %
    mass = mass_by_definition("to_stop", 26.5, 9.14, u_impulse=0.265, u_approach_speed=0.03 * 9.14)
    own = [c.u for c in mass.contributions if c.name != "definition"]
    assert math.hypot(*own) / mass.value == pytest.approx(0.031623, abs=1e-6)


@pytest.mark.parametrize(("u_v", "bias"), [(0.03, 0.0009), (0.10, 0.0103)])
def test_noise_of_the_speed_makes_the_mass_too_large(u_v: float, bias: float) -> None:
    # derived here: E[1/v] = (1 + u² + 3u⁴ ...)/v; tolerance: 3 standard errors of 1e6 draws and more
    drawn = propagate_monte_carlo(
        lambda j, v: j / v, draw_normal([1.0, 1.0], [1e-9, u_v]), n_draws=1_000_000, seed=5
    )
    assert drawn.value - 1 == pytest.approx(bias, abs=5e-4)


def test_the_interval_of_a_mass_from_a_poor_speed_is_lopsided() -> None:
    # derived here: 1 % and 10 % give 0.835 to 1.245 of the nominal value, not 1 ± 0.201
    drawn = propagate_monte_carlo(
        lambda j, v: j / v, draw_normal([1.0, 1.0], [0.01, 0.10]), n_draws=1_000_000, seed=6
    )
    assert drawn.symmetric[0] == pytest.approx(0.835, abs=0.003)
    assert drawn.symmetric[1] == pytest.approx(1.245, abs=0.003)


def test_the_draws_of_a_strike_are_as_lopsided() -> None:
    # the same law through the whole strike: a scale of the speed known to 10 %, a gain known to 1 %
    blow = simulate_blow()
    doubts = LimbDoubts(gain=0.01, speed_scale=0.10, definition=0.0)
    kwargs = {"approach_speed": blow.approach_speed, "acceleration": 0.0, "doubts": doubts}
    mass = draw_limb(blow.trace, **kwargs)["effective_mass"]  # type: ignore[arg-type]
    best = measure_limb(blow.trace, **kwargs).estimates["effective_mass"].value  # type: ignore[arg-type]
    # 0.006: three standard errors of a quantile from 1e5 draws of spread 0.1
    assert mass.symmetric[0] / best == pytest.approx(0.835, abs=0.006)
    assert mass.symmetric[1] / best == pytest.approx(1.245, abs=0.006)


def test_olympic_boxers() -> None:
    # Walilko, Viano & Bir 2005, Br. J. Sports Med. 39:710, doi:10.1136/bjsm.2004.014126: 9.14 m/s and
    # 2.9 kg; momentum and energy of these means are derived here (a ratio of means is no mean of ratios)
    mass = effective_mass(26.506, 9.14)
    assert mass == pytest.approx(2.9, abs=1e-3)
    assert kinetic_energy(2.9, 9.14) == pytest.approx(121.13, abs=0.01)
    assert implausible("punch", speed=9.14, mass=2.9, peak_force=3427.0) == ()


def test_reverse_and_three_inch_punch_need_their_window() -> None:
    # Gulledge & Dapena 2008, J. Sports Sci. 26:189, doi:10.1080/02640410701429816: 37.7 N s at 6.43 m/s and
    # 43.2 N s at 4.09 m/s over the first 0.20 s. The weaker punch has 80 % more J/v (derived here): pushing
    # after the stop is counted, which the window to the stop leaves out.
    reverse, short = effective_mass(37.7, 6.43), effective_mass(43.2, 4.09)
    assert reverse == pytest.approx(5.863, abs=1e-3)
    assert short == pytest.approx(10.562, abs=1e-3)
    assert short / reverse == pytest.approx(1.80, abs=0.01)


def test_the_simulated_limb_shows_the_same_trap() -> None:
    # a slow hand that pushes on: whole-contact J/v far above the mass, the default not
    push = Push(250.0, start=-0.03, duration=0.2, rise=0.002)
    blow = simulate_blow(2.5, 4.0, push=push, pad="soft")
    whole = effective_mass(float(blow.trace.impulse[-1]), blow.approach_speed)
    j = float(np.interp(blow.stop, blow.trace.time, blow.trace.impulse))
    default = effective_mass(j, blow.approach_speed, acceleration=blow.acceleration, stop=blow.stop)
    assert whole > 1.8 * 2.5
    assert default == pytest.approx(2.5, rel=0.005)


def test_palm_strikes_on_a_ball() -> None:
    # Pinto Neto, Magini & Saba 2007, J. Appl. Biomech. 23:139: 6.67 m/s and 2.62 kg, 5.04 m/s and 1.33 kg;
    # the ball of 0.60 kg is assumed here, so the restitution is only seen to be possible
    for speed, mass, ball in ((6.67, 2.62, 9.00), (5.04, 1.33, 5.72)):
        restitution = ball * (mass + 0.60) / (mass * speed) - 1
        assert 0.6 < restitution < 0.7
        assert implausible("punch", speed=speed, mass=mass) == ()


@pytest.mark.parametrize(
    ("kind", "speed", "mass", "force"),
    [
        ("punch", 8.9, 4.1, 4096.0),
        ("punch", 6.43, 5.9, 1450.0),
        ("kick", 12.4, 5.0, 4430.0),
        ("kick", 18.3, 4.0, 9015.0),
    ],
)
def test_published_means_raise_no_flag(kind: str, speed: float, mass: float, force: float) -> None:
    # Atha et al. 1985, BMJ 291:1756; Gulledge & Dapena 2008; Wasik et al. 2022 with Gora et al. 2024, Appl.
    # Sci. 14:5876; the ends of Corcoran et al. 2024, Sports 12:74 (masses of kicks are assumed here)
    assert implausible(kind, speed=speed, mass=mass, peak_force=force) == ()


@pytest.mark.parametrize(
    ("kind", "kwargs", "what"),
    [
        ("punch", {"speed": 25.0}, "speed"),
        ("punch", {"mass": 40.0}, "mass"),
        ("kick", {"peak_force": 30000.0}, "peak_force"),
        ("punch", {"speed": 0.2}, "speed"),
    ],
)
def test_what_nobody_has_published_is_flagged(kind: str, kwargs: dict[str, float], what: str) -> None:
    assert [name for name, *_ in implausible(kind, **kwargs)] == [what]


def test_every_range_names_its_source() -> None:
    assert all(r.source and r.lowest < r.highest for ranges in RANGES.values() for r in ranges.values())


def test_two_masses_agree_by_expanded_uncertainties() -> None:
    # ISO 13528:2015, 9.7: E_n = (x - X)/sqrt(U_x² + U_X²) with expanded U; 1005 ± 8 and 1000 ± 6 give 0.5
    assert en_number(1005.0, 8.0, 1000.0, 6.0) == pytest.approx(0.5)


def test_a_trace_of_constant_force_by_hand() -> None:
    # derived here: 600 N against 6 m/s stops 1 kg in 10 ms, over 30 mm, with 18 J
    t = np.linspace(0, 0.02, 201)
    trace = LimbTrace(t, np.full(201, 600.0), 6.0 - 600.0 * t, 600.0 * t)
    found = measure_limb(trace, approach_speed=6.0, acceleration=0.0, doubts=LimbDoubts(gain=0.01)).estimates
    expected = {"stop": 0.010, "effective_mass": 1.0, "energy": 18.0, "kinetic_energy": 18.0}
    expected |= {"impulse_to_stop": 6.0, "mean_power": 1800.0, "peak_power": 3600.0}
    for name, value in expected.items():
        # 2e-5: straight lines between the points of the tables
        assert found[name].value == pytest.approx(value, rel=2e-5), name
