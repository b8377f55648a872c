r"""
All numbers of a limb at once, with the doubts they share.

Effective mass, energies and powers come from the same force and the same speed, so their errors go
together: a speed read too high makes the mass too low and the energy too high. Every quantity is
therefore a function of the same few independent inputs, and both ways of propagation, to first order
(JCGM 100) and by random draws (JCGM 101), use that one function.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.effective_mass import DEFINITIONS, LimbTrace, find_stop
from quintain.numerics.energy import power, running_energy
from quintain.numerics.uncertainty.budget import build_budget
from quintain.numerics.uncertainty.linear import Contribution, Estimate
from quintain.numerics.uncertainty.monte_carlo import MonteCarloEstimate

__all__ = [
    "INPUTS",
    "QUANTITIES",
    "LimbDoubts",
    "LimbNumbers",
    "draw_limb",
    "improve_first",
    "measure_limb",
]

Floats = NDArray[np.float64]

TABLE = 1024
"""Points of the tables that the draws look up: far finer than any curvature of force or speed."""

BLOCK = 8192
"""Draws evaluated at a time, so that they stay in the processor's cache."""

QUANTITIES = (
    "stop",
    "approach_speed",
    "impulse_to_stop",
    "effective_mass",
    "energy",
    "kinetic_energy",
    "mean_power",
    "peak_power",
)
"""What is measured, in order. [s], [m/s], [N·s], [kg], [J], [J], [W], [W]"""


class LimbDoubts(NamedTuple):
    """Standard uncertainties of the independent inputs."""

    gain: float = 0.0
    """Of the gain of the force chain, relative. [1]"""
    force: float = 0.0
    """Of the corrected force from all else, relative to it and alike over the contact. [1]"""
    speed_scale: float = 0.0
    """Of the speed, in proportion to it (sensitivity, lever arm, direction). [1]"""
    speed_offset: float = 0.0
    """Of the speed, the same during the whole contact (what an integration has gathered). [m/s]"""
    acceleration: float = 0.0
    """Of the acceleration just before contact. [m/s²]"""
    alignment: float = 0.0
    """Of the shift between the clocks of force and speed. [s]"""
    start: float = 0.0
    """Of the start of contact. [s]"""
    definition: float = DEFINITIONS["to_stop_with_push"].u_method
    """Of the effective mass as the limb's mass, relative: the push is not quite constant. [1]"""


INPUTS = LimbDoubts._fields


class LimbNumbers(NamedTuple):
    """Quantities by name; their covariance is in the order of :data:`QUANTITIES`."""

    estimates: dict[str, Estimate]
    covariance: Floats
    """Shape (8, 8), in the units of :data:`QUANTITIES`."""
    stop: float
    """Time from the start of contact to the stop of the limb: the window. [s]"""

    def correlation(self, one: str, other: str) -> float:
        """Correlation between two quantities, 0 where one of them is certain."""
        i, j = QUANTITIES.index(one), QUANTITIES.index(other)
        scale = float(np.sqrt(self.covariance[i, i] * self.covariance[j, j]))
        return float(self.covariance[i, j] / scale) if scale > 0 else 0.0


class _Tables(NamedTuple):
    """The strike prepared for many draws: tables on even grids, looked up without a search."""

    approach_speed: float
    acceleration: float
    end: float
    """Last time in the tables, which begin at zero. [s]"""
    impulse: Floats
    energy: Floats
    """Integral of force times speed. [J]"""
    slope: Floats
    """Integral of force times the slope of the speed: what a shift of the speed does to the energy. [W]"""
    lowest: float
    highest: float
    """Range of speeds in the table of times. [m/s]"""
    time_of_speed: Floats
    peak: Floats
    """Polynomial of the peak power in a shift [s] and an offset [m/s] of the speed, six terms."""


def _tables(trace: LimbTrace, approach_speed: float, acceleration: float, doubts: LimbDoubts) -> _Tables:
    end = float(trace.time[-1])
    grid = np.linspace(0.0, end, TABLE)
    slope = np.gradient(trace.speed, trace.time)
    against = LimbTrace(trace.time, trace.force, slope, trace.impulse)
    falling = np.minimum.accumulate(trace.speed)
    speeds = np.linspace(float(falling[-1]), float(falling[0]), TABLE)
    return _Tables(
        approach_speed,
        acceleration,
        end,
        np.interp(grid, trace.time, trace.impulse),
        np.interp(grid, trace.time, running_energy(trace)),
        np.interp(grid, trace.time, running_energy(against)),
        float(speeds[0]),
        float(speeds[-1]),
        np.interp(speeds, *_first_passage(trace.time, falling)),
        _peak_power_terms(trace, doubts),
    )


def _first_passage(time: Floats, falling: Floats) -> tuple[Floats, Floats]:
    """Speeds in rising order with the first time at which each is passed."""
    new = np.concatenate([[True], np.diff(falling) < 0])
    return falling[new][::-1], time[new][::-1]


def _peak_power_terms(trace: LimbTrace, doubts: LimbDoubts) -> Floats:
    """The peak of the power for shifted and offset speeds, as a quadratic through a grid of cases."""
    shifts = 2 * max(doubts.alignment, 1e-5) * np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
    offsets = 2 * max(doubts.speed_offset, 1e-3) * np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
    n = min(trace.time.size, 200)
    time = np.linspace(0.0, trace.time[-1], n)
    force = np.interp(time, trace.time, trace.force)
    moved = np.stack([np.interp(time - s, trace.time, trace.speed) for s in shifts])
    peaks = (force * (moved[:, None, :] + offsets[None, :, None])).max(axis=2)
    s, o = (a.ravel() for a in np.meshgrid(shifts / shifts[-1], offsets / offsets[-1], indexing="ij"))
    terms = np.stack([np.ones(s.size), s, o, s * s, s * o, o * o], axis=1)
    fitted = np.linalg.lstsq(terms, peaks.ravel(), rcond=None)[0]
    fitted[0] += float(power(trace).max()) - fitted[0]  # the middle is the strike itself
    scale = np.array([shifts[-1], offsets[-1]])
    return np.asarray(
        fitted / np.array([1, scale[0], scale[1], scale[0] ** 2, scale[0] * scale[1], scale[1] ** 2])
    )


def _look_up(place: Floats, *tables: Floats) -> list[Floats]:
    """Straight lines between the points of even tables; ``place`` counts points and is held inside."""
    place = np.clip(place, 0.0, tables[0].size - 1.000001)
    whole = place.astype(np.intp)
    part = place - whole
    return [(1 - part) * table.take(whole) + part * table.take(whole + 1) for table in tables]


def _evaluate(t: _Tables, error: Mapping[str, Floats]) -> Floats:
    """All quantities for errors of the inputs, each shape (n,); returns shape (8, n)."""
    scale, offset, shift = 1 + error["speed_scale"], error["speed_offset"], error["alignment"]
    gain = (1 + error["gain"]) * (1 + error["force"])
    over = offset / scale
    per_speed = (t.time_of_speed.size - 1) / (t.highest - t.lowest)
    stop = shift + _look_up((-over - t.lowest) * per_speed, t.time_of_speed)[0]
    place = stop * ((t.impulse.size - 1) / t.end)
    impulse, energy, slope = _look_up(place, t.impulse, t.energy, t.slope)
    impulse = gain * impulse
    energy = gain * scale * (energy - shift * slope) + offset * impulse
    lasted = stop + error["start"]
    speed = scale * t.approach_speed + offset
    reached = speed + (scale * t.acceleration + error["acceleration"]) * lasted
    mass = impulse / reached * (1 + error["definition"])
    p = t.peak
    peak = p[0] + shift * (p[1] + p[3] * shift + p[4] * over) + over * (p[2] + p[5] * over)
    return np.stack(
        [lasted, speed, impulse, mass, energy, 0.5 * mass * speed**2, energy / lasted, gain * scale * peak]
    )


def _prepared(
    trace: LimbTrace, approach_speed: float, acceleration: float, doubts: LimbDoubts
) -> tuple[_Tables, float]:
    if not approach_speed > 0:
        raise ValueError(f"approach speed must be above 0 m/s, got {approach_speed} m/s")
    for name, u in zip(INPUTS, doubts, strict=True):
        if not (np.isfinite(u) and u >= 0):
            raise ValueError(f"the doubt {name} must be at least 0, got {u}")
    stop = find_stop(trace)
    if stop is None:
        raise ValueError("the limb does not stop within the contact that was recorded")
    if not approach_speed + acceleration * stop > 0:
        raise ValueError(
            f"with {acceleration:.3g} m/s² before contact the limb would stop without the pad; "
            "the acceleration cannot be that of the approach"
        )
    return _tables(trace, approach_speed, acceleration, doubts), stop


def measure_limb(
    trace: LimbTrace, *, approach_speed: float, acceleration: float, doubts: LimbDoubts
) -> LimbNumbers:
    r"""
    Effective mass, energies and powers of one strike, to first order.

    Parameters
    ----------
    trace : LimbTrace
        Force and speed from the start of contact.
    approach_speed : float
        Speed just before contact. [m/s]
    acceleration : float
        Acceleration just before contact. [m/s²]
    doubts : LimbDoubts
        Standard uncertainties of the independent inputs.

    Returns
    -------
    LimbNumbers
        Estimates with one contribution for each input, and the covariance between quantities.

    Raises
    ------
    ValueError
        If the speed is not above zero, a doubt is negative, or the limb does not stop within the trace.

    Notes
    -----
    :math:`V = C\,\mathrm{diag}(u^2)\,C^T` with sensitivities C from central differences over a tenth of
    each uncertainty (JCGM 100:2008, equation 13). A constant offset of the speed moves the stop along with
    the speed and nearly cancels in the mass; a wrong scale does not.

    Examples
    --------
    One mass of 3 kg at 8 m/s, stopped along half a cosine, its speed known to 1 %:

    >>> from quintain.numerics.effective_mass import join_speed
    >>> t = np.linspace(0, 0.02, 401)
    >>> force = 3 * 8 * np.pi / 0.02 * np.sin(np.pi * t / 0.02)
    >>> trace = join_speed(t, force, t, 8 * np.cos(np.pi * t / 0.02), end=0.02)
    >>> numbers = measure_limb(
    ...     trace, approach_speed=8.0, acceleration=0.0, doubts=LimbDoubts(speed_scale=0.01, definition=0.0)
    ... )
    >>> mass, energy = numbers.estimates["effective_mass"], numbers.estimates["energy"]
    >>> print(f"{mass.value:.3f} ± {mass.u:.3f} kg, {energy.value:.1f} ± {energy.u:.1f} J")
    3.000 ± 0.030 kg, 96.0 ± 1.0 J
    >>> round(numbers.correlation("effective_mass", "approach_speed"), 3)
    -1.0
    """
    tables, stop = _prepared(trace, approach_speed, acceleration, doubts)
    u = np.array(doubts)
    steps = 0.1 * u
    n = u.size
    cases = np.zeros((n, 2 * n + 1))
    for i in range(n):
        cases[i, 2 * i], cases[i, 2 * i + 1] = steps[i], -steps[i]
    found = _evaluate(tables, dict(zip(INPUTS, cases, strict=True)))
    value = found[:, -1]
    sensitivity = (found[:, 0:-1:2] - found[:, 1:-1:2]) / 0.2  # times the uncertainty already
    estimates = {}
    for name, best, parts in zip(QUANTITIES, value, sensitivity, strict=True):
        named = tuple(Contribution(i, float(p)) for i, p in zip(INPUTS, parts, strict=True) if p)
        estimates[name] = Estimate(float(best), float(np.sqrt(parts @ parts)), named)
    return LimbNumbers(estimates, sensitivity @ sensitivity.T, stop)


def draw_limb(
    trace: LimbTrace,
    *,
    approach_speed: float,
    acceleration: float,
    doubts: LimbDoubts,
    n_draws: int = 100_000,
    probability: float = 0.95,
    seed: int = 0,
) -> dict[str, MonteCarloEstimate]:
    """
    The same numbers by random draws of the inputs.

    Parameters
    ----------
    trace, approach_speed, acceleration, doubts
        As for :func:`measure_limb`; every input is drawn from a normal distribution.
    n_draws : int
        Number of draws, at least 1000.
    probability : float
        Coverage probability of the interval, which leaves equal parts on both sides. [1]
    seed : int
        Of the generator.

    Returns
    -------
    dict of str to MonteCarloEstimate
        By quantity; ``shortest`` repeats the symmetric interval, as sorting all draws would cost more than
        it tells.

    Raises
    ------
    ValueError
        As :func:`measure_limb`, or if there are too few draws.

    Notes
    -----
    JCGM 101:2008, clause 7. Where it differs from first order, these are the numbers to believe.

    Examples
    --------
    >>> from quintain.numerics.effective_mass import join_speed
    >>> t = np.linspace(0, 0.02, 401)
    >>> force = 3 * 8 * np.pi / 0.02 * np.sin(np.pi * t / 0.02)
    >>> trace = join_speed(t, force, t, 8 * np.cos(np.pi * t / 0.02), end=0.02)
    >>> drawn = draw_limb(
    ...     trace, approach_speed=8.0, acceleration=0.0, doubts=LimbDoubts(speed_scale=0.01, definition=0.0)
    ... )
    >>> print(f"{drawn['effective_mass'].value:.2f} ± {drawn['effective_mass'].u:.3f} kg")
    3.00 ± 0.030 kg
    """
    if n_draws < 1000:
        raise ValueError(f"need at least 1000 draws, got {n_draws}")
    tables, _ = _prepared(trace, approach_speed, acceleration, doubts)
    rng = np.random.default_rng(seed)
    outputs = np.empty((len(QUANTITIES), n_draws), dtype=np.float32)  # seven digits of a draw are enough
    for first in range(0, n_draws, BLOCK):
        n = min(BLOCK, n_draws - first)
        errors = {
            name: u * rng.standard_normal(n, dtype=np.float32).astype(float) if u > 0 else np.zeros(n)
            for name, u in zip(INPUTS, doubts, strict=True)
        }
        outputs[:, first : first + n] = _evaluate(tables, errors)
    tail = (1 - probability) / 2
    low, high = round(tail * (n_draws - 1)), round((1 - tail) * (n_draws - 1))
    drawn = {}
    for name, row in zip(QUANTITIES, outputs, strict=True):
        row.sort()
        interval = (float(row[low]), float(row[high]))
        drawn[name] = MonteCarloEstimate(
            float(row.mean(dtype=float)), float(row.std(ddof=1, dtype=float)), interval, interval, n_draws
        )
    return drawn


ADVICE = {
    "gain": "prove the gain of the force chain with drops or reference loads",
    "force": "lower the noise of the force, sample faster, or repeat the tap test",
    "speed_scale": "calibrate the speed sensor and measure its lever arm",
    "speed_offset": "shorten the time between the last rest and the blow, or calibrate the speed sensor",
    "acceleration": "sample the limb's motion faster before contact",
    "alignment": "align the clocks with more strikes, or with a shared sync pulse",
    "start": "lower the noise of the force, so that the start of contact is clearer",
    "definition": "use a firmer pad, so that the limb stops before its push can change",
}


def improve_first(estimate: Estimate) -> str:
    """
    Say in one sentence what to improve first.

    Parameters
    ----------
    estimate : Estimate
        One of the quantities of :func:`measure_limb`.

    Returns
    -------
    sentence : str
        The input whose removal gains most, what that would gain, and what to do.

    Examples
    --------
    >>> mass = Estimate(3.0, 0.05, (Contribution("speed_scale", -0.04), Contribution("gain", 0.03)))
    >>> print(improve_first(mass))
    Improve first: calibrate the speed sensor and measure its lever arm (u 0.05 to 0.03).
    """
    if not any(c.u for c in estimate.contributions):
        return "No doubt was stated, so nothing can be improved first."
    best = build_budget(estimate.contributions)[0]
    return f"Improve first: {ADVICE[best.name]} (u {estimate.u:.2g} to {best.u_without:.2g})."
