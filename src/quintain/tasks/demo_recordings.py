"""
Recordings of an invented lab, simulated, with the truth beside what was recorded.

Nothing here was measured on anybody. Masses, speeds and pads are chosen to be plausible and to show
what goes wrong in a real lab: ringing, drift, a clipped kick, a double blow, somebody who leans, and a
sensor whose clock is not that of the force.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Motion, Push, Striker, Target, simulate_drop, simulate_strike
from quintain.numerics.free_fall import STANDARD_GRAVITY, normal_gravity
from quintain.numerics.pad_law import INVENTED_PADS
from quintain.numerics.resonator import Mode, respond_to_modes
from quintain.tasks.demo_people import Blow
from quintain.tasks.progress import Progress, silent

__all__ = [
    "DROP_HEIGHTS",
    "DROP_MASS",
    "FINE",
    "FIRST_STRIKES",
    "POST",
    "SCENARIO",
    "U_DROP_MASS",
    "WALL",
    "InventedRig",
    "Series",
    "Truth",
    "as_text",
    "drops",
    "loads_as_text",
    "motion_as_parquet",
    "quiet",
    "simulate_blow",
    "strike_series",
    "taps",
    "truth_as_text",
]

Floats = NDArray[np.float64]

SCENARIO = "invented lab 'The Dry Dock': simulated strikes, nobody was measured"

RATE = 2000.0
MOTION_RATE = 1000.0
FINE = 25_000.0
LATITUDE, ALTITUDE = 52.5, 40.0
SPACING = 2.5
"""Seconds from one strike to the next."""

DROP_MASS, U_DROP_MASS = 10.0, 0.004
DROP_HEIGHTS = (0.30, 0.60, 1.00)

FLIGHT = 0.22
"""Time in which a limb comes from rest to the speed at which its push begins. [s]"""

RUN_UP = 0.03
"""Time from the beginning of the push to the pad: a sensor on a limb feels the push before contact. [s]"""

CLOCK_AHEAD, CLOCK_DRIFT = 1.37, 40e-6
"""What the sensor's clock shows when the force's shows zero [s], and how much faster it runs."""


@dataclass(frozen=True, slots=True)
class InventedRig:
    """
    A rig that does not exist: how it rings, its pad, and where its amplifier ends [N].

    ``stiffness`` and ``friction`` are its pad's over those of the pad of that name, ``gain`` is what the
    chain shows of one newton.
    """

    name: str
    pad: str
    frequency: float
    damping: float
    limit: float
    seed: int
    note: str = ""
    stiffness: float = 1.0
    friction: float = 1.0
    gain: float = 1.0

    @property
    def target(self) -> Target:
        """Pad and cell as the simulator takes them."""
        pad = INVENTED_PADS[self.pad]
        law = replace(
            pad,
            stiffness=pad.stiffness * self.stiffness,
            friction_loss=pad.friction_loss * self.friction,
        )
        return Target(law, cell=Cell(2.6, self.frequency, self.damping))


WALL = InventedRig("wall pad", "soft", 212.0, 0.019, 8000.0, 11)
"""Its range is set too low on purpose: the hardest kick is clipped."""

POST = InventedRig(
    "post pad",
    "firm",
    318.0,
    0.024,
    10_000.0,
    21,
    note="its mount works loose on purpose: the control chart of its taps sees a small shift that lasts, and "
    "the rig is in doubt for that alone; in a real lab, tighten the mount, then tap and drop again",
)


@dataclass(frozen=True, slots=True)
class Truth:
    """What the simulation knows of one strike."""

    start: float
    person: str
    kind: str
    side: str
    impulse: float
    peak_force: float
    approach_speed: float
    effective_mass: float
    """The moving mass that was put in."""


@dataclass(frozen=True, slots=True)
class Series:
    """Strikes one after the other: force at :data:`RATE`, the limb's specific force at its own, the truth."""

    force: Floats
    motion: Floats
    """(n, 7): time on the sensor's clock [s], acceleration [m/s²], angular rate [rad/s]."""
    truth: tuple[Truth, ...]


FIRST_STRIKES = (
    Blow("P-01", "jab", 1.6, 5.9, 90, "left"),
    Blow("P-01", "jab", 1.7, 6.1, 80, "left"),
    Blow("P-01", "cross", 2.3, 7.4, 180, "right"),
    Blow("P-01", "cross", 2.4, 7.7, 200, "right"),
    Blow("P-01", "jab-cross", 1.6, 5.8, 90, "right", after=0.21),
    Blow("P-02", "palm heel", 2.0, 5.3, 120, "right"),
    Blow("P-02", "palm heel", 2.1, 5.1, 130, "right", lean=35.0),
    Blow("P-02", "elbow", 2.6, 5.0, 120, "right"),
    Blow("P-02", "front kick", 3.6, 5.8, 260, "right"),
    Blow("P-02", "turning kick", 4.4, 8.6, 220, "right"),
    Blow("P-02", "jab", 1.4, 5.7, 70, "left"),
)
"""A first session with everything in it that can go wrong."""


def simulate_blow(blow: Blow, rig: InventedRig) -> Motion:
    """A blow from the beginning of its push, at the rate :data:`FINE`."""
    push = Push(blow.push, duration=RUN_UP + 0.025, rise=0.02)
    before = blow.speed - blow.push / blow.mass * (RUN_UP - push.rise / 2)
    striker = Striker(blow.mass, before, gap=RUN_UP * (before + blow.speed) / 2, push=push)
    return simulate_strike(striker, rig.target, duration=0.8, rate=FINE, tolerance=1e-6)


def strike_series(
    blows: Sequence[Blow], rig: InventedRig, generator: np.random.Generator, progress: Progress = silent
) -> Series:
    """
    Record strikes on a rig.

    Parameters
    ----------
    blows : sequence of Blow
        In order.
    rig : InventedRig
        What is hit.
    generator : numpy.random.Generator
        Source of instants and noise.
    progress : Progress, optional
        Told of each strike.

    Returns
    -------
    Series
        Force, motion of the limb, and truth.
    """
    n = round(SPACING * (len(blows) + 1) * FINE)
    signal, speed = np.zeros(n), np.zeros(n)
    truth = []
    for i, blow in enumerate(blows):
        progress("simulated strikes", i, len(blows))
        at = SPACING * (i + 0.6) + generator.uniform(0, 0.2)
        for second in range(2 if blow.after else 1):
            motion = simulate_blow(replace(blow, speed=1.25 * blow.speed) if second else blow, rig)
            first = round((at + second * blow.after) * FINE)
            signal[first : first + motion.cell_output.size] += motion.cell_output
            _move_limb(speed, first, motion)
            touch = float(motion.touch_times[0])
            truth.append(
                Truth(
                    first / FINE + touch,
                    blow.person,
                    blow.kind.split("-")[second] if blow.after else blow.kind,
                    blow.side,
                    float(motion.cell_impulse[-1]),
                    float(motion.force_on_cell.max()),
                    float(np.interp(touch, motion.time, motion.striker_speed)),
                    blow.mass,
                )
            )
        if blow.lean:
            time = np.arange(n) / FINE
            rises, falls = (time - (at - 0.7)) / 0.1, (at + 0.25 - time) / 0.1
            signal += blow.lean * np.clip(rises, 0, 1) * np.clip(falls, 0, 1)
    return Series(_record(signal, rig, generator), _sense(speed, generator), tuple(truth))


def taps(rig: InventedRig, n_taps: int = 5) -> Floats:
    """Light taps on the bare plate, five if not told otherwise."""
    signal = np.zeros(round((1.0 + 2.1 * n_taps) * FINE))
    n_tap = round(0.0015 * FINE)
    for i in range(n_taps):
        first = round((1.0 + 2.1 * i) * FINE)
        signal[first : first + n_tap] += (700 + 60 * i) * np.sin(np.pi * np.arange(n_tap) / n_tap)
    rings = respond_to_modes(signal, FINE, [Mode(rig.frequency, rig.damping)])
    return _record(rings, rig, np.random.default_rng(rig.seed))


def drops(rig: InventedRig, heights: Sequence[float] = DROP_HEIGHTS) -> Floats:
    """A known mass falls from each height and bounces until it rests."""
    each = 7.0
    signal = np.zeros(round((1.5 + each * len(heights)) * FINE))
    gravity = normal_gravity(LATITUDE, ALTITUDE)
    for i, height in enumerate(heights):
        motion = simulate_drop(DROP_MASS, rig.target, height=height, duration=4.0, gravity=gravity, rate=FINE)
        first = round((1.5 + each * i) * FINE)
        signal[first : first + motion.cell_output.size] += motion.cell_output
    return _record(signal, rig, np.random.default_rng(rig.seed + 1))


def loads_as_text(rig: InventedRig) -> str:
    """Known forces on the cell, up and down in three series, as somebody would note them."""
    rng = np.random.default_rng(rig.seed + 3)
    up = [0.0, 1000.0, 2000.0, 3500.0, 5000.0, 6500.0, 8000.0]
    lines = [f"# {SCENARIO}", "force_N;reading_N;series;direction"]
    for series in range(1, 4):
        for direction, forces in (("up", up), ("down", up[-2::-1])):
            lag = 1.0 if direction == "down" else 0.0
            for force in forces:
                reading = 14.0 + force + lag * (force > 0) + rng.normal(0, 1.0)
                lines.append(f"{force:g};{reading:.2f};{series};{direction}")
    return "\n".join(lines) + "\n"


def quiet(rig: InventedRig) -> Floats:
    """Ten seconds in which nobody touches the target."""
    return _record(np.zeros(round(10 * FINE)), rig, np.random.default_rng(rig.seed + 2))


def as_text(force: Floats, rig: InventedRig) -> str:
    """As an acquisition program would export it."""
    device = f"# device: invented amplifier, range {rig.limit / 1000:g} kN, {RATE:g} Hz"
    lines = [f"# {SCENARIO}", device, "time_s;force_N"]
    lines += [f"{i / RATE:.6f};{f:.3f}" for i, f in enumerate(force)]
    return "\n".join(lines) + "\n"


def motion_as_parquet(motion: Floats) -> bytes:
    """As a sensor's own program would export it, the unit of each column in its metadata."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    names = ("time", "acc_x", "acc_y", "acc_z", "gyr_x", "gyr_y", "gyr_z")
    units = ("s", "m/s2", "m/s2", "m/s2", "rad/s", "rad/s", "rad/s")
    kinds = (pa.float64(), *(pa.float32(),) * 6)
    fields = [
        pa.field(name, kind, metadata={"unit": unit})
        for name, unit, kind in zip(names, units, kinds, strict=True)
    ]
    columns = [pa.array(column, kind) for column, kind in zip(motion.T, kinds, strict=True)]
    table = pa.table(columns, schema=pa.schema(fields, metadata={"note": SCENARIO}))
    file = io.BytesIO()
    pq.write_table(table, file, compression="zstd")
    return file.getvalue()


def truth_as_text(truth: Sequence[Truth]) -> str:
    """The truth as a table."""
    lines = [
        f"# {SCENARIO}",
        "start_s,person,strike,side,impulse_N_s,peak_force_on_cell_N,approach_speed_m/s,mass_kg",
    ]
    lines += [
        f"{t.start:.5f},{t.person},{t.kind},{t.side},{t.impulse:.4f},{t.peak_force:.2f},"
        f"{t.approach_speed:.4f},{t.effective_mass:.4f}"
        for t in truth
    ]
    return "\n".join(lines) + "\n"


def _move_limb(speed: Floats, first: int, motion: Motion) -> None:
    """Speed of the limb along the target's normal: from rest to the pad, off it again, and back to rest."""
    n_flight = round(FLIGHT * FINE)
    touch = round(float(motion.touch_times[0]) * FINE)
    leave = (
        round(float(motion.leave_times[0]) * FINE) if motion.leave_times.size else touch + round(0.05 * FINE)
    )
    rise = np.sin(0.5 * np.pi * np.arange(n_flight) / n_flight) ** 2
    speed[first - n_flight : first] = motion.striker_speed[0] * rise
    speed[first : first + leave] = motion.striker_speed[:leave]
    back = np.arange(round(0.5 * FINE)) / (0.5 * FINE)
    speed[first + leave : first + leave + back.size] = motion.striker_speed[leave] * (1 - back) ** 3


def _sense(speed: Floats, generator: np.random.Generator) -> Floats:
    """An invented inertial sensor on the limb: tissue below 400 Hz, its own clock, bias, noise, a range."""
    from scipy.signal import butter, sosfiltfilt

    tissue = butter(2, 400.0, fs=FINE, output="sos")
    forward = np.gradient(sosfiltfilt(tissue, speed), 1 / FINE)
    n = math.floor(speed.size / FINE * MOTION_RATE) - 1
    force_clock = np.arange(n) / MOTION_RATE * (1 - CLOCK_DRIFT)
    seen = np.zeros((n, 7))
    seen[:, 0] = np.arange(n) / MOTION_RATE + CLOCK_AHEAD
    seen[:, 1] = np.interp(force_clock, np.arange(speed.size) / FINE, forward)
    seen[:, 3] = STANDARD_GRAVITY
    seen[:, 1:4] += generator.normal(0, 0.02, 3) + generator.normal(0, 0.06, (n, 3))
    seen[:, 4:] = generator.normal(0, 0.003, 3) + generator.normal(0, 0.004, (n, 3))
    for axes, limit in ((slice(1, 4), 400 * STANDARD_GRAVITY), (slice(4, 7), 35.0)):
        step = limit / 2**15
        seen[:, axes] = np.clip(np.round(seen[:, axes] / step) * step, -limit, limit)
    return seen


def _record(signal: Floats, rig: InventedRig, rng: np.random.Generator) -> Floats:
    """The invented chain: anti-alias filter, 2 kHz, zero, drift, noise, 16 bit, the rig's range."""
    return acquire(
        signal,
        FINE,
        rate=RATE,
        rng=rng,
        anti_alias_cutoff=800.0,
        zero=14.0,
        gain=rig.gain,
        drift=0.3,
        noise=3.0,
        limit=rig.limit,
        bits=16,
    ).force
