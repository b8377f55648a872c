"""
NIST StRD Norris: certified straight-line calibration.

Source: NIST/ITL Statistical Reference Datasets, file tests/data/nist/Norris.dat (public domain), certified
values in lines 31 to 46 of the file itself. Asked for: 1e-9 relative.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quintain.numerics.static_load import fit_calibration

FILE = Path(__file__).parents[1] / "data" / "nist" / "Norris.dat"


@pytest.fixture(scope="module")
def table() -> np.ndarray:
    lines = FILE.read_text().splitlines()
    return np.array([[float(v) for v in line.split()] for line in lines[60:96]])


@pytest.fixture(scope="module")
def fit(table):
    y, x = table.T
    return fit_calibration(x, y, 1)


def test_the_file_holds_its_36_observations(table):
    assert table.shape == (36, 2)


def test_coefficients(fit):
    assert fit.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)


def test_standard_deviations_of_the_coefficients(fit):
    assert fit.u_coefficients == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-9)


def test_residual_standard_deviation(fit):
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)


def test_covariance_of_the_coefficients(fit):
    # computed by others from the same data, not certified
    assert fit.covariance[0, 1] == pytest.approx(-7.74327536339570e-5, rel=1e-9)


def test_analysis_of_variance(fit, table):
    y, x = table.T
    left = float(np.sum((y - fit.reading(x)) ** 2))
    explained = float(np.sum((fit.reading(x) - y.mean()) ** 2))
    assert left == pytest.approx(26.6173985294224, rel=1e-8)
    assert explained == pytest.approx(4255954.13232369, rel=1e-8)
    assert explained / fit.residual_sd**2 == pytest.approx(5436385.54079785, rel=1e-8)
    assert explained / (explained + left) == pytest.approx(0.999993745883712, rel=1e-9)
