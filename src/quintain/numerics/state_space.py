"""The rig as a linear state-space model: ringing modes, unknown force, anti-alias filter."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.resonator import modes_and_shares

__all__ = ["RigModel", "Steps", "discretise", "rig_model"]

Floats = NDArray[np.float64]


class RigModel(NamedTuple):
    """Continuous-time model ``x' = drift x + noise``, ``measured = output @ x``."""

    drift: Floats
    """How the state moves on its own, shape (n, n). [1/s]"""
    output: Floats
    """What the chain shows of the state, shape (n,)."""
    i_force: int
    """Index of the force on the cell within the state; its derivatives follow."""
    n_force: int
    """Number of entries for the force and its derivatives; each may be driven by white noise."""


class Steps(NamedTuple):
    """Exact transitions over 0, 1, ... r parts of one sampling interval."""

    transition: Floats
    """State transition matrices, shape (r + 1, n, n)."""
    noise: Floats
    """Covariance gathered per unit density of each driving noise, shape (n_force, r + 1, n, n)."""


def rig_model(
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    share: ArrayLike | None = None,
    *,
    force_order: int = 3,
    force_frequency: float | None = None,
    anti_alias_cutoff: float | None = None,
    anti_alias_order: int = 4,
) -> RigModel:
    r"""
    Build the model of a cell that rings in one or several modes.

    Parameters
    ----------
    natural_frequency : array_like, shape (n_modes,)
        Undamped natural frequencies. [Hz]
    damping_ratio : array_like, shape (n_modes,)
        Damping ratios, at least 0 and below 1. [1]
    share : array_like, shape (n_modes,), optional
        Share of each mode in the static response; they sum to 1. Equal shares by default. [1]
    force_order : int
        Number of force states: the force itself and ``force_order - 1`` derivatives.
    force_frequency : float, optional
        Only scales the derivatives of the force within the state; default is the first mode's. [Hz]
    anti_alias_cutoff : float, optional
        -3 dB frequency of the Butterworth low-pass before the converter; none by default. [Hz]
    anti_alias_order : int
        Order of that filter.

    Returns
    -------
    RigModel
        State: two entries a mode, ``force_order`` of the force, then the anti-alias filter.

    Raises
    ------
    ValueError
        If shapes differ, a value is out of range, or shares do not sum to 1.

    Notes
    -----
    Each mode obeys :math:`y'' + 2\zeta\omega y' + \omega^2 y = \omega^2 F` and the cell shows
    :math:`\sum_i s_i y_i`, so that a constant force is shown in full. A rig whose modes are not
    linear, or change during the blow, leaves a residual ringing behind.

    Examples
    --------
    A constant force is shown in full:

    >>> model = rig_model([300.0, 45.0], [0.02, 0.05], [0.9, 0.1])
    >>> import numpy as np
    >>> rest = np.linalg.solve(model.drift[:4, :4], -model.drift[:4, model.i_force])
    >>> round(float(model.output[:4] @ rest), 12)
    1.0
    """
    frequency, damping, shares = modes_and_shares(natural_frequency, damping_ratio, share)
    n_modes = frequency.size
    if not ((frequency > 0) & np.isfinite(frequency)).all():
        raise ValueError(f"natural frequencies must be above 0 Hz, got {frequency.tolist()}")
    if not ((damping >= 0) & (damping < 1)).all():
        raise ValueError(f"damping ratios must lie from 0 to below 1, got {damping.tolist()}")
    if abs(shares.sum() - 1) > 1e-6:
        raise ValueError(f"shares of the modes must sum to 1, got {shares.sum():g}")
    if force_order not in (1, 2, 3):
        raise ValueError(f"force_order must be 1, 2 or 3, got {force_order}")
    poles = np.empty(0, dtype=complex)
    if anti_alias_cutoff is not None:
        if anti_alias_cutoff <= 0 or anti_alias_order < 1:
            raise ValueError(
                f"the anti-alias filter needs a cutoff above 0 Hz and an order of at least 1, "
                f"got {anti_alias_cutoff:g} Hz and {anti_alias_order}"
            )
        angle = np.pi * (2 * np.arange(1, (anti_alias_order + 1) // 2 + 1) + anti_alias_order - 1)
        poles = 2 * np.pi * anti_alias_cutoff * np.exp(1j * angle / (2 * anti_alias_order))

    omega = 2 * np.pi * frequency
    omega_force = omega[0] if force_frequency is None else 2 * np.pi * force_frequency
    i_force = 2 * n_modes
    n_filter = anti_alias_order if poles.size else 0
    n = i_force + force_order + n_filter
    drift = np.zeros((n, n))
    shown = np.zeros(n)
    for i in range(n_modes):
        y, s = 2 * i, 2 * i + 1
        drift[y, s] = omega[i]
        drift[s, y] = -omega[i]
        drift[s, s] = -2 * damping[i] * omega[i]
        drift[s, i_force] = omega[i]
        shown[y] = shares[i]
    for k in range(i_force, i_force + force_order - 1):
        drift[k, k + 1] = omega_force
    row = i_force + force_order
    for pole in poles:
        corner = abs(pole)
        if abs(pole.imag) < 1e-9 * corner:  # an odd order has one real pole
            drift[row] += corner * shown
            drift[row, row] -= corner
            out = row
            row += 1
        else:
            drift[row, row + 1] = corner
            drift[row + 1] += corner * shown
            drift[row + 1, row] -= corner
            drift[row + 1, row + 1] += 2 * pole.real
            out = row
            row += 2
        shown = np.zeros(n)
        shown[out] = 1.0
    return RigModel(drift, shown, i_force, force_order)


@njit(cache=True)
def _expm(a: Floats) -> Floats:
    """Matrix exponential by scaling, an 18-term series and squaring; small matrices only."""
    n = a.shape[0]
    norm = 0.0
    for i in range(n):
        s = 0.0
        for j in range(n):
            s += abs(a[i, j])
        norm = max(norm, s)
    halvings = 0
    while norm > 0.5:
        norm *= 0.5
        halvings += 1
    scaled = a * 0.5**halvings
    total = np.eye(n)
    term = np.eye(n)
    for k in range(1, 19):
        term = _product(term, scaled) / k
        total = total + term
    for _ in range(halvings):
        total = _product(total, total)
    return total


@njit(cache=True)
def _product(a: Floats, b: Floats) -> Floats:
    """Matrix product without the call overhead of BLAS, which dominates at this size."""
    n, m, p = a.shape[0], a.shape[1], b.shape[1]
    out = np.zeros((n, p))
    for i in range(n):
        for k in range(m):
            aik = a[i, k]
            if aik != 0.0:
                for j in range(p):
                    out[i, j] += aik * b[k, j]
    return out


@njit(cache=True)
def _steps(drift: Floats, i_force: int, n_force: int, dt: float, r: int) -> tuple[Floats, Floats]:
    n = drift.shape[0]
    transition = np.zeros((r + 1, n, n))
    noise = np.zeros((n_force, r + 1, n, n))
    transition[0] = np.eye(n)
    one = np.zeros((n, n))
    for channel in range(n_force):
        block = np.zeros((2 * n, 2 * n))
        for i in range(n):
            for j in range(n):
                block[i, j] = -drift[i, j] * dt
                block[n + i, n + j] = drift[j, i] * dt
        block[i_force + channel, n + i_force + channel] = dt
        block = _expm(block)
        for i in range(n):
            for j in range(n):
                one[i, j] = block[n + j, n + i]
        gathered = _product(one, block[:n, n:].copy())
        for k in range(1, r + 1):
            grown = _product(_product(one, noise[channel, k - 1]), one.T.copy()) + gathered
            noise[channel, k] = 0.5 * (grown + grown.T)
    for k in range(1, r + 1):
        transition[k] = _product(one, transition[k - 1])
    return transition, noise


def discretise(model: RigModel, interval: float, *, grid: int = 1) -> Steps:
    """
    Turn the continuous model into exact steps over parts of a sampling interval.

    Parameters
    ----------
    model : RigModel
        Continuous-time model.
    interval : float
        Time between samples. [s]
    grid : int
        Number of equal parts of the interval.

    Returns
    -------
    Steps
        Transition and covariance over 0 to ``grid`` parts; the last is the whole interval.

    Raises
    ------
    ValueError
        If the interval or the number of parts is not positive.

    Notes
    -----
    One matrix exponential gives both (Van Loan 1978, IEEE Trans. Automat. Contr. 23:395,
    doi:10.1109/TAC.1978.1101743); longer steps are composed from the shortest.

    Examples
    --------
    One undamped turn of a 100 Hz cell in 10 ms brings it back to where it was:

    >>> steps = discretise(rig_model([100.0], [0.0]), 0.010)
    >>> steps.transition[1, :2, :2].round(9) + 0.0
    array([[1., 0.],
           [0., 1.]])
    """
    if interval <= 0 or grid < 1:
        raise ValueError(f"interval must be above 0 s and grid at least 1, got {interval:g} s and {grid}")
    return Steps(*_steps(model.drift, model.i_force, model.n_force, interval / grid, grid))
