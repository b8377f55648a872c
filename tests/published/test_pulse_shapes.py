"""Closed forms of idealised pulses."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from quintain.numerics.pulse_shape import SHAPES, impulse_coefficient, pulse_force

# shape, coefficient, width at half and at a tenth of the peak, rise from 10 to 90 %, all over duration.
# Calculus, recomputed here by root finding; 2/pi for the half-sine and 1/2 for the sawtooth are also the
# velocity-change rules of IEC 60068-2-27 (from memory).
TABLE = [
    ("half-sine", 0.636619772, 2 / 3, 0.936231, 0.324549),
    ("haversine", 0.5, 0.5, 0.795167, 0.295167),
    ("triangle", 0.5, 0.5, 0.9, 0.4),
    ("parabola", 2 / 3, 0.707107, 0.948683, None),
]


@pytest.mark.parametrize(("shape", "coefficient", "half", "tenth", "rise"), TABLE)
def test_widths(shape, coefficient, half, tenth, rise):
    def cross(level):
        return brentq(lambda x: pulse_force(shape, 1.0, 1.0, x) - level, 1e-12, 0.5)

    assert impulse_coefficient(shape) == pytest.approx(coefficient, abs=1e-6)
    assert 1 - 2 * cross(0.5) == pytest.approx(half, abs=1e-6)
    assert 1 - 2 * cross(0.1) == pytest.approx(tenth, abs=1e-6)
    if rise is not None:
        assert cross(0.9) - cross(0.1) == pytest.approx(rise, abs=1e-6)


# Peak over mean force; derived here.
@pytest.mark.parametrize(
    ("shape", "peak_over_mean"),
    [("half-sine", math.pi / 2), ("sin^1.5", 1.797210), ("sawtooth", 2.0), ("rectangle", 1.0)],
)
def test_peak_over_mean(shape, peak_over_mean):
    assert 1 / impulse_coefficient(shape) == pytest.approx(peak_over_mean, abs=1e-6)


@pytest.mark.parametrize("shape", SHAPES)
def test_coefficient_is_the_area_and_the_peak_is_the_peak(shape):
    area, _ = quad(lambda x: float(SHAPES[shape].curve(np.array(x))), 0, 1, points=[0.4, 0.5], epsabs=1e-12)
    assert impulse_coefficient(shape) == pytest.approx(area, abs=1e-9)
    force = pulse_force(shape, 3000.0, 0.012, np.linspace(0, 0.012, 100_001))
    # A grid of 1e5 points misses a smooth peak by at most (pi/2 * 1e-5)^2 of it.
    assert force.max() == pytest.approx(3000.0, rel=1e-8)


def test_asymmetric_rises_in_a_quarter_of_its_length():
    peak = minimize_scalar(
        lambda x: -float(pulse_force("asymmetric", 1.0, 1.0, x)), bounds=(0, 1), method="bounded"
    )
    # The minimiser's own tolerance is 1e-5.
    assert peak.x == pytest.approx(0.25, abs=2e-5)


def test_double_has_two_peaks():
    force = pulse_force("double", 1.0, 1.0, np.linspace(0, 1, 1001))
    peaks = np.flatnonzero((force[1:-1] > force[:-2]) & (force[1:-1] > force[2:])) + 1
    assert force[peaks] == pytest.approx([1.0, 0.6], abs=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_zero_outside_the_contact(shape):
    assert not pulse_force(shape, 10.0, 0.01, [-1.0, -1e-9, 0.01 + 1e-9, 5.0]).any()


def test_unknown_shape_lists_the_known():
    with pytest.raises(ValueError, match=r"no pulse shape 'gauss'.*half-sine, haversine"):
        pulse_force("gauss", 1.0, 1.0, 0.0)
    with pytest.raises(ValueError, match="above 0 s"):
        pulse_force("triangle", 1.0, 0.0, 0.0)
