"""First-order propagation: analytic cases, correlation, and what it refuses."""

from __future__ import annotations

import math

import pytest

from quintain.numerics.uncertainty.linear import combine, propagate_linear, welch_satterthwaite


def test_product_has_relative_uncertainties_in_squares():
    y = propagate_linear(lambda a, b, c: a * b / c, [3.0, 5.0, 7.0], [0.03, 0.1, 0.07])
    assert y.u / y.value == pytest.approx(math.sqrt(0.01**2 + 0.02**2 + 0.01**2), rel=1e-3)


def test_full_correlation_cancels_in_a_difference():
    y = propagate_linear(lambda a, b: a - b, [5.0, 3.0], [[0.04, 0.04], [0.04, 0.04]])
    assert y.u == pytest.approx(0.0, abs=1e-9)
    assert [c.u for c in y.contributions] == pytest.approx([0.2, -0.2])


def test_given_derivatives_are_used():
    y = propagate_linear(lambda a: a**2, [3.0], [0.5], jacobian=[6.0])
    assert y.u == 3.0


def test_derivatives_at_very_different_scales():
    # one input known to 1e-9 of itself and one to a half: neither spoils the other's derivative. Rounding
    # of 1000 is 1e-13, the smallest step of the output 1e-8
    y = propagate_linear(lambda a, b: a + b * 1e-6, [1e3, 2.0], [1e-6, 1.0])
    assert [c.u for c in y.contributions] == pytest.approx([1e-6, 1e-6], rel=1e-4)


def test_exactly_known_input_is_not_touched():
    # a function that has no value beside the estimate: no derivative is asked for where u is zero
    y = propagate_linear(lambda a, b: a * math.sqrt(b), [2.0, 0.0], [0.1, 0.0])
    assert y.contributions[1].u == 0.0


def test_combined_uncertainty_is_the_root_sum_of_squares():
    y = combine(1.0, a=0.3, b=-0.4, c=1.2)
    assert y.u == pytest.approx(1.3)
    assert dict(y.contributions) == {"a": 0.3, "b": -0.4, "c": 1.2}


def test_degrees_of_freedom():
    # one contribution alone keeps its own; known ones only: infinite
    assert welch_satterthwaite([2.0], [7]) == pytest.approx(7)
    assert welch_satterthwaite([2.0, 1.0], [math.inf, math.inf]) == math.inf
    # equal contributions of equal freedom add their freedoms
    assert welch_satterthwaite([1.0, 1.0, 1.0], [5, 5, 5]) == pytest.approx(15)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: propagate_linear(lambda a: a, [1.0], [[1.0, 0.0]]), r"need a covariance of shape \(1, 1\)"),
        (lambda: propagate_linear(lambda a: a, [1.0], [-1.0]), "must not be negative"),
        (lambda: propagate_linear(lambda a, b: a, [1.0, 2.0], [[1, 2], [2, 1]]), "positive semidefinite"),
        (lambda: propagate_linear(lambda a, b: a, [1.0, 2.0], [[1, 0.5], [0, 1]]), "must be symmetric"),
        (lambda: propagate_linear(lambda a: math.nan, [1.0], [1.0]), "not finite at"),
        (lambda: propagate_linear(lambda a: a, [1.0], [1.0], names=["a", "b"]), "one name for each of 1"),
        (
            lambda: propagate_linear(lambda a: a, [1.0], [1.0], jacobian=[1.0, 2.0]),
            "jacobian must have shape",
        ),
        (lambda: combine(1.0, zero=math.inf), "zero is inf"),
        (lambda: welch_satterthwaite([1.0], [0]), "degrees of freedom must be positive"),
        (lambda: welch_satterthwaite([0.0], [3]), "larger than zero"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()
