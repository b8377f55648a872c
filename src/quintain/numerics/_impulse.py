"""Impulse of an event: the area under its force, and what may be wrong with it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from quintain.numerics._samples import check_rate, finite_row, force_grid
from quintain.numerics.free_response import fit_free_response, free_basis, ring_sums
from quintain.numerics.uncertainty.linear import Estimate, combine

__all__ = ["fit_ring_tail", "impulse_of_corrected_force", "impulse_with_zero", "integrate_impulse"]


def integrate_impulse(force: ArrayLike, rate: float, *, u_noise: float = 0.0) -> Estimate:
    r"""
    Integrate a force trace over one contact.

    Parameters
    ----------
    force : array_like, shape (n,)
        Baseline-free contact force, first to last sample of contact. [N]
    rate : float
        Sampling rate, the same for the whole trace. [Hz]
    u_noise : float
        Standard uncertainty of one sample from white noise alone. [N]

    Returns
    -------
    Estimate
        Impulse and its standard uncertainty from noise; it holds no share for sensitivity or
        baseline, which are common to all samples. [N·s]

    Raises
    ------
    ValueError
        If fewer than two samples are given, a sample is not finite, or the rate is not positive.

    Notes
    -----
    The trapezoid rule is a weighted sum, :math:`J = \Delta t \sum_i w_i F_i`
    with :math:`w = 1/2` at both ends and 1 between, so uncorrelated noise
    gives :math:`u(J) = \Delta t\, u(F) \sqrt{\sum_i w_i^2}`
    (JCGM 100:2008, clause 5.1.2).

    Examples
    --------
    A half-sine of 3 kN lasting 10 ms carries 2/pi x 3000 N x 0.010 s:

    >>> import numpy as np
    >>> t = np.arange(501) / 50_000
    >>> force = 3000 * np.sin(np.pi * t / 0.010)
    >>> j = integrate_impulse(force, rate=50_000, u_noise=5.0)
    >>> print(f"J = {j.value:.3f} N·s, u = {j.u:.4f} N·s")
    J = 19.099 N·s, u = 0.0022 N·s
    """
    force = finite_row(force, "force", at_least=2)
    check_rate(rate)
    weights = np.ones(force.size)
    weights[[0, -1]] = 0.5
    noise = u_noise * np.sqrt(weights @ weights) / rate
    return combine(float(weights @ force / rate), noise=float(noise))


def impulse_with_zero(
    force: ArrayLike,
    rate: float,
    *,
    u_noise: float = 0.0,
    u_zero: float = 0.0,
    u_drift: float = 0.0,
    zero_lag: float = 0.0,
    u_gain: float = 0.0,
    u_sampling: float = 0.0,
    modes: Sequence[tuple[float, float]] = (),
    n_free: int = 0,
) -> Estimate:
    r"""
    Integrate a whole event, with the doubt of its zero line and what is left of its ringing.

    Parameters
    ----------
    force : array_like, shape (n,)
        Raw samples of the cell less their zero line, from quiet before the event until its ringing
        has died. [N]
    rate : float
        Sampling rate. [Hz]
    u_noise : float
        Standard deviation of white noise of one sample. [N]
    u_zero, u_drift : float
        Standard uncertainties of the zero line: of its height at the instant where height and slope
        are uncorrelated (the mean time of the quiet samples it was fitted to), and of its slope.
        [N], [N/s]
    zero_lag : float
        Time from that instant to the first sample of ``force``; negative if it lies later. [s]
    u_gain : float
        Relative standard uncertainty of the chain's gain. [1]
    u_sampling : float
        Relative standard uncertainty from summing so few samples, of
        :func:`~quintain.numerics.sampling.sampling_error_of_impulse`. [1]
    modes : sequence of (natural_frequency, damping_ratio)
        Modes that still ring at the end; none by default. [Hz], [1]
    n_free : int
        Number of samples at the end in which nothing touches the rig, for the fit of the modes.

    Returns
    -------
    Estimate
        Impulse with the contributions ``noise``, ``zero``, ``drift``, ``gain``, ``sampling`` and
        ``tail``. [N·s]

    Raises
    ------
    ValueError
        As :func:`integrate_impulse`; or if there are modes but too few free samples to fit them.

    Notes
    -----
    A linear cell has unit gain at zero frequency, so the area of its whole output equals the area of
    the force, ringing or not. An event that is cut while it still rings is wrong by up to the amplitude
    left over, divided by the angular frequency; see :func:`fit_ring_tail`, which is added here. A cut at
    the first zero crossing instead reads 32 % high for a pulse as long as the rig's period (derived here).

    An error of the zero counts over the whole window :math:`T_w`: :math:`u = T_w u_0` for the height,
    :math:`T_w (\text{lag} + T_w/2) u_d` for the slope. Both grow with the window: no longer than needed.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(0, 0.2, 1e-3)
    >>> force = np.where((t > 0.05) & (t < 0.06), 3000 * np.sin(np.pi * (t - 0.05) / 0.01), 0.0)
    >>> j = impulse_with_zero(force, 1000, u_noise=3.0, u_zero=0.1, u_gain=0.002)
    >>> print(f"{j.value:.2f} ± {j.u:.2f} N·s")
    18.94 ± 0.06 N·s
    >>> [(c.name, round(c.u, 3)) for c in j.contributions if c.u]
    [('noise', 0.042), ('zero', -0.02), ('gain', 0.038)]
    """
    force = finite_row(force, "force", at_least=2)
    area = integrate_impulse(force, rate, u_noise=u_noise)
    tail = Estimate(0.0, 0.0)
    if modes:
        if not 0 < n_free <= force.size:
            raise ValueError(f"n_free must be 1 to {force.size} to fit the ringing at the end, got {n_free}")
        tail = fit_ring_tail(force[-n_free:], rate, modes, u_noise=u_noise)
    impulse = area.value + tail.value
    duration = (force.size - 1) / rate
    return combine(
        impulse,
        noise=area.u,
        zero=-duration * u_zero,
        drift=-duration * (zero_lag + duration / 2) * u_drift,
        gain=impulse * u_gain,
        sampling=impulse * u_sampling,
        tail=tail.u,
    )


def fit_ring_tail(
    force: ArrayLike, rate: float, modes: Sequence[tuple[float, float]], *, u_noise: float = 0.0
) -> Estimate:
    r"""
    Area that free ringing would still add after the last sample.

    Parameters
    ----------
    force : array_like, shape (n,)
        Samples of free ringing, less their zero; the last is where the record ends. [N]
    rate : float
        Sampling rate. [Hz]
    modes : sequence of (natural_frequency, damping_ratio)
        The modes that ring. A mode above half the rate is given at its true frequency. [Hz], [1]
    u_noise : float
        Standard deviation of white noise of one sample. [N]

    Returns
    -------
    Estimate
        Area still to come, with the doubt of noise and of misfit. [N·s]

    Raises
    ------
    ValueError
        If there are fewer than two samples more than unknowns (two a mode), or a mode is not damped.

    Notes
    -----
    The modes are fitted by linear least squares; the trapezoid rule over the samples that would have
    followed is a geometric series, see :func:`~quintain.numerics.free_response.ring_sums`. At most it is the
    amplitude over the angular frequency. The noise is taken no smaller than the scatter about the fit, so
    an unknown mode widens the uncertainty. A mode too slow to be known from so few samples is held near
    zero by a prior as wide as the largest sample, and its doubt is stated.

    Examples
    --------
    >>> import numpy as np
    >>> k = np.arange(2000)
    >>> ring = 100 * np.exp(-0.01 * k) * np.cos(0.5 * k)  # at 1 kHz: decay 10 /s, 500 rad/s
    >>> omega = float(np.hypot(10, 500))
    >>> tail = fit_ring_tail(ring[:101], 1000, [(omega / (2 * np.pi), 10 / omega)])
    >>> print(f"{tail.value:.4f} of {np.trapezoid(ring[100:], dx=1e-3):.4f} N·s")
    0.0203 of 0.0203 N·s
    """
    force = finite_row(force, "force", at_least=2 * len(modes) + 2)
    check_rate(rate)
    fn, zeta = np.array(modes, dtype=float).reshape(-1, 2).T
    if not ((fn > 0) & (zeta > 0) & (zeta < 1)).all():
        raise ValueError(f"modes need a frequency above 0 and a damping ratio between 0 and 1, got {modes}")
    time = np.arange(force.size) / rate
    largest = float(np.abs(force).max())
    if largest == 0:
        return combine(0.0, fit=0.0)
    fit = fit_free_response(force, time, fn, zeta, noise=1.0, degree=-1)
    covariance = fit.covariance * max(u_noise**2, fit.chi2)
    # posterior for amplitudes that are no larger than what was seen: normal, of that standard deviation
    shrink = np.linalg.inv(np.eye(2 * fn.size) + covariance / largest**2)
    # the trapezoid of the samples counted half of the last one
    weights = ring_sums(time[-1], 1 / rate, fn, zeta)[0]
    weights -= free_basis(time[-1:], fn, zeta, -1)[0] / (2 * rate)
    u = np.sqrt(max(weights @ shrink @ covariance @ weights, 0.0))
    return combine(float(weights @ shrink @ fit.coefficients), fit=float(u))


def impulse_of_corrected_force(
    force: ArrayLike,
    time: ArrayLike,
    u_force: ArrayLike,
    *,
    start: float,
    end: float,
    u_end: float = 0.0,
    u_gain: float = 0.0,
) -> Estimate:
    r"""
    Impulse of the corrected force between two instants.

    Parameters
    ----------
    force, time : array_like, shape (n,)
        Corrected force on an increasing grid of times. [N], [s]
    u_force : array_like, shape (n,) or float
        Standard uncertainty of the force without the share of the gain. [N]
    start, end : float
        The instants, inside the grid. [s]
    u_end : float
        Standard uncertainty of the end. [s]
    u_gain : float
        Relative standard uncertainty of the gain. [1]

    Returns
    -------
    Estimate
        Impulse with the contributions ``force``, ``end`` and ``gain``. [N·s]

    Raises
    ------
    ValueError
        If the instants are not in order or not inside the grid, or a value is not finite.

    Notes
    -----
    Errors of neighbouring points of a smoothed force go together to an extent that is seldom known;
    they are taken as wholly alike, :math:`u = \int u_F\,dt`. The true uncertainty is smaller.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(0, 0.01, 101)
    >>> j = impulse_of_corrected_force(np.full(101, 500.0), t, 5.0, start=0.002, end=0.008)
    >>> print(f"{j.value:.3f} ± {j.u:.3f} N·s")
    3.000 ± 0.030 N·s
    """
    force, time, u_force = force_grid(force, time, u_force)
    if not time[0] <= start < end <= time[-1]:
        raise ValueError(
            f"need {time[0]} <= start < end <= {time[-1]} s, got start {start} s and end {end} s"
        )
    inside = time[(time > start) & (time < end)]
    t = np.concatenate([[start], inside, [end]])
    f = np.interp(t, time, force)
    impulse = float(np.trapezoid(f, t))
    return combine(
        impulse,
        force=float(np.trapezoid(np.interp(t, time, u_force), t)),
        end=f[-1] * u_end,
        gain=impulse * u_gain,
    )
