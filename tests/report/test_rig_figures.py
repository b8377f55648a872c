"""Charts of the rig report: points, loops, decays."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from quintain.report.figures.decay import draw_decay
from quintain.report.figures.frame import frame, ground
from quintain.report.figures.loops import Loop, draw_loops
from quintain.report.figures.points import Course, Level, Point, draw_points
from quintain.report.figures.style import CHART_RULES, standalone


def test_points_stand_where_their_ticks_say() -> None:
    points = [Point(0.2, -0.004, 0.003), Point(0.5, 0.0, None), Point(1.0, 0.004, 0.002, doubted=True)]
    svg = draw_points(points, name="difference, %", x_unit="m", label="differences", y_factor=100.0)
    ET.fromstring(svg)
    ticks = {
        float(words.replace("−", "-")): float(y) - 4
        for y, words in re.findall(r'class="fin" x="[\d.]+" y="([\d.]+)">([^<]+)<', svg)
    }
    shapes = [float(y) for y in re.findall(r'class="pt(?:-o)?" d="M[\d.]+ ([\d.]+)m', svg)]
    slope = (ticks[0.4] - ticks[0.0]) / 0.4 if 0.4 in ticks else (ticks[0.5] - ticks[0.0]) / 0.5
    # places are written to 0.1 px
    assert shapes == pytest.approx([ticks[0.0] + slope * v for v in (-0.4, 0.0, 0.4)], abs=0.2)
    assert svg.count('class="err"') == 2
    assert svg.count('class="pt-o"') == 1


def test_levels_are_named_and_limits_dashed() -> None:
    levels = [
        Level(212.7, "mean", band=0.1),
        Level(213.4, "+3 s", limit=True),
        Level(212.1, "−3 s", limit=True),
    ]
    svg = draw_points(
        [Point(i, 212.7) for i in range(5)], name="f, Hz", x_unit="", label="chart", levels=levels
    )
    assert svg.count('class="limit"') == 2
    assert svg.count('class="pale"') == 1
    for level in levels:
        assert f">{level.words}</text>" in svg


def test_a_course_runs_behind_its_points_between_its_limits() -> None:
    course = Course([0.0, 1.0, 2.0], [10.0, 10.5, 10.75], [9.0, 8.5, 8.0], [11.0, 11.5, 12.0])
    points = [Point(x, y) for x, y in enumerate([10.0, 11.0, 11.0])]
    svg = draw_points(points, name="n", x_unit="", label="chart", course=course)
    (line,) = re.findall(r'class="cor" d="M([^"]+)"', svg)
    (pale,) = re.findall(r'class="pale" d="M([^"]+)Z"', svg)
    drawn = [[float(n) for n in place.split()] for place in line.split("L")]
    band = [[float(n) for n in place.split()] for place in pale.split("L")]
    first = [float(n) for n in re.search(r'class="pt" d="M([\d.]+ [\d.]+)m', svg)[1].split()]
    assert drawn[0] == pytest.approx(first)  # the first average is the first value
    assert [x for x, _ in band] == [*(x for x, _ in drawn), *(x for x, _ in reversed(drawn))]
    assert all(high < y < low for (_, high), (_, y), (_, low) in zip(band, drawn, band[::-1], strict=False))
    assert svg.index('class="pale"') < svg.index('class="cor"') < svg.index('class="pt"')


def test_nothing_and_strange_numbers_are_drawn_too() -> None:
    for points in ([], [Point(math.nan, 1.0)], [Point(3.0, 5.0, math.inf)], [Point(0.0, 0.0)] * 3):
        svg = draw_points(points, name="n", x_unit="u", label="l")
        assert ET.fromstring(svg).tag.endswith("svg")
        assert "nan" not in svg
    empty = np.empty(0)
    ET.fromstring(draw_loops([Loop(empty, empty, "none")], label="l"))
    ET.fromstring(draw_loops([], label="l"))
    ET.fromstring(draw_decay(empty, empty, empty, unit="N", label="l"))


def test_the_newest_loop_is_blue_and_named_at_its_top() -> None:
    x = np.linspace(0, np.pi, 2000)
    loops = [Loop(0.04 * np.sin(x), h * 1000 * np.sin(x) ** 2, f"{h} m") for h in (1.0, 2.0)]
    svg = draw_loops(loops, label="loops")
    assert svg.count('class="cor"') == 1
    assert svg.count('class="raw"') == 1
    assert re.search(r'class="mid lab-a"[^>]*>2.0 m<', svg)
    assert len(svg) < 15_000  # 300 points a loop of about 12 characters


def test_words_on_the_lower_axis_replace_numbers_and_are_escaped() -> None:
    place = frame((0, 10), (0, 1), height=200)
    drawn = "".join(ground(place, "n <&>", "", x_words=[(2.0, "Sep"), (8.0, "<Oct>")]))
    assert ">Sep</text>" in drawn
    assert "&lt;Oct&gt;" in drawn
    assert "n &lt;&amp;&gt;" in drawn


def test_every_class_used_has_a_rule() -> None:
    time = np.linspace(0, 0.1, 200)
    ring = np.exp(-30 * time) * np.cos(1300 * time)
    drawn = draw_decay(time, ring, ring, unit="N", label="tap")
    drawn += draw_points([Point(1, 1, 1), Point(2, 2, 1, 3, True)], name="n", x_unit="u", label="l",
                         levels=[Level(1, "a", True, 0.1)])  # fmt: skip
    drawn += draw_loops([Loop(time, ring, "a"), Loop(time, ring, "law", True)], label="l")
    for names in set(re.findall(r'class="([^"]+)"', drawn)):
        for name in names.split():
            assert f".chart .{name} " in CHART_RULES or name == "chart", name
    assert "var(" not in standalone(draw_decay(time, ring, ring, unit="N", label="tap"))
