"""Free fall, gravity and air against published constants and elementary mechanics."""

from __future__ import annotations

import math

import pytest

from quintain.numerics.free_fall import (
    STANDARD_GRAVITY,
    buoyancy_factor,
    fall_time,
    impact_speed,
    impact_speed_in_air,
    normal_gravity,
)
from quintain.numerics.uncertainty.linear import propagate_linear


def test_standard_gravity():
    # CGPM 3 (1901), ISO 80000-3: exact by convention; from memory
    assert STANDARD_GRAVITY == 9.80665


@pytest.mark.parametrize(
    ("height", "speed"),
    [
        (0.10, 1.400475),
        (0.15, 1.715224),
        (0.25, 2.214345),
        (0.50, 3.131557),
        (1.00, 4.428691),
        (2.00, 6.263114),
    ],
)
def test_impact_speed(height, speed):
    # elementary, sqrt(2 g h) with standard gravity, derived here; all digits shown hold
    assert impact_speed(height) == pytest.approx(speed, abs=1e-6)


@pytest.mark.parametrize(("height", "time"), [(1.0, 0.451601), (2.0, 0.638660)])
def test_fall_time(height, time):
    # elementary, sqrt(2 h / g), derived here
    assert fall_time(height) == pytest.approx(time, abs=1e-6)


@pytest.mark.parametrize(
    ("mass", "height", "momentum", "energy"),
    [
        (5.0, 1.00, 22.14345, 49.03325),
        # heights and mass of a published pad study, pmc.ncbi.nlm.nih.gov/articles/PMC11571458; values derived
        (8.0, 0.15, 13.7218, 11.768),
        (8.0, 0.25, 17.7148, 19.613),
        (8.0, 0.50, 25.0525, 39.227),
    ],
)
def test_momentum_and_energy_of_a_drop(mass, height, momentum, energy):
    v = impact_speed(height)
    assert mass * v == pytest.approx(momentum, abs=1e-3)
    assert mass * v**2 / 2 == pytest.approx(energy, abs=1e-3)


@pytest.mark.parametrize(
    ("latitude", "gravity"),
    [
        (0, 9.7803253),
        (30, 9.7932473),
        (40, 9.8016969),
        (45, 9.8061978),
        (-45, 9.8061978),
        (50, 9.8107021),
        (52, 9.8124741),
        (60, 9.8191770),
        (90, 9.8321849),
    ],
)
def test_normal_gravity(latitude, gravity):
    # WGS 84, NIMA TR8350.2 (2000) eq. 4-1: constants published, values recomputed, pole from memory too
    assert normal_gravity(latitude) == pytest.approx(gravity, abs=1e-7)


@pytest.mark.parametrize("latitude", [0, 15, 30, 45, 60, 75, 90])
def test_normal_gravity_against_the_formula_of_1980(latitude):
    # IAG, GRS 80 short formula (published). It is cut after two terms and belongs to another ellipsoid
    # constant: 2e-6 m/s² at 45 degrees; 4e-6 leaves room for the other latitudes
    s2 = math.sin(math.radians(latitude)) ** 2
    twice = math.sin(math.radians(2 * latitude)) ** 2
    assert normal_gravity(latitude) == pytest.approx(
        9.780327 * (1 + 0.0053024 * s2 - 0.0000058 * twice), abs=4e-6
    )


def test_free_air_gradient():
    # NIMA TR8350.2 eq. 4-3; -3.086e-6 per second squared in textbooks
    assert normal_gravity(45, 1.0) - normal_gravity(45) == pytest.approx(-3.0855e-6, abs=1e-9)
    assert normal_gravity(45, 1000.0) == pytest.approx(9.8031129, abs=1e-6)


@pytest.mark.parametrize(("latitude", "weight", "speed"), [(0, -0.268, -0.134), (90, 0.260, 0.130)])
def test_error_of_standard_gravity(latitude, weight, speed):
    # percent by which local gravity differs, and the drop speed with it; derived here
    local = normal_gravity(latitude)
    assert 100 * (local / STANDARD_GRAVITY - 1) == pytest.approx(weight, abs=0.002)
    assert 100 * (impact_speed(1, gravity=local) / impact_speed(1) - 1) == pytest.approx(speed, abs=0.002)


@pytest.mark.parametrize(("density", "percent"), [(7850, -0.0153), (8000, -0.0150)])
def test_buoyancy(density, percent):
    # convention of OIML R 111 for the air (from memory), values derived here
    assert 100 * (buoyancy_factor(density) - 1) == pytest.approx(percent, abs=1e-4)


@pytest.mark.parametrize(
    ("mass", "diameter", "drag", "percent"), [(5.0, 0.12, 0.47, -0.03188), (8.0, 0.15, 1.0, -0.0662)]
)
def test_drag(mass, diameter, drag, percent):
    # quadratic drag, closed form, derived here
    area = drag * math.pi / 4 * diameter**2
    assert 100 * (impact_speed_in_air(1.0, mass, area) / impact_speed(1.0) - 1) == pytest.approx(
        percent, abs=1e-4
    )


@pytest.mark.parametrize(("height", "percent"), [(1.0, 0.05), (0.1, 0.5)])
def test_a_millimetre_of_height(height, percent):
    # u(v)/v = u(h)/2h, elementary; the difference quotient is good to 1e-4 of it
    speed = propagate_linear(impact_speed, [height], [1e-3])
    assert 100 * speed.u / speed.value == pytest.approx(percent, rel=1e-4)
