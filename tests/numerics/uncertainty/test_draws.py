"""Monte Carlo propagation: intervals of known distributions, reproducibility, and what it refuses."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quintain.numerics.uncertainty.linear import Estimate
from quintain.numerics.uncertainty.monte_carlo import (
    draw_normal,
    first_order_holds,
    numerical_tolerance,
    propagate_adaptively,
    propagate_monte_carlo,
    shortest_interval,
)


def identity(x):
    return x


def test_exponential_distribution():
    # closed form: shortest 95 % from 0 to ln 20, symmetric from ln 40/39 to ln 40. The end at 2.5 % of the
    # density is known to sqrt(p q / n) / 0.025 = 0.01 from 400 000 draws
    y = propagate_monte_carlo(identity, lambda rng, n: [rng.exponential(1.0, n)], n_draws=400_000)
    assert (y.value, y.u) == pytest.approx((1.0, 1.0), abs=0.01)
    assert y.shortest == pytest.approx((0.0, math.log(20)), abs=0.02)
    assert y.symmetric == pytest.approx((math.log(40 / 39), math.log(40)), abs=0.03)


def test_draws_have_the_covariance():
    covariance = np.array([[4.0, -1.5, 0.0], [-1.5, 1.0, 0.2], [0.0, 0.2, 0.25]])
    x = np.array(draw_normal([1.0, 2.0, 3.0], covariance)(np.random.default_rng(1), 400_000))
    assert np.cov(x) == pytest.approx(covariance, abs=0.03)  # four times 4 sqrt(2/400 000)
    assert x.mean(axis=1) == pytest.approx([1, 2, 3], abs=0.015)


def test_singular_covariance_is_allowed():
    a, b = draw_normal([0.0, 0.0], [[1.0, 1.0], [1.0, 1.0]])(np.random.default_rng(1), 1000)
    assert a == pytest.approx(b, abs=1e-7)


def test_same_seed_same_result():
    draw = draw_normal([1.0], [0.1])
    assert propagate_monte_carlo(identity, draw, seed=3) == propagate_monte_carlo(identity, draw, seed=3)
    assert propagate_monte_carlo(identity, draw, seed=3) != propagate_monte_carlo(identity, draw, seed=4)


def test_adaptive_draws_grow_with_the_digits():
    draw = draw_normal([1.0], [0.1])
    coarse, fine = (propagate_adaptively(identity, draw, digits=d) for d in (1, 2))
    assert coarse.n_draws < fine.n_draws
    # settled to half a unit of the second digit of 0.10, at 95 %; twice that always holds
    assert fine.u == pytest.approx(0.1, abs=2 * numerical_tolerance(0.1, 2))


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"),
    [
        # JCGM 101:2008, 7.9.2, examples 1 to 3 (from memory): 0.00035 to 2 digits, 0.0004 to 1, 2 to 1
        (0.00035, 2, 0.000005),
        (0.0004, 1, 0.00005),
        (2.0, 1, 0.5),
    ],
)
def test_numerical_tolerance(u, digits, tolerance):
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance, rel=1e-12)


def test_first_order_is_refused_when_wrong():
    draws = propagate_monte_carlo(identity, draw_normal([1.0], [0.1]), n_draws=400_000)
    assert first_order_holds(Estimate(1.0, 0.1), draws)
    assert not first_order_holds(Estimate(1.0, 0.105), draws)
    assert not first_order_holds(Estimate(1.01, 0.1), draws)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: propagate_monte_carlo(identity, draw_normal([1.0], [1.0]), n_draws=10),
            "at least 100 draws",
        ),
        (lambda: propagate_monte_carlo(lambda x: x[:5], draw_normal([1.0], [1.0])), "one output a draw"),
        (lambda: propagate_monte_carlo(lambda x: x * np.nan, draw_normal([1.0], [1.0])), "not finite"),
        (
            lambda: propagate_monte_carlo(identity, draw_normal([1.0], [1.0]), probability=1.0),
            "between 0 and 1",
        ),
        (
            lambda: propagate_adaptively(identity, draw_normal([1.0], [1.0]), probability=0.0),
            "between 0 and 1",
        ),
        (
            lambda: propagate_adaptively(identity, draw_normal([1.0], [1.0]), max_draws=20_000),
            "have not settled",
        ),
        (lambda: draw_normal([1.0], [[1.0, 0.0], [0.0, 1.0]]), "need a covariance of shape"),
        (lambda: draw_normal([1.0, 2.0], [[1.0, 2.0], [2.0, 1.0]]), "positive semidefinite"),
        (lambda: shortest_interval([1.0, 2.0], 0.95), "too few"),
        (lambda: numerical_tolerance(0.0), "above 0"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()
