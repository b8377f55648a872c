"""Agreement statistics against Bland and Altman's 1986 worked example and a NIST certified line."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.agreement import corrected_spread, fit_line, limits_of_agreement, repeatability
from shared_data import shared

# Bland and Altman 1986, Lancet 327:307-310, table 1: peak expiratory flow of 17 people by two meters,
# twice each [l/min]
WRIGHT_1 = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
WRIGHT_2 = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
MINI_1 = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
MINI_2 = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443]


def test_the_table_is_the_stored_one():
    rows = np.genfromtxt(shared("stats", "bland_altman_1986_pefr.csv"), delimiter=",", names=True)
    assert rows["wright1"].tolist() == WRIGHT_1
    assert rows["wright2"].tolist() == WRIGHT_2
    assert rows["mini1"].tolist() == MINI_1
    assert rows["mini2"].tolist() == MINI_2


def test_bias_and_spread():
    # paper: -2.1 and 38.8 l/min; further digits recomputed
    d = limits_of_agreement(WRIGHT_1, MINI_1)
    assert d.bias == pytest.approx(-2.117647, abs=1e-6)
    assert d.spread == pytest.approx(38.765130, abs=1e-6)


def test_limits_of_two_standard_deviations():
    # paper, from memory: -79.7 and 75.5; from unrounded values -79.6479 and 75.4126
    d = limits_of_agreement(WRIGHT_1, MINI_1, multiple=2.0)
    assert (d.lower, d.upper) == (pytest.approx(-79.6479, abs=1e-3), pytest.approx(75.4126, abs=1e-3))


def test_limits_of_1_96_standard_deviations():
    # seen in stored public code, and recomputed
    d = limits_of_agreement(WRIGHT_1, MINI_1)
    assert (d.lower, d.upper) == (pytest.approx(-78.0973, abs=1e-3), pytest.approx(73.8620, abs=1e-3))


def test_interval_of_the_bias():
    # t(16) = 2.1199: -22.0488 to 17.8135, seen in stored public code, and recomputed
    d = limits_of_agreement(WRIGHT_1, MINI_1)
    assert d.bias_interval == (pytest.approx(-22.0488, abs=1e-3), pytest.approx(17.8135, abs=1e-3))


def test_interval_of_a_limit():
    # paper -114.3 to -45.1 from rounded values; recomputed -114.170 to -45.126
    d = limits_of_agreement(WRIGHT_1, MINI_1, multiple=2.0)
    assert d.u_limit == pytest.approx(16.2846, abs=1e-3)
    assert d.lower_interval == (pytest.approx(-114.170, abs=1e-3), pytest.approx(-45.126, abs=1e-3))


def test_correlation_misleads():
    # paper: r = 0.94 although the meters differ by up to 80 l/min
    assert fit_line(WRIGHT_1, MINI_1).correlation == pytest.approx(0.943279, abs=1e-6)


def test_repeatability():
    # recomputed from the table; the paper rounds 43.2 and 56.4 (from memory)
    assert repeatability(WRIGHT_1, WRIGHT_2) == pytest.approx(43.294, abs=1e-3)
    assert repeatability(MINI_1, MINI_2) == pytest.approx(56.316, abs=1e-3)


def test_spread_corrected_for_duplicates():
    # paper: 37.7 (from memory); recomputed 33.2041 and 37.8008
    means, single = corrected_spread(WRIGHT_1, WRIGHT_2, MINI_1, MINI_2)
    assert means == pytest.approx(33.2041, abs=1e-3)
    assert single == pytest.approx(37.8008, abs=1e-3)


def test_norris_certified_line():
    # NIST StRD, data set Norris (ozone meters), certified values inside the file; public domain
    lines = shared("stats", "nist", "Norris.dat").read_text().splitlines()
    data = np.array([[float(v) for v in row.split()] for row in lines[60:96]])
    line = fit_line(data[:, 1], data[:, 0])
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-9)
    assert line.u_intercept == pytest.approx(0.232818234301152, rel=1e-9)
    assert line.u_slope == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert line.residual_spread == pytest.approx(0.884796396144373, rel=1e-9)
