"""Strikes get their speed from an invented session; what is wrong with the motion is said, not guessed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import invented_session as invented
from quintain.domain.motion import GateTimes, ImuSetup, TrackSetup, TypedSpeed
from quintain.domain.recording import Recording
from quintain.domain.trace import ArraySamples, Block, Trace
from quintain.errors import AnalysisError, ChannelError, UnitError, UsageError
from quintain.tasks.motion import join_motion, offset_by_pulses

SETUP = ImuSetup(lever_arm=invented.ARM, u_lever_arm=0.002)


@pytest.fixture(scope="module")
def session():
    return invented.session(6)


def join(session, starts=None, *, setup=SETUP, samples=None, **recording):
    analysis = invented.analysis_of(session.starts if starts is None else starts)
    shown = invented.imu_recording(session.samples if samples is None else samples, session.rate, **recording)
    return join_motion(analysis, shown, setup=setup)


def codes(flags):
    return {f.code for f in flags}


def test_every_strike_gets_its_speed(session):
    joined = join(session)
    assert joined.source == "imu"
    assert not joined.flags
    for strike, motion, truth in zip(joined.analysis.strikes, joined.motions, session.speeds, strict=True):
        speed = strike.quantities["approach_speed"]
        assert speed.value == pytest.approx(truth, rel=0.02)
        assert abs(speed.value - truth) < 3 * speed.u
        assert codes(strike.flags) == {"resultant-speed"}
        assert motion.time[0] < -0.1
        assert motion.time[-1] > 0.03
        assert motion.u_time < 0.001
        whole = np.hypot(motion.u_speed_scale * speed.value, motion.u_speed_offset)
        assert whole == pytest.approx(speed.u, rel=1e-9)
    assert joined.clock.to_other(0.0) == pytest.approx(invented.SENSOR_AHEAD, abs=0.002)
    assert joined.analysis.history[-1].function == "quintain.join_motion"


def test_one_pulse_on_both_recordings_ties_the_clocks(session):
    force = np.zeros(12_000)
    force[3000:3100] = 5.0
    there = Trace("sync", "voltage", "V", 2000.0, ArraySamples(force, 2000.0))
    here = Trace("trigger", "voltage", "V", 1000.0, ArraySamples(force[::2], 1000.0, invented.SENSOR_AHEAD))
    offset, within = offset_by_pulses(there, here)
    assert offset == pytest.approx(invented.SENSOR_AHEAD, abs=0.001)
    assert within < 0.02
    # one strike of the force against six of the sensor says nothing without it
    analysis = invented.analysis_of(session.starts[:1])
    shown = invented.imu_recording(session.samples, session.rate)
    joined = join_motion(analysis, shown, setup=SETUP, clock_offset=(offset, within))
    assert joined.motions[0].approach_speed.value == pytest.approx(session.speeds[0], rel=0.02)
    assert "clock-ambiguous" in codes(join_motion(analysis, shown, setup=SETUP).flags)
    with pytest.raises(AnalysisError, match="no pulse"):
        offset_by_pulses(there, replace(here, source=ArraySamples(np.zeros(100), 1000.0)))


def test_a_turned_sensor_gives_the_same_speed(session):
    """Upside down: attitude is taken from stillness, so it does not matter."""
    flipped = session.samples * np.array([1, -1, -1, 1, -1, -1])
    setup = replace(SETUP, lever_arm=(0.08, 0.0, -0.02))
    one, other = join(session), join(session, samples=flipped, setup=setup)
    for a, b in zip(one.motions, other.motions, strict=True):
        assert a.approach_speed.value == pytest.approx(b.approach_speed.value, rel=1e-9)


def test_a_normal_that_points_backwards_withholds(session):
    forward = join(session, setup=replace(SETUP, normal=(1.0, 0.2, 0.1)))
    backward = join(session, setup=replace(SETUP, normal=(-1.0, -0.2, -0.1)))
    for a, b in zip(forward.motions, backward.motions, strict=True):
        assert ("moves-away" in codes(a.flags)) != ("moves-away" in codes(b.flags))
        assert (a.approach_speed is None) != (b.approach_speed is None)


def test_readings_in_g_taken_for_si_are_told(session):
    samples = session.samples / np.array([9.80665] * 3 + [1.0] * 3)
    joined = join(session, samples=samples, setup=replace(SETUP, edge_step=4.0))
    assert "still-not-g" in codes(joined.flags)
    assert "in g, not in m/s²" in joined.flags[0].message
    assert all(motion.approach_speed is None for motion in joined.motions)


def test_a_strike_that_the_force_missed_and_one_the_sensor_missed(session):
    without = np.delete(session.starts, 2)
    joined = join(session, without)
    assert "motion-only-impacts" in codes(joined.flags)
    assert all(motion.approach_speed is not None for motion in joined.motions)
    extra = np.sort(np.r_[session.starts, session.starts[3] + 0.9])
    joined = join(session, extra)
    missing = [motion.number for motion in joined.motions if motion.approach_speed is None]
    assert missing == [5]
    assert "no impact there" in joined.motions[4].flags[0].message


def test_started_late_and_stopped_early(session):
    from_sample = round((session.starts[0] + 0.5) * session.rate)
    to_sample = round((session.starts[-1] - 0.5) * session.rate)
    joined = join(
        session,
        samples=session.samples[from_sample:to_sample],
        start=invented.SENSOR_AHEAD + from_sample / session.rate,
    )
    missing = [motion for motion in joined.motions if motion.approach_speed is None]
    assert [motion.number for motion in missing] == [1, 6]
    assert "begins" in missing[0].flags[0].message
    assert "ended" in missing[1].flags[0].message


def test_missing_samples_cost_one_strike(session):
    samples = session.samples.copy()
    at = round(session.starts[2] * session.rate)
    samples[at - 150 : at - 140, 1] = np.nan
    joined = join(session, samples=samples)
    assert [m.number for m in joined.motions if m.approach_speed is None] == [3]
    assert codes(joined.motions[2].flags) <= {"no-stillness", "no-motion"}


def test_another_rate_than_stated(session):
    shown = invented.imu_recording(session.samples, 1050.0)
    joined = join_motion(invented.analysis_of(session.starts), shown, setup=SETUP)
    assert codes(joined.flags) == {"motion-rate"}
    assert all(motion.approach_speed is None for motion in joined.motions)


@pytest.mark.parametrize("rate", [500.0, 833.0, 1250.0])
def test_a_rate_far_from_the_stated_one_is_named(session, rate):
    shown = invented.imu_recording(session.samples, rate)
    joined = join_motion(invented.analysis_of(session.starts), shown, setup=SETUP)
    (doubt,) = joined.flags
    assert doubt.code == "motion-rate"
    # the samples were taken at 1000 Hz; six edges of 1 ms over some 3 s each
    assert float(doubt.message.split("about ")[1].split(" Hz")[0]) == pytest.approx(1000.0, rel=2e-3)
    assert codes(joined.motions[0].flags) == {"clocks-apart"}


def test_a_jump_half_way_is_a_jump_and_no_riddle(session):
    """Three strikes on either side agree among themselves: neither offset is chance."""
    samples, at = session.samples, round((session.starts[3] - 1.2) * session.rate)
    shown = invented.imu_recording(samples, session.rate)

    class Jumping:
        def __init__(self, values):
            self.values = values

        def blocks(self):
            yield Block(0, 0.0, self.values[:at])
            yield Block(at, at / 1000 + 3.0, self.values[at:], "gap")

    traces = tuple(replace(t, source=Jumping(t.read())) for t in shown.traces)
    joined = join_motion(invented.analysis_of(session.starts), replace(shown, traces=traces), setup=SETUP)
    assert "clock-jumped" in codes(joined.flags)
    assert "clock-ambiguous" not in codes(joined.flags)
    assert sum(m.approach_speed is not None for m in joined.motions) == 3


def test_a_stated_offset_that_is_wrong_is_named(session):
    shown = invented.imu_recording(session.samples, session.rate)
    joined = join_motion(invented.analysis_of(session.starts), shown, setup=SETUP, clock_offset=(5.0, 0.1))
    assert "within 0.1 s of the offset 5 s" in joined.flags[0].message


def test_a_clock_that_jumped(session):
    class Jumping:
        def __init__(self, values):
            self.values = values

        def blocks(self):
            at = round((session.starts[3] + 0.7) * 1000)
            yield Block(0, 0.0, self.values[:at])
            yield Block(at, at / 1000 + 5.0, self.values[at:], "gap")

    shown = invented.imu_recording(session.samples, session.rate)
    traces = tuple(replace(t, source=Jumping(t.read())) for t in shown.traces)
    starts = np.r_[session.starts]
    joined = join_motion(invented.analysis_of(starts), replace(shown, traces=traces), setup=SETUP)
    # four strikes before the jump, two after it: the larger part is joined, the rest is said
    assert [m.number for m in joined.motions if m.approach_speed is None] == [5, 6]


def test_nothing_in_common(session):
    quiet = np.tile(session.samples[:300], (10, 1))
    joined = join(session, samples=quiet)
    assert codes(joined.flags) == {"no-common-impacts"}
    other = join(session, np.array([1.0, 9.7, 11.1, 16.3, 18.9]))
    assert codes(other.flags) & {"clock-ambiguous", "motion-only-impacts"}


def test_without_gyro_only_straight_strikes(session):
    with pytest.raises(AnalysisError, match="straight"):
        join(session, gyro=False)
    joined = join(session, gyro=False, setup=replace(SETUP, straight=True))
    assert joined.source == "accelerometer"
    for motion in joined.motions:
        assert "no-gyro" in codes(motion.flags)
        assert motion.approach_speed.u > 0.1 * motion.approach_speed.value


def test_axes_that_cannot_be_told(session):
    shown = invented.imu_recording(session.samples, session.rate)
    analysis = invented.analysis_of(session.starts)
    with pytest.raises(ChannelError, match="three axes of acceleration, got 2"):
        join_motion(analysis, replace(shown, traces=shown.traces[1:]), setup=SETUP)
    unknown = tuple(replace(t, quantity="unknown", unit="?") for t in shown.traces)
    with pytest.raises(UnitError, match="State it with units"):
        join_motion(analysis, replace(shown, traces=unknown), setup=ImuSetup())
    with pytest.raises(UnitError, match="expected acceleration"):
        join_motion(analysis, shown, setup=replace(SETUP, acceleration=("gyr_x", "gyr_y", "gyr_z")))
    slow = tuple(replace(t, rate=500.0) if t.quantity == "angular_rate" else t for t in shown.traces)
    with pytest.raises(ChannelError, match="different rates"):
        join_motion(analysis, replace(shown, traces=slow), setup=SETUP)


def test_axes_are_put_in_order(session):
    mixed = invented.imu_recording(
        session.samples[:, [1, 2, 0, 4, 5, 3]], session.rate, names=("y", "z", "x")
    )
    joined = join_motion(invented.analysis_of(session.starts), mixed, setup=SETUP)
    for a, b in zip(joined.motions, join(session).motions, strict=True):
        assert a.approach_speed == b.approach_speed


def test_typed_speeds():
    analysis = invented.analysis_of([1.0, 2.0, 3.0])
    joined = join_motion(analysis, TypedSpeed(8.0, 0.2, {2: (9.0, None)}))
    speeds = [s.quantities["approach_speed"] for s in joined.analysis.strikes]
    assert [(s.value, s.u) for s in speeds] == [(8.0, 0.2), (9.0, None), (8.0, 0.2)]
    assert codes(joined.analysis.strikes[1].flags) == {"speed-without-doubt"}
    with pytest.raises(UsageError, match="above 0"):
        join_motion(analysis, TypedSpeed(-8.0, 0.2))
    with pytest.raises(UsageError, match="strike 7"):
        join_motion(analysis, TypedSpeed(by_strike={7: (8.0, 0.1)}))
    only = join_motion(analysis, TypedSpeed(by_strike={1: (8.0, 0.1)}))
    assert [m.approach_speed is None for m in only.motions] == [False, True, True]


def test_gates():
    analysis = invented.analysis_of([1.0, 2.0])
    joined = join_motion(analysis, GateTimes(((0.975, 0.985), (5.0, 5.01)), 0.08))
    assert joined.motions[0].approach_speed.value == pytest.approx(8.0)
    assert joined.motions[1].approach_speed is None
    assert joined.unmatched == (5.01,)
    with pytest.raises(UsageError, match="second gate"):
        join_motion(analysis, GateTimes(((0.99, 0.98),), 0.08))


def test_a_track(session):
    t = np.arange(500) / 250
    x = np.clip(t - 0.8, 0, None) ** 2 * 20
    trace = Trace("hand", "position", "m", 250.0, ArraySamples(x, 250.0))
    recording = Recording("film (invented)", "", 0, (trace,))
    joined = join_motion(
        invented.analysis_of([1.0, 9.0]), recording, setup=TrackSetup(("hand",)), clock_offset=(0.0, 0.001)
    )
    assert joined.motions[0].approach_speed.value == pytest.approx(8.0, rel=1e-6)
    assert joined.motions[0].acceleration_before == pytest.approx(40.0, rel=1e-6)
    assert not joined.flags
    three = tuple(replace(trace, name=f"hand.{axis}") for axis in "xyz")
    alone = join_motion(invented.analysis_of([1.0]), replace(recording, traces=three), setup=SETUP)
    assert codes(alone.flags) == {"clock-assumed"}
    assert {"clock-assumed", "resultant-speed"} <= codes(alone.motions[0].flags)
    assert joined.motions[1].approach_speed is None
