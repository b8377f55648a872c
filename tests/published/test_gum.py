"""First-order propagation against the worked examples of the GUM (JCGM 100:2008)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quintain.numerics.static_load import fit_calibration
from quintain.numerics.uncertainty.budget import build_budget
from quintain.numerics.uncertainty.coverage import coverage_factor
from quintain.numerics.uncertainty.linear import propagate_linear, welch_satterthwaite
from quintain.numerics.uncertainty.monte_carlo import draw_normal, propagate_monte_carlo
from quintain.numerics.uncertainty.type_b import u_from_limits, u_from_resolution
from quintain.study.variance_table import one_way

# H.1, end gauge: standard's length, difference, difference of expansion, temperature, expansion,
# difference of temperature; inputs in nm and degrees Celsius, from Table H.1 (its
# rounded standard uncertainties replaced by the limits they come from)
GAUGE = {
    "standard": (50_000_623.0, 25.0, 18.0),
    "difference": (215.0, 9.7, 25.6),
    "expansion_difference": (0.0, u_from_limits(1e-6), 50.0),
    "temperature": (-0.1, 0.41, math.inf),
    "expansion": (11.5e-6, u_from_limits(2e-6), math.inf),
    "temperature_difference": (0.0, u_from_limits(0.05), 2.0),
}


def gauge_length(standard, difference, expansion_difference, temperature, expansion, temperature_difference):
    return (
        standard
        + difference
        - standard * (expansion_difference * temperature + expansion * temperature_difference)
    )


def test_end_gauge():
    values, u, freedom = np.array(list(GAUGE.values())).T
    length = propagate_linear(gauge_length, values, u, names=list(GAUGE))
    # H.1: l = 50.000 838 mm, u = 32 nm (31.66 unrounded)
    assert length.value == pytest.approx(50_000_838, abs=0.5)
    assert length.u == pytest.approx(31.66, abs=0.05)
    # H.1.6: 16 degrees of freedom (16.75 unrounded), U99 = 93 nm with the factor for 16 (unrounded 91.94;
    # recomputed with an open-source GUM package)
    nu = welch_satterthwaite([c.u for c in length.contributions], freedom)
    assert nu == pytest.approx(16.752, abs=0.05)
    assert math.floor(nu) == 16
    assert coverage_factor(0.99, 16) == pytest.approx(2.92, abs=0.005)
    assert coverage_factor(0.99, nu) * length.u == pytest.approx(91.94, abs=0.3)
    # the standard itself is what to improve first
    assert build_budget(length.contributions)[0].name == "standard"


def test_end_gauge_beyond_first_order():
    # H.1.7: the second-order terms raise 32 nm to 34 nm; here by draws, normal for every input
    values, u, _ = np.array(list(GAUGE.values())).T
    drawn = propagate_monte_carlo(gauge_length, draw_normal(values, u), n_draws=400_000)
    assert drawn.u == pytest.approx(34, abs=0.5)


# H.2: five simultaneous readings of voltage [V], current [mA] and phase [rad], Table H.2
READINGS = np.array(
    [
        [5.007, 4.994, 5.005, 4.990, 4.999],
        [19.663, 19.639, 19.640, 19.685, 19.678],
        [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
    ]
)


def test_impedance():
    readings = READINGS * np.array([[1.0], [1e-3], [1.0]])
    covariance = np.cov(readings) / 5
    # Table H.2: standard uncertainties of the means and their correlations
    u = np.sqrt(np.diag(covariance))
    assert u == pytest.approx([3.2094e-3, 9.471e-6, 7.521e-4], rel=1e-3)
    r = covariance / np.outer(u, u)
    assert (r[0, 1], r[0, 2], r[1, 2]) == pytest.approx((-0.355, 0.858, -0.645), abs=1e-3)
    # Tables H.3 and H.4: R, X, Z
    functions = (
        lambda v, i, phi: v / i * math.cos(phi),
        lambda v, i, phi: v / i * math.sin(phi),
        lambda v, i, phi: v / i,
    )
    for function, value, spread in zip(
        functions, (127.732, 219.847, 254.260), (0.071, 0.2956, 0.236), strict=True
    ):
        found = propagate_linear(function, readings.mean(axis=1), covariance)
        assert found.value == pytest.approx(value, abs=1e-3)
        assert found.u == pytest.approx(spread, abs=5e-4)
        shares = [line.share for line in build_budget(found.contributions, correlation=r)]
        assert sum(shares) == pytest.approx(1)


def test_divisors():
    # JCGM 100:2008, 4.3.7 and 4.3.9; F.2.2.1 for the resolution
    assert u_from_limits(1.0) == pytest.approx(1 / math.sqrt(3))
    assert u_from_limits(1.0, "triangular") == pytest.approx(1 / math.sqrt(6))
    assert u_from_limits(1.0, "arcsine") == pytest.approx(1 / math.sqrt(2))
    assert u_from_resolution(1.0) == pytest.approx(1 / math.sqrt(12))


@pytest.mark.parametrize(
    ("freedom", "k"),
    [(1, 13.968), (2, 4.527), (3, 3.307), (5, 2.649), (10, 2.284), (20, 2.133), (50, 2.051), (math.inf, 2.0)],
)
def test_coverage_factors(freedom, k):
    # Table G.2, column of 95.45 % (from memory; recomputed: the table prints two decimals)
    assert coverage_factor(math.erf(math.sqrt(2)), freedom) == pytest.approx(k, abs=1e-3)


def test_against_another_implementation():
    # the `uncertainties` package, 40 draws of a function of three correlated inputs; its derivatives are
    # exact, ours differ by the cubic term over a hundredth of u (at most 1e-4 of u here)
    uncertainties = pytest.importorskip("uncertainties")
    umath = pytest.importorskip("uncertainties.umath")
    rng = np.random.default_rng(7)
    for _ in range(40):
        x = rng.uniform(1, 3, 3)
        root = 0.05 * rng.normal(size=(3, 3))
        covariance = root @ root.T
        a, b, c = uncertainties.correlated_values(x, covariance)
        theirs = a * umath.sqrt(b) / c + umath.sin(a * c)
        ours = propagate_linear(lambda a, b, c: a * math.sqrt(b) / c + math.sin(a * c), x, covariance)
        assert ours.value == pytest.approx(theirs.nominal_value, rel=1e-12)
        assert ours.u == pytest.approx(theirs.std_dev, rel=1e-3)


# H.3, thermometer: 11 readings [degrees Celsius] and corrections [degrees Celsius], Table H.6 (from memory)
THERMOMETER = (
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511],
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160],
)


def test_thermometer_line():
    reading, correction = map(np.array, THERMOMETER)
    fit = fit_calibration(reading - 20.0, correction, degree=1)
    # H.3.3: y1 = -0.1712 (u 0.0029), y2 = 0.002 18 (u 0.000 67), r = -0.930, s = 0.0035
    level, slope = fit.coefficients
    u_level, u_slope = np.sqrt(np.diag(fit.covariance))
    assert level == pytest.approx(-0.1712, abs=5e-5)
    assert slope == pytest.approx(0.00218, abs=5e-6)
    assert u_level == pytest.approx(0.0029, abs=5e-5)
    assert u_slope == pytest.approx(0.00067, abs=5e-6)
    assert fit.covariance[0, 1] / (u_level * u_slope) == pytest.approx(-0.930, abs=5e-4)
    # H.3.4: b(30) = -0.1494 with u = 0.0041
    at_30 = np.array([1.0, 10.0])
    assert at_30 @ fit.coefficients == pytest.approx(-0.1494, abs=5e-5)
    assert np.sqrt(at_30 @ fit.covariance @ at_30) == pytest.approx(0.0041, abs=5e-5)


def test_voltage_standard_by_days():
    """H.5: means and standard deviations of 5 readings on each of 10 days, Table H.9 (from memory)."""
    means = 10.0 + 1e-6 * np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41])
    spreads = 1e-6 * np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86])
    # five readings of just that mean and spread: the analysis of variance asks for no more
    shape = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) / np.sqrt(2.5)
    table = one_way([mean + spread * shape for mean, spread in zip(means, spreads, strict=True)])
    assert means.mean() == pytest.approx(10.000097, abs=0.5e-6)
    assert np.std(means, ddof=1) == pytest.approx(57e-6, abs=0.5e-6)
    assert np.sqrt(table.within / table.df_within) == pytest.approx(85e-6, abs=0.5e-6)
    assert table.f == pytest.approx(2.25, abs=0.02)
