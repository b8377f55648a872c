"""Modes found again: against a linear problem whose answer is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.refinement import refine_modes

BELIEVED = np.log([200.0, 0.02])


def _linear(truth, u):
    def innovations(theta):
        residual = (theta - np.log(truth)) / u
        return residual, -0.5 * float(residual @ residual)

    return innovations


def test_samples_and_belief_are_joined_by_their_weights():
    # product of two Gaussians (textbook): precision adds, the mean is weighted by precision
    u, u_believed = np.array([0.01, 0.1]), np.array([0.01, 0.1])
    found = refine_modes(_linear([202.0, 0.022], u), BELIEVED, u_believed)
    expected = 0.5 * (BELIEVED + np.log([202.0, 0.022]))
    np.testing.assert_allclose(found.theta, expected, atol=1e-6)
    np.testing.assert_allclose(found.covariance, np.diag([5e-5, 5e-3]), rtol=1e-6)
    assert not found.drifted


def test_a_strike_that_contradicts_the_belief_is_trusted_and_reported():
    u, u_believed = np.array([1e-4, 0.01]), np.array([1e-4, 0.01])
    found = refine_modes(_linear([196.0, 0.02], u), BELIEVED, u_believed)
    assert found.drifted
    assert np.exp(found.theta[0]) == pytest.approx(196.0, rel=1e-4)


def test_a_change_too_small_for_a_loose_bolt_is_not_reported():
    u, u_believed = np.array([1e-5, 0.01]), np.array([1e-5, 0.01])
    assert not refine_modes(_linear([200.4, 0.02], u), BELIEVED, u_believed).drifted


def test_samples_that_say_nothing_leave_the_belief():
    u_believed = np.array([0.01, 0.2])
    found = refine_modes(_linear([150.0, 0.2], np.array([1e6, 1e6])), BELIEVED, u_believed)
    np.testing.assert_allclose(found.theta, BELIEVED, atol=1e-6)
    np.testing.assert_allclose(np.sqrt(np.diag(found.covariance)), u_believed, rtol=1e-6)
