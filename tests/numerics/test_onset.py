"""Strikes found, told apart and flagged on recordings of known content (derived here)."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

from quintain.numerics.onset import StrikeScanner, find_strikes
from ringing_rig import record

RATE = 2000.0
BLOW = (2.0, 2000.0, 0.012)
MODE = {"natural_frequency": 150.0, "damping_ratio": 0.03}
KNOWN_OR_NOT = pytest.mark.parametrize("mode", [MODE, {}], ids=["known mode", "unknown mode"])


def starts(events) -> list[float]:
    return [event.start / RATE for event in events]


@KNOWN_OR_NOT
@pytest.mark.parametrize("sign", [1, -1])
def test_one_blow(mode, sign):
    (event,) = find_strikes(sign * record([BLOW], drift=2.0), RATE, **mode)
    assert event.start / RATE == pytest.approx(2.0, abs=0.0015)  # cell lags the touch, derived: 3 samples
    assert event.sign == sign
    assert len(event.contacts) == 1
    assert event.flags == ()
    # zero: 3 N / sqrt(2000) = 0.07 N, and one second's line extrapolated by half of it doubles that
    assert event.zero == pytest.approx(sign * 44.0, abs=0.5)
    assert event.noise == pytest.approx(3.0, rel=0.06)  # 2000 samples: 1.6 %, times four
    assert event.quiet_before[1] - event.quiet_before[0] >= 0.9 * RATE
    assert event.quiet_after == (event.stop, event.stop + RATE / 2)


def test_stop_is_where_the_ringing_has_died():
    y = record([BLOW], frequency=100.0, damping=0.005, seconds=8.0)
    clean = record([BLOW], frequency=100.0, damping=0.005, seconds=8.0, noise=0.0) - 40
    for mode in ({}, {"natural_frequency": 100.0, "damping_ratio": 0.005}):
        (event,) = find_strikes(y, RATE, **mode)
        # dead means that ringing is lost in the noise of 3 N; one hop of 20 ms earlier it stood out
        assert np.abs(clean[event.stop :]).max() < 2 * 3.0
        assert np.abs(clean[event.stop - 400 : event.stop]).max() > 3.0


@KNOWN_OR_NOT
@pytest.mark.parametrize("apart", [0.06, 0.12, 0.3])
@pytest.mark.parametrize("damping", [0.005, 0.03, 0.1])
def test_double_blows_are_two_strikes(mode, apart, damping):
    mode = mode and {**mode, "damping_ratio": damping}
    y = record([BLOW, (2.0 + apart, 1400.0, 0.012)], damping=damping)
    events = find_strikes(y, RATE, **mode)
    # half a period of the rig (3.3 ms) smears what is found under ringing
    assert starts(events) == pytest.approx([2.0, 2.0 + apart], abs=0.0035)
    assert all("several-contacts" not in event.flags for event in events)
    if "overlapping" in events[0].flags:
        assert events[0].stop == events[1].start
        assert {"loaded-before", "short-quiet"} <= set(events[1].flags)


@pytest.mark.parametrize(("apart", "n_strikes"), [(0.030, 1), (0.034, 1), (0.045, 2), (0.055, 2)])
def test_the_rule_for_contacts_that_are_close(apart, n_strikes):
    # contacts of 12 ms: the gap is 12 ms shorter than the time apart; the rule says 27 ms
    events = find_strikes(record([BLOW, (2.0 + apart, 1400.0, 0.012)]), RATE, **MODE)
    assert len(events) == n_strikes
    assert ("several-contacts" in events[0].flags) == (n_strikes == 1)


def test_the_gap_can_be_set():
    y = record([BLOW, (2.06, 1400.0, 0.012)])
    (event,) = find_strikes(y, RATE, merge_gap=0.1, **MODE)
    assert len(event.contacts) == 2


@pytest.mark.parametrize("rate", [500.0, 2000.0, 10_000.0, 50_000.0])
def test_a_discharge_is_no_strike(rate):
    y = record([], rate=rate)
    y[int(2 * rate)] += 8000
    y[int(3 * rate)] -= 3000
    assert find_strikes(y, rate) == []


@pytest.mark.parametrize("rate", [500.0, 10_000.0])
def test_hum_and_drift_are_no_strikes(rate):
    assert find_strikes(record([], rate=rate, hum=30.0, drift=5.0, seconds=12.0), rate) == []


def test_hum_counts_as_noise():
    (event,) = find_strikes(record([BLOW], hum=20.0), RATE)
    assert event.noise == pytest.approx(np.hypot(3.0, 20.0 / np.sqrt(2)), rel=0.05)


def test_standing_on_the_plate():
    time = np.arange(int(8 * RATE)) / RATE
    sway = 700 * np.clip((time - 2) / 0.15, 0, 1) + 40 * np.sin(2 * np.pi * 1.3 * time) * (time > 2.2)
    load = np.where(time < 6, sway, 0.0)
    (event,) = find_strikes(record([], seconds=8.0, load=load), RATE)
    assert "no-return-to-zero" in event.flags
    assert 2.0 <= event.start / RATE < 2.05
    # two seconds of patience from the first hop, and the hop in which it ran out
    assert event.stop / RATE == pytest.approx(event.start / RATE + 2.0, abs=0.06)


def test_leaning_before_the_blow():
    time = np.arange(int(8 * RATE)) / RATE
    lean = 150 * np.clip(time - 2, 0, 1) * (time < 4)
    (event,) = find_strikes(record([(3.2, 2000.0, 0.012)], seconds=8.0, load=lean), RATE)
    assert "loaded-before" in event.flags
    assert event.start / RATE == pytest.approx(3.2, abs=0.003)
    assert event.zero == pytest.approx(40.0, abs=1.0)  # of the time before the lean


def test_a_slow_push_is_no_strike():
    time = np.arange(int(8 * RATE)) / RATE
    push = 300 * np.clip(time - 2, 0, 1) * np.clip(5 - time, 0, 1)
    assert find_strikes(record([], seconds=8.0, load=push), RATE) == []


def test_a_rig_that_swings_all_the_time():
    time = np.arange(int(8 * RATE)) / RATE
    swing = 60 * np.sin(2 * np.pi * 8 * time) * np.exp(-time / 6)
    (event,) = find_strikes(record([(3.0, 2000.0, 0.012)], seconds=8.0, load=swing), RATE, **MODE)
    assert event.start / RATE == pytest.approx(3.0, abs=0.003)


@KNOWN_OR_NOT
def test_recording_that_begins_inside(mode):
    y = record([BLOW])
    (event,) = find_strikes(y[4008:], RATE, **mode)
    assert event.start == 0
    assert {"cut-off", "short-quiet"} <= set(event.flags)


@KNOWN_OR_NOT
def test_recording_that_begins_in_the_ringing_holds_no_strike(mode):
    assert find_strikes(record([BLOW])[4040:], RATE, **mode) == []


def test_recording_that_ends_inside():
    (event,) = find_strikes(record([BLOW])[:4012], RATE)
    assert "cut-off" in event.flags
    assert event.stop == 4012


def test_missing_samples():
    y = record([BLOW, (4.0, 1000.0, 0.01)])
    y[4010:4013] = np.nan  # inside the first blow
    y[2000:2100] = np.nan  # at rest
    first, second = find_strikes(y, RATE)
    assert "missing-samples" in first.flags
    assert "missing-samples" not in second.flags
    y[4010:4500] = np.nan  # too many: the event ends there
    first, second = find_strikes(y, RATE)
    assert {"missing-samples", "cut-off"} <= set(first.flags)
    assert first.stop == 4010


def test_clipped_and_coarse():
    y = np.clip(record([BLOW, (4.0, 800.0, 0.01)]), -1000, 1500)
    for limits in ((-1000.0, 1500.0), None):
        first, second = find_strikes(y, RATE, limits=limits)
        assert "clipped" in first.flags
        assert "clipped" not in second.flags
    coarse = np.round(record([BLOW], noise=0.05))
    (event,) = find_strikes(coarse, RATE)
    assert "coarse-steps" in event.flags
    assert event.noise == pytest.approx(1 / np.sqrt(12), rel=0.01)  # a uniform step of 1 N


def test_flicker_of_one_step_after_a_still_start():
    y = np.zeros(8000)
    y[5000:5040] = 1.0
    y[6001:6003] = -1.0
    assert find_strikes(y, RATE) == []


def test_weak_strike_is_told():
    (event,) = find_strikes(record([(2.0, 22.0, 0.02)]), RATE)
    assert "weak" in event.flags


def test_tremor_beside_a_strike_is_no_strike():
    y = record([(1.8, 60.0, 0.012), (2.0, 8000.0, 0.012)])
    (event,) = find_strikes(y, RATE, **MODE)
    assert event.start / RATE == pytest.approx(2.0, abs=0.0015)
    (alone,) = find_strikes(record([(1.8, 60.0, 0.012)]), RATE, **MODE)
    assert alone.start / RATE == pytest.approx(1.8, abs=0.0025)  # 60 N leave the noise later


def test_minimum_force():
    assert find_strikes(record([(2.0, 200.0, 0.012)]), RATE, minimum_force=500.0) == []


@pytest.mark.parametrize("mode", [{"natural_frequency": 100.0, "damping_ratio": 0.005}, {}])
def test_a_train_on_a_rig_that_never_rests(mode):
    # invented: 60 blows, 0.45 s apart, on a rig that rings for two seconds; the stretch is cut on the way
    blows = [(1.2 + 0.45 * k, 1500.0 + 500 * (k % 3), 0.015) for k in range(60)]
    events = find_strikes(record(blows, seconds=30.0, frequency=100.0, damping=0.005), RATE, **mode)
    assert starts(events) == pytest.approx([blow[0] for blow in blows], abs=0.006)


def test_gap_in_time_starts_anew():
    y = record([BLOW, (4.0, 1000.0, 0.01)])
    scanner = StrikeScanner(RATE)
    events = scanner.push(y[:4010], 0)
    events += scanner.push(y[6000:], 26_000)  # 16 000 samples were never written
    events += scanner.finish()
    assert [event.start for event in events] == pytest.approx([4002, 28_002], abs=3)
    assert "cut-off" in events[0].flags
    assert events[0].stop == 4010
    with pytest.raises(ValueError, match="handed over already"):
        scanner.push(y, 10)


@pytest.mark.parametrize(
    "y", [np.zeros(5000), np.full(5000, 3.3), np.empty(0), np.ones(5), np.full(4000, np.nan)]
)
def test_nothing_there(y):
    assert find_strikes(y, RATE) == []


@pytest.mark.parametrize(
    "settings",
    [
        {"rate": 0.0},
        {"rate": np.nan},
        {"threshold_sigmas": -1.0},
        {"merge_gap": -0.1},
        {"patience": 0.0},
        {"natural_frequency": 100.0},
        {"natural_frequency": [100.0, 200.0], "damping_ratio": 0.1},
        {"natural_frequency": -100.0, "damping_ratio": 0.1},
        {"natural_frequency": 100.0, "damping_ratio": 1.0},
    ],
)
def test_bad_settings(settings):
    with pytest.raises(ValueError):
        find_strikes(np.zeros(100), **{"rate": RATE, **settings})


def test_two_dimensions_are_refused():
    with pytest.raises(ValueError, match="one dimension"):
        find_strikes(np.zeros((10, 2)), RATE)


@pytest.mark.interpreted
def test_without_the_compiler():
    code = (
        "import numpy as np; from quintain.numerics.onset import find_strikes; "
        "y = np.random.default_rng(1).normal(0, 3, 3000); y[2000:2012] += 900; "
        "print(find_strikes(y, 1000.0)[0].start)"
    )
    found = []
    for disabled in ("0", "1"):
        environment = {**os.environ, "NUMBA_DISABLE_JIT": disabled}
        run = subprocess.run(
            [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
        )
        found.append(int(run.stdout))
    assert found == [2000, 2000]
