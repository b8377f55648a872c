r"""
Linear ringing: what a cell, or a filter, makes of any force.

Everything here is a sum of one-pole filters, :math:`H(s) = \sum_k r_k / (s - p_k)`, each advanced exactly
for a force that is a straight line between its samples. A mode of the cell is a pair of poles, and a
Butterworth anti-alias filter is one more set.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "Mode",
    "Poles",
    "butterworth_poles",
    "mode_poles",
    "modes_and_shares",
    "respond",
    "respond_to_modes",
    "transfer",
]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


class Mode(NamedTuple):
    """One way in which the cell rings."""

    natural_frequency: float
    """Undamped natural frequency. [Hz]"""
    damping_ratio: float
    """Share of critical damping."""
    share: float = 1.0
    """Part of a steady force that the gauge shows through this mode; all shares sum to 1."""


class Poles(NamedTuple):
    """A linear filter by its poles and residues."""

    pole: Complexes
    """Poles, all in the left half plane, shape (n,). [1/s]"""
    residue: Complexes
    """Residues, shape (n,). [1/s]"""


def modes_and_shares(
    natural_frequency: ArrayLike, damping_ratio: ArrayLike, share: ArrayLike | None = None
) -> tuple[Floats, Floats, Floats]:
    """
    Modes as arrays; where no shares are given all are alike.

    Parameters
    ----------
    natural_frequency, damping_ratio, share : array_like, shape (n_modes,)
        As in :class:`Mode`. [Hz], [1], [1]

    Returns
    -------
    natural_frequency, damping_ratio, share : ndarray, shape (n_modes,)
        The same. [Hz], [1], [1]

    Raises
    ------
    ValueError
        If they are not as many of each.

    Examples
    --------
    >>> [each.tolist() for each in modes_and_shares([300.0, 45.0], [0.02, 0.05])]
    [[300.0, 45.0], [0.02, 0.05], [0.5, 0.5]]
    """
    frequency = np.atleast_1d(np.asarray(natural_frequency, dtype=float))
    damping = np.atleast_1d(np.asarray(damping_ratio, dtype=float))
    n = frequency.size
    shares = np.full(n, 1 / n) if share is None else np.atleast_1d(np.asarray(share, dtype=float))
    if damping.shape != frequency.shape or shares.shape != frequency.shape:
        raise ValueError(
            f"each mode needs one natural frequency, damping ratio and share, "
            f"got {frequency.size}, {damping.size} and {shares.size}"
        )
    return frequency, damping, shares


def mode_poles(modes: Sequence[Mode]) -> Poles:
    r"""
    Poles of a cell whose modes act side by side.

    Parameters
    ----------
    modes : sequence of Mode
        The modes; their shares must sum to 1, so that a steady force reads true.

    Returns
    -------
    poles : Poles
        Two poles a mode.

    Raises
    ------
    ValueError
        If there is no mode, a frequency or damping ratio is not above zero, or the shares do not sum
        to 1 within 1e-9.

    Notes
    -----
    :math:`H(s) = \sum_i s_i\,\omega_i^2 / (s^2 + 2 \zeta_i \omega_i s + \omega_i^2)`. At critical damping
    both poles fall together; the damping ratio is then taken 1e-8 off, which changes the response by less.

    Examples
    --------
    >>> mode_poles([Mode(100.0, 0.6)]).pole / (200 * np.pi)
    array([-0.6+0.8j, -0.6-0.8j])
    """
    if len(modes) == 0:
        raise ValueError("a cell needs at least 1 mode, got none")
    total = sum(mode.share for mode in modes)
    if not abs(total - 1) <= 1e-9:
        raise ValueError(f"shares of the modes must sum to 1, got {total:g}")
    poles: list[complex] = []
    residues: list[complex] = []
    for mode in modes:
        if not (mode.natural_frequency > 0 and mode.damping_ratio > 0):
            raise ValueError(
                "natural frequency and damping ratio of a mode must be above 0, got "
                f"{mode.natural_frequency} Hz and {mode.damping_ratio}"
            )
        omega = 2 * np.pi * mode.natural_frequency
        zeta = mode.damping_ratio if abs(mode.damping_ratio - 1) > 1e-8 else 1 - 1e-8
        root = np.sqrt(complex(zeta**2 - 1))
        pair = [omega * (-zeta + root), omega * (-zeta - root)]
        poles += pair
        gain = mode.share * omega**2 / (pair[0] - pair[1])
        residues += [gain, -gain]
    return Poles(np.array(poles), np.array(residues))


def butterworth_poles(cutoff: float, order: int = 4) -> Poles:
    r"""
    Poles of a Butterworth low-pass filter, as stands before most converters.

    Parameters
    ----------
    cutoff : float
        Frequency at which the gain has fallen by 3 dB. [Hz]
    order : int
        Number of poles, 1 to 10.

    Returns
    -------
    poles : Poles
        Poles evenly spaced on the left half of a circle.

    Raises
    ------
    ValueError
        If the cutoff is not above zero or the order is out of range.

    Notes
    -----
    :math:`p_k = \omega_c\, e^{i \pi (2k + n - 1) / (2n)}`, k = 1..n (S. Butterworth, Experimental
    Wireless 7 (1930) 536); gain :math:`1/\sqrt{1 + (f/f_c)^{2n}}`, 1 at zero frequency.

    Examples
    --------
    >>> gain = transfer([0.0, 300.0], butterworth_poles(300.0))
    >>> np.round(20 * np.log10(abs(gain)) + 0.0, 3)
    array([ 0.  , -3.01])
    """
    if not cutoff > 0:
        raise ValueError(f"cutoff of a filter must be above 0 Hz, got {cutoff} Hz")
    if not 1 <= order <= 10:
        raise ValueError(f"order of a filter must be 1 to 10, got {order}")
    k = np.arange(1, order + 1)
    pole = 2 * np.pi * cutoff * np.exp(1j * np.pi * (2 * k + order - 1) / (2 * order))
    apart = pole[:, None] - pole[None, :]
    np.fill_diagonal(apart, 1.0)
    residue = np.prod(-pole) / np.prod(apart, axis=1)
    return Poles(pole, residue)


def transfer(frequency: ArrayLike, poles: Poles) -> Complexes:
    """
    Complex gain of a filter over frequency.

    Parameters
    ----------
    frequency : array_like
        Where the gain is wanted. [Hz]
    poles : Poles
        The filter.

    Returns
    -------
    gain : complex ndarray, shape of ``frequency``
        Output over input.

    Examples
    --------
    At its natural frequency a mode shows 1 / (2 zeta) of the force:

    >>> round(abs(complex(transfer(200.0, mode_poles([Mode(200.0, 0.02)])))), 9)
    25.0
    """
    s = 2j * np.pi * np.asarray(frequency, dtype=float)
    return np.asarray((poles.residue / (s[..., None] - poles.pole)).sum(axis=-1))


def _weights(z: Complexes) -> tuple[Complexes, Complexes]:
    """Weights of the first and the last value of a straight piece, per unit length (phi functions)."""
    series = np.zeros_like(z)
    for n in range(18, 1, -1):
        series = (series * z + 1) / n
    safe = np.where(np.abs(z) < 0.5, 1.0, z)
    phi2 = np.where(np.abs(z) < 0.5, series, (np.exp(safe) - 1 - safe) / safe**2)
    phi1 = 1 + z * phi2
    return phi1 - phi2, phi2


def respond(force: ArrayLike, rate: float, poles: Poles) -> Floats:
    r"""
    Output of a filter that is at rest before the first sample.

    Parameters
    ----------
    force : array_like, shape (n,)
        Input, evenly sampled; before its first sample the input was zero. [N]
    rate : float
        Samples per second. [Hz]
    poles : Poles
        The filter.

    Returns
    -------
    output : ndarray, shape (n,)
        Output at the same instants. [N]

    Raises
    ------
    ValueError
        If the input is not finite or the rate is not above zero.

    Notes
    -----
    Exact for an input that is a straight line between samples (first-order hold). For a smooth input
    the output errs by about :math:`(\omega / f_s)^2 / 12` of the input's content at :math:`\omega`.

    Examples
    --------
    A step of 1 N overshoots by exp(-pi zeta / sqrt(1 - zeta^2)) = 72.9 % at 10 % of critical damping:

    >>> step = respond(np.ones(5000), 100e3, mode_poles([Mode(100.0, 0.1)]))
    >>> round(float(step.max()), 3)
    1.729
    """
    force = np.asarray(force, dtype=float)
    if not rate > 0:
        raise ValueError(f"rate must be above 0 Hz, got {rate} Hz")
    if not np.isfinite(force).all():
        first = int(np.flatnonzero(~np.isfinite(force))[0])
        raise ValueError(f"force must be finite, but sample {first} is {force[first]}")
    from scipy.signal import lfilter

    dt = 1 / rate
    early, late = _weights(poles.pole * dt)
    output = np.zeros(force.size)
    for pole, residue, first_weight, last_weight in zip(poles.pole, poles.residue, early, late, strict=True):
        state = (
            lfilter(
                [last_weight, first_weight],
                [1.0, -np.exp(pole * dt)],
                force[1:],
                zi=[first_weight * force[0]],
            )[0]
            if force.size > 1
            else np.zeros(0)
        )
        output[1:] += (residue * dt * state).real
    return output


def respond_to_modes(force: ArrayLike, rate: float, modes: Sequence[Mode]) -> Floats:
    """
    What the gauge of a ringing cell shows of a force on it.

    Parameters
    ----------
    force : array_like, shape (n,)
        Force on the cell, evenly sampled. [N]
    rate : float
        Samples per second. [Hz]
    modes : sequence of Mode
        The cell's modes, shares summing to 1.

    Returns
    -------
    output : ndarray, shape (n,)
        Indicated force. [N]

    Raises
    ------
    ValueError
        As :func:`mode_poles` and :func:`respond`.

    Examples
    --------
    >>> indicated = respond_to_modes(np.full(40000, 5.0), 20e3, [Mode(150.0, 0.05)])
    >>> round(float(indicated[-1]), 6)
    5.0
    """
    return respond(force, rate, mode_poles(modes))
