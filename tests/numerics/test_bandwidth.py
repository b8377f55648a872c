"""What a second-order cell makes of pulses (derived here, textbook where named)."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.bandwidth import (
    peak_reading,
    shortest_corrected_pulse,
    shortest_pulse,
    usable_bandwidth,
)


@pytest.mark.parametrize(
    ("damping", "percents"),
    [
        (0.01, (70.82, 25.56, 15.29, 8.41, 3.68, 1.34)),
        (0.02, (68.52, 24.37, 13.76, 7.09, 2.72, 0.72)),
        (0.05, (62.01, 21.11, 10.10, 4.28, 1.12, 0.13)),
        (0.1, (52.37, 16.63, 6.20, 1.97, 0.36, 0.06)),
    ],
)
def test_half_sine_over_reading(damping, percents):
    # independent step-by-step simulation, printed to 0.01 and good to 0.02
    for periods, percent in zip((1, 2, 3, 5, 10, 20), percents, strict=True):
        assert 100 * (peak_reading(periods, 1, damping) - 1) == pytest.approx(percent, abs=0.02)


@pytest.mark.parametrize(("damping", "percent"), [(0.4, 1.68), (0.65, 0.39), (0.7, 0.02)])
def test_accelerometer_rule_of_one_third(damping, percent):
    # Levy & Kroll (1950), J. Res. NBS 45:303 (from memory; numbers derived here)
    assert 100 * abs(peak_reading(3, 1, damping) - 1) == pytest.approx(percent, abs=0.02)


@pytest.mark.parametrize(("periods", "percent"), [(3, 0), (5, 0), (7, 0), (2, 33.33), (10, 1.01)])
def test_haversine_undamped(periods, percent):
    assert 100 * (peak_reading(periods, 1, 0.0, shape="haversine") - 1) == pytest.approx(percent, abs=0.02)


@pytest.mark.parametrize(("periods", "percent"), [(2, 0), (3, 16.95), (5, 10.17), (10, 0)])
def test_triangle_undamped(periods, percent):
    assert 100 * (peak_reading(periods, 1, 0.0, shape="triangle") - 1) == pytest.approx(percent, abs=0.05)


@pytest.mark.parametrize(
    ("damping", "periods"),
    [
        (0.0, (10.0, 25.5, 50.0)),
        (0.01, (8.0, 15.9, 24.0)),
        (0.02, (6.2, 12.0, 17.8)),
        (0.05, (4.25, 7.95, 10.1)),
        (0.1, (3.9, 5.85, 7.7)),
    ],
)
def test_shortest_half_sine(damping, periods):
    for tolerance, expected in zip((0.05, 0.02, 0.01), periods, strict=True):
        found = shortest_pulse(1, damping, tolerance, shapes=("half-sine",))
        assert found.duration == pytest.approx(expected, abs=0.1)  # the table was made in steps of 0.1


def test_every_longer_pulse_is_within_the_tolerance():
    found = shortest_pulse(300, 0.03, 0.02)
    for longer in np.linspace(1.0, 2.0, 41):
        for shape in ("half-sine", "haversine", "triangle"):
            reading = peak_reading(found.duration * longer, 300, 0.03, shape=shape)
            assert abs(reading - 1) <= 0.02 + 1e-4  # the search stops within 0.1 of a hundredth of a period


@pytest.mark.parametrize(("ratio", "percent"), [(0.05, 0.251), (0.1, 1.010), (0.2, 4.167), (0.3, 9.890)])
def test_bandwidth_of_a_steady_sine(ratio, percent):
    # 1 / (1 - (f/fn)^2) - 1, undamped
    assert usable_bandwidth(100, 0.0, percent / 100) == pytest.approx(100 * ratio, rel=3e-3)


def test_two_modes_are_worse_than_the_stiffer_alone():
    alone = shortest_pulse(900, 0.02, 0.05)
    modes = ([150, 900], [0.05, 0.02], 0.05)
    both = shortest_pulse(*modes, share=[0.2, 0.8])
    assert both.duration > alone.duration
    assert usable_bandwidth(*modes, share=[0.2, 0.8]) < usable_bandwidth(900, 0.02, 0.05)


def test_with_correction():
    assert shortest_corrected_pulse(100, 5000) == pytest.approx(0.015)
    assert shortest_corrected_pulse(400, 1000) == pytest.approx(0.008)
    with pytest.raises(ValueError, match="sample faster than 1333"):
        shortest_corrected_pulse(600, 1000)


def test_bad_arguments_are_refused():
    with pytest.raises(ValueError, match="shape must be one of"):
        peak_reading(0.01, 100, 0.02, shape="square")
    with pytest.raises(ValueError, match="longer than 0"):
        peak_reading(0.0, 100, 0.02)
    with pytest.raises(ValueError, match="tolerance"):
        shortest_pulse(100, 0.02, 0.0)
    with pytest.raises(ValueError, match="one share a mode"):
        usable_bandwidth([100, 200], [0.02, 0.02], 0.05, share=[1.0])
