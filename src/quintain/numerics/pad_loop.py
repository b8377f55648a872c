"""What a drop tells of the pad: its loop of force and compression, its law, and the energy it keeps."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._least_squares import minimise_squares
from quintain.numerics.uncertainty.linear import Contribution, Estimate

__all__ = ["PadLoop", "fit_pad_law", "measure_pad"]

Floats = NDArray[np.float64]

EARLY, LATE = (0.30, 0.60), (0.80, 0.97)
"""Shares of the largest compression between which the local exponent is taken."""
STIFFENING = 8.0
"""q of the law: how suddenly a foam bottoms out; its choice moves x_d more than the force."""


@dataclass(frozen=True, slots=True)
class PadLoop:
    """A pad under one drop."""

    time: Floats
    """From first touch. [s]"""
    compression: Floats
    """Of the pad, the cell's own taken off. [m]"""
    force: Floats
    """[N]"""
    maximum_compression: Estimate
    """[m]"""
    energy_in: Estimate
    """Work up to the largest compression. [J]"""
    energy_lost: Estimate
    """Work that did not come back. [J]"""
    loss_fraction: Estimate
    """Energy lost over energy in. [1]"""
    secant_stiffness: Estimate
    """Force over compression at half the largest compression, while loading. [N/m]"""
    stiffness: Estimate
    """k of F = k x**n (1 + (x/x_d)**8)(1 + b x'), loading, as its force at 10 mm over 10 mm. [N/m]"""
    exponent: Estimate
    """n of that law. [1]"""
    bottoming_at: Estimate | None
    """x_d of that law: compression at which bottoming out has doubled the force; None where the pad did
    not stiffen enough to tell. [m]"""
    rate_loss: Estimate
    """b of that law. [s/m]"""
    bottoming_index: Estimate
    """Local exponent near the largest compression less the one in the middle. [1]"""
    bottoms: bool
    """Whether the index is above 0 by two standard uncertainties."""
    flags: tuple[str, ...]


def measure_pad(
    force: ArrayLike,
    time: ArrayLike,
    reading: ArrayLike,
    *,
    start: float,
    u_start: float,
    speed: Estimate,
    mass: float,
    gravity: float,
    u_mass: float = 0.0,
    u_gain: float = 0.0,
    u_force: float = 0.0,
    cell_stiffness: float | None = None,
    u_cell_stiffness: float = 0.1,
) -> PadLoop:
    r"""
    Integrate a mass into the pad and back, and measure the loop it draws.

    Parameters
    ----------
    force, time : array_like, shape (n,)
        Force on the cell with the ringing undone, on an even grid, and its instants. [N], [s]
    reading : array_like, shape (n,)
        What the cell showed at these instants, zero taken off: its own compression times its
        stiffness. [N]
    start, u_start : float
        First touch and its standard uncertainty. [s]
    speed : Estimate
        Speed at first touch by closure, with its contributions: they are carried with the same errors
        of mass and gain as the force, with which they are correlated. [m/s]
    mass, gravity : float
        [kg], [m/s²]
    u_mass : float
        Standard uncertainty. [kg]
    u_gain : float
        Of the chain's gain, relative. [1]
    u_force : float
        Standard uncertainty of the corrected force that is the same along the loop. [N]
    cell_stiffness : float, optional
        Force over compression of cell and mount. [N/m]
    u_cell_stiffness : float
        Its relative standard uncertainty. [1]

    Returns
    -------
    PadLoop
        Loop, energies, law and bottoming index, with uncertainties.

    Raises
    ------
    ValueError
        If arrays do not fit each other or hold no loading after the start.

    Notes
    -----
    :math:`x=\iint(g-F/m)-F_\mathrm{cell}/k_\mathrm{cell}`; without the last term x is some 5 % too
    large and the cell's elasticity is taken for the pad's. Speed errors enter the energy lost about
    five-fold. The energy lost is read where the force has faded, with the pad still partly squashed:
    what it gives back later without touching the mass is lost too.

    Examples
    --------
    A linear spring of 50 kN/m loses nothing:

    >>> w = (50e3 / 5.0) ** 0.5
    >>> t = np.arange(0, 0.0314, 1e-5)
    >>> f = 5.0 * w * 2.0 * np.sin(w * t)
    >>> pad = measure_pad(f, t, 0 * f, start=0.0, u_start=0.0, speed=Estimate(2.0, 0.0), mass=5.0,
    ...                   gravity=0.0, cell_stiffness=1e12)
    >>> round(1e3 * pad.maximum_compression.value, 2), abs(pad.energy_lost.value) < 0.01
    (20.0, True)
    """
    f = np.asarray(force, dtype=float)
    t = np.asarray(time, dtype=float)
    y = np.asarray(reading, dtype=float)
    if f.shape != t.shape or y.shape != f.shape or f.size < 20:
        raise ValueError(
            f"force, time and reading must have one length of 20 at least, got {f.shape} and {y.shape}"
        )
    compliance = 0.0 if cell_stiffness is None else 1 / cell_stiffness
    base = _loop(f, t, y, start, speed.value, mass, gravity, compliance)
    i_most = int(np.argmax(base[1]))
    if i_most < 5:
        raise ValueError("no loading follows the start: it lies beyond the contact")
    by = {c.name: c.u for c in speed.contributions}
    own = math.sqrt(max(speed.u**2 - sum(by.get(n, 0.0) ** 2 for n in ("mass", "gain", "first start")), 0.0))
    shifts = {
        "speed": _loop(f, t, y, start, speed.value + own, mass, gravity, compliance),
        "start": _loop(
            f, t, y, start + u_start, speed.value + by.get("first start", 0.0), mass, gravity, compliance
        ),
        "mass": _loop(f, t, y, start, speed.value + by.get("mass", 0.0), mass + u_mass, gravity, compliance),
        "gain": _loop(
            f * (1 + u_gain),
            t,
            y * (1 + u_gain),
            start,
            speed.value + by.get("gain", 0.0),
            mass,
            gravity,
            compliance,
        ),
        "force": _loop(
            f + u_force * (f > 0.02 * f.max()), t, y, start, speed.value, mass, gravity, compliance
        ),
        "cell": _loop(f, t, y, start, speed.value, mass, gravity, compliance * (1 + u_cell_stiffness)),
    }
    values = _loop_numbers(*base)
    changed = {name: _loop_numbers(*loop) for name, loop in shifts.items()}

    def estimate(i: int, extra: float = 0.0) -> Estimate:
        parts = [Contribution(name, float(v[i] - values[i])) for name, v in changed.items()]
        if extra:
            parts.append(Contribution("fit", extra))
        return Estimate(float(values[i]), math.hypot(*(p.u for p in parts)), tuple(parts))

    index, u_index = _bottoming_index(base[1][: i_most + 1], base[2][: i_most + 1])
    moved, _ = _bottoming_index(*(a[: int(np.argmax(shifts["start"][1])) + 1] for a in shifts["start"][1:3]))
    u_index = math.hypot(u_index, moved - index)
    stiffens = index + u_index > 0
    law, u_law = fit_pad_law(*(a[: i_most + 1] for a in base[1:]), stiffens=stiffens)
    flags = [] if cell_stiffness is not None else ["cell-compliance-unknown"]
    bottoms = index > 2 * u_index
    if bottoms:
        flags.append("bottoming")
    return PadLoop(
        time=base[0],
        compression=base[1],
        force=base[2],
        maximum_compression=estimate(0),
        energy_in=estimate(1),
        energy_lost=estimate(2),
        loss_fraction=estimate(3),
        secant_stiffness=estimate(4),
        stiffness=Estimate(law[0], u_law[0]),
        exponent=Estimate(law[1], u_law[1]),
        bottoming_at=Estimate(law[2], u_law[2]) if stiffens else None,
        rate_loss=Estimate(law[3], u_law[3]),
        bottoming_index=Estimate(index, u_index),
        bottoms=bottoms,
        flags=tuple(flags),
    )


def _loop(
    f: Floats,
    t: Floats,
    y: Floats,
    start: float,
    speed: float,
    mass: float,
    gravity: float,
    compliance: float,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Time, compression, force and its rate of compression from the start to the fading of the force."""
    inside = t > start
    time = np.concatenate([[start], t[inside]])
    force = np.concatenate([[0.0], f[inside]])
    reading = np.concatenate([[0.0], y[inside]])
    most = int(np.argmax(force))
    faded = np.flatnonzero(force[most:] < 0.005 * force[most])
    end = most + int(faded[0]) + 1 if faded.size else force.size
    time, force, reading = time[:end], force[:end], reading[:end]
    step = np.diff(time)
    a = gravity - force / mass
    v = speed + np.concatenate([[0.0], np.cumsum((a[1:] + a[:-1]) / 2 * step)])
    # second order in time within a step, so that a coarse grid does not lose compression
    x = np.concatenate([[0.0], np.cumsum(v[:-1] * step + (2 * a[:-1] + a[1:]) / 6 * step**2)])
    x = x - reading * compliance
    rate = np.gradient(x, time) if compliance else v
    return time - start, x, force, rate


def _loop_numbers(time: Floats, x: Floats, force: Floats, rate: Floats) -> Floats:
    i = int(np.argmax(x))
    step = np.diff(x)
    work = np.concatenate([[0.0], np.cumsum((force[1:] + force[:-1]) / 2 * step)])
    deepest = float(x[i])
    if 0 < i < x.size - 1:
        # crest of the parabola through the three deepest points
        bend = x[i - 1] - 2 * x[i] + x[i + 1]
        if bend < 0:
            deepest -= float((x[i + 1] - x[i - 1]) ** 2 / (8 * bend))
    energy_in = float(work[i])
    lost = float(work[-1])
    half = 0.5 * deepest
    order = np.maximum.accumulate(x[: i + 1])
    stiffness = float(np.interp(half, order, force[: i + 1])) / half
    return np.array([deepest, energy_in, lost, lost / energy_in, stiffness])


def fit_pad_law(
    compression: ArrayLike,
    force: ArrayLike,
    rate: ArrayLike,
    *,
    stiffens: bool = True,
    misfit: float = 0.01,
) -> tuple[tuple[float, float, float, float], tuple[float, float, float, float]]:
    r"""
    Fit the law F = k x**n (1 + (x/x_d)**8)(1 + b x') to the loading of a pad.

    Parameters
    ----------
    compression, force, rate : array_like, shape (n,)
        From first touch to the largest compression. [m], [N], [m/s]
    stiffens : bool
        Whether bottoming out is sought; else x_d stays at twenty times the largest compression. A loss
        that fades as the pad comes to a stop can pass for it.
    misfit : float
        How well such a law follows a pad, as a share of the force. [1]

    Returns
    -------
    law : (float, float, float, float)
        Force over compression at 10 mm without bottoming or rate, n, x_d, b. [N/m], [1], [m], [s/m]
    u_law : (float, float, float, float)
        Their standard uncertainties.

    Raises
    ------
    ValueError
        If fewer than eight points are given.

    Notes
    -----
    Damped least squares on logarithms. k itself has a unit that changes with n, so the stiffness at
    10 mm stands for it. x_d is known only where the pad was squashed to more than about half of it;
    until then a wide belief (2.5 times the largest compression, give or take a factor of 2.5) holds it.

    Examples
    --------
    >>> x = np.linspace(0, 0.02, 200)
    >>> law, u = fit_pad_law(x, 8e5 * x**1.5, np.zeros(200), stiffens=False)
    >>> round(law[0] / 1e3), round(law[1], 2)
    (80, 1.5)
    """
    x = np.asarray(compression, dtype=float)
    f = np.asarray(force, dtype=float)
    v = np.asarray(rate, dtype=float)
    keep = (x > 0.05 * x.max()) & (f > 0)
    if keep.sum() < 8:
        raise ValueError(f"a pad law needs 8 points of the loading at least, got {int(keep.sum())}")
    x, f, v = x[keep], f[keep], v[keep]
    likely = np.log((2.5 if stiffens else 19.99) * x.max())
    # neighbours on a fine grid share their errors: some 20 of them are independent
    u_each = misfit * math.sqrt(max(x.size / 20, 1.0))

    def residual(p: Floats) -> Floats:
        law = p[0] + p[1] * np.log(x / 0.01) + np.log1p((x / np.exp(p[2])) ** STIFFENING)
        law = law + np.log(np.maximum(1 + p[3] * v, 0.05))
        return np.concatenate([(law - np.log(f)) / u_each, [(p[2] - likely) / 0.9, p[3] / 0.3]])

    begin = np.array([np.log(np.interp(0.5 * x[-1], x, f)), 1.4, likely, 0.02])
    begin[0] -= begin[1] * np.log(0.5 * x[-1] / 0.01)
    found = minimise_squares(
        residual,
        begin,
        steps=np.full(4, 1e-5),
        lower=np.array([0.0, 0.3, np.log((0.8 if stiffens else 19.98) * x.max()), -2.0]),
        upper=np.array([25.0, 6.0, np.log(20 * x.max()), 5.0]),
    )
    p = found.parameters
    chi2 = float(found.residual[:-2] @ found.residual[:-2]) / max(x.size - 4, 1)
    u = np.sqrt(np.maximum(np.diag(found.covariance), 0.0) * max(chi2 * x.size / 20, 1.0))
    stiffness, depth = math.exp(p[0]) / 0.01, math.exp(p[2])
    return (
        (stiffness, float(p[1]), depth, float(p[3])),
        (stiffness * float(u[0]), float(u[1]), depth * float(u[2]), float(u[3])),
    )


def _bottoming_index(x: Floats, force: Floats) -> tuple[float, float]:
    """Local exponent late minus local exponent in the middle, with the doubt of both slopes."""
    deepest = float(x.max())
    slopes = []
    for low, high in (EARLY, LATE):
        part = (x > low * deepest) & (x < high * deepest) & (force > 0)
        if part.sum() < 3:
            return 0.0, math.inf
        lx, lf = np.log(x[part]), np.log(force[part])
        lx = lx - lx.mean()
        slope = float(lx @ lf / (lx @ lx))
        left = lf - lf.mean() - slope * lx
        # 0.5 % of the force, wrong alike within each part, is what the correction leaves
        u = math.hypot(0.005 / float(np.ptp(lx)) * 2, float(np.std(left)) / math.sqrt(float(lx @ lx)))
        slopes.append((slope, u))
    return slopes[1][0] - slopes[0][0], math.hypot(slopes[0][1], slopes[1][1])
