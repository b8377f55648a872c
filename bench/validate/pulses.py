"""Blows of known force, recorded through a known rig: the truth that corrections are held against."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.acquisition import acquire
from quintain.numerics.pulse_shape import pulse_force
from quintain.numerics.resonator import Mode, respond_to_modes

__all__ = ["SHAPES", "UNSEEN", "Curve", "Recorded", "Rig", "beta", "record", "strike"]

Floats = NDArray[np.float64]
Curve = Callable[[Floats], Floats]
"""Force over peak as a function of time over duration; zero outside 0 to ``reach``."""


class Rig(NamedTuple):
    """A cell of one mode and its recorder."""

    natural_frequency: float
    damping_ratio: float
    rate: float
    anti_alias_cutoff: float | None = None


class Recorded(NamedTuple):
    """Samples of one blow and the truth behind them."""

    samples: Floats
    time: Floats
    """Of the truth: grid points, eight a sample, from the first sample on. [s]"""
    truth: Floats
    contact: NDArray[np.bool_]
    """Where on that grid the truth acts."""
    peak: float


def beta(rise: float, fall: float) -> Curve:
    """Pulse ``u^rise (1 - u)^fall``, scaled to a peak of 1."""
    at = rise / (rise + fall)
    top = at**rise * (1 - at) ** fall

    def curve(u: Floats) -> Floats:
        v = np.clip(u, 0.0, 1.0)
        return np.asarray(v**rise * (1 - v) ** fall / top)

    return curve


def _pushed(u: Floats) -> Floats:
    tail = np.where((u > 0) & (u < 2.5), 0.18 * np.sin(np.pi * np.clip(u / 2.5, 0, 1)) ** 2, 0.0)
    return beta(1.3, 2.6)(u) + tail


def _humps(u: Floats) -> Floats:
    v = np.clip(u, 0.0, 1.0)
    return np.maximum(np.sin(np.pi * v) + 0.45 * np.sin(3 * np.pi * v), 0.0)


SHAPES: dict[str, tuple[Curve, float]] = {
    "half-sine": (lambda u: pulse_force("half-sine", 1.0, 1.0, u), 1.0),
    "hertz": (lambda u: pulse_force("sin^1.5", 1.0, 1.0, u), 1.0),
    "skewed": (beta(1.3, 2.6), 1.0),
    "pushed": (_pushed, 2.5),
    "two humps": (_humps, 1.0),
}
"""Five pulses and how long each acts, in units of its duration: the half-sine, kinked at both ends; close
to a Hertz contact; fast up and slow down; the same with a push that goes on; two humps."""


UNSEEN: dict[str, tuple[Curve, float]] = {
    "haversine": (lambda u: pulse_force("haversine", 1.0, 1.0, u), 1.0),
    "parabola": (lambda u: pulse_force("parabola", 1.0, 1.0, u), 1.0),
    "late peak": (beta(2.8, 1.4), 1.0),
    "triangle": (lambda u: pulse_force("triangle", 1.0, 1.0, u), 1.0),
}
"""Pulses on which nothing of the method was chosen; the triangle is the worst that can be asked of it."""


def record(
    curve: Curve,
    reach: float,
    duration: float,
    rig: Rig,
    rng: np.random.Generator,
    *,
    noise: float,
    peak: float = 5000.0,
    window: float | None = None,
) -> Recorded:
    """
    Record one blow.

    Parameters
    ----------
    curve, reach
        Shape of the force and how long it acts, in units of ``duration``.
    duration : float
        Length of the pulse. [s]
    rig : Rig
        What rings and records.
    rng : numpy.random.Generator
        Source of noise and of the phase of sampling.
    noise : float
        Standard deviation of one sample. [N]
    peak : float
        Largest force. [N]
    window : float, optional
        Length recorded; by default a little quiet and five pulses of ring-down. [s]

    Returns
    -------
    Recorded
        Samples and truth.
    """
    before = max(duration, 12 / rig.rate)
    length = before + (reach + 4.5) * duration if window is None else window
    # The force is a straight line between points of the fine grid: exact for the cell, 1e-4 of the peak
    # for the curve at the coarsest grid used here.
    finest = max(16.0, 400 / (duration * rig.rate), 40 * rig.natural_frequency / rig.rate)
    parts = int(8 * np.ceil(finest / 8))
    rate = parts * rig.rate
    t = np.arange(int(length * rate)) / rate - before - rng.random() / rig.rate
    shape = curve(t / duration)
    force = peak * shape / shape.max()
    shown = respond_to_modes(force, rate, [Mode(rig.natural_frequency, rig.damping_ratio)])
    acquired = acquire(
        shown, rate, rate=rig.rate, rng=rng, phase=0.0, anti_alias_cutoff=rig.anti_alias_cutoff, noise=noise
    )
    n = acquired.force.size
    fine = slice(0, (n - 1) * parts + 1, parts // 8)
    acts = (t[fine] > 0) & (t[fine] < reach * duration)
    return Recorded(acquired.force, t[fine] - t[0], force[fine], acts, peak)


def strike(
    shape: str,
    duration: float,
    rig: Rig,
    rng: np.random.Generator,
    *,
    noise: float,
    window: float | None = None,
) -> Recorded:
    """Record one of the shapes; see :func:`record`."""
    curve, reach = (SHAPES | UNSEEN)[shape]
    return record(curve, reach, duration, rig, rng, noise=noise, window=window)
