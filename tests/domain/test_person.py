"""What a lab may state of a person."""

from __future__ import annotations

import pytest

from quintain.domain.person import Identity, PersonFacts, check_code


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"height": 178.0}, "height must lie from 0.5 to 2.6 m, got 178 m"),
        ({"body_mass": 7.0}, "body mass must lie from 10 to 300 kg, got 7 kg"),
        ({"body_mass": float("nan")}, "body mass"),
        ({"experience": -1.0}, "experience must lie from 0 to 90 years"),
        ({"side": "lft"}, "side must be 'left', 'right' or empty"),
    ],
)
def test_slips_are_refused_with_unit_and_limits(facts, words):
    with pytest.raises(ValueError, match=words):
        PersonFacts(**facts)


@pytest.mark.parametrize("code", ["P01", "7", "a.b-c_d", "Å1", "x" * 40])
def test_codes(code):
    assert check_code(code) == code


@pytest.mark.parametrize("code", ["", " P01", "P 01", "=P01", "-1", "_x", "a/b", "../up", "x" * 41, "P01\n"])
def test_no_codes(code):
    with pytest.raises(ValueError, match="a code is"):
        check_code(code)


def test_a_wrong_birth_is_not_repeated():
    """Messages end up in logs."""
    with pytest.raises(ValueError, match="born must be") as caught:
        Identity(born="17 May 1990")
    assert "17 May" not in str(caught.value)
    assert Identity(born="1990-05").born == "1990-05"
