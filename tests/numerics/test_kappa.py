"""The shipped table of coverage factors: read right, and sane."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics import kappa_table
from quintain.numerics.kappa import coverage_factors


def test_nodes_are_returned_as_they_stand_in_the_table():
    for i, periods in enumerate(kappa_table.PERIODS):
        for j, samples in enumerate(kappa_table.SAMPLES):
            found = coverage_factors(periods, samples, kappa_table.NOISE[1])
            assert found.trace == pytest.approx(kappa_table.TRACE[i][j][1], rel=1e-9)
            assert found.peak == pytest.approx(kappa_table.PEAK[i][j][1], rel=1e-9)


def test_between_nodes_the_mean_of_logarithms_halves_the_way():
    # derived here: linear interpolation in the logarithm of each axis
    a, b = kappa_table.SAMPLES[3:5]
    middle = coverage_factors(kappa_table.PERIODS[2], np.sqrt(a * b), kappa_table.NOISE[0]).peak
    ends = [kappa_table.PEAK[2][j][0] for j in (3, 4)]
    assert middle == pytest.approx(np.mean(ends), rel=1e-9)


def test_outside_the_table_its_edge_holds():
    assert coverage_factors(1e3, 1e5, 1e-9) == coverage_factors(
        kappa_table.PERIODS[-1], kappa_table.SAMPLES[-1], kappa_table.NOISE[0]
    )


def test_factors_are_those_of_a_smoother_that_is_roughly_honest():
    # far from 1 would mean that the smoother's own statement is worthless; bounds by common sense, no source
    for table in (kappa_table.TRACE, kappa_table.PEAK):
        assert np.min(table) > 0.2
        assert np.max(table) < 4


@pytest.mark.parametrize("bad", [(0.0, 8.0, 1e-3), (1.0, -1.0, 1e-3), (1.0, 8.0, np.nan)])
def test_bad_arguments_are_refused(bad):
    with pytest.raises(ValueError, match="above 0"):
        coverage_factors(*bad)
