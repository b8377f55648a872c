"""
Force at the glove, recovered through a plate and the pad it rests on.

The cell feels what the plate passes on, late and softened; behind 1 kg on foam the peaks differ by 15 %
either way. Where plate and pad are known, both are undone in one step.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.force_prior import find_contact, measure_pulse, rough_prior
from quintain.numerics.kappa import coverage_factors
from quintain.numerics.state_space import RigModel, rig_model
from quintain.numerics.strike_fit import Chain, Fitted, fit_belief, fit_kinked, telling_part

__all__ = ["ContactForce", "PlateOnPad", "recover_contact_force"]

Floats = NDArray[np.float64]

U_METHOD = 0.015
"""Relative standard uncertainty of a peak recovered with right constants, from simulated strikes."""

GUARD = 1.5
"""Sampling intervals added on either side of contact."""

SMOOTH_FROM = 12
"""Sampling intervals of contact from which on the belief in a smooth pulse with kinked ends is taken."""


class PlateOnPad(NamedTuple):
    """
    A plate on its pad in front of a cell; relative standard uncertainties beside each constant.

    ``mass`` of the plate and ``moving_mass`` of the cell [kg], ``natural_frequency`` [Hz] and
    ``damping_ratio`` of the plate on its pad with the cell held still, as taps on the plate give them.
    """

    mass: float
    moving_mass: float
    natural_frequency: float
    damping_ratio: float
    u_mass: float = 0.02
    u_natural_frequency: float = 0.02
    u_damping_ratio: float = 0.25


class ContactForce(NamedTuple):
    """Force at the glove; not the force on the cell."""

    time: Floats
    """From the first sample, shape (n,). [s]"""
    force: Floats
    """Shape (n,). [N]"""
    u_force: Floats
    """Standard uncertainty, shape (n,). [N]"""
    peak_force: float
    """[N]"""
    u_peak_force: float
    """[N]"""
    time_of_peak: float
    """From the first sample. [s]"""
    contributions: dict[str, float]
    """Parts of ``u_peak_force``; their squares sum to its square. [N]"""


class _PlateChain(Chain):
    """
    A chain whose rig is a plate on a pad on a ringing cell.

    ``theta`` holds logarithms of the cell's frequency [Hz] and damping, plate over moving mass, and the
    plate's frequency [Hz] and damping.
    """

    def model(self, theta: Floats) -> RigModel:
        cell, cell_damping, ratio, plate, plate_damping = np.exp(theta)
        one = rig_model(
            [cell],
            [min(cell_damping, 0.95)],
            force_frequency=self.force_frequency,
            anti_alias_cutoff=self.cutoff,
            anti_alias_order=self.order,
        )
        # States: cell y, y'/w, then the plate p, p'/w (both times the cell's stiffness: newtons), then the
        # force and its derivatives, then the filter.
        omega = 2 * np.pi * cell
        stiff = ratio * (plate / cell) ** 2
        dash = 2 * plate_damping * ratio * plate / cell
        n = one.drift.shape[0]
        keep = np.r_[0, 1, np.arange(2, n) + 2]
        drift = np.zeros((n + 2, n + 2))
        drift[np.ix_(keep, keep)] = one.drift
        i_force = one.i_force + 2
        drift[1, i_force] = 0.0
        for row, sign in ((1, omega), (3, -omega / ratio)):
            drift[row, [2, 0]] += sign * stiff * np.array([1.0, -1.0])
            drift[row, [3, 1]] += sign * dash * np.array([1.0, -1.0])
        drift[2, 3] = omega
        drift[3, i_force] = omega / ratio
        output = np.zeros(n + 2)
        output[keep] = one.output
        return RigModel(drift, output, i_force, one.n_force)


def recover_contact_force(
    samples: ArrayLike,
    rate: float,
    *,
    natural_frequency: float,
    damping_ratio: float,
    plate: PlateOnPad,
    noise: float,
    u_natural_frequency: float = 0.002,
    u_damping_ratio: float = 0.05,
    anti_alias_cutoff: float | None = None,
    anti_alias_order: int = 4,
    contact: tuple[int, int] | None = None,
    grid: int = 8,
) -> ContactForce:
    r"""
    Recover the force at the glove from the samples of the cell.

    Parameters
    ----------
    samples : array_like, shape (n_samples,)
        Output of the chain with its zero removed, from quiet before the blow to well after it. [N]
    rate : float
        Sampling rate. [Hz]
    natural_frequency, damping_ratio : float
        Of the cell's moving mass alone, without the plate. [Hz], [1]
    plate : PlateOnPad
        The plate and the pad it rests on.
    noise : float
        Standard deviation of one sample. [N]
    u_natural_frequency, u_damping_ratio : float
        Relative standard uncertainties of the cell's. [1]
    anti_alias_cutoff : float, optional
        3 dB frequency of the Butterworth low-pass before the converter. [Hz]
    anti_alias_order : int
        Number of its poles.
    contact : tuple of int, optional
        First and last sample between which the plate was touched; the whole trace if not given.
    grid : int
        Points of the answer for each sampling interval.

    Returns
    -------
    ContactForce
        Force, peak, and what makes it uncertain.

    Raises
    ------
    ValueError
        If samples or constants make no sense, or the plate's frequency is beyond 0.45 of the rate.

    Notes
    -----
    Plate and cell are two masses on two springs in series (derived here):
    :math:`m_p \ddot x_p = F - k(x_p - x_t) - c(\dot x_p - \dot x_t)` and
    :math:`m_t \ddot x_t = k(x_p - x_t) + c(\dot x_p - \dot x_t) - k_c x_t - c_c \dot x_t`; the gauge shows
    :math:`k_c x_t`. The unknown force is a random process as in
    :func:`~quintain.numerics.ringing.remove_ringing`, and one Kalman smoother undoes both masses. The pad
    is taken as a spring with a dashpot: one that stiffens makes the peak too low, by 2 % at moderate and 10 %
    at hard blows (simulated). A contact shorter than the plate's own period is cut by up to 15 %.

    Examples
    --------
    A blow through a plate of 1 kg; the force at the cell lies well above that at the glove:

    >>> from quintain.numerics.bodies import Cell, Plate, Striker, Target, simulate_strike
    >>> from quintain.numerics.pad_law import PadLaw
    >>> wall = Target(PadLaw(6e5, 1.5, rate_loss=0.05), Plate(1.0, 1.2e6, 0.1), Cell(3.0, 220.0))
    >>> blow = simulate_strike(Striker(2.0, 6.0, gap=0.3), wall, duration=0.25, rate=20e3)
    >>> found = recover_contact_force(
    ...     blow.cell_output[::10], 2000.0, natural_frequency=220.0, damping_ratio=0.02,
    ...     plate=PlateOnPad(1.0, 3.0, 174.35, 0.1), noise=1.0,
    ... )
    >>> bool(blow.force_on_cell.max() > 1.15 * blow.contact_force.max())
    True
    >>> bool(abs(found.peak_force / blow.contact_force.max() - 1) < 0.02)
    True
    """
    y = np.asarray(samples, dtype=float)
    if y.ndim != 1 or y.size < 16 or not np.isfinite(y).all():
        raise ValueError(f"need at least 16 finite samples of one channel, got shape {y.shape}")
    constants = (rate, natural_frequency, damping_ratio, noise, *plate[:4])
    if not all(math.isfinite(c) and c > 0 for c in constants):
        raise ValueError(f"rate, noise and all constants of cell and plate must be above 0, got {constants}")
    if max(plate.natural_frequency, natural_frequency) > 0.45 * rate:
        raise ValueError(
            f"cell ({natural_frequency:g} Hz) and plate ({plate.natural_frequency:g} Hz) must ring below "
            f"0.45 of the sampling rate, {0.45 * rate:g} Hz; sample faster"
        )
    theta = np.log(
        [
            natural_frequency,
            damping_ratio,
            plate.mass / plate.moving_mass,
            plate.natural_frequency,
            plate.damping_ratio,
        ]
    )
    chain = _PlateChain(
        y, rate, noise, np.ones(1), natural_frequency, anti_alias_cutoff, anti_alias_order, grid
    )
    fitted, touched = _fit(chain, theta, (0, y.size - 1) if contact is None else contact)
    look = chain.smooth(theta, fitted.density)
    inside = np.flatnonzero(touched)
    pulse = chain.pulse(look.force, (int(inside[0]), int(inside[-1]) + 1))
    at = round(pulse.time_of_peak * rate * grid)
    slowest = min(natural_frequency, plate.natural_frequency)
    kappa, kappa_peak = coverage_factors(
        pulse.length * slowest, pulse.length * rate, noise / max(pulse.peak, noise)
    )
    doubts = {
        "natural frequency": (0, u_natural_frequency),
        "damping ratio": (1, u_damping_ratio),
        "plate mass": (2, plate.u_mass),
        "plate frequency": (3, plate.u_natural_frequency),
        "plate damping": (4, plate.u_damping_ratio),
    }
    parts = {
        "noise and roughness": kappa_peak * math.sqrt(look.variance[at]),
        "method": U_METHOD * pulse.peak,
    }
    variance = kappa**2 * look.variance + (U_METHOD * look.force) ** 2
    for name, (i, u) in doubts.items():
        moved = theta.copy()
        moved[i] += u
        change = chain.smooth(moved, fitted.density).force - look.force
        parts[name] = abs(
            float(chain.pulse(look.force + change, (int(inside[0]), int(inside[-1]) + 1)).peak - pulse.peak)
        )
        variance = variance + change**2
    return ContactForce(
        time=np.arange(look.force.size) / (rate * grid),
        force=look.force,
        u_force=np.sqrt(variance),
        peak_force=pulse.peak,
        u_peak_force=math.hypot(*parts.values()),
        time_of_peak=pulse.time_of_peak,
        contributions=parts,
    )


def _fit(chain: Chain, theta: Floats, window: tuple[int, int]) -> tuple[Fitted, NDArray[np.bool_]]:
    """Belief about the force: first without a contact, then with one, rough or smooth by its length."""
    y, rate = chain.samples, chain.rate
    omega = 2 * np.pi * chain.force_frequency
    seen = measure_pulse(np.abs(y), 1 / rate, max(window[0], 0), min(window[1], y.size - 1))
    everywhere = np.ones(y.size - 1, dtype=bool)
    unbound = fit_belief(
        chain, theta, rough_prior(everywhere, seen, omega), slice(0, y.size), np.zeros(1), 0.1
    )
    look = chain.smooth(theta, unbound.density)
    pulse = chain.pulse(look.force, window)
    threshold = max(0.05 * pulse.peak, 5 * float(np.sqrt(np.median(look.variance))))
    touched = find_contact(look.force, chain.grid, threshold, guard=GUARD, window=window)
    part = telling_part(touched, rate / chain.force_frequency)
    rough = fit_belief(chain, theta, rough_prior(touched, pulse, omega), part, np.zeros(1))
    if np.count_nonzero(touched) - 2 * GUARD < SMOOTH_FROM:
        return rough, touched
    smooth, moved = fit_kinked(chain, theta, touched, pulse, part)
    return (smooth, moved) if smooth.evidence > rough.evidence else (rough, touched)
