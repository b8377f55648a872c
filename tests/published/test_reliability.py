"""
Reliability against Shrout and Fleiss's table and what the trade's papers compute from it.

Source: Shrout, P. E. and Fleiss, J. L. (1979), Psychological Bulletin 86, 420-428, tables 2 to 4; the paper
prints two digits (in words beside each check), further digits are recomputed from its table.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from quintain.study.reliability import assess_reliability, icc_unbalanced, spearman_brown
from quintain.study.reml import fit_reml
from quintain.study.typical_error import (
    assess_typical_error,
    minimal_detectable_change,
    sem_from_icc,
    smallest_worthwhile_change,
)
from shared_data import shared

TABLE = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]

# papers take 1.96 for the normal quantile 1.959964: 2e-5 relative
OF_1_96 = 2e-5


@pytest.fixture(scope="module")
def found():
    return assess_reliability(TABLE)


def test_the_table_is_the_stored_one():
    rows = np.genfromtxt(shared("stats", "shrout_fleiss_1979.csv"), delimiter=",", skip_header=1)
    assert rows[:, 1:].tolist() == TABLE


def test_mean_squares(found):
    # paper 11.24, 6.26, 32.49, 1.02
    ms = found.mean_squares
    assert (ms.between, ms.within, ms.columns, ms.error) == pytest.approx(
        (11.241667, 6.263889, 32.486111, 1.019444), abs=1e-6
    )


@pytest.mark.parametrize(
    ("name", "value"),
    [  # paper .17 .29 .71 and .44 .62 .91
        ("ICC(1,1)", 0.165742),
        ("ICC(2,1)", 0.289764),
        ("ICC(3,1)", 0.714841),
        ("ICC(1,k)", 0.442797),
        ("ICC(2,k)", 0.620051),
        ("ICC(3,k)", 0.909316),
    ],
)
def test_six_correlations(found, name, value):
    assert found.icc(name).value == pytest.approx(value, abs=1e-6)


def test_f_tests(found):
    one, three = found.icc("ICC(1,1)"), found.icc("ICC(3,1)")
    assert (one.f, one.df1, one.df2) == (pytest.approx(1.794678, abs=1e-6), 5, 18)
    assert (three.f, three.df1, three.df2) == (pytest.approx(11.027248, abs=1e-6), 5, 15)
    assert found.column_f == pytest.approx(32.486111 / 1.019444, rel=1e-5)


@pytest.mark.parametrize(
    ("name", "lower", "upper"),
    [  # paper -.13 to .72, .02 to .76, .34 to .95; the means of k follow by Spearman and Brown, derived here
        ("ICC(1,1)", -0.1329, 0.7226),
        ("ICC(2,1)", 0.0188, 0.7611),
        ("ICC(3,1)", 0.3425, 0.9459),
        ("ICC(1,k)", spearman_brown(-0.1329, 4), spearman_brown(0.7226, 4)),
        ("ICC(2,k)", spearman_brown(0.0188, 4), spearman_brown(0.7611, 4)),
        ("ICC(3,k)", spearman_brown(0.3425, 4), spearman_brown(0.9459, 4)),
    ],
)
def test_intervals(found, name, lower, upper):
    # four digits stand in the expected values; k = 4 magnifies half a digit near 0 up to eightfold
    tolerance = 1e-4 if "1)" in name else 8e-4
    icc = found.icc(name)
    assert (icc.lower, icc.upper) == pytest.approx((lower, upper), abs=tolerance)


def test_same_by_restricted_likelihood(found):
    # in a balanced table REML is the analysis of variance: (BMS - EMS)/4 and EMS, to rounding
    rater, person = np.tile(np.arange(4), 6), np.repeat(np.arange(6), 4)
    design = np.column_stack([np.ones(24), *(rater == j for j in (1, 2, 3))]).astype(float)
    fit = fit_reml(np.ravel(TABLE), design, person, [person])
    ms = found.mean_squares
    assert fit.variances[0] == pytest.approx((ms.between - ms.error) / 4, rel=1e-8)
    assert fit.variances[1] == pytest.approx(ms.error, rel=1e-8)
    assert fit.variances[0] / fit.variances.sum() == pytest.approx(found.icc("ICC(3,1)").value, rel=1e-8)
    # MixedLM of statsmodels 0.15 stops at 2.55552 and 1.01945
    assert fit.variances == pytest.approx([2.55552, 1.01945], abs=1e-4)


def test_unbalanced_form_meets_the_balanced_one(found):
    one, same = found.icc("ICC(1,1)"), icc_unbalanced(TABLE)
    assert same[1:8] == pytest.approx(one[1:8], rel=1e-12)


def test_routes_to_the_standard_error_of_measurement():
    # Weir 2005, J. Strength Cond. Res. 19, 231-240 (from memory); values derived from the table
    routes = assess_typical_error(TABLE).sem_routes
    assert list(routes.values()) == pytest.approx([1.00968, 2.50278, 1.44734, 1.00967], abs=1e-4)


def test_minimal_detectable_change():
    e = assess_typical_error(TABLE)
    assert e.mdc == pytest.approx(2.79868, rel=OF_1_96)
    assert minimal_detectable_change(1.0) == pytest.approx(2.771859, rel=OF_1_96)
    # MDC90 with 1.645 for 1.644854: 9e-5 relative
    assert minimal_detectable_change(1.0, probability=0.90) == pytest.approx(2.326381, rel=1e-4)


@pytest.mark.parametrize(
    ("sd", "icc", "sem", "mdc", "swc"),
    [
        (10.0, 0.9, 3.162278, 8.765386, 2.0),
        # spread of a published group of strikers [N], the ICC hypothetical
        (811.0, 0.95, 181.345, 502.663, 162.2),
    ],
)
def test_from_a_published_spread_and_icc(sd, icc, sem, mdc, swc):
    # Weir 2005; Hopkins 2000, Sports Medicine 30, 1-15 (from memory): 0.2 SD
    own = sem_from_icc(sd, icc)
    assert own == pytest.approx(sem, rel=3e-6)  # three decimals of 181.345
    assert minimal_detectable_change(own) == pytest.approx(mdc, rel=OF_1_96)
    assert smallest_worthwhile_change(sd) == pytest.approx(swc, rel=1e-12)


def test_typical_error_of_two_sessions_is_the_spread_of_differences_over_root_2():
    # Hopkins 2000; for two columns it is the root of the residual mean square too
    first, second = [row[2] for row in TABLE], [row[3] for row in TABLE]
    e = assess_typical_error(np.column_stack([first, second]))
    expected = float(np.std(np.subtract(second, first), ddof=1)) / math.sqrt(2)
    assert e.consecutive == pytest.approx([expected], rel=1e-12)
    assert e.sem == pytest.approx(expected, rel=1e-12)


def test_spearman_brown():
    assert spearman_brown(0.5, 4) == pytest.approx(0.8, rel=1e-15)
    assert spearman_brown(0.8, 0.25) == pytest.approx(0.5, rel=1e-15)
