"""The exact model against scipy's matrix exponential and Butterworth filter."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import linalg, signal

from quintain.numerics.state_space import discretise, rig_model


@pytest.fixture
def model():
    return rig_model([300.0, 45.0], [0.02, 0.05], [0.8, 0.2], anti_alias_cutoff=400.0, anti_alias_order=4)


def test_transition_is_the_matrix_exponential(model):
    # independent implementation: scipy.linalg.expm; tolerance is double precision times the norm
    steps = discretise(model, 1 / 1000, grid=8)
    for k in (1, 3, 8):
        np.testing.assert_allclose(steps.transition[k], linalg.expm(model.drift * k / 8000), atol=1e-11)


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_noise_is_the_integral_of_the_impulse_response(model, channel):
    # Q = int_0^dt e^{As} L L' e^{A's} ds by Gauss-Legendre with 40 nodes (exact to double precision here)
    steps = discretise(model, 1 / 1000, grid=4)
    nodes, weights = np.polynomial.legendre.leggauss(40)
    drive = np.zeros(model.drift.shape[0])
    drive[model.i_force + channel] = 1.0
    for k in (1, 4):
        dt = k / 4000
        columns = np.stack([linalg.expm(model.drift * (0.5 * dt * (x + 1))) @ drive for x in nodes])
        expected = 0.5 * dt * (columns.T * weights) @ columns
        np.testing.assert_allclose(steps.noise[channel, k], expected, atol=1e-12 * np.abs(expected).max())


@pytest.mark.parametrize("order", [1, 2, 3, 4, 5])
def test_anti_alias_filter_is_a_butterworth(order):
    # a rig so stiff that only the filter is left; scipy.signal.butter is the reference
    model = rig_model([1e6], [0.7], anti_alias_cutoff=200.0, anti_alias_order=order)
    n = model.i_force
    f = np.array([20.0, 100.0, 200.0, 400.0])
    keep = [i for i in range(model.drift.shape[0]) if not n <= i < n + model.n_force]
    drift, drive = model.drift[np.ix_(keep, keep)], model.drift[keep, n]
    shown = [
        model.output[keep] @ np.linalg.solve(2j * np.pi * x * np.eye(len(keep)) - drift, drive) for x in f
    ]
    b, a = signal.butter(order, 2 * np.pi * 200.0, analog=True)
    expected = signal.freqs(b, a, 2 * np.pi * f)[1]
    np.testing.assert_allclose(shown, expected, rtol=2e-3)  # the stiff cell still turns the phase by 1e-3


def test_response_of_one_mode_is_the_second_order_system():
    model = rig_model([120.0], [0.03])
    f = np.array([1.0, 60.0, 120.0, 300.0])
    drift, drive = model.drift[:2, :2], model.drift[:2, 2]
    shown = [model.output[:2] @ np.linalg.solve(2j * np.pi * x * np.eye(2) - drift, drive) for x in f]
    s = 1j * f / 120.0
    np.testing.assert_allclose(shown, 1 / (1 + 2 * 0.03 * s + s**2), rtol=1e-12)  # textbook formula


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (([100.0], [0.1, 0.2]), "each mode"),
        (([0.0], [0.1]), "above 0 Hz"),
        (([100.0], [1.0]), "below 1"),
        (([100.0, 50.0], [0.1, 0.1], [0.5, 0.6]), "sum to 1"),
    ],
)
def test_bad_modes_are_refused(arguments, says):
    with pytest.raises(ValueError, match=says):
        rig_model(*arguments)


def test_bad_options_are_refused():
    with pytest.raises(ValueError, match="force_order"):
        rig_model([100.0], [0.1], force_order=4)
    with pytest.raises(ValueError, match="anti-alias"):
        rig_model([100.0], [0.1], anti_alias_cutoff=0.0)
    with pytest.raises(ValueError, match="interval"):
        discretise(rig_model([100.0], [0.1]), 0.0)
