"""Calibration curve: recovery, uncertainty, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.calibration_class import class_like, relative_errors
from quintain.numerics.static_load import (
    check_load_table,
    choose_degree,
    dead_weight_force,
    fit_calibration,
    force_at_reading,
    force_coefficients,
)

FORCE = np.tile(np.linspace(0, 10e3, 11), 3)
TRUE = np.array([0.003, 2e-4, -4e-10, 1e-14])


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_a_polynomial_comes_back(degree):
    coefficients = TRUE[: degree + 1]
    reading = np.polynomial.polynomial.polyval(FORCE, coefficients)
    fit = fit_calibration(FORCE, reading, degree)
    # rounding only: readings of 2 to sixteen digits, cubes of 1e4
    assert fit.coefficients == pytest.approx(coefficients, rel=1e-7)
    assert force_at_reading(float(reading[4]), fit).force == pytest.approx(FORCE[4], rel=1e-9)


def test_uncertainty_at_a_force_agrees_with_repeated_calibrations():
    rng = np.random.default_rng(5)
    reading = np.polynomial.polynomial.polyval(FORCE, TRUE[:3])
    sd, at = 2e-4, 4321.0
    true = float(np.polynomial.polynomial.polyval(at, TRUE[:3]))
    found = []
    for _ in range(400):
        fit = fit_calibration(FORCE, reading + rng.normal(0, sd, FORCE.size), 2)
        found.append(force_at_reading(true + rng.normal(0, sd), fit))
    error = np.array([f.force for f in found]) - at
    stated = float(np.sqrt(np.mean([f.u**2 for f in found])))
    # the spread of 400 draws is known to 1/sqrt(800) = 3.5 %; three of those
    assert np.std(error) == pytest.approx(stated, rel=0.11)


def test_reference_uncertainty_is_added_in_proportion():
    fit = fit_calibration([0, 1000, 2000, 3000.0], [0, 0.2, 0.4, 0.6])
    assert force_at_reading(0.5, fit, u_reference=1e-3).u == pytest.approx(2.5, rel=1e-6)


def test_degree_follows_the_data():
    noise = np.random.default_rng(2).normal(0, 1e-5, FORCE.size)
    for degree in (1, 2, 3):
        coefficients = np.array([0, 2e-4, -2e-12, 5e-15])[: degree + 1]
        assert choose_degree(FORCE, np.polynomial.polynomial.polyval(FORCE, coefficients) + noise) == degree


@pytest.mark.parametrize(
    ("force", "reading", "words"),
    [
        ([0, 1000.0], [0, 0.2], "at least two loads"),
        ([0, 1000.0, 2000], [0, -0.2, -0.4], "swap the signal wires"),
        ([0, -1000.0, 2000], [0, 0.2, 0.4], "negative"),
        ([0, 1000.0, 20000], [0, 0.2, 4.0], "beyond the capacity"),
        ([0, 1000.0, 2000, 3], [0, 0.2, 0.4, 0.6], "another unit"),
        ([0, np.nan, 2000], [0, 0.2, 0.4], "row 2"),
        ([0, 1000.0], [0, 0.2, 0.4], "one reading a force"),
    ],
)
def test_bad_tables_are_refused_in_words(force, reading, words):
    with pytest.raises(ValueError, match=words):
        check_load_table(force, reading, capacity=10e3)


def test_too_few_rows_for_a_degree_are_refused():
    with pytest.raises(ValueError, match="more than 3 rows"):
        fit_calibration([1, 2, 3.0], [1, 2, 3.0], 2)
    with pytest.raises(ValueError, match="different forces"):
        fit_calibration([1, 1, 2, 2.0], [1, 1, 2, 2.0], 2)
    with pytest.raises(ValueError, match="1, 2 or 3"):
        fit_calibration(FORCE, FORCE, 4)


def test_a_reading_outside_the_curve_is_refused():
    fit = fit_calibration([0, 1000, 2000, 3000.0], [0, 0.2, 0.4, 0.6])
    with pytest.raises(ValueError, match="outside the calibration"):
        force_at_reading(2.0, fit)


def test_impossible_gravity_is_refused():
    with pytest.raises(ValueError, match="gravity"):
        dead_weight_force(10, 981.0)


def test_what_was_not_measured_makes_no_class():
    errors = relative_errors(1000 * np.arange(1, 8.0), [0.2 * np.arange(1, 8.0)] * 3)
    assert class_like(errors).name is None
    assert "repeatability" in class_like(errors).missing


def test_inverse_coefficients_give_the_force_back():
    # bent by 0.1 % of the reading over the range, as bent as cells get
    fit = fit_calibration(FORCE, np.polynomial.polynomial.polyval(FORCE, [0.003, 2e-4, -2e-11]), 2)
    to_force = force_coefficients(fit)
    reading = fit.reading(FORCE) - fit.coefficients[0]
    back = sum(c * reading ** (k + 1) for k, c in enumerate(to_force))
    assert back == pytest.approx(FORCE, abs=1e-4)  # 1e-8 of the range
