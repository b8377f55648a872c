"""Natural frequencies and damping ratios of a rig from its free decay."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.bad_samples import marked_runs
from quintain.numerics.damped_sinusoids import (
    DampedFit,
    MatchedStart,
    Terms,
    fit_damped,
    information_about_shape,
    matched_start,
    pencil_poles,
)

__all__ = [
    "LeastUncertainty",
    "OrderRow",
    "RingDown",
    "clipped_at",
    "cramer_rao",
    "identify_ring_down",
]

Array = NDArray[np.float64]

FEWEST_SAMPLES = 16
COMPANION_WIDTHS = 3.0  # in decay rates; real pairs of modes lie further apart or are alike in energy
COMPANION_ENERGY = 0.2
STEADY_BELOW = 2.0  # a decay rate within two standard uncertainties of zero is no decay
REFINING_GAINS = 1.5  # a finished fit explains at most about this much more than its start promises
COLOUR_BINS = 24  # spectrum lines averaged on each side of a mode to see whether the residual is white there


class OrderRow(NamedTuple):
    """One line of the table from which the number of modes was chosen."""

    n_modes: int
    drift: bool
    creep: bool
    criterion: float
    residual_sd: float


class LeastUncertainty(NamedTuple):
    """Cramer-Rao bound: the least standard uncertainties an unbiased estimator can have, mode by mode."""

    u_natural_frequency: Array
    u_damping_ratio: Array


@dataclass(frozen=True, slots=True)
class RingDown:
    """
    Modes found in one free decay, by rising natural frequency.

    All arrays have one entry a mode. ``amplitude`` and ``phase`` [rad] describe
    ``amplitude * exp(-decay_rate t) * cos(2 pi f_d t + phase)`` with t = 0 at the first sample, in the unit
    of the samples; ``offset`` is the constant below the ringing; ``share`` is the mode's part of the static
    response if an impulse started the ringing. ``covariance`` (2n, 2n) is that of all natural frequencies
    [Hz], then all damping ratios; ``residual`` is what the fit left over, sample by sample. ``flags`` holds
    codes of documented doubts.
    """

    natural_frequency: Array
    damping_ratio: Array
    amplitude: Array
    phase: Array
    share: Array
    u_natural_frequency: Array
    u_damping_ratio: Array
    covariance: Array
    offset: float
    orders: tuple[OrderRow, ...]
    residual: Array
    residual_sd: float
    noise: float
    n_samples: int
    rate: float
    flags: tuple[str, ...] = ()

    @property
    def n_modes(self) -> int:
        """Number of modes."""
        return self.natural_frequency.size

    @property
    def decay_rate(self) -> Array:
        """Decay rates sigma = zeta omega, which folding does not change. [1/s]"""
        return 2 * np.pi * self.natural_frequency * self.damping_ratio

    @property
    def u_decay_rate(self) -> Array:
        """Standard uncertainties of the decay rates. [1/s]"""
        n = self.n_modes
        by_f, by_zeta = 2 * np.pi * self.damping_ratio, 2 * np.pi * self.natural_frequency
        cross = np.diag(self.covariance[:n, n:])
        variance = (by_f * self.u_natural_frequency) ** 2 + (by_zeta * self.u_damping_ratio) ** 2
        return np.asarray(np.sqrt(np.maximum(variance + 2 * by_f * by_zeta * cross, 0.0)))

    @property
    def damped_frequency(self) -> Array:
        """Frequencies at which the decay is seen to swing. [Hz]"""
        return np.asarray(self.natural_frequency * np.sqrt(1 - self.damping_ratio**2))


def clipped_at(samples: ArrayLike) -> float | None:
    """
    Level at which a trace is cut off, if it is.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Trace, any unit.

    Returns
    -------
    level : float or None
        The highest or lowest value, if three or more neighbouring samples sit exactly on it and the trace
        does not leave it as gently as a rounded crest would.

    Notes
    -----
    A crest seen by a coarse converter also repeats its top value; but one sample further it has fallen by
    one or two converter steps, where a cut-off trace falls by many (derived here). Misses a cut that carries
    noise.

    Examples
    --------
    >>> import numpy as np
    >>> wave = 10 * np.sin(0.3 * np.arange(100))
    >>> clipped_at(np.clip(wave, -9, 9)), clipped_at(wave), clipped_at(np.round(wave))
    (9.0, None, None)
    """
    samples = np.asarray(samples, dtype=float)
    jumps = np.abs(np.diff(samples))
    if not (jumps > 0).any():
        return None
    converter_step = float(jumps[jumps > 0].min())
    for level in (float(samples.max()), float(samples.min())):
        for i, j in marked_runs(samples == level):
            if j - i < 3:
                continue
            beside = [abs(samples[k] - level) for k in (i - 1, j) if 0 <= k < samples.size]
            if beside and max(beside) > 3 * converter_step:
                return level
    return None


def _check(samples: ArrayLike, rate: float) -> Array:
    samples = np.ascontiguousarray(samples, dtype=float)
    if samples.ndim != 1 or samples.size < FEWEST_SAMPLES:
        raise ValueError(
            f"a free decay needs one row of at least {FEWEST_SAMPLES} samples, got shape {samples.shape}"
        )
    if not rate > 0:
        raise ValueError(f"rate must be positive, got {rate} Hz")
    if not np.isfinite(samples).all():
        first = int(np.flatnonzero(~np.isfinite(samples))[0])
        raise ValueError(f"the free decay must be finite, but sample {first} is {samples[first]}")
    if np.ptp(samples) == 0:
        raise ValueError(
            f"all {samples.size} samples are {samples[0]:g}: the channel is frozen, nothing rings"
        )
    level = clipped_at(samples)
    if level is not None:
        raise ValueError(
            f"the free decay is cut off at {level:g}: "
            "tap more softly, raise the range, or start the stretch later"
        )
    return samples


def _criterion(fit: DampedFit, n: int, floor: float) -> float:
    """Bayesian information criterion (Schwarz 1978, doi:10.1214/aos/1176344136)."""
    parameters = fit.terms.n_linear + fit.terms.n_shape
    return float(n * np.log(max(fit.sum_of_squares, floor) / n) + parameters * np.log(n))


def _with_trend(samples: Array, rate: float, fit: DampedFit, floor: float) -> DampedFit:
    """Add a drift or a creep where what is left of the trace asks for one."""
    n = samples.size
    time = np.arange(n) / rate
    for _ in range(2):
        terms, residual = fit.terms, fit.residual
        variance = max(fit.sum_of_squares, floor) / n
        tried = []
        if not terms.drift:
            ramp = time - time.mean()
            if (residual @ ramp) ** 2 > 4 * variance * (ramp @ ramp):
                tried.append(fit_damped(samples, rate, Terms(terms.n_modes, True, terms.creep), fit.shape))
        if not terms.creep:
            gains = []
            for turns in (2.0, 5.0, 12.0, 30.0):
                fall = np.exp(-turns * time / time[-1])
                fall -= fall.mean()
                gains.append(((residual @ fall) ** 2 / (fall @ fall), turns / time[-1]))
            gain, start = max(gains)
            if gain > 6 * variance:
                tried.append(
                    fit_damped(
                        samples, rate, Terms(terms.n_modes, terms.drift, True), np.append(fit.shape, start)
                    )
                )
        better = [f for f in tried if f is not None]
        if not better:
            break
        best = min(better, key=lambda f: _criterion(f, n, floor))
        if _criterion(best, n, floor) >= _criterion(fit, n, floor):
            break
        fit = best
    return fit


def _without_needless_trend(samples: Array, rate: float, fit: DampedFit, floor: float) -> DampedFit:
    """Drop a drift or creep that an earlier, poorer model needed and this one does not."""
    n, terms = samples.size, fit.terms
    lesser = []
    if terms.drift:
        lesser.append(fit_damped(samples, rate, Terms(terms.n_modes, False, terms.creep), fit.shape))
    if terms.creep:
        lesser.append(fit_damped(samples, rate, Terms(terms.n_modes, terms.drift, False), fit.shape[:-1]))
    return min(
        [fit, *(f for f in lesser if f is not None)],
        key=lambda f: _criterion(f, n, floor),
    )


def _left_over(fit: DampedFit, rate: float) -> tuple[MatchedStart | None, bool]:
    """Best start for another mode, and whether what is left could pay for one (four parameters)."""
    n, split = fit.residual.size, 2 * fit.terms.n_modes
    found = matched_start(fit.residual, rate, known=fit.shape[:split].reshape(-1, 2))
    price = 4 * np.log(n) * fit.sum_of_squares / n
    return found, found is not None and REFINING_GAINS * found.explained > price


def _one_mode_more(samples: Array, rate: float, fit: DampedFit, poles: list[Array]) -> DampedFit | None:
    """Best fit with one more mode, started from the pencil and from what the last fit left over."""
    terms = Terms(fit.terms.n_modes + 1, fit.terms.drift, fit.terms.creep)
    split = 2 * fit.terms.n_modes
    known, creep = fit.shape[:split], fit.shape[split:]
    starts = []
    found, _ = _left_over(fit, rate)
    if found is not None:
        starts.append(np.concatenate([known, found[:2], creep]))
    pencil = poles[terms.n_modes - 1]
    if len(pencil) == terms.n_modes:
        starts.insert(0, np.concatenate([pencil.ravel(), creep]))
    best: DampedFit | None = None
    for start in starts:
        finished = fit_damped(samples, rate, terms, start)
        if finished is not None and (best is None or finished.sum_of_squares < best.sum_of_squares):
            best = finished
        if best is not None and not _left_over(best, rate)[1]:
            break  # only noise is left: no other start can do better
    return best


def _choose(
    samples: Array, rate: float, n_modes: int | None, most: int
) -> tuple[DampedFit, tuple[OrderRow, ...]]:
    n = samples.size
    floor = n * (1e-13 * float(np.abs(samples).max())) ** 2  # below this only rounding is left
    poles = pencil_poles(samples, rate, most)
    fit = fit_damped(samples, rate, Terms(0), np.zeros(0))
    assert fit is not None  # an offset can always be fitted
    fit = _with_trend(samples, rate, fit, floor)
    fits = [fit]
    for _ in range(most):
        if n_modes is None and fits[-1].terms.n_modes and not _left_over(fits[-1], rate)[1]:
            break
        more = _one_mode_more(samples, rate, fits[-1], poles)
        if more is None:
            break
        more = _with_trend(samples, rate, more, floor)
        more = _without_needless_trend(samples, rate, more, floor)
        fits.append(more)
        if n_modes is None and _criterion(more, n, floor) > _criterion(fits[-2], n, floor):
            break
    rows = tuple(
        OrderRow(
            f.terms.n_modes,
            f.terms.drift,
            f.terms.creep,
            _criterion(f, n, floor),
            float(np.sqrt(f.sum_of_squares / max(1, n - f.terms.n_linear - f.terms.n_shape))),
        )
        for f in fits
    )
    if n_modes is None:
        return min(fits, key=lambda f: _criterion(f, n, floor)), rows
    if fits[-1].terms.n_modes < n_modes:
        raise ValueError(
            f"{n_modes} modes were asked for, but only {fits[-1].terms.n_modes} can be told apart here"
        )
    return fits[n_modes], rows


def _colour(residual: Array, rate: float, decay: Array, omega: Array) -> Array:
    """Noise power near each mode over the mean noise power, at least 1; 1 where it cannot be told from 1."""
    power = np.abs(np.fft.rfft(residual)) ** 2
    mean = power[1:].mean()
    excess = np.ones(omega.size)
    if mean == 0:
        return excess
    line = rate / residual.size
    for i in range(omega.size):
        half = max(COLOUR_BINS, int(2 * decay[i] / (2 * np.pi) / line))
        at = round(float(omega[i]) / (2 * np.pi) / line)
        near = power[max(1, at - half) : at + half + 1]
        ratio = near.mean() / mean
        if ratio > 1 + 2.5 / np.sqrt(near.size):
            excess[i] = ratio
    return excess


def _companions(decay: Array, omega: Array, amplitude: Array) -> tuple[NDArray[np.int64], Array]:
    """
    Index of the mode that each mode merely accompanies (-1: none), and how far it pulls that one's frequency.

    A joint or foam that stiffens with amplitude makes a frequency drift; a sum of damped sinusoids answers
    with a weak partner close by. The beat of the two moves the frequency by amplitude ratio times distance.
    """
    energy = amplitude**2 / np.maximum(decay, 1e-12)
    host = np.full(omega.size, -1)
    pull = np.zeros(omega.size)
    for j in range(omega.size):
        ratio = energy[j] / np.maximum(energy, 1e-300)
        near = np.abs(omega - omega[j]) < COMPANION_WIDTHS * np.maximum(decay, decay[j])
        hosts = np.flatnonzero(near & (ratio < COMPANION_ENERGY))
        if hosts.size:
            host[j] = hosts[np.argmax(energy[hosts])]
            pull[j] = np.sqrt(ratio[host[j]] / 3) * abs(omega[j] - omega[host[j]])
    return host, pull


def _to_modes(shape: Array, covariance: Array) -> tuple[Array, Array, Array]:
    """Natural frequencies [Hz], damping ratios and their joint covariance from decay and swing rates."""
    decay, omega = shape[0::2], shape[1::2]
    natural = np.hypot(decay, omega)
    n = natural.size
    slopes = np.zeros((2 * n, 2 * n))
    i = np.arange(n)
    slopes[i, 2 * i] = decay / (2 * np.pi * natural)
    slopes[i, 2 * i + 1] = omega / (2 * np.pi * natural)
    slopes[n + i, 2 * i] = omega**2 / natural**3
    slopes[n + i, 2 * i + 1] = -decay * omega / natural**3
    return natural / (2 * np.pi), decay / natural, slopes @ covariance @ slopes.T


def identify_ring_down(
    samples: ArrayLike,
    rate: float,
    *,
    n_modes: int | None = None,
    noise: float | None = None,
    max_modes: int = 4,
    since_impulse: float = 0.0,
) -> RingDown:
    r"""
    Modes of a rig from one free decay.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Trace after all contact has ended, any unit; zero offset, drift and a slow creep are fitted too.
    rate : float
        Sampling rate. [Hz]
    n_modes : int, optional
        Number of modes; chosen by the Bayesian information criterion if not given.
    noise : float, optional
        Standard deviation of the noise as known from a quiet stretch. [unit of samples]
    max_modes : int
        Largest number of modes to consider.
    since_impulse : float
        Time from the impulse that started the ringing to the first sample; only ``share`` needs it. [s]

    Returns
    -------
    RingDown
        Modes that decay; steady tones such as mains hum are fitted, left out and flagged.

    Raises
    ------
    ValueError
        If the stretch is too short, frozen, clipped or not finite; if nothing rings above the noise; if what
        swings does not decay (a rig that is being moved, hum alone).

    Notes
    -----
    Each further mode starts from the better of the matrix pencil and a matched filter on what is left over,
    and is finished by variable projection over all decay rates and frequencies together. In white noise this
    reaches the Cramer-Rao bound. Joints and foam make a frequency drift while it dies away, which a weak
    partner beside the mode absorbs: it is left out, flagged ``mode-drifts``, and its pull goes into the
    mode's uncertainty. Two modes closer than half a half-power width are never told apart. Where the
    residual is stronger around a mode than elsewhere, the mode's uncertainty is widened by the square root
    of that ratio. What no sum of damped sinusoids explains shows as ``ring-down-misfit`` when ``noise`` is
    given. A mode above half the sampling rate appears folded: decay rate right, natural frequency wrong
    (see :mod:`quintain.numerics.alias`).

    Mode i of a chain :math:`\sum_i s_i H_i` with :math:`\sum s_i = 1` rings after an impulse with amplitude
    :math:`s_i \omega_i / \sqrt{1 - \zeta_i^2}`, which gives the shares. A tap of finite length excites fast
    modes less: their share comes out too small.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(800) / 2000
    >>> quiet = np.random.default_rng(7).normal(0, 1, t.size)
    >>> found = identify_ring_down(150 * np.exp(-30 * t) * np.cos(2 * np.pi * 240 * t) + 12 + quiet, 2000)
    >>> print(f"{found.natural_frequency[0]:.2f} Hz, u = {found.u_natural_frequency[0]:.2f} Hz")
    240.02 Hz, u = 0.01 Hz
    """
    samples = _check(samples, rate)
    if n_modes is not None and n_modes < 1:
        raise ValueError(f"n_modes must be at least 1, got {n_modes}")
    n = samples.size
    fit, orders = _choose(samples, rate, n_modes, max_modes if n_modes is None else n_modes)
    if fit.terms.n_modes == 0:
        raise ValueError("nothing rings above the noise here: no damped oscillation explains the samples")

    freedom = max(1, n - fit.terms.n_linear - fit.terms.n_shape)
    residual_sd = float(np.sqrt(fit.sum_of_squares / freedom))
    sd = max(residual_sd, noise or 0.0)
    split = 2 * fit.terms.n_modes
    decay, omega = fit.shape[0:split:2], fit.shape[1:split:2]
    excess = np.ones(fit.terms.n_shape)
    excess[:split] = np.repeat(np.sqrt(_colour(fit.residual, rate, decay, omega)), 2)
    covariance = np.linalg.pinv(fit.information, hermitian=True) * sd**2 * np.outer(excess, excess)
    u_decay = np.sqrt(np.diag(covariance)[0:split:2])
    decays = decay > STEADY_BELOW * u_decay
    if not decays.any():
        at = ", ".join(f"{w / (2 * np.pi):.4g} Hz" for w in omega)
        raise ValueError(
            f"what swings here ({at}) does not decay: "
            "this is no ring-down but hum, or a rig that is being moved"
        )

    amplitudes = np.hypot(fit.linear[0:split:2], fit.linear[1:split:2])
    amplitudes[~decays] = 0.0
    host, pull = _companions(np.where(decays, decay, np.inf), omega, amplitudes)
    drifts = decays & (host >= 0)
    for j in np.flatnonzero(drifts):
        for k in (2 * host[j], 2 * host[j] + 1):
            covariance[k, k] += pull[j] ** 2
    order = np.flatnonzero(decays & ~drifts)
    order = order[np.argsort(np.hypot(decay, omega)[order])]
    pick = np.column_stack([2 * order, 2 * order + 1]).ravel()
    frequency, damping, covariance = _to_modes(fit.shape[pick], covariance[np.ix_(pick, pick)])
    cosine, sine = fit.linear[0:split:2][order], fit.linear[1:split:2][order]
    amplitude = np.hypot(cosine, sine)
    weight = amplitude * np.sqrt(1 - damping**2) * np.exp(decay[order] * since_impulse) / frequency
    u = np.sqrt(np.diag(covariance))
    flags = []
    if not decays.all():
        flags.append("steady-tone")
    if drifts.any():
        flags.append("mode-drifts")
    if noise is not None and noise > 0 and residual_sd > noise * (1 + 4 / np.sqrt(2 * n)) * 1.1:
        flags.append("ring-down-misfit")
    if n_modes is None and fit.terms.n_modes == max_modes:
        flags.append("order-at-limit")
    return RingDown(
        natural_frequency=frequency,
        damping_ratio=damping,
        amplitude=amplitude,
        phase=np.arctan2(-sine, cosine),
        share=weight / weight.sum(),
        u_natural_frequency=u[: order.size],
        u_damping_ratio=u[order.size :],
        covariance=covariance,
        offset=float(fit.linear[split]),
        orders=orders,
        residual=fit.residual,
        residual_sd=residual_sd,
        noise=residual_sd if noise is None else noise,
        n_samples=n,
        rate=rate,
        flags=tuple(flags),
    )


def cramer_rao(
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    amplitude: ArrayLike,
    noise: float,
    rate: float,
    n_samples: int,
    *,
    phase: ArrayLike = 0.0,
    drift: bool = False,
) -> LeastUncertainty:
    """
    Least uncertainty with which modes can be known from a free decay in white noise.

    Parameters
    ----------
    natural_frequency, damping_ratio, amplitude : array_like, shape (n_modes,)
        The modes; frequency in [Hz], amplitude at the first sample in the unit of the samples.
    noise : float
        Standard deviation of the noise. [unit of samples]
    rate : float
        Sampling rate. [Hz]
    n_samples : int
        Length of the decay.
    phase : array_like
        Phase of the cosine at the first sample. [rad]
    drift : bool
        Whether a straight drift has to be found from the same samples, besides the offset.

    Returns
    -------
    u_natural_frequency : ndarray, shape (n_modes,)
        Cramer-Rao bound as a standard uncertainty. [Hz]
    u_damping_ratio : ndarray, shape (n_modes,)
        The same for the damping ratio.

    Notes
    -----
    Inverse of the Fisher information of the model fitted by :func:`identify_ring_down`: all amplitudes,
    phases and the offset unknown. Exact for Gaussian white noise; coloured noise and unmodelled modes do
    worse.

    Examples
    --------
    >>> u_frequency, u_damping = cramer_rao(200, 0.03, 100, 1.0, 1000, 600)
    >>> print(f"{100 * u_frequency[0] / 200:.3f} %, {100 * u_damping[0] / 0.03:.2f} %")
    0.023 %, 0.75 %
    """
    frequency, damping, size, angle = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(a, dtype=float))
            for a in (natural_frequency, damping_ratio, amplitude, phase)
        )
    )
    if not (noise > 0 and rate > 0 and (frequency > 0).all() and (size > 0).all()):
        raise ValueError("noise, rate, natural_frequency and amplitude must be positive")
    if not ((damping > 0) & (damping < 1)).all():
        raise ValueError(f"damping_ratio must lie between 0 and 1, got {damping.tolist()}")
    natural = 2 * np.pi * frequency
    shape = np.column_stack([damping * natural, natural * np.sqrt(1 - damping**2)]).ravel()
    linear = np.column_stack([size * np.cos(angle), -size * np.sin(angle)]).ravel()
    terms = Terms(frequency.size, drift=drift)
    linear = np.concatenate([linear, np.zeros(1 + drift)])
    information = information_about_shape(shape, linear, terms, np.arange(n_samples) / rate)
    _, _, covariance = _to_modes(shape, np.asarray(np.linalg.inv(information) * noise**2))
    u = np.sqrt(np.diag(covariance))
    return LeastUncertainty(u[: frequency.size], u[frequency.size :])
