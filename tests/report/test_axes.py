"""Ticks, labels and thinning of curves."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quintain.report.figures.axes import Scale, area, line, round_ticks, text, thin, tick_label
from quintain.report.rounding import MINUS, NARROW


@given(st.floats(-1e6, 1e6), st.floats(1e-2, 1e6))
def test_ticks_are_few_round_and_inside(low: float, span: float) -> None:
    high = low + span
    if not high > low:
        return
    ticks = round_ticks(low, high)
    assert 1 <= len(ticks) <= 6
    # the edge tolerance of 1e-9 steps is for ranges that end on a tick
    assert all(low - 1e-6 * span <= tick <= high + 1e-6 * span for tick in ticks)
    steps = np.diff(ticks)
    if steps.size:
        first = f"{steps[0]:.0e}"[0]
        assert first in "125"
        # ticks up to 1e6 are held to 1e-10, steps are 1e-3 at least
        assert steps == pytest.approx(np.full(steps.size, steps[0]), rel=1e-6)


def test_at_least_two_ticks_on_any_ordinary_range() -> None:
    for top in np.geomspace(0.9, 90_000, 400):
        assert len(round_ticks(-0.05 * top, top)) >= 3


def test_tick_labels_have_the_decimals_of_their_step() -> None:
    assert tick_label(4000.0, 1000.0) == f"4{NARROW}000"
    assert tick_label(-0.5, 0.5) == f"{MINUS}0.5"
    assert tick_label(-0.0, 0.5) == "0.0"
    assert tick_label(20.0, 5.0) == "20"


@given(st.integers(0, 2**32 - 1), st.integers(10, 20_000))
def test_thinning_keeps_ends_and_extremes(seed: int, n: int) -> None:
    x = np.linspace(0, 600, n)
    y = np.random.default_rng(seed).normal(size=n)
    thin_x, thin_y = thin(x, y, 600)
    assert thin_x.size <= max(1202, 2)
    assert (thin_y.min(), thin_y.max()) == (y.min(), y.max())
    assert (thin_x[0], thin_x[-1]) == (0, 600)
    assert (np.diff(thin_x) > 0).all()


def test_a_missing_sample_breaks_the_line_even_when_thinned() -> None:
    x = np.arange(10_000.0)
    y = np.zeros(10_000)
    y[5000] = np.nan
    assert line(*thin(x / 10, y, 500), "raw").count("M") == 2
    assert line(np.arange(3.0), np.array([1.0, np.nan, 2.0]), "raw").count("M") == 2
    assert line(np.arange(2.0), np.full(2, np.nan), "raw") == ""
    assert area(np.arange(3.0), np.full(3, np.nan), np.ones(3), "band") == ""


def test_scale_maps_ends_to_ends() -> None:
    scale = Scale(-10, 30, 200, 0)
    assert (scale(-10), scale(30), scale(10)) == (200, 0, 100)
    assert scale.many(np.array([-10.0, 30.0])).tolist() == [200, 0]


def test_words_in_a_figure_stay_words() -> None:
    drawn = text(0, 0, "<script>&", ("lab",))
    assert "&lt;script&gt;&amp;" in drawn
    assert re.search(r"<script", drawn) is None
