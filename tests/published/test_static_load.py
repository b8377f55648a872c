"""
Static force calibration against the rules of its standards.

The formulas and limits of ISO 376:2011 and ASTM E74 are from memory; the load table is our own (derived
here, with micro-errors put in by hand), so the expected numbers follow from the formulas by arithmetic.
Bridge outputs are bridge theory.
"""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.calibration_class import class_like, lower_limit, relative_errors
from quintain.numerics.static_load import dead_weight_force, shunt_output, shunt_strain

KN = np.arange(0, 11.0)
BASE = 0.2 * KN  # mV/V
X1 = BASE + np.array([0, 1, 2, 1, 3, 2, 4, 3, 5, 4, 6]) * 1e-5
X2 = X1 + np.array([0, 1, -1, 2, 0, 1, -2, 1, 2, -1, 1]) * 1e-5
X3 = BASE + np.array([0, -2, -1, -3, -2, -4, -3, -5, -4, -6, -5]) * 1e-5
X5 = BASE + np.array([0, 3, 2, 4, 3, 5, 4, 6, 5, 7, 6]) * 1e-5
X4 = X3 + np.array([3, 6, 9, 11, 12, 12, 11, 9, 7, 4, 0]) * 1e-5
X6 = X5 + np.array([2, 5, 8, 10, 12, 13, 11, 9, 6, 3, 0]) * 1e-5


@pytest.fixture(scope="module")
def errors():
    return relative_errors(
        1000 * KN[1:],
        [X1[1:], X3[1:], X5[1:]],
        repeat=X2[1:],
        returns=[X4[1:], X6[1:]],
        zero_before=0.0,
        zero_after=3e-5,
    )


@pytest.mark.parametrize(
    ("kilonewton", "reproducibility", "repeatability", "reversibility"),
    [(1, 0.025, 0.005, 0.0275), (5, 0.009, 0.001, 0.0125), (10, 0.0055, 0.0005, 0.0)],
)
def test_iso_376_quantities(errors, kilonewton, reproducibility, repeatability, reversibility):
    # expected values were rounded to 1e-4 %
    i = kilonewton - 1
    assert errors.reproducibility[i] == pytest.approx(reproducibility, abs=1e-4)
    assert errors.repeatability[i] == pytest.approx(repeatability, abs=1e-4)
    assert errors.reversibility[i] == pytest.approx(reversibility, abs=1e-4)


def test_iso_376_zero_and_interpolation(errors):
    assert errors.zero == pytest.approx(0.0015, abs=1e-4)
    assert np.abs(errors.interpolation).max() <= 5e-4 + 1e-4


def test_the_table_keeps_the_limits_of_class_00(errors):
    assert class_like(errors) == ("00", (), ())


@pytest.mark.parametrize(
    ("scale", "name"), [(1.0, "00"), (2.5, "0.5"), (5.0, "1"), (10.0, "2"), (30.0, None)]
)
def test_larger_errors_fall_into_larger_classes(scale, name):
    # ISO 376:2011 table 2 (from memory); b of 0.025 % at 1 kN, b' 0.005 %, v 0.0275 %, f0 0.0015 % are scaled
    def grown(x):
        return BASE[1:] + scale * (x - BASE)[1:]

    errors = relative_errors(
        1000 * KN[1:],
        [grown(X1), grown(X3), grown(X5)],
        repeat=grown(X2),
        returns=[grown(X4), grown(X6)],
        zero_before=0.0,
        zero_after=scale * 3e-5,
    )
    found = class_like(errors)
    assert found.name == name
    assert bool(found.limited_by) == (name != "00")


def test_creep_formula():
    errors = relative_errors([1000, 2000], [[0.2, 0.4]], creep=(0.40000, 0.40010), degree=1)
    assert errors.creep == pytest.approx(0.025, rel=1e-9)


def test_astm_e74_lower_limit():
    force = np.tile(1000 * KN[1:], 3)
    found = lower_limit(force, np.concatenate([X1[1:], X3[1:], X5[1:]]), 2)
    assert found.scatter == pytest.approx(3.982594e-5, abs=1e-9)
    assert found.factor == pytest.approx(9.55823e-5, abs=1e-9)
    # as forces through 0.2 mV/V per kN; the fitted slope differs by 1e-5 from it
    assert found.factor_as_force == pytest.approx(0.477911, rel=1e-4)
    assert found.class_a_from == pytest.approx(191.16, rel=1e-4)
    assert found.class_aa_from == pytest.approx(955.82, rel=1e-4)


@pytest.mark.parametrize(("shunt", "output"), [(59e3, 1.478665), (100e3, 0.873471), (150e3, 0.582654)])
def test_shunt_output(shunt, output):
    assert shunt_output(350, shunt) == pytest.approx(output, abs=1e-6)


def test_shunt_strain():
    assert 1e6 * shunt_strain(350, 100e3, 2.0) == pytest.approx(1743.90, abs=0.01)


def test_buoyancy_and_gravity_matter_at_the_level_of_a_class():
    # 1.2 kg/m3 of air against 8000 kg/m3: 0.015 %; 45 degrees against the equator (WGS 84): 0.264 %
    in_air = dead_weight_force(100.0, 9.8061978)
    assert float(in_air) == pytest.approx(980.61978 * (1 - 1.2 / 8000), rel=1e-12)
    assert float(dead_weight_force(100.0, 9.7803253) / in_air - 1) == pytest.approx(-2.638e-3, abs=1e-6)
