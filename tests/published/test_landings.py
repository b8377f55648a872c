"""
Human landings on a force plate, recorded by others: one event each, none on the empty plate.

Source: github.com/jmablog/common-parkour-vault-techniques @3ad041d, CC BY-SA 4.0. That each file holds
exactly one landing, and ``noise.txt`` none, is known from its protocol and seen in its traces.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quintain.numerics.onset import find_strikes
from quintain.numerics.quiet import measure_zero
from shared_data import shared

RATE = 1000.0
EXCERPT = Path(__file__).parents[1] / "data" / "landing_one_foot.txt"
PEOPLE = ("A01", "A02", "A03", "A04")
KINDS = ("dropD", "kongD", "dropS", "dashS")


def vertical(path: Path, header: int = 13) -> np.ndarray:
    return np.loadtxt(path, skiprows=header, usecols=2, encoding="latin-1")


@pytest.mark.parametrize("person", PEOPLE)
@pytest.mark.parametrize("kind", KINDS)
def test_each_landing_is_one_event(person, kind):
    for repetition in (1, 2, 3):
        force = vertical(shared("landings", f"{person}_{kind}_{repetition}.txt"))
        events = find_strikes(force, RATE)
        assert len(events) == 1
        event = events[0]
        # the foot is on the plate where the force has passed a tenth of its peak for the first time
        touch = int(np.argmax(force > 0.1 * force.max()))
        assert touch - 40 <= event.start <= touch
        assert event.sign == 1
        assert force[event.peak_index] == force[event.start : event.stop].max()


@pytest.mark.parametrize("person", PEOPLE)
def test_a_person_who_stays_is_told(person):
    # both-feet drops: the person is still standing at the end of the file
    for repetition in (1, 2, 3):
        events = find_strikes(vertical(shared("landings", f"{person}_dropD_{repetition}.txt")), RATE)
        assert "no-return-to-zero" in events[0].flags


def test_the_empty_plate_holds_no_event():
    force = vertical(shared("landings", "noise.txt"))
    assert find_strikes(force, RATE) == []
    zero = measure_zero(force, RATE)
    assert zero.noise == pytest.approx(3.5, abs=0.15)  # stated beside the data, two digits


def test_excerpt_that_everyone_has():
    force = vertical(EXCERPT, header=2)
    (event,) = find_strikes(force, RATE)
    # the landing, not the knock on the plate 0.27 s before it (rows count from 2.400 s)
    assert 915 <= event.start <= 930
    assert event.stop < 1400
    assert "short-quiet" in event.flags  # the knock broke the quiet
    assert event.noise == pytest.approx(3.5, abs=0.5)  # plate noise stated beside the data
