"""How fast the numbers of a limb come: draws for one strike, a session with an inertial sensor."""

from __future__ import annotations

import time

import numpy as np

from bench.row import Row
from quintain.domain.recording import Recording
from quintain.domain.rig import Calibration, Mode, Rig
from quintain.domain.trace import Trace
from quintain.numerics.bodies import Cell, Push, Striker, Target, simulate_strike
from quintain.numerics.effective_mass import LimbTrace, join_speed
from quintain.numerics.limb_numbers import LimbDoubts, draw_limb
from quintain.numerics.pad_law import INVENTED_PADS
from quintain.tasks.analyse import analyse
from quintain.tasks.limb import measure_limbs
from quintain.tasks.motion import join_motion
from quintain.tasks.workers import worker_pool

FINE = 50e3
RATE = 2000.0
IMU_RATE = 1000.0
SPACING = 2.0
STRIKES = 600


def run() -> list[Row]:
    """Time the draws on one core, and a whole session on two."""
    return [_draws(), _session()]


def _blow(
    mass: float = 3.0, speed: float = 6.0
) -> tuple[LimbTrace, np.ndarray, np.ndarray, np.ndarray, float]:
    push = Push(200.0, start=-0.03, duration=0.1, rise=0.002)
    target = Target(INVENTED_PADS["soft"], cell=Cell(3.0, 220.0, 0.02))
    motion = simulate_strike(Striker(3.0, 6.0, 0.072, push), target, duration=0.6, rate=FINE)
    touch = float(motion.touch_times[0])
    since = motion.time - touch
    end = float(motion.leave_times[0]) - touch
    trace = join_speed(since, motion.force_on_cell, since, motion.striker_speed, end=end)
    return trace, motion.cell_output, motion.striker_speed, motion.striker_acceleration, touch


def _draws() -> Row:
    trace = _blow()[0]
    doubts = LimbDoubts(0.003, 0.002, 0.005, 0.02, 5.0, 1e-4, 1e-4, 0.01)
    best = np.inf
    for _ in range(10):
        begun = time.process_time()
        draw_limb(trace, approach_speed=6.3, acceleration=66.0, doubts=doubts, n_draws=100_000)
        best = min(best, time.process_time() - begun)
    return Row("100 000 draws of all numbers of one strike, one core", 1e3 * best, "ms", at_most=50.0)


def _session() -> Row:
    force, motion = _recordings()
    rig = Rig("simulated", modes=(Mode(220.0, 0.02, 1.0, 0.5, 0.001),), calibration=Calibration(u_gain=0.003))
    with worker_pool(2) as executor:
        begun = time.perf_counter()
        analysis = analyse(force, rig=rig, executor=executor)
        joined = measure_limbs(join_motion(analysis, motion), executor=executor)
        took = time.perf_counter() - begun
    stated = sum("effective_mass" in strike.quantities for strike in joined.strikes)
    print(f"    {len(joined.strikes)} strikes found, effective mass stated for {stated}")
    return Row(f"session of {STRIKES} strikes with a 1 kHz sensor, 2 cores", took, "s", at_most=60.0)


def _recordings() -> tuple[Trace, Recording]:
    """One invented blow again and again, the hand drawn back slowly; the sensor's axis lies along it."""
    rng = np.random.default_rng(8)
    _, shown, speed, acceleration, touch = _blow()
    n, k = round(SPACING * RATE), round(SPACING * IMU_RATE)
    one = np.zeros(n)
    at = round(1.0 * RATE)
    cell = shown[:: round(FINE / RATE)][: n - at]
    one[at : at + cell.size] = cell
    hand = np.zeros(k)
    contact = 1.0 + touch
    t = np.arange(k) / IMU_RATE
    launch = (t > contact - 0.2) & (t <= 1.0)
    hand[launch] = speed[0] / (launch.sum() / IMU_RATE)
    fine = np.arange(acceleration.size) / FINE + 1.0
    blow = (t > 1.0) & (t < contact + 0.03)
    hand[blow] = np.interp(t[blow], fine, acceleration)
    back = (t >= contact + 0.03) & (t < contact + 0.33)
    hand[back] = -np.sum(hand) / back.sum()
    # rests of different lengths: evenly spaced strikes would fit each other's clocks in many ways
    rests = rng.integers(0, 400, STRIKES)
    along = np.concatenate([np.r_[hand, np.zeros(rest)] for rest in rests])
    force = np.concatenate([np.r_[one, np.zeros(round(rest * RATE / IMU_RATE))] for rest in rests])
    imu = np.zeros((along.size, 3))
    imu[:, 0] = along
    imu[:, 2] = 9.80665
    imu += rng.normal(0, 0.02, imu.shape)
    rates = rng.normal(0, 0.001, imu.shape)
    traces = [
        Trace.from_array(values, IMU_RATE, name=f"{name}_{axis}", quantity=quantity, unit=unit)
        for columns, name, quantity, unit in (
            (imu.T, "a", "acceleration", "m/s^2"),
            (rates.T, "w", "angular_rate", "rad/s"),
        )
        for axis, values in zip("xyz", columns, strict=True)
    ]
    samples = force + rng.normal(0, 3.0, force.size)
    return Trace.from_array(samples, RATE), Recording("motion", "", 0, tuple(traces))
