"""A rig is judged by its own history."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from quintain.domain.measured import Measured
from quintain.domain.rig_log import LogEntry
from quintain.tasks.rig_file import append_log
from quintain.tasks.rig_health import rig_state

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
STEADY = (212.0, 212.3, 211.9, 212.1, 212.4, 212.0, 212.2)


@pytest.fixture
def rig(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text('name = "invented"\n[calibration]\ndate = 2026-10-01\n')
    return path


def log(rig, kind, days_ago, verdict="", **values):
    measured = {name: Measured(name, value, 0.1) for name, value in values.items()}
    append_log(rig, LogEntry(NOW - timedelta(days=days_ago), kind, "v", (), measured, verdict))


def taps(rig, frequencies, newest_days_ago=1.0):
    for i, frequency in enumerate(reversed(frequencies)):
        log(rig, "tap", newest_days_ago + 5 * i, natural_frequency=frequency)


def test_a_rig_without_evidence_is_undecided(rig):
    state = rig_state(rig, now=NOW)
    assert state.verdict == "undecided"
    assert any("no drop test" in reason for reason in state.reasons)
    assert any("tap: never done" in reason for reason in state.reasons)


def test_a_steady_rig_is_sound(rig):
    taps(rig, STEADY)
    log(rig, "drops", 3, "pass")
    state = rig_state(rig, now=NOW)
    assert state.verdict == "sound", state.reasons
    assert state.trends[0].known


def test_gains_of_calibrations_and_of_drops_are_never_one_chart(rig):
    """The one is the rig file's own, the other what was left to correct."""
    for i in range(7):
        log(rig, "drops", 30 * i, "pass", gain=1.0 + 0.001 * (i % 2))
    log(rig, "calibration", 400, gain=1.7)
    (gain,) = rig_state(rig, now=NOW).trends
    assert len(gain.values) == 7
    assert gain.upper < 1.1


def test_a_frequency_that_falls_is_seen(rig):
    """Moving range of the history is about 0.3 Hz, so three sigma is about 0.8 Hz; 3 Hz is a loose bolt."""
    taps(rig, (*STEADY, 209.0))
    log(rig, "drops", 3, "pass")
    state = rig_state(rig, now=NOW)
    assert state.verdict == "doubt"
    assert state.trends[0].jumped
    assert "natural frequency: the newest value" in state.reasons[0]


def test_too_few_checks_make_no_limits(rig):
    taps(rig, STEADY[:3])
    assert not rig_state(rig, now=NOW).trends[0].known


@pytest.mark.parametrize(("verdict", "expected"), [("fail", "doubt"), ("undecided", "undecided")])
def test_the_last_drop_test_counts(rig, verdict, expected):
    taps(rig, STEADY)
    log(rig, "drops", 9, "pass")
    log(rig, "drops", 2, verdict)
    assert rig_state(rig, now=NOW).verdict == expected


def test_what_is_due_is_said(rig):
    taps(rig, STEADY, newest_days_ago=20)
    log(rig, "drops", 3, "pass")
    state = rig_state(rig, now=NOW)
    assert [check.kind for check in state.due if check.overdue] == ["tap"]
    assert "tap: last done 20 days ago, allowed are 7" in state.reasons
