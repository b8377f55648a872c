"""Numbers of a file in SI units."""

from __future__ import annotations

import numpy as np

from quintain.readers.stamped import scaled
from quintain.readers.units import require_unit


def test_numbers_too_large_for_the_si_unit_are_missing() -> None:
    """Damaged bytes may be any number; the expectation is derived here."""
    numbers = scaled(np.array([1e308, -np.inf, 2.0]), require_unit("kN", channel="force", where="a file"))
    np.testing.assert_array_equal(numbers, [np.nan, np.nan, 2000.0])
