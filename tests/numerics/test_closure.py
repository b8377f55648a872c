"""First-moment closure: algebra, carried uncertainty, refusals."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from quintain.numerics.closure import (
    ClosureSetup,
    ForceMoments,
    approach_speed,
    arrival_speed,
    fall_speed,
    friction_excess,
    gain_with_height,
    gain_without_height,
    inner_bounce_gain,
    restitution,
    speed_until_rest,
)
from quintain.numerics.uncertainty.linear import Estimate

SETUP = ClosureSetup(5.0, 9.81, u_mass=0.004, u_gravity=0.001, u_gain=0.003, u_face=2e-4)


def bounce(v1, v2, contact=0.02, *, noise=(0.01, 1e-4), zero=(0.01, 1e-4), u=(4e-5, 6e-5)):
    """A contact of constant force between two speeds at one height, mass 5 kg, then a flight."""
    m, g = 5.0, 9.81
    impulse = m * (v1 + v2) + m * g * contact
    # constant force does not bring the mass back to its height at the end of contact: the flight does
    rise = (v1 - v2) / 2 * contact
    up = v2
    flight = (up + np.sqrt(up**2 + 2 * g * (-rise))) / g if up**2 > 2 * g * rise else np.nan
    interval = contact + flight
    return ForceMoments(
        interval,
        impulse,
        impulse * contact / 2,
        np.diag(np.square(noise)),
        np.array(zero),
        np.array([0.0, 0.0]),
        *u,
    )


def test_speed_of_a_constant_force_contact_is_exact():
    # derived here: rectangle pulse, position integrated in closed form
    m = bounce(3.0, 2.0)
    assert approach_speed(m, SETUP).value == pytest.approx(3.0, rel=1e-12)


def test_speeds_obey_momentum():
    m = bounce(3.0, 2.0)
    v1, v2 = approach_speed(m, SETUP).value, arrival_speed(m, SETUP).value
    assert v2 == pytest.approx(v1 + 9.81 * m.interval - m.impulse / 5.0, rel=1e-12)
    assert restitution(m, SETUP).value == pytest.approx(v2 / v1, rel=1e-12)


@pytest.mark.parametrize("quantity", [approach_speed, arrival_speed, restitution])
def test_uncertainty_agrees_with_monte_carlo(quantity):
    m = bounce(3.0, 1.5)
    rng = np.random.default_rng(3)
    n = 4000
    draws = []
    for z in rng.normal(size=(n, 10)):
        d1, d2 = z[0] * m.u_start, z[1] * m.u_stop
        gain = 1 + SETUP.u_gain * z[2]
        impulse = gain * (m.impulse + 0.01 * z[3] + m.zero[0] * z[4])
        trail = gain * (m.trail + 1e-4 * z[5] + m.zero[1] * z[4]) - d1 * impulse
        setup = ClosureSetup(5.0 + SETUP.u_mass * z[6], 9.81 + SETUP.u_gravity * z[7])
        drawn = ForceMoments(
            m.interval + d2 - d1, impulse, trail, np.zeros((2, 2)), np.zeros(2), np.zeros(2), 0, 0
        )
        # the pad's face is higher or lower at the second touch: all three are functions of v1 and v2
        v1 = approach_speed(drawn, setup).value - SETUP.u_face * z[8] / drawn.interval
        v2 = arrival_speed(drawn, setup).value + SETUP.u_face * z[8] / drawn.interval
        draws.append({approach_speed: v1, arrival_speed: v2, restitution: v2 / v1}[quantity])
    # 4 % = 3.5 standard deviations of a standard deviation from 4000 draws
    assert quantity(m, SETUP).u == pytest.approx(np.std(draws), rel=0.04)


def test_contributions_are_named():
    names = {c.name for c in approach_speed(bounce(3.0, 1.5), SETUP).contributions}
    assert names == {
        "noise", "zero", "drift", "first start", "second start", "mass", "gravity", "pad recovery", "gain",
    }  # fmt: skip
    assert "height" in {
        c.name for c in gain_with_height(bounce(3, 1.5), SETUP, 0.45, u_height=1e-3).contributions
    }


def test_gain_with_height_undoes_a_wrong_gain():
    m = bounce(3.0, 2.0)
    shown = m._replace(impulse=m.impulse * 1.02, trail=m.trail * 1.02)
    gain = gain_with_height(shown, SETUP, 9.0 / (2 * 9.81))
    assert gain.value == pytest.approx(1 / 1.02, rel=1e-9)


def test_gain_without_height_undoes_a_wrong_gain():
    # successive bounces: each arrives with the speed the one before left
    speeds = [3.0, 2.1, 1.5, 1.1]
    train = []
    for a, b in pairwise(speeds):
        m = bounce(a, b, contact=0.0)
        train.append(m._replace(impulse=0.98 * m.impulse, trail=0.98 * m.trail))
    gain = gain_without_height(train, SETUP)
    assert gain.value == pytest.approx(1 / 0.98, rel=1e-9)
    assert inner_bounce_gain(train[0], train[1], 5.0, 9.81) == pytest.approx(1 / 0.98, rel=1e-9)


def test_uncertainty_of_gain_without_height_agrees_with_monte_carlo():
    speeds = [3.0, 2.1, 1.5, 1.1]
    train = [bounce(a, b, contact=0.0) for a, b in pairwise(speeds)]
    stated = gain_without_height(train, SETUP._replace(u_face=0.0))
    rng = np.random.default_rng(5)
    u_t = [train[0].u_start, *(m.u_stop for m in train)]
    train = [m._replace(u_start=u_t[k], u_stop=u_t[k + 1]) for k, m in enumerate(train)]
    stated = gain_without_height(train, SETUP._replace(u_face=0.0))
    draws = []
    for _ in range(3000):
        d = rng.normal(size=4) * u_t
        zero = rng.normal()
        setup = SETUP._replace(mass=5 + 0.004 * rng.normal(), gravity=9.81 + 0.001 * rng.normal(), u_face=0.0)
        drawn = []
        for k, m in enumerate(train):
            impulse = m.impulse + 0.01 * rng.normal() + m.zero[0] * zero
            trail = m.trail + 1e-4 * rng.normal() + m.zero[1] * zero - d[k] * impulse
            drawn.append(m._replace(interval=m.interval + d[k + 1] - d[k], impulse=impulse, trail=trail))
        draws.append(gain_without_height(drawn, setup).value)
    # 5 % = 4 standard deviations of a standard deviation from 3000 draws
    assert stated.u == pytest.approx(np.std(draws), rel=0.05)


def test_momentum_until_rest():
    assert speed_until_rest(5 * (3.0 + 9.81 * 2), 2.0, SETUP).value == pytest.approx(3.0)


def test_friction_shows_as_height_faster_than_force():
    excess = friction_excess(Estimate(3.03, 0.003), Estimate(3.0, 0.004))
    assert excess.value == pytest.approx(0.01)
    assert excess.u == pytest.approx(0.01 / 6, rel=0.02)


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: approach_speed(bounce(3, 2)._replace(interval=-0.1), SETUP), "second start"),
        (lambda: approach_speed(bounce(3, 2), SETUP._replace(mass=0.0)), "mass"),
        (lambda: approach_speed(bounce(3, 2), SETUP._replace(gravity=-9.8)), "gravity"),
        (lambda: gain_with_height(bounce(3, 2), SETUP, 0.0), "height"),
        (lambda: gain_without_height([bounce(3, 2)], SETUP), "two flights"),
        (lambda: fall_speed(-0.1, 9.81), "height"),
    ],
)
def test_refusals_say_what_is_wrong(call, word):
    with pytest.raises(ValueError, match=word):
        call()
