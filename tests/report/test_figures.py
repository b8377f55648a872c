"""Figures of strikes: what they show, and that they are the same every time."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from quintain.domain.flags import flag
from quintain.domain.strike import ForceCurve, Strike
from quintain.report.figures.overview import draw_overview, one_scale
from quintain.report.figures.strike import COVERAGE, draw_strike, window
from quintain.report.figures.style import CHART_RULES, DARK, LIGHT, page_colours, standalone
from report import invented_analysis as invented


@pytest.fixture(scope="module")
def strikes() -> tuple[Strike, ...]:
    return invented.strikes()


def _curve(svg: str, kind: str) -> np.ndarray:
    """Points of one path, read back from the drawing."""
    path = re.search(rf'<path class="{kind}" d="([^"]*)"', svg)
    assert path
    return np.array([[float(v) for v in pair.split()] for pair in re.split("[ML]", path[1])[1:]])


def test_every_kind_of_strike_is_drawn_as_well_formed_svg(strikes: tuple[Strike, ...]) -> None:
    for strike in strikes:
        svg = draw_strike(strike, rate=invented.RATE)
        for drawn in (svg, standalone(svg)):
            assert ET.fromstring(drawn).tag.endswith("svg")
            assert "nan" not in drawn
            assert "inf" not in drawn


def test_raw_trace_stands_behind_the_corrected_curve(strikes: tuple[Strike, ...]) -> None:
    svg = draw_strike(strikes[0], rate=invented.RATE)
    order = [svg.index(f'class="{kind}"') for kind in ("pale", "band", "raw", "cor")]
    assert order == sorted(order)


def test_without_a_correction_only_the_raw_trace_is_drawn(strikes: tuple[Strike, ...]) -> None:
    svg = draw_strike(strikes[2], rate=invented.RATE)
    assert 'class="raw"' in svg
    assert 'class="cor"' not in svg
    assert 'class="band"' not in svg
    assert "not corrected" in svg
    assert 'class="pale"' not in svg  # clipped: no impulse is stated, so none is drawn
    assert 'class="pale"' in draw_strike(strikes[3], rate=invented.RATE)


def test_the_drawing_says_what_the_numbers_say(strikes: tuple[Strike, ...]) -> None:
    """Reads the peak back through the ticks of the drawing."""
    strike = strikes[0]
    svg = draw_strike(strike, rate=invented.RATE)
    ticks = re.findall(r'class="fin" x="48.0" y="([\d.]+)">([\d\u202f−]+)</text>', svg)
    (y0, low), (y1, high) = [(float(y) - 4, float(t.replace("\u202f", ""))) for y, t in (ticks[0], ticks[-1])]
    corrected = _curve(svg, "cor")
    peak = low + (corrected[:, 1].min() - y0) / (y1 - y0) * (high - low)
    # places are written to 0.1 px of about 200 px for 3500 N; ticks likewise
    assert peak == pytest.approx(strike.quantities["peak_force"].value, abs=6.0)
    band = _curve(svg.replace("Z", ""), "band")
    top = low + (band[:, 1].min() - y0) / (y1 - y0) * (high - low)
    assert top == pytest.approx((strike.curve.corrected + COVERAGE * strike.curve.u_corrected).max(), abs=6.0)


def test_sample_points_are_shown_only_where_they_can_be_told_apart(strikes: tuple[Strike, ...]) -> None:
    assert 'class="dots"' in draw_strike(strikes[0], rate=invented.RATE)
    fine = strikes[0].curve
    dense = dataclasses.replace(
        strikes[0],
        curve=ForceCurve(fine.time, fine.corrected, fine.time, fine.corrected, fine.u_corrected),
    )
    assert 'class="dots"' not in draw_strike(dense, rate=16_000.0)


def test_a_long_dense_curve_stays_small(strikes: tuple[Strike, ...]) -> None:
    time = np.linspace(-0.02, 0.2, 400_000)
    force = invented.pulse(time, 3000.0, 0.04) + np.random.default_rng(1).normal(0, 30, time.size)
    curve = ForceCurve(time, force, time, force, np.full(time.size, 20.0))
    svg = draw_strike(dataclasses.replace(strikes[0], curve=curve), rate=2e6)
    # 2 points a column of pixels, 12 characters a point, four curves
    assert len(svg) < 100_000


def test_missing_and_empty_curves_do_not_stop_the_drawing(strikes: tuple[Strike, ...]) -> None:
    empty = np.empty(0)
    holes = strikes[0].curve.raw.copy()
    holes[40:60] = np.nan
    for curve in (
        ForceCurve(strikes[0].curve.raw_time, holes, empty, empty, empty),
        ForceCurve(empty, empty, empty, empty, empty),
        ForceCurve(np.array([0.0]), np.array([5.0]), empty, empty, empty),
        ForceCurve(strikes[0].curve.raw_time, np.full_like(holes, np.nan), empty, empty, empty),
    ):
        changed = dataclasses.replace(strikes[0], curve=curve)
        ET.fromstring(draw_strike(changed, rate=invented.RATE))
        ET.fromstring(draw_overview([changed], one_scale([changed])))
        low, high = window(changed)
        assert high > low


def test_all_strikes_share_one_scale_and_doubts_are_marked(strikes: tuple[Strike, ...]) -> None:
    scale = one_scale(strikes)
    assert scale.force_high == max(np.nanmax(s.curve.raw) for s in strikes)
    svg = draw_overview(strikes, scale)
    assert svg.count("<g ") == sum(not s.sound for s in strikes)
    assert svg.count('class="cor"') == sum(s.curve.corrected.size > 0 for s in strikes)
    unsafe = dataclasses.replace(strikes[0], flags=(flag("overload"),))
    assert "m-stop" in draw_overview([unsafe], scale)
    assert "m-stop" not in svg


def test_one_long_event_does_not_flatten_all_others() -> None:
    usual = [invented.strike(i, 3.0 * i) for i in range(1, 6)]
    long = invented.strike(6, 40.0, peaks=(900.0,) * 20)
    scale = one_scale([*usual, long])
    assert scale.cut == (6,)
    assert scale.time_high < 0.35


def test_the_same_strike_is_drawn_the_same(strikes: tuple[Strike, ...]) -> None:
    assert draw_strike(strikes[0], rate=2e3) == draw_strike(invented.strikes()[0], rate=2e3)


def _contrast(a: str, b: str) -> float:
    """WCAG 2.2 contrast ratio, relative luminance of sRGB."""
    lum = []
    for colour in (a, b):
        channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        lum.append(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2])
    return (max(lum) + 0.05) / (min(lum) + 0.05)


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_text_and_curves_can_be_seen(theme: dict[str, str]) -> None:
    # WCAG 2.2: 4.5 for text (1.4.3), 3 for graphics that carry meaning (1.4.11)
    for name in ("ink", "ink-2", "ink-3", "accent", "stop"):
        assert _contrast(theme[name], theme["paper"]) >= 4.5
    for name in ("raw", "edge", "accent"):
        assert _contrast(theme[name], theme["paper"]) >= 3
    assert _contrast(theme["accent"], theme["band"]) >= 3


def test_both_themes_hold_every_colour_the_rules_use() -> None:
    used = set(re.findall(r"var\(--([\w-]+)\)", CHART_RULES))
    assert used <= set(LIGHT)
    assert set(LIGHT) == set(DARK)
    assert page_colours().count("--paper") == 2
    assert "var(" not in standalone('<svg class="chart"></svg>')
