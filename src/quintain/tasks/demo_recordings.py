"""
Recordings of an invented lab, simulated, with the truth beside what was recorded.

Nothing here was measured on anybody. Masses, speeds and pads are chosen to be plausible and to show
what goes wrong in a real lab: ringing, drift, a clipped kick, a double blow, somebody who leans.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Push, Striker, Target, simulate_drop, simulate_strike
from quintain.numerics.free_fall import normal_gravity
from quintain.numerics.pad_law import INVENTED_PADS
from quintain.numerics.resonator import Mode, respond_to_modes
from quintain.tasks.progress import Progress

__all__ = [
    "DROP_HEIGHTS",
    "DROP_MASS",
    "SCENARIO",
    "Truth",
    "as_text",
    "drops",
    "quiet",
    "session",
    "taps",
    "truth_as_text",
]

Floats = NDArray[np.float64]

SCENARIO = "invented lab 'The Dry Dock': simulated strikes, nobody was measured"

RATE = 2000.0
FINE = 50_000.0
FREQUENCY, DAMPING = 212.0, 0.019
LATITUDE, ALTITUDE = 52.5, 40.0
SPACING = 2.5
"""Seconds from one strike to the next."""

DROP_MASS = 8.0
DROP_HEIGHTS = (0.30, 0.50, 0.80)

TARGET = Target(INVENTED_PADS["soft"], cell=Cell(2.6, FREQUENCY, DAMPING))


@dataclass(frozen=True, slots=True)
class Blow:
    """One invented strike."""

    person: str
    kind: str
    mass: float
    speed: float
    push: float
    after: float = 0.0
    """A second blow follows so many seconds later. [s]"""
    lean: float = 0.0
    """Force with which the person leans on the pad before. [N]"""


@dataclass(frozen=True, slots=True)
class Truth:
    """What the simulation knows of one strike."""

    start: float
    person: str
    kind: str
    impulse: float
    peak_force: float


SESSION = (
    Blow("P-01", "jab", 1.6, 5.9, 90),
    Blow("P-01", "jab", 1.7, 6.1, 80),
    Blow("P-01", "cross", 2.3, 7.4, 180),
    Blow("P-01", "cross", 2.4, 7.7, 200),
    Blow("P-01", "jab-cross", 1.6, 5.8, 90, after=0.21),
    Blow("P-02", "palm heel", 2.0, 5.3, 120),
    Blow("P-02", "palm heel", 2.1, 5.1, 130, lean=35.0),
    Blow("P-02", "elbow", 2.6, 5.0, 120),
    Blow("P-02", "front kick", 3.6, 5.8, 260),
    Blow("P-02", "turning kick", 4.4, 8.6, 220),
    Blow("P-02", "jab", 1.4, 5.7, 70),
)


def session(progress: Progress) -> tuple[Floats, list[Truth]]:
    """Strikes of two invented people, and what the simulation knows of them."""
    rng = np.random.default_rng(20261125)
    n = round((SPACING * (len(SESSION) + 1)) * FINE)
    signal = np.zeros(n)
    truth = []
    for i, blow in enumerate(SESSION):
        progress("simulated strikes", i, len(SESSION))
        at = SPACING * (i + 0.6) + rng.uniform(0, 0.2)
        for second in range(2 if blow.after else 1):
            push = Push(blow.push, start=-0.03, duration=0.09, rise=0.02)
            speed = blow.speed * (1.25 if second else 1.0)
            striker = Striker(blow.mass, speed, gap=0.001, push=push)
            motion = simulate_strike(striker, TARGET, duration=1.2, rate=FINE)
            first = round((at + second * blow.after) * FINE)
            signal[first : first + motion.cell_output.size] += motion.cell_output
            truth.append(
                Truth(
                    first / FINE + float(motion.touch_times[0]),
                    blow.person,
                    blow.kind.split("-")[second] if blow.after else blow.kind,
                    float(motion.cell_impulse[-1]),
                    float(motion.force_on_cell.max()),
                )
            )
        if blow.lean:
            time = np.arange(n) / FINE
            rises, falls = (time - (at - 0.7)) / 0.1, (at + 0.25 - time) / 0.1
            signal += blow.lean * np.clip(rises, 0, 1) * np.clip(falls, 0, 1)
    return _record(signal, rng), truth


def taps() -> Floats:
    """Five light taps on the bare plate."""
    signal = np.zeros(round(11.5 * FINE))
    for i in range(5):
        first = round((1.0 + 2.1 * i) * FINE)
        signal[first : first + 75] += (700 + 60 * i) * np.sin(np.pi * np.arange(75) / 75)
    return _record(respond_to_modes(signal, FINE, [Mode(FREQUENCY, DAMPING)]), np.random.default_rng(11))


def drops() -> Floats:
    """A known mass falls from three heights and bounces until it rests."""
    each = 7.0
    signal = np.zeros(round((1.5 + each * len(DROP_HEIGHTS)) * FINE))
    gravity = normal_gravity(LATITUDE, ALTITUDE)
    for i, height in enumerate(DROP_HEIGHTS):
        motion = simulate_drop(DROP_MASS, TARGET, height=height, duration=4.0, gravity=gravity, rate=FINE)
        first = round((1.5 + each * i) * FINE)
        signal[first : first + motion.cell_output.size] += motion.cell_output
    return _record(signal, np.random.default_rng(12))


def quiet() -> Floats:
    """Ten seconds in which nobody touches the target."""
    return _record(np.zeros(round(10 * FINE)), np.random.default_rng(13))


def as_text(force: Floats) -> str:
    """As an acquisition program would export it."""
    lines = [f"# {SCENARIO}", f"# device: invented amplifier, range 5 kN, {RATE:g} Hz", "time_s;force_N"]
    lines += [f"{i / RATE:.6f};{f:.3f}" for i, f in enumerate(force)]
    return "\n".join(lines) + "\n"


def truth_as_text(truth: Sequence[Truth]) -> str:
    """The truth as a table."""
    lines = [f"# {SCENARIO}", "start_s,person,strike,impulse_N_s,peak_force_on_cell_N"]
    lines += [f"{t.start:.5f},{t.person},{t.kind},{t.impulse:.4f},{t.peak_force:.2f}" for t in truth]
    return "\n".join(lines) + "\n"


def _record(signal: Floats, rng: np.random.Generator) -> Floats:
    """The invented chain: anti-alias filter, 2 kHz, zero, drift, noise, 16 bit, 5 kN."""
    return acquire(
        signal,
        FINE,
        rate=RATE,
        rng=rng,
        anti_alias_cutoff=800.0,
        zero=14.0,
        drift=0.3,
        noise=3.0,
        limit=5000.0,
        bits=16,
    ).force
