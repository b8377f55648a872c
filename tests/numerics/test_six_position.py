"""Six-position calibration finds what was wrong with an invented sensor, and says how well."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.six_position import fit_six_position

G = 9.80665
SIDES = G * np.vstack([np.eye(3), -np.eye(3)])


def laid(generator, *, level=0.0087, noise=0.005):
    """Readings of a sensor with drawn errors, on sides that are not quite level."""
    mixing = np.eye(3) + generator.normal(0, 0.01, (3, 3))
    bias = generator.normal(0, 0.3, 3)
    tilt = generator.normal(0, level, SIDES.shape)
    force = SIDES + np.cross(tilt, SIDES)
    force *= G / np.linalg.norm(force, axis=1)[:, None]
    return mixing, bias, force @ mixing.T + bias + generator.normal(0, noise, SIDES.shape)


def test_errors_are_found_within_their_uncertainty():
    generator = np.random.default_rng(1)
    off = {"bias": [], "scale": [], "misalignment": []}
    for _ in range(300):
        mixing, bias, shown = laid(generator)
        fit = fit_six_position(shown)
        left = fit.matrix @ mixing - np.eye(3)
        off["bias"].append((fit.bias - bias) / fit.u_bias)
        off["scale"].append(np.diag(left) / fit.u_scale)
        off["misalignment"].append(left[~np.eye(3, dtype=bool)] / fit.u_misalignment)
    for name, ratios in off.items():
        # stated uncertainties may be somewhat large, never too small: gravity's share is not drawn here
        assert 0.3 < np.std(ratios) < 1.1, name


def test_order_and_repetition_do_not_matter():
    _, _, shown = laid(np.random.default_rng(2))
    fit = fit_six_position(shown)
    again = fit_six_position(np.vstack([shown[::-1], shown]))
    assert again.bias == pytest.approx(fit.bias, abs=1e-12)
    assert again.matrix == pytest.approx(fit.matrix, abs=1e-12)


def test_calibrated_readings_have_the_length_of_gravity():
    _, _, shown = laid(np.random.default_rng(3), level=0.0, noise=0.0)
    fit = fit_six_position(shown)
    assert np.linalg.norm(fit.apply(shown), axis=1) == pytest.approx(G, abs=1e-9)
    assert fit.errors().acceleration_bias == fit.u_bias


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        (SIDES[[0, 1, 2, 3, 4, 4]], "missing: z down"),
        (SIDES / 9.8, "check unit"),
        (SIDES[:5], "at least six"),
        (np.vstack([SIDES[:5], [[0.0, -7.0, -7.0]]]), "askew"),
    ],
)
def test_unusable_positions_are_refused(readings, words):
    with pytest.raises(ValueError, match=words):
        fit_six_position(readings)
