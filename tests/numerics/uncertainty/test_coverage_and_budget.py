"""Coverage factors and counts, budgets, and uncertainties from limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from quintain.numerics.uncertainty.budget import build_budget
from quintain.numerics.uncertainty.coverage import count_coverage, coverage_factor
from quintain.numerics.uncertainty.linear import Contribution, propagate_linear
from quintain.numerics.uncertainty.type_b import u_from_limits, u_from_resolution


@pytest.mark.parametrize("freedom", [1.0, 3.7, 12.0, 400.0])
def test_coverage_factor_is_student(freedom):
    assert coverage_factor(0.9, freedom) == pytest.approx(stats.t.ppf(0.95, freedom), rel=1e-9)


def test_coverage_factor_becomes_normal():
    assert coverage_factor(0.95, 1e7) == pytest.approx(coverage_factor(0.95), rel=1e-6)
    assert coverage_factor(0.95) == pytest.approx(1.959964, abs=1e-6)


@pytest.mark.parametrize(("inside", "total"), [(0, 20), (19, 20), (20, 20), (95, 100), (931, 1000)])
def test_coverage_count_against_scipy(inside, total):
    theirs = stats.binomtest(inside, total).proportion_ci(0.95, method="wilson")
    ours = count_coverage(inside, total)
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)
    assert ours.fraction == inside / total


def test_budget_of_correlated_sources():
    # u without a source, against propagation with that source's covariance struck out
    u = np.array([0.3, 0.4, 0.2])
    correlation = np.array([[1.0, 0.8, 0.0], [0.8, 1.0, -0.5], [0.0, -0.5, 1.0]])
    covariance = correlation * np.outer(u, u)
    y = propagate_linear(lambda a, b, c: a - b + c, [1.0, 1.0, 1.0], covariance)
    lines = {line.name: line for line in build_budget(y.contributions, correlation=correlation)}
    assert sum(line.share for line in lines.values()) == pytest.approx(1)
    for i, name in enumerate(("x1", "x2", "x3")):
        rest = covariance.copy()
        rest[i, :] = rest[:, i] = 0.0
        without = propagate_linear(lambda a, b, c: a - b + c, [1.0, 1.0, 1.0], rest)
        assert lines[name].u_without == pytest.approx(without.u, rel=1e-6)


def test_budget_puts_first_what_gains_most():
    lines = build_budget([Contribution("a", 0.1), Contribution("b", -0.5), Contribution("c", 0.3)])
    assert [line.name for line in lines] == ["b", "c", "a"]


def test_budget_without_uncertainty():
    (line,) = build_budget([Contribution("a", 0.0)])
    assert (line.share, line.u_without) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: coverage_factor(95), "between 0 and 1, got 95"),
        (lambda: coverage_factor(0.95, 0), "must be positive"),
        (lambda: count_coverage(5, 4), "0 <= inside <= total"),
        (lambda: count_coverage(0, 0), "a total above 0"),
        (lambda: build_budget([]), "at least one contribution"),
        (lambda: build_budget([Contribution("a", 1.0)], correlation=[[2.0]]), "ones on its diagonal"),
        (lambda: u_from_limits(-1.0), "must be 0 or more"),
        (lambda: u_from_resolution(math.nan), "must be 0 or more"),
        (lambda: u_from_limits(1.0, "flat"), "distribution must be one of rectangular"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()
