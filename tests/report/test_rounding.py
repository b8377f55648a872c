"""Rounding by the uncertainty."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quintain.domain.measured import Measured
from quintain.report.rounding import MINUS, NARROW, number, rounded, shown


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        # JCGM 100:2008, 7.2.6: "ys = 10,057 62 Ohm with uc = 27 mOhm is rounded to 10,058 Ohm" (from memory);
        # our rule agrees here
        (10.05762, 0.027, ("10.058", "0.027")),
        # one or two digits by the leading digit: common practice, no source; cases worked by hand
        (3221.7, 52.1, (f"3{NARROW}220", "50")),
        (8.6012, 0.1413, ("8.60", "0.14")),
        (156.2, 3.1, ("156", "3")),
        (134.41, 2.59, ("134.4", "2.6")),
        (38.42, 2.96, ("38", "3")),
        (38.42, 0.0996, ("38.42", "0.10")),
        (38.42, 0.0951, ("38.42", "0.10")),
        (38.42, 0.94, ("38.4", "0.9")),
        (1234567.0, 150000.0, (f"1{NARROW}230{NARROW}000", f"150{NARROW}000")),
        (-0.42, 0.18, (f"{MINUS}0.42", "0.18")),
        (-0.0004, 0.5, ("0.0", "0.5")),
        (12.0, 300.0, ("0", "300")),
        (2.5, 0.0, ("2.50", "0")),
        (9.996, None, ("10", "?")),
        (9.986, math.nan, ("9.99", "?")),
        (math.nan, 1.0, ("?", "?")),
        (0.0, None, ("0", "?")),
    ],
)
def test_rounds_by_the_uncertainty(value: float, expanded: float | None, text: tuple[str, str]) -> None:
    assert rounded(value, expanded) == text


def test_measured_is_shown_in_the_unit_of_the_glossary() -> None:
    assert shown(Measured("contact_time", 0.0355, 0.00017)) == ("35.5", "0.3", "ms")
    assert shown(Measured("rate_of_force_development", 640_400.0, 25_000.0)).text == "640 ± 50 kN/s"
    assert shown(Measured("restitution", 0.4312, 0.0071)).text == "0.431 ± 0.014"
    assert shown(Measured("impulse", 38.4, None)).spread == "± ? N s"


def _plain(text: str) -> float:
    return float(text.replace(NARROW, "").replace(MINUS, "-"))


@given(st.floats(-1e12, 1e12), st.floats(1e-9, 1e12))
def test_rounding_loses_at_most_half_of_the_last_place(value: float, expanded: float) -> None:
    text, spread = rounded(value, expanded)
    digits = spread.replace(NARROW, "").replace(".", "").strip("0")
    assert len(digits) <= 2
    # one digit from 3 to 9: half a unit in the last place is at most 1/6 of what is shown
    assert abs(_plain(spread) - expanded) <= expanded / 6
    assert abs(_plain(text) - value) <= expanded / 6 + 1e-15 * abs(value)
    if "." in spread:
        assert len(text.partition(".")[2]) == len(spread.partition(".")[2])


@given(st.floats(allow_nan=True, allow_infinity=True), st.floats(allow_nan=True, allow_infinity=True))
def test_no_number_is_too_strange(value: float, expanded: float) -> None:
    text, spread = rounded(value, expanded)
    assert text
    assert spread


@given(st.floats(-1e15, 1e15), st.integers(1, 6))
def test_number_keeps_its_digits(value: float, digits: int) -> None:
    assert _plain(number(value, digits)) == pytest.approx(value, rel=0.51 * 10.0 ** (1 - digits), abs=1e-300)
