"""
A real ringing sensor beside a reference: the shock record of the PyDynamic examples.

Source: PTB-M4D/PyDynamic, commit 8a25ec0, examples (LGPL-3.0, used as data): an accelerometer's output and
the reference acceleration at 10 MHz, and 49 points of its sinusoidal calibration from 0.5 to 20 kHz. The
method is tested, whatever the quantity: the reference stands for the force, the sensor for the rig.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from scipy import optimize, signal

from quintain.numerics.ringing import remove_ringing
from shared_data import shared

RATE = 10e6
AFTER = int(0.55e-3 * RATE)


class Record(NamedTuple):
    reference: np.ndarray
    output: np.ndarray
    """Over the fitted sensitivity."""
    natural_frequency: float
    damping_ratio: float
    noise: float


@pytest.fixture(scope="module")
def record():
    folder = shared("sensor_dynamics")
    frequency, magnitude, phase = np.loadtxt(folder / "sinusoidal_calibration_values.txt").T
    points = magnitude * np.exp(1j * np.deg2rad(phase))

    def misfit(p):
        s = 1j * frequency / (1e3 * p[1])
        d = p[0] / (1 + 2 * p[2] * s + s**2) - points
        return np.r_[d.real, d.imag]

    fit = optimize.least_squares(misfit, [0.227, 60.0, 0.02], x_scale=[0.01, 1, 0.01])
    gain, kilohertz, damping = fit.x
    output = np.loadtxt(folder / "measured_output_accel.txt") / gain
    # The points scatter about the fit by 4 %, far above the noise of a quiet stretch: what a second-order
    # model cannot explain must be declared as noise, and is taken as that part of the shock's own size.
    scatter = np.sqrt(2 * fit.cost / frequency.size) / gain
    noise = scatter * np.sqrt(np.mean(output[np.abs(output) > 0.05 * output.max()] ** 2))
    return Record(np.loadtxt(folder / "measured_input_accel.txt"), output, 1e3 * kilohertz, damping, noise)


def _ring(trace):
    """Root mean square above 40 kHz after 0.55 ms."""
    sos = signal.butter(4, 40e3, "high", fs=RATE, output="sos")
    return np.std(signal.sosfiltfilt(sos, trace)[AFTER:])


def _corrected(record, natural_frequency):
    return remove_ringing(
        record.output,
        RATE,
        natural_frequency=[natural_frequency],
        damping_ratio=[record.damping_ratio],
        noise=record.noise,
        refine=False,  # the acceleration is never zero after the shock, as a force is after a blow
        grid=1,
    )


def test_raw_record_is_as_described(record):
    assert record.output.max() / record.reference.max() == pytest.approx(1.047, abs=0.003)
    assert _ring(record.output) / _ring(record.reference) == pytest.approx(3.6, abs=0.1)


def test_peak_comes_within_one_per_cent_and_the_ring_falls(record):
    found = _corrected(record, record.natural_frequency)
    assert found.peak_force / record.reference.max() == pytest.approx(1.0, abs=0.01)
    # 3.6 before; the model that fits the points sits at 52 kHz, the ring at 60 kHz, so a part must stay
    assert _ring(found.force) < 1.4 * _ring(record.reference)


def test_ring_frequency_read_from_the_record(record):
    # The calibration ends at 20 kHz and places the resonance at 52 kHz; the record itself rings at 60 kHz.
    tail = record.output[AFTER : AFTER + 8000] * np.hanning(8000)
    spectrum = np.abs(np.fft.rfft(tail, 80_000))
    frequency = np.fft.rfftfreq(80_000, 1 / RATE)
    spectrum[frequency < 40e3] = 0
    own = frequency[np.argmax(spectrum)]
    assert own == pytest.approx(59.7e3, rel=0.02)
    found = _corrected(record, own)
    assert found.peak_force / record.reference.max() == pytest.approx(1.0, abs=0.01)
    assert _ring(found.force) < 1.0 * _ring(record.reference)
