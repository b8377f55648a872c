"""The figure of two clocks says what was matched, missed and extra, and how far the line can be trusted."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

import invented_session as invented
from quintain.domain.motion import ImuSetup
from quintain.report.figures.clocks import clock_facts, describe_clocks, draw_clocks
from quintain.report.page import render
from quintain.report.strikes_content import strikes_content
from quintain.report.typeset import typeset
from quintain.tasks.motion import join_motion


@pytest.fixture(scope="module")
def analysis():
    """Six strikes on the limb; the force missed the second and saw one more at the end."""
    session = invented.session(6)
    starts = [*np.delete(session.starts, 1), session.starts[-1] + 0.9]
    shown = invented.imu_recording(session.samples, session.rate)
    setup = ImuSetup(lever_arm=invented.ARM, u_lever_arm=0.002)
    return join_motion(invented.analysis_of(starts), shown, setup=setup).analysis


def test_what_was_matched_missed_and_extra(analysis):
    clock = analysis.clock
    assert clock.strikes == (1, 2, 3, 4, 5)
    assert clock.missed == (6,)
    (extra,) = clock.extra
    # the second blow of the session lies between the first two matched ones
    assert clock.times[0] < extra - clock.offset < clock.times[1]
    # the sensor's clock is ahead by this much and does not drift; 1 kHz edges are found within 1 ms
    assert abs(clock.offset - invented.SENSOR_AHEAD) < max(0.001, 2 * clock.u_offset)
    assert abs(clock.drift) < 3 * clock.u_drift
    assert np.abs(clock.residuals).max() < 0.001
    facts = dict(clock_facts(clock))
    assert facts["Matched"] == "5 of 6 strikes"
    assert facts["Missed by the motion"] == "1: strike 6"
    assert facts["Seen by the motion alone"] == f"1: {extra:.2f} s on its own clock"
    assert facts["Tied by"] == "impacts alone"
    assert re.fullmatch(r"37\.25\d* ± 0\.00\d+ s .*", facts["Offset"])


def test_every_matched_strike_is_drawn(analysis):
    svg = draw_clocks(analysis.clock)
    assert svg.count('class="pt"') == 5
    assert svg.count('class="limit"') == 2
    assert "5 of 6 strikes matched" in describe_clocks(analysis.clock)
    odd = replace(analysis.clock, residuals=(0.009, *analysis.clock.residuals[1:]))
    assert draw_clocks(odd).count('class="pt-o"') == 1  # hollow: it did not count


def test_the_report_shows_it_where_there_is_one(analysis):
    content = strikes_content(analysis, invented=True)
    page = render("strikes.html", content)
    assert "Clocks of force and motion" in page
    assert "1: strike 6" in page
    assert typeset("strikes.typ", content)[:4] == b"%PDF"
    none = strikes_content(replace(analysis, clock=None), invented=True)
    assert "Clocks of force" not in render("strikes.html", none)
    assert typeset("strikes.typ", none)[:4] == b"%PDF"


def test_a_stated_offset_is_said():
    session = invented.session(2)
    shown = invented.imu_recording(session.samples, session.rate)
    joined = join_motion(
        invented.analysis_of(session.starts), shown, setup=ImuSetup(),
        clock_offset=(invented.SENSOR_AHEAD, 0.05),
    )  # fmt: skip
    assert joined.analysis.clock.tie == "impacts near the stated offset"
    lost = join_motion(invented.analysis_of([0.3]), shown, setup=ImuSetup())
    assert lost.analysis.clock is None
