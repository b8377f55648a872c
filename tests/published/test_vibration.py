"""Vibration of one mode, and what a ringing cell reads, against textbooks and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar
from scipy.signal import lsim

from half_sine_response import half_sine_response
from quintain.numerics.free_response import free_basis
from quintain.numerics.inverse import invert_second_order
from quintain.numerics.pulse import find_peak, impulse_with_zero, integrate_impulse
from quintain.numerics.resonator import Mode, mode_poles, transfer
from shared_data import shared


def second_order_response(frequency, natural_frequency, damping):
    return transfer(frequency, mode_poles([Mode(natural_frequency, damping)]))


def released(time, frequency, damping):
    """Position of a mode that is let go at rest, at 1."""
    cosine, sine = free_basis(time, np.array([frequency]), np.array([damping]), -1).T
    return cosine + damping / math.sqrt(1 - damping**2) * sine


@pytest.mark.parametrize(
    ("damping", "decrement", "ratio"),
    [
        (0.01, 0.062835, 1.064851),
        (0.02, 0.125689, 1.133929),
        (0.05, 0.314553, 1.369647),
        (0.1, 0.631484, 1.880399),
    ],
)
def test_logarithmic_decrement(damping, decrement, ratio):
    # Rao, Mechanical Vibrations, section 2.6 (from memory, recomputed): 2 pi zeta / sqrt(1 - zeta²)
    period = 1 / (10 * math.sqrt(1 - damping**2))
    first, second = released([0.0, period], 10.0, damping)
    assert first / second == pytest.approx(ratio, abs=1e-6)
    assert math.log(first / second) == pytest.approx(decrement, abs=1e-6)


def test_shock_absorber():
    # Rao, example 2.11 (4th and 5th edition, from memory, recomputed): 200 kg, damped period 2 s, a quarter
    # left after half a period; zeta 0.4037, omega 3.4338 rad/s, c 554.50, k 2358.27
    frequency, damping = 3.4338 / (2 * math.pi), 0.4037
    assert abs(released([1.0], frequency, damping)[0]) == pytest.approx(1 / 4, rel=1e-3)
    assert 200 * (2 * math.pi * frequency) ** 2 == pytest.approx(2358.27, rel=1e-3)
    assert 2 * damping * 200 * 2 * math.pi * frequency == pytest.approx(554.50, rel=1e-3)


def test_five_periods():
    # x0/x5 at zeta = 0.02, derived
    period = 1 / math.sqrt(1 - 0.02**2)
    start, later = released([0.0, 5 * period], 1.0, 0.02)
    assert start / later == pytest.approx(1.874692, abs=1e-6)


@pytest.mark.parametrize(
    ("damping", "percent"), [(0.1, 72.925), (0.2, 52.662), (0.4, 25.383), (0.5, 16.303), (0.7, 4.599)]
)
def test_step_overshoot(damping, percent):
    # Ogata, Modern Control Engineering (from memory, recomputed): exp(-pi zeta / sqrt(1 - zeta²))
    t = np.linspace(0, 2, 200_001)
    assert 100 * (1 - released(t, 1.0, damping)).max() - 100 == pytest.approx(percent, abs=1e-3)


def test_resonance():
    # zeta 0.1, derived: peak of height 1/(2 zeta sqrt(1 - zeta²)) at sqrt(1 - 2 zeta²)
    peak = minimize_scalar(
        lambda r: -abs(second_order_response(r, 1.0, 0.1)),
        bounds=(0.9, 1.1),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert -peak.fun == pytest.approx(5.025189, abs=1e-6)
    assert peak.x == pytest.approx(0.989949, abs=1e-5)


def test_half_power_width():
    # zeta 0.02, derived: half the width is 0.020008, not exactly zeta. Half of the resonance's power
    top = 1 / (2 * 0.02 * math.sqrt(1 - 0.02**2))
    low, high = (
        brentq(lambda r: abs(second_order_response(r, 1.0, 0.02)) - top / math.sqrt(2), *bounds)
        for bounds in ((0.9, 0.9992), (0.9992, 1.1))
    )
    assert (low, high) == pytest.approx((0.979392, 1.019408), abs=1e-6)
    assert (high - low) / 2 == pytest.approx(0.020008, abs=1e-6)


@pytest.mark.parametrize(
    ("stiffness", "mass", "frequency"),
    [(1e7, 1.0, 503.292), (2e7, 5.0, 318.310), (2e7, 3.0, 410.936), (2e7, 4.0, 355.881)],
)
def test_response_of_mass_and_spring(stiffness, mass, frequency):
    # k / (k - m w² + i w c) is the force in the spring over the force on the mass; elementary. The last two
    # are one rig without and with an added mass of 1 kg, which gives back 3 kg
    damping = 0.03
    c = 2 * damping * math.sqrt(stiffness * mass)
    w = 2 * np.pi * np.array([0.0, 100.0, 300.0, 500.0, 900.0])
    spring = stiffness / (stiffness - mass * w**2 + 1j * w * c)
    assert second_order_response(w / (2 * np.pi), frequency, damping) == pytest.approx(spring, rel=1e-4)
    assert pytest.approx(3, rel=1e-4) == 1 / ((410.936 / 355.881) ** 2 - 1)


@pytest.mark.parametrize(
    ("ratio", "percent"), [(0.05, 0.251), (0.1, 1.010), (0.14, 1.999), (0.2, 4.167), (0.3, 9.890)]
)
def test_error_of_steady_amplitude(ratio, percent):
    # 1/(1 - r²) - 1, derived
    assert 100 * (abs(second_order_response(ratio, 1.0, 1e-9)) - 1) == pytest.approx(percent, abs=1e-3)


@pytest.mark.parametrize(
    ("frequency", "gain"), [(3.6e3, 1.0101004), (7.2e3, 1.0416639), (18e3, 1.3332975), (36e3, 90.90909)]
)
def test_second_order_sensor(frequency, gain):
    # sensor model of a PTB example (PTB-M4D/PyDynamic, examples/digital_filtering/deconv_FIR.py: delta
    # 0.0055, f0 36 kHz), gain recomputed
    assert abs(second_order_response(frequency, 36e3, 0.0055)) == pytest.approx(gain, rel=1e-6)


@pytest.mark.parametrize("periods", [0.5, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("damping", [0.01, 0.05])
def test_area_of_the_whole_ringing_trace(periods, damping):
    # unit gain at zero frequency, derived: the area is the impulse to 1e-5, however long the pulse
    t = np.arange(-0.02, 3.0, 1e-4)
    read = half_sine_response(t, periods / 300, 300.0, damping)
    assert impulse_with_zero(read, 1e4).value == pytest.approx(2 / math.pi * periods / 300, rel=1e-5)
    # cut while it still rings, the fitted tail brings back what is missing
    cut = read[: round((0.02 + periods / 300 + 0.03) * 1e4)]
    whole = impulse_with_zero(cut, 1e4, modes=[(300.0, damping)], n_free=200)
    assert whole.value == pytest.approx(2 / math.pi * periods / 300, rel=1e-5)


@pytest.mark.parametrize(
    ("damping", "periods", "factor"),
    [
        (0.01, r, f)
        for r, f in ((0.5, 1.7611), (1, 1.3231), (2, 1.0627), (3, 1.0261), (5, 1.0087), (10, 1.0019))
    ]
    + [(0.05, r, f) for r, f in ((1, 1.2858), (2, 1.0508), (3, 1.0197), (5, 1.0061))],
)
def test_area_to_the_first_zero_crossing(damping, periods, factor):
    # the trap that the whole event avoids; derived here
    t = np.arange(0, periods + 3, 1e-4)
    read = half_sine_response(t, periods, 1.0, damping)
    top = int(np.argmax(read))
    end = top + int(np.argmax(read[top:] < 0))
    assert integrate_impulse(read[:end], 1e4).value * math.pi / 2 / periods == pytest.approx(factor, abs=1e-3)


def test_exact_inverse():
    # half-sine of 12 ms on a rig of 300 Hz, zeta 0.02, at 50 kHz, derived here: read 1.13232, and with the
    # low-pass out of the way the true peak within 2e-4 and all points within 0.01 (the corners are worst)
    t = np.arange(-0.05, 0.2, 1 / 50_000)
    read = half_sine_response(t, 0.012, 300.0, 0.02)
    true = np.where((t > 0) & (t < 0.012), np.sin(np.pi * t / 0.012), 0.0)
    assert read.max() == pytest.approx(1.13232, abs=1e-5)
    corrected = invert_second_order(read, 50_000, 300.0, 0.02, corner=10_000)
    assert find_peak(corrected, t, 0.0).value == pytest.approx(1.0, abs=2e-4)
    assert np.abs(corrected - true).max() < 0.01


def test_half_sine_response_by_another_way():
    # the closed form these tests lean on, against scipy's simulation on a fine grid
    t = np.arange(0, 0.05, 1e-6)
    w = 2 * np.pi * 300
    force = np.where(t < 0.012, np.sin(np.pi * t / 0.012), 0.0)
    _, read, _ = lsim(([w**2], [1, 2 * 0.02 * w, w**2]), force, t)
    assert half_sine_response(t, 0.012, 300.0, 0.02) == pytest.approx(read, abs=1e-6)


def test_shock_calibration_of_an_accelerometer():
    # PTB-M4D/PyDynamic examples (LGPL-3.0, used as data): 49 points of sine calibration up to 20 kHz, then a
    # shock measured by the sensor and by a reference. Raw, the peak reads 4.5 % high and the sensor rings at
    # 3.7 times the reference's own level above 40 kHz. Undone, the peak comes within 1 % and the ringing
    # within 1.4 times that level: the sensor rings at 59.7 kHz, where the sines did not reach
    frequency, magnitude, phase = np.loadtxt(shared("sensor_dynamics", "sinusoidal_calibration_values.txt")).T
    w, response = 2 * np.pi * frequency, magnitude * np.exp(1j * np.radians(phase))
    # one over the response is linear in 1, w² and iw: least squares gives the model
    design = np.stack([np.ones_like(w), -(w**2), 1j * w], axis=1) * response[:, None]
    design = np.concatenate([design.real, design.imag])
    scale = np.linalg.norm(design, axis=0)
    right = np.concatenate([np.ones_like(w), np.zeros_like(w)])
    a, b, c = np.linalg.lstsq(design / scale, right)[0] / scale
    natural, damping = math.sqrt(a / b) / (2 * math.pi), c / (2 * math.sqrt(a * b))
    assert 1 / a == pytest.approx(0.227, abs=1e-3)  # the sensitivity stated with the data

    true = np.loadtxt(shared("sensor_dynamics", "measured_input_accel.txt"))
    read = np.loadtxt(shared("sensor_dynamics", "measured_output_accel.txt")) * a
    true, read = true - true[:500].mean(), read - read[:500].mean()
    corrected = invert_second_order(read, 1e7, natural, damping)
    assert read.max() / true.max() > 1.04
    assert corrected.max() / true.max() == pytest.approx(1.0, abs=0.01)
    raw, undone = (_level_above_40_khz(trace) / _level_above_40_khz(true) for trace in (read, corrected))
    assert raw > 3.5
    assert undone < 1.4


def _level_above_40_khz(trace):
    spectrum = np.fft.rfft(trace)
    spectrum[np.fft.rfftfreq(trace.size, 1e-7) < 40e3] = 0
    return np.fft.irfft(spectrum, trace.size)[5500:16_000].std()  # from 0.55 ms on, less the end
