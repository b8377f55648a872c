"""An invented session: strikes with known speed, and what a sensor on the limb recorded of them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from quintain.domain.analysis import Analysis
from quintain.domain.method import Method
from quintain.domain.recording import Recording
from quintain.domain.strike import Contact, ForceCurve, Strike
from quintain.domain.trace import ArraySamples, Trace
from quintain.numerics.imu_errors import CALIBRATED, ImuErrors
from quintain.numerics.limb import LIMB_STRIKES, read_sensor, simulate_limb

ARM = (0.08, 0.0, 0.02)
SENSOR_AHEAD = 37.25
"""The sensor's clock less the force's. [s]"""


class Session(NamedTuple):
    """Starts of contact on the force's clock [s], true speeds [m/s], and the sensor's samples (n, 6)."""

    starts: np.ndarray
    speeds: np.ndarray
    samples: np.ndarray
    rate: float


def session(n: int = 5, seed: int = 1, *, errors: ImuErrors | None = CALIBRATED, **sensor: float) -> Session:
    generator = np.random.default_rng(seed)
    parts, starts, speeds, at = [], [], [], 0.0
    for _ in range(n):
        # rests longer than the analysis uses: between two strikes the invented attitude jumps
        motion = simulate_limb(LIMB_STRIKES["straight"], generator, lever_arm=ARM, tremor=0.1, rest=1.2)
        shown = read_sensor(motion, generator, errors=errors, **sensor)
        pause = round(generator.uniform(0.3, 1.5) * shown.rate)
        part = np.hstack([shown.acceleration, shown.angular_rate])
        hold = np.tile(part[-200:], (pause // 200 + 1, 1))[:pause]
        starts.append(at + motion.contact - shown.start)
        speeds.append(float(np.linalg.norm(motion.velocity[np.searchsorted(motion.time, motion.contact)])))
        parts += [part, hold]
        at += (len(part) + pause) / shown.rate
    return Session(np.array(starts), np.array(speeds), np.vstack(parts), 1000.0)


def analysis_of(starts) -> Analysis:
    empty = np.empty(0)
    strikes = tuple(
        Strike(
            i + 1, float(t), (Contact(float(t), float(t) + 0.02),), {}, (),
            ForceCurve(empty, empty, empty, empty, empty),
        )
        for i, t in enumerate(starts)
    )  # fmt: skip
    return Analysis("", "", 0, "force", "N", 2000.0, 60.0, None, Method(), strikes, (), (), "test")


def imu_recording(samples, rate, *, start=SENSOR_AHEAD, names=("x", "y", "z"), gyro=True) -> Recording:
    rows = [("acceleration", "m/s²", f"acc_{n}", samples[:, k]) for k, n in enumerate(names)]
    if gyro:
        rows += [("angular_rate", "rad/s", f"gyr_{n}", samples[:, 3 + k]) for k, n in enumerate(names)]
    traces = tuple(
        Trace(name, quantity, unit, rate, ArraySamples(np.asarray(values), rate, start))
        for quantity, unit, name, values in rows
    )
    return Recording("limb (invented)", "", 0, traces)
