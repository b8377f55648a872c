"""Pulse shapes, shock tables, and peaks and impulses of sampled pulses."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quintain.numerics.free_fall import STANDARD_GRAVITY, impact_speed
from quintain.numerics.pulse import (
    find_peak,
    integrate_impulse,
    rate_of_force_development,
    width_at_level,
)
from quintain.numerics.pulse_shape import SHAPES
from quintain.numerics.sampling import maximum_of_noise, sampling_error_of_impulse, sampling_loss


def sampled(height, n=20_001):
    """A pulse of unit peak and length with quiet around it, on a fine grid."""
    t = np.linspace(-0.5, 1.5, 2 * n - 1)
    return np.where((t >= 0) & (t <= 1), height(np.clip(t, 0, 1)), 0.0), t


@pytest.mark.parametrize(
    ("name", "coefficient", "half_width", "tenth_width", "rise"),
    [
        # calculus, derived here; IEC 60068-2-27 uses 2/pi too
        ("half-sine", 2 / math.pi, 2 / 3, 0.936231, 0.324549),
        ("haversine", 0.5, 0.5, 0.795167, 0.295167),
        ("triangle", 0.5, 0.5, 0.9, 0.4),
        ("parabola", 2 / 3, 0.707107, 0.948683, None),
        ("sin^1.5", 0.556418, None, None, None),
    ],
)
def test_shapes(name, coefficient, half_width, tenth_width, rise):
    force, t = sampled(SHAPES[name].curve)
    # 1e-6: the trapezoid rule's own error on 20 000 steps is some 1e-9, that of a crossing 1e-8
    assert integrate_impulse(force, 1 / (t[1] - t[0])).value == pytest.approx(coefficient, abs=1e-6)
    assert SHAPES[name].coefficient == pytest.approx(coefficient, abs=1e-6)
    for fraction, width in ((0.5, half_width), (0.1, tenth_width)):
        if width:
            assert width_at_level(force, t, 0.0, fraction=fraction).value == pytest.approx(width, abs=1e-6)
    if rise:
        slope = rate_of_force_development(force, t, 0.0, window=(0.1, 0.9)).value
        assert 0.8 / slope == pytest.approx(rise, abs=1e-6)


def test_sawtooth_and_rectangle():
    x = np.linspace(0, 1, 1001)
    assert integrate_impulse(x, 1000).value == pytest.approx(0.5, abs=1e-12)
    assert integrate_impulse(np.ones(1001), 1000).value == pytest.approx(1.0, abs=1e-12)


def test_gaussian():
    # calculus, derived here: sigma = 1, area sqrt(2 pi), widths from the logarithm
    t = np.linspace(-8, 8, 160_001)
    force = np.exp(-(t**2) / 2)
    assert integrate_impulse(force, 1e4).value == pytest.approx(2.506628, abs=1e-6)
    assert width_at_level(force, t, 0.0).value == pytest.approx(2.354820, abs=1e-6)
    assert width_at_level(force, t, 0.0, fraction=0.1).value == pytest.approx(4.291932, abs=1e-6)


@pytest.mark.parametrize(
    ("g_peak", "duration", "half_sine", "sawtooth", "trapezoid", "printed"),
    [
        # derived with standard gravity; last column as printed in IEC 60068-2-27:2008 Table 1 (from memory)
        (15, 11e-3, 1.0301, 0.8090, 1.4563, (1.0, 0.8, 1.5)),
        (30, 18e-3, 3.3713, 2.6478, 4.7660, (3.4, 2.6, 4.8)),
        (50, 11e-3, 3.4337, 2.6968, 4.8543, (3.4, 2.7, 4.9)),
        (100, 6e-3, 3.7459, 2.9420, 5.2956, (3.7, 2.9, 5.3)),
        (100, 11e-3, 6.8674, 5.3937, 9.7086, (6.9, 5.4, 9.7)),
        (500, 1e-3, 3.1216, None, None, (3.1, None, None)),
        (1500, 0.5e-3, 4.6823, None, None, (4.7, None, None)),
    ],
)
def test_velocity_change_of_shock_severities(g_peak, duration, half_sine, sawtooth, trapezoid, printed):
    x = np.linspace(0, 1, 10_001)
    shapes = (np.sin(np.pi * x), x, np.clip(np.minimum(x, 1 - x) / 0.1, 0, 1))  # ramps of a tenth each
    for shape, expected, print_ in zip(shapes, (half_sine, sawtooth, trapezoid), printed, strict=True):
        if expected is not None:
            change = integrate_impulse(g_peak * STANDARD_GRAVITY * shape, 10_000 / duration).value
            assert change == pytest.approx(expected, abs=1e-4)
            assert change == pytest.approx(print_, abs=0.05)  # the table prints one decimal


def test_equivalent_drop():
    # a half-sine of 50 g and 11 ms stops a fall of 0.6011 m without rebound; derived here
    assert impact_speed(0.6011) == pytest.approx(2 / math.pi * 50 * STANDARD_GRAVITY * 11e-3, abs=2e-4)


@pytest.mark.parametrize(
    ("n", "worst", "mean", "sd"),
    [
        # percent; derived here in closed form and by random phases
        (3, 13.3975, 4.5070, 4.00),
        (5, 4.8943, 1.6368, 1.46),
        (10, 1.2312, 0.4107, 0.368),
        (20, 0.3083, 0.1028, 0.0919),
        (50, 0.0493, 0.0164, None),
        (100, 0.0123, 0.0041, None),
        # 15 ms at 500 and 1000 Hz
        (7.5, 2.185, 0.729, None),
        (15, 0.548, 0.183, None),
        # 5 ms at 500 Hz
        (2.5, 19.098, 6.451, None),
    ],
)
def test_loss_of_a_half_sine(n, worst, mean, sd):
    loss = sampling_loss(n)
    assert loss.worst == pytest.approx(1 - math.cos(math.pi / 2 / n), abs=1e-12)
    assert loss.mean == pytest.approx(1 - 2 * n / math.pi * math.sin(math.pi / 2 / n), abs=1e-12)
    assert 100 * loss.worst == pytest.approx(worst, abs=1e-3)
    assert 100 * loss.mean == pytest.approx(mean, abs=1e-3)
    if sd:
        assert 100 * loss.sd == pytest.approx(sd, abs=0.02)


@pytest.mark.parametrize("n", [3, 5, 10])
def test_loss_of_a_half_sine_by_random_phase(n):
    # the outside of the formula: 40 000 sampled pulses; 4 standard errors of their mean
    rng = np.random.default_rng(1)
    x = (rng.random((40_000, 1)) + np.arange(n + 1)) / n
    highest = np.sin(np.pi * np.clip(x, 0, 1)).max(axis=1)
    loss = sampling_loss(n)
    assert 1 - highest.mean() == pytest.approx(loss.mean, abs=4 * loss.sd / 200)
    assert highest.std() == pytest.approx(loss.sd, rel=0.02)
    assert 1 - highest.min() <= loss.worst + 1e-12


def test_loss_of_other_shapes():
    # percent, derived here: haversine sin²(pi/2N) and (1 - N/pi sin(pi/N))/2; triangle 1/N and 1/2N
    haversine = sampling_loss(10, curve=SHAPES["haversine"].curve)
    assert (100 * haversine.worst, 100 * haversine.mean) == pytest.approx((2.4472, 0.8184), abs=1e-4)
    triangle = sampling_loss(10, curve=SHAPES["triangle"].curve)
    assert (triangle.worst, triangle.mean) == pytest.approx((0.1, 0.05), abs=1e-12)


@pytest.mark.parametrize(("m", "worst", "mean"), [(5, 2.7345, 0.9166), (10, 0.6908, 0.2306)])
def test_loss_of_a_gaussian(m, worst, mean):
    # percent, by samples in the full width at half maximum; derived here
    loss = sampling_loss(m, curve=lambda x: np.exp(-0.5 * (2.354820045 * (x - 0.5)) ** 2))
    assert (100 * loss.worst, 100 * loss.mean) == pytest.approx((worst, mean), abs=1e-4)


@pytest.mark.parametrize(("n", "lowest"), [(4, -0.8471), (5, -0.3535), (10, -0.0226), (20, -0.0014)])
def test_parabola_through_three_samples(n, lowest):
    # percent, greatest residual over all phases of a half-sine, always low; derived here
    found = []
    for phase in np.linspace(-0.5, 0.5, 201):
        t = (phase + np.arange(-2, 3)) / n
        found.append(100 * (find_peak(np.cos(np.pi * t), t, 0.0).value - 1))
    assert min(found) == pytest.approx(lowest, abs=1e-3)
    assert max(found) <= 1e-9


@pytest.mark.parametrize(("n", "rms", "most"), [(5, 1.48, 3.31), (10, 0.370, 0.824), (20, 0.092, 0.206)])
def test_impulse_of_a_sampled_half_sine(n, rms, most):
    # percent, plain sum at random phase, derived here: unbiased; 2 % of the value
    rng = np.random.default_rng(2)
    errors = []
    for phase in rng.random(4000):
        x = (phase + np.arange(-2, n + 3)) / n
        force = np.sin(np.pi * np.clip(x, 0, 1))
        errors.append(100 * (integrate_impulse(force, n).value * math.pi / 2 - 1))
    assert np.std(errors) == pytest.approx(rms, rel=0.03)  # 0.02, and 1 % for 4000 draws
    assert np.max(np.abs(errors)) == pytest.approx(most, rel=0.02)
    assert abs(np.mean(errors)) < 4 * rms / math.sqrt(4000)
    assert 100 * sampling_error_of_impulse(n) == pytest.approx(rms, rel=0.01)


@pytest.mark.parametrize(("n", "excess"), [(3, 0.8463), (5, 1.1630), (10, 1.5388)])
def test_highest_of_noisy_samples(n, excess):
    # means of normal order statistics, standard tables (from memory, recomputed)
    assert maximum_of_noise(n) == pytest.approx(excess, abs=1e-4)
