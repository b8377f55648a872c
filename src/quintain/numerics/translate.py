"""The same blow on another pad, and as another measuring chain would have shown it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.bodies import Push, Striker, Target, simulate_strike
from quintain.numerics.pad_law import PadLaw
from quintain.numerics.resonator import Mode, butterworth_poles, respond, respond_to_modes
from quintain.numerics.uncertainty.linear import Estimate, combine

__all__ = ["Blow", "ShownPeak", "Translated", "show_through_chain", "translate_blow"]

Floats = NDArray[np.float64]

RATE = 50e3
"""Points per second of a simulated strike: far above anything a pad lets through. [Hz]"""

DOUBT_FROM = 0.80
"""Compression over the pad's bottoming depth from which a translation is doubted."""

REFUSE_FROM = 1.0
"""The same from which it is refused."""

U_METHOD = 0.012
"""Relative standard uncertainty of the method for one mass, from simulated pairs of pads."""

U_TWO_MASS = 0.025
"""The same where a push or a second mass comes in during contact."""

RATIO_DOUBT = 0.15
"""The measured peak may differ by so much from the simulated one before the blow or the pad is doubted."""


class Blow(NamedTuple):
    """A blow as it was found on one pad."""

    mass: float
    """Effective mass. [kg]"""
    speed: float
    """Approach speed. [m/s]"""
    acceleration: float = 0.0
    """Just before contact; the push is mass times this, never a pull. [m/s²]"""
    u_mass: float = 0.0
    """[kg]"""
    u_speed: float = 0.0
    """[m/s]"""
    u_acceleration: float = 0.0
    """[m/s²]"""
    grows: bool = False
    """Whether a push, or a second mass, was seen to come in during contact."""


class Translated(NamedTuple):
    """The blow on the other pad; peak and impulse are NaN where it is refused."""

    peak_force: Estimate
    """On the cell behind the other pad. [N]"""
    impulse: float
    """Of the whole contact there. [N·s]"""
    contact_time: float
    """There. [s]"""
    depth: float
    """Largest compression of the other pad. [m]"""
    ratio: float
    """Measured over simulated peak on the pad that was hit: 1 where mass, speed and pad agree."""
    time: Floats
    """From the start of contact, shape (n,). [s]"""
    force: Floats
    """Force on the other cell, scaled by the ratio, shape (n,). [N]"""
    flags: tuple[str, ...]


class ShownPeak(NamedTuple):
    """The peak another chain would have shown, over all places of its samples within the pulse."""

    mean: float
    """[N]"""
    lowest: float
    """[N]"""
    highest: float
    """[N]"""
    without_sampling: float
    """What its analogue output would have reached. [N]"""


def _simulate(blow: Blow, target: Target) -> tuple[Floats, Floats, float, float, float]:
    """Time from contact, force on the cell, peak, largest compression of the pad, contact time."""
    push = max(blow.mass * blow.acceleration, 0.0)
    reach = 0.002 * blow.speed
    at_gap = math.sqrt(max(blow.speed**2 - 2 * push / blow.mass * reach, (0.5 * blow.speed) ** 2))
    striker = Striker(
        blow.mass,
        at_gap,
        gap=reach,
        push=Push(push, start=-0.010, duration=0.07, rise=0.001) if push > 0 else None,
    )
    motion = simulate_strike(striker, target, duration=0.15, rate=RATE, tolerance=1e-7)
    end = float(motion.leave_times[0] if motion.leave_times.size else motion.time[-1])
    start = float(motion.touch_times[0])
    here = (motion.time >= start - 2 / RATE) & (motion.time <= end + 0.005)
    force = motion.force_on_cell[here]
    return motion.time[here] - start, force, float(force.max()), float(motion.compression.max()), end - start


def translate_blow(
    blow: Blow,
    *,
    measured_peak: float,
    u_measured_peak: float,
    hit: Target,
    to: Target,
    u_stiffness_hit: float = 0.03,
    u_stiffness_to: float = 0.03,
    proved_depth_hit: float | None = None,
    proved_depth_to: float | None = None,
) -> Translated:
    r"""
    Carry a blow from the pad that was hit to another one.

    Parameters
    ----------
    blow : Blow
        Mass, speed and push as they were found.
    measured_peak, u_measured_peak : float
        Peak force on the cell as it was measured, ringing removed. [N]
    hit, to : Target
        What was hit, and the other target. Both should hold their cell: its own give takes off 2 to 20 %.
    u_stiffness_hit, u_stiffness_to : float
        Relative standard uncertainties of the pads' stiffness. [1]
    proved_depth_hit, proved_depth_to : float, optional
        Largest compression at which drops have shown each pad's law. [m]

    Returns
    -------
    Translated
        Peak with the contributions ``peak``, ``mass``, ``speed``, ``push``, ``pads`` and ``method``.
        Flags: ``translation-refused`` (a pad would bottom out), ``translation-near-bottoming``,
        ``translation-beyond-proof`` and ``translation-ratio``.

    Raises
    ------
    ValueError
        If mass, speed, peak or an uncertainty makes no sense.

    Notes
    -----
    The blow is simulated on both targets and the measured peak is scaled by the ratio of the simulated
    ones (derived here): what is wrong in mass, speed or the law's shape on both pads alike cancels.
    Simulated over pairs of invented pads this is good to 0.5 % (median) and 2 % (95 %) for one mass, to 2
    and 4 % for two; without the scaling to 6 %, and with J/2v for the mass to 45 %. The push is taken as
    steady; one that grows makes the peak on a softer pad too low.

    Examples
    --------
    Onto the same pad nothing changes:

    >>> from quintain.numerics.pad_law import INVENTED_PADS
    >>> wall = Target(INVENTED_PADS["firm"])
    >>> there = translate_blow(
    ...     Blow(3.0, 7.0), measured_peak=4000.0, u_measured_peak=20.0, hit=wall, to=wall
    ... )
    >>> round(there.peak_force.value, 6)
    4000.0
    """
    for name, value in (("mass", blow.mass), ("speed", blow.speed), ("measured_peak", measured_peak)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be above 0, got {value}")
    doubts = (*blow[3:6], u_measured_peak, u_stiffness_hit, u_stiffness_to)
    if not all(math.isfinite(u) and u >= 0 for u in doubts):
        raise ValueError("uncertainties must be 0 or above")

    time, force, peak, depth, lasted = _simulate(blow, to)
    _, _, peak_hit, depth_hit, _ = _simulate(blow, hit)
    flags = _flags(
        ((hit.pad, depth_hit, proved_depth_hit), (to.pad, depth, proved_depth_to)), measured_peak / peak_hit
    )
    measured_over_simulated = measured_peak / peak_hit
    if "translation-refused" in flags:
        unknown, nothing = Estimate(math.nan, math.nan), np.empty(0)
        return Translated(
            unknown, math.nan, math.nan, depth, measured_over_simulated, nothing, nothing, flags
        )

    def ratio(one: Blow, here: Target, there: Target) -> float:
        return _simulate(one, there)[2] / _simulate(one, here)[2]

    def difference(u: float, up: Blow, down: Blow) -> float:
        return 0.5 * measured_peak * (ratio(up, hit, to) - ratio(down, hit, to)) if u > 0 else 0.0

    scale = peak / peak_hit
    pads = [
        0.5 * measured_peak * (ratio(blow, _stiffer(hit, 1 + a), _stiffer(to, 1 + b))
                               - ratio(blow, _stiffer(hit, 1 - a), _stiffer(to, 1 - b)))
        for a, b in ((u_stiffness_hit, 0.0), (0.0, u_stiffness_to)) if a + b > 0 and hit != to
    ]  # fmt: skip
    method = U_TWO_MASS if blow.grows else U_METHOD
    estimate = combine(
        measured_peak * scale,
        peak=u_measured_peak * scale,
        mass=difference(
            blow.u_mass,
            blow._replace(mass=blow.mass + blow.u_mass),
            blow._replace(mass=max(blow.mass - blow.u_mass, 0.1 * blow.mass)),
        ),
        speed=difference(
            blow.u_speed,
            blow._replace(speed=blow.speed + blow.u_speed),
            blow._replace(speed=max(blow.speed - blow.u_speed, 0.1 * blow.speed)),
        ),
        push=difference(
            blow.u_acceleration,
            blow._replace(acceleration=blow.acceleration + blow.u_acceleration),
            blow._replace(acceleration=blow.acceleration - blow.u_acceleration),
        ),
        pads=math.hypot(*pads) if pads else 0.0,
        method=method * measured_peak * scale if hit != to else 0.0,
    )
    scaled = force * measured_over_simulated
    return Translated(
        peak_force=estimate,
        impulse=float(np.trapezoid(scaled, dx=1 / RATE)),
        contact_time=lasted,
        depth=depth,
        ratio=measured_over_simulated,
        time=time,
        force=scaled,
        flags=flags,
    )


def _stiffer(target: Target, factor: float) -> Target:
    return replace(target, pad=replace(target.pad, stiffness=target.pad.stiffness * factor))


def _flags(pads: Sequence[tuple[PadLaw, float, float | None]], ratio: float) -> tuple[str, ...]:
    flags = []
    share = max(depth / law.bottoming for law, depth, _ in pads)
    if share >= REFUSE_FROM:
        flags.append("translation-refused")
    elif share >= DOUBT_FROM:
        flags.append("translation-near-bottoming")
    if any(proved is not None and depth > proved for _, depth, proved in pads):
        flags.append("translation-beyond-proof")
    if abs(ratio - 1) > RATIO_DOUBT:
        flags.append("translation-ratio")
    return tuple(flags)


def show_through_chain(
    force: ArrayLike,
    rate: float,
    *,
    modes: Sequence[Mode] = (),
    cutoff: float | None = None,
    order: int = 4,
    sampling_rate: float | None = None,
) -> ShownPeak:
    """
    Peak that another chain would have shown of a force, with nothing corrected.

    Parameters
    ----------
    force : array_like, shape (n,)
        Force on the cell, from before contact until after it. [N]
    rate : float
        Points of the force per second, ten times the highest frequency that matters or more. [Hz]
    modes : sequence of Mode
        How the other cell rings; none for a perfect one.
    cutoff : float, optional
        3 dB frequency of its Butterworth low-pass; none if not given. [Hz]
    order : int
        Number of poles of that filter.
    sampling_rate : float, optional
        Its samples per second; the analogue peak alone if not given. [Hz]

    Returns
    -------
    ShownPeak
        Mean and range over all places the samples can fall.

    Raises
    ------
    ValueError
        If the force is not finite, too short, or the sampling rate above that of the force.

    Notes
    -----
    A range over the places of samples, not a standard uncertainty: an older study's chain had one place a
    strike. Assumes that the other cell felt the same force; with another pad translate the blow first.

    Examples
    --------
    A half-sine of 3 kN over 12 ms, sampled 500 times a second by a perfect cell: 1 - cos(pi/2N), N = 6
    samples in the pulse, is 3.4 % at worst:

    >>> t = np.arange(-100, 1400) / 100e3
    >>> pulse = np.where((t > 0) & (t < 0.012), 3000 * np.sin(np.pi * t / 0.012), 0.0)
    >>> seen = show_through_chain(pulse, 100e3, sampling_rate=500.0)
    >>> round(seen.lowest), round(seen.highest)
    (2898, 3000)
    """
    signal = np.asarray(force, dtype=float)
    if signal.ndim != 1 or signal.size < 2 or not np.isfinite(signal).all():
        raise ValueError("force must be a row of at least 2 finite points")
    ring = 0.0
    if modes:
        slowest = min(modes, key=lambda mode: mode.natural_frequency)
        ring = 2 / slowest.natural_frequency
    signal = np.concatenate([signal, np.zeros(math.ceil((ring + (2 / cutoff if cutoff else 0)) * rate))])
    if modes:
        signal = respond_to_modes(signal, rate, modes)
    if cutoff is not None:
        signal = respond(signal, rate, butterworth_poles(cutoff, order))
    top = float(signal.max())
    if sampling_rate is None:
        return ShownPeak(top, top, top, top)
    if not 0 < sampling_rate <= rate:
        raise ValueError(f"sampling rate must be above 0 and at most {rate} Hz, got {sampling_rate}")
    step = rate / sampling_rate
    n = math.floor((signal.size - 1) / step)
    places = np.linspace(0.0, step, 64, endpoint=False)
    at = places[:, None] + step * np.arange(n)[None, :]
    peaks = np.interp(at, np.arange(signal.size), signal).max(axis=1)
    return ShownPeak(float(peaks.mean()), float(peaks.min()), float(peaks.max()), top)
