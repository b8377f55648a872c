"""Comparisons against worked examples that every textbook of statistics repeats."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.study.compare import adjust_holm, compare_groups, compare_paired
from quintain.study.effect_size import hedges_factor
from quintain.study.permutation import flip_signs
from quintain.study.sample_size import people_for_unpaired, power_paired

# Student (1908), Biometrika 6, 1-25, after Cushny and Peebles (1905): extra hours of sleep of ten people
# with two drugs
FIRST = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SECOND = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]

# Fisher (1935), The Design of Experiments, chapter 3: Darwin's fifteen pairs of maize, crossed less
# self-fertilised [eighths of an inch]
MAIZE = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48]


@pytest.fixture
def generator():
    return np.random.default_rng(1)


def test_sleep_paired(generator):
    # Student: mean difference 1.58 h; t = -4.0621, p = 0.002833 as packages print (from memory)
    c = compare_paired(FIRST, SECOND, generator=generator)
    assert c.difference == pytest.approx(-1.58, abs=1e-12)
    assert (c.t, c.p) == (pytest.approx(-4.0621, abs=5e-5), pytest.approx(0.002833, abs=5e-7))
    assert c.interval == pytest.approx((-2.4598858, -0.7001142), abs=5e-8)
    assert c.effect.uncorrected == pytest.approx(-4.0621 / np.sqrt(10), abs=5e-5)


def test_sleep_as_two_groups(generator):
    # Welch: t = -1.8608, 17.776 degrees of freedom, p = 0.07939, interval -3.3654832 to
    # 0.2054832 (from memory)
    c = compare_groups(FIRST, SECOND, generator=generator)
    assert (c.t, c.df) == (pytest.approx(-1.8608, abs=5e-5), pytest.approx(17.776, abs=5e-4))
    assert c.p == pytest.approx(0.07939, abs=5e-6)
    assert c.interval == pytest.approx((-3.3654832, 0.2054832), abs=5e-8)


def test_darwins_maize(generator):
    # Fisher: t = 2.148; of 32 768 arrangements of signs 863 give a sum of 314 or more, twice 863 both ways
    found = flip_signs(MAIZE, generator)
    assert found.exact
    assert found.p == 2 * 863 / 32768
    assert compare_paired(MAIZE, np.zeros(15), generator=generator).t == pytest.approx(2.148, abs=5e-4)


def test_people_for_two_groups():
    # Cohen (1992), Psychological Bulletin 112, 155-159, table 2: power 0.80 at 0.05 takes 393, 64 and 26
    # people a group for small, medium and large d; from tables that round: one person either way
    assert [people_for_unpaired(d) for d in (0.2, 0.5, 0.8)] == pytest.approx([393, 64, 26], abs=1)


def test_power_of_15_pairs():
    # worked example of a widely used power program: dz 0.8, 15 pairs, two-sided 0.05: 0.8213 (from memory)
    assert power_paired(15, 0.8) == pytest.approx(0.8213, abs=5e-5)


def test_hedges_correction():
    # Hedges (1981): 1 - 3/(4 df - 1) is within 0.007 from 2 and within 0.00033 from 10 degrees of freedom up
    assert hedges_factor(2) == pytest.approx(1 - 3 / 7, abs=0.008)
    for df in (10, 20, 50):
        assert hedges_factor(df) == pytest.approx(1 - 3 / (4 * df - 1), abs=3.5e-4)


def test_holm_by_hand():
    # Holm's steps for 0.005, 0.01, 0.03, 0.04: times 4, 3, 2, 1, never falling
    assert adjust_holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx((0.03, 0.06, 0.06, 0.02), rel=1e-12)
