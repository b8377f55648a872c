"""
NIST StRD one-way analysis of variance, files in tests/data/nist (public domain), certified values inside.

Certified to 15 digits; how many can come out is set by the data's constant leading digits: a value of
double precision keeps 15 to 16 digits, of which 3 (SiRstv) or 7 (AtmWtAg) cancel before squares are taken.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quintain.study.variance_table import one_way

FOLDER = Path(__file__).parents[1] / "data" / "nist"


def groups(name: str, last: int) -> list[np.ndarray]:
    lines = (FOLDER / name).read_text().splitlines()[60:last]
    rows = np.array([[float(v) for v in line.split()] for line in lines])
    return [rows[rows[:, 0] == g, 1] for g in np.unique(rows[:, 0])]


@pytest.mark.parametrize(
    ("name", "last", "f", "between", "within", "df", "digits"),
    [
        ("SiRstv.dat", 85, 1.18046237440255, 5.11462616e-2, 2.1663656e-1, (4, 20), 1e-12),
        ("AtmWtAg.dat", 108, 15.9467335677930, 3.638341875e-9, 1.04951729166667e-8, (1, 46), 1e-8),
        ("SmLs01.dat", 249, 21.0, 1.68, 1.80, (8, 180), 1e-13),
    ],
)
def test_certified_values(name, last, f, between, within, df, digits):
    table = one_way(groups(name, last))
    assert (table.df_between, table.df_within) == df
    assert table.f == pytest.approx(f, rel=digits)
    assert table.between == pytest.approx(between, rel=digits)
    assert table.within == pytest.approx(within, rel=digits)
    # certified residual standard deviation is the root of the mean square within
    assert table.p < 0.5


def test_certified_residual_spread():
    table = one_way(groups("SiRstv.dat", 85))
    assert np.sqrt(table.within / table.df_within) == pytest.approx(1.04076068334656e-1, rel=1e-12)
