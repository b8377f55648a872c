"""Undo a rig's ringing: the force on the cell, between the samples too, with its uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.force_prior import find_contact, measure_pulse, rough_prior
from quintain.numerics.kappa import coverage_factors
from quintain.numerics.refinement import Refined, refine_modes
from quintain.numerics.resonator import modes_and_shares
from quintain.numerics.state_space import rig_model
from quintain.numerics.strike_fit import Chain, Fitted, fit_belief, fit_inner_kinks, fit_kinked, telling_part

__all__ = ["CorrectedForce", "remove_ringing"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

U_FREQUENCY = 0.02
"""Relative standard uncertainty of a natural frequency that comes without one."""
U_DAMPING = 0.3
"""Relative standard uncertainty of a damping ratio that comes without one."""
GUARD = 1.5
"""Time by which contact is widened on both sides. [sampling intervals]"""
UNBOUND = 10.0
"""Natural logarithm of the evidence against any contact at which the belief in one is given up."""
INNER_KINKS = 12.0
"""Natural logarithm of the evidence against the smooth pulse at which kinks inside contact are sought."""
SMOOTH_FROM, SMOOTH_FULL = 5.4, 7.0
"""Intervals of contact between which trust passes from the rough to the smooth, kinked pulse."""


@dataclass(frozen=True)
class CorrectedForce:
    """The force on the cell after the rig's ringing was undone."""

    time: Floats
    """Time of each grid point after the first sample. [s]"""
    force: Floats
    """Force on the cell. [N]"""
    u_force: Floats
    """Standard uncertainty of each point of the force; 1.96 times it covers 95 %. [N]"""
    peak_force: float
    """Largest force. [N]"""
    u_peak_force: float
    """Standard uncertainty of the largest force; 1.96 times it covers 95 %. [N]"""
    time_of_peak: float
    """Time of the largest force after the first sample. [s]"""
    contact: tuple[int, int]
    """First and last sample of the contact that was assumed; soft by about two samples."""
    natural_frequency: Floats
    """Natural frequencies, refined on this strike, shape (n_modes,). [Hz]"""
    u_natural_frequency: Floats
    """Their standard uncertainties. [Hz]"""
    damping_ratio: Floats
    """Damping ratios, refined likewise. [1]"""
    u_damping_ratio: Floats
    """Their standard uncertainties. [1]"""
    periods_in_pulse: float
    """Length of the pulse in periods of the mode with the largest share. [1]"""
    samples_in_pulse: float
    """Length of the pulse in sampling intervals. [1]"""
    log10_density: float
    """Decimal logarithm of the largest noise density that drives the force's slope. [N²/s]"""
    noise: float
    """Standard deviation of one sample. [N]"""
    kappa: float
    """Factor by which the model's own standard deviation was multiplied along the trace. [1]"""
    kappa_peak: float
    """The same factor for the largest force. [1]"""
    n_inner_kinks: int
    """Jumps of slope that had to be allowed inside contact."""
    contributions: dict[str, float]
    """Parts of ``u_peak_force`` by name; their squares sum to its square. [N]"""
    flags: tuple[str, ...]
    """Codes of the doubts raised."""


def _checked(samples: ArrayLike, rate: float, noise: float, grid: int) -> Floats:
    """Samples as an array, or an error that says what is wrong with the arguments."""
    y = np.array(samples, dtype=float)
    if y.ndim != 1 or y.size < 16:
        raise ValueError(f"need at least 16 samples of one channel to undo ringing, got shape {y.shape}")
    if np.isinf(y).any():
        raise ValueError(
            f"samples must be finite or missing (NaN), but sample {np.argmax(np.isinf(y))} is infinite"
        )
    if np.isnan(y).mean() > 0.5:
        raise ValueError(f"more than half of the {y.size} samples are missing")
    if not (np.isfinite(rate) and rate > 0):
        raise ValueError(f"rate must be above 0 Hz, got {rate}")
    if not (np.isfinite(noise) and noise > 0):
        raise ValueError(
            f"noise must be above 0 N, got {noise}; take half a step of the converter if none is seen"
        )
    if grid < 1:
        raise ValueError(f"grid must be at least 1 point a sample, got {grid}")
    return y


def _relative(u: ArrayLike | Sequence[float | None] | None, value: Floats, default: float) -> Floats:
    """Relative uncertainties, the default where none is given."""
    if u is None:
        return np.full(value.shape, default)
    given = np.atleast_1d(np.array(u, dtype=float))
    if given.shape != value.shape or (given < 0).any():
        raise ValueError(f"each of the {value.size} modes needs one uncertainty of at least 0, got {u}")
    return np.maximum(np.where(np.isnan(given), default, given / value), 1e-6)


def _refused(
    y: Floats, rate: float, noise: float, grid: int, modes: Refined, flags: tuple[str, ...]
) -> CorrectedForce:
    """No force at all: every number that would be a guess is NaN."""
    n = modes.theta.size // 2
    nan = np.full((y.size - 1) * grid + 1, np.nan)
    u = np.sqrt(np.diag(modes.covariance))
    value = np.exp(modes.theta)
    return CorrectedForce(
        time=np.arange(nan.size) / (rate * grid),
        force=nan,
        u_force=nan,
        peak_force=np.nan,
        u_peak_force=np.nan,
        time_of_peak=np.nan,
        contact=(0, y.size - 1),
        natural_frequency=value[:n],
        u_natural_frequency=(value * u)[:n],
        damping_ratio=value[n:],
        u_damping_ratio=(value * u)[n:],
        periods_in_pulse=np.nan,
        samples_in_pulse=np.nan,
        log10_density=np.nan,
        noise=noise,
        kappa=np.nan,
        kappa_peak=np.nan,
        n_inner_kinks=0,
        contributions={},
        flags=flags,
    )


def _doubts(periods: float, samples: float) -> tuple[str, ...]:
    """Codes of the doubts about a corrected pulse."""
    codes = []
    if samples < 4:
        codes.append("too-few-samples")
    elif samples < 8:
        codes.append("few-samples")
    if periods < 0.75:
        codes.append("pulse-short-for-rig")
    elif periods < 1.5:
        codes.append("pulse-near-rig-period")
    return tuple(codes)


def remove_ringing(
    samples: ArrayLike,
    rate: float,
    *,
    natural_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    share: ArrayLike | None = None,
    noise: float,
    u_natural_frequency: ArrayLike | Sequence[float | None] | None = None,
    u_damping_ratio: ArrayLike | Sequence[float | None] | None = None,
    anti_alias_cutoff: float | None = None,
    anti_alias_order: int = 4,
    contact: tuple[int, int] | None = None,
    refine: bool = True,
    grid: int = 8,
) -> CorrectedForce:
    r"""
    Undo a rig's ringing for one strike.

    Parameters
    ----------
    samples : array_like, shape (n_samples,)
        Output of the chain with its zero removed, from quiet before the blow to well into the
        ring-down; NaN where a sample is missing. [N]
    rate : float
        Sampling rate. [Hz]
    natural_frequency : array_like, shape (n_modes,)
        Undamped natural frequencies of the rig. [Hz]
    damping_ratio : array_like, shape (n_modes,)
        Damping ratios. [1]
    share : array_like, shape (n_modes,), optional
        Share of each mode in the static response; they sum to 1. Equal by default. [1]
    noise : float
        Standard deviation of one sample, from a quiet stretch. [N]
    u_natural_frequency, u_damping_ratio : array_like, shape (n_modes,), optional
        Standard uncertainties; 2 % and 30 % of the value where none is given. [Hz], [1]
    anti_alias_cutoff : float, optional
        -3 dB frequency of the Butterworth low-pass before the converter; none by default. [Hz]
    anti_alias_order : int
        Order of that filter.
    contact : tuple of int, optional
        First and last sample between which the rig was touched; found if not given.
    refine : bool
        Whether to find natural frequency and damping again on the strike itself.
    grid : int
        Points of the answer for each sampling interval.

    Returns
    -------
    CorrectedForce
        Force, peak, refined modes, all with standard uncertainty; and the doubts raised.

    Raises
    ------
    ValueError
        If the samples are too few, infinite or mostly missing, or another argument is out of range.

    Notes
    -----
    The unknown force is a random process behind a linear rig, and both are estimated together by a
    Kalman smoother (augmented with the force, as in Lourens et al. 2012, Mech. Syst. Signal Process.
    27:446, doi:10.1016/j.ymssp.2011.09.011). Outside contact the force may hardly change; inside it is
    smooth, with slopes that may jump where contact begins and ends. How smooth, and how large the
    jumps, follow from the samples by maximum posterior probability. With fewer than about six samples
    in the pulse a rougher, shape-free belief takes over. Natural frequency and damping are refined on
    the strike by the same likelihood.

    The length of a pulse is 1.5 times its width at half height: the duration of the half-sine that is
    as wide. ``periods_in_pulse`` counts periods of the mode with the largest share.

    The uncertainty joins what the smoother states, times a factor that was found by simulating pulses
    of many shapes; the difference between both beliefs; and that from natural frequency and damping.
    It holds no share for the gain of the chain. A pulse with a kink at its very peak (a triangle) is
    cut by several per cent, more than the uncertainty says; a rig that is not linear, or a mode that
    is not in the list, leaves an error the uncertainty does not know.

    Examples
    --------
    A half-sine of 3 kN over 12 ms on a rig of 300 Hz, sampled at 2 kHz:

    >>> import numpy as np
    >>> from scipy.signal import lsim
    >>> w, z = 2 * np.pi * 300, 0.02
    >>> t = np.arange(24_000) / 200_000 - 0.02
    >>> force = np.where((t > 0) & (t < 0.012), 3000 * np.sin(np.pi * t / 0.012), 0.0)
    >>> shown = lsim(([w**2], [1, 2 * z * w, w**2]), force, t + 0.02)[1][::100]
    >>> shown = shown + np.random.default_rng(1).normal(0, 3.0, shown.size)
    >>> found = remove_ringing(shown, 2000.0, natural_frequency=[300], damping_ratio=[0.02], noise=3.0)
    >>> bool(shown.max() > 3300), bool(abs(found.peak_force - 3000) < 10)
    (True, True)
    """
    y = _checked(samples, rate, noise, grid)
    frequency, damping, shares = modes_and_shares(natural_frequency, damping_ratio, share)
    rig_model(
        frequency, damping, shares, anti_alias_cutoff=anti_alias_cutoff, anti_alias_order=anti_alias_order
    )
    damping = np.maximum(damping, 1e-5)
    u_believed = np.r_[
        _relative(u_natural_frequency, frequency, U_FREQUENCY), _relative(u_damping_ratio, damping, U_DAMPING)
    ]
    believed = np.log(np.r_[frequency, damping])
    modes = Refined(believed, np.diag(u_believed**2), False)
    if (frequency > 0.45 * rate).any():
        return _refused(y, rate, noise, grid, modes, ("rate-too-low",))

    main = int(np.argmax(shares))
    chain = Chain(y, rate, noise, shares, float(frequency[main]), anti_alias_cutoff, anti_alias_order, grid)
    omega = 2 * np.pi * chain.force_frequency
    window = (0, y.size - 1) if contact is None else (max(contact[0], 0), min(contact[1], y.size - 1))
    if window[1] - window[0] < 1:
        raise ValueError(f"contact must hold at least two samples, got {contact}")
    whole = slice(0, y.size)

    # First look, knowing nothing of when the rig was touched.
    everywhere = np.ones(y.size - 1, dtype=bool)
    seen = measure_pulse(np.nan_to_num(np.abs(y)), 1 / rate, *window)
    unbound = fit_belief(chain, believed, rough_prior(everywhere, seen, omega), whole, np.zeros(1), 0.1)
    look = chain.smooth(believed, unbound.density)
    pulse = chain.pulse(look.force, window)

    if refine:
        # The threshold stands above the ringing that a wrong natural frequency leaves behind.
        touched = find_contact(look.force, grid, 0.15 * pulse.peak, guard=GUARD, window=contact)
        prior = rough_prior(touched, pulse, omega)
        part = telling_part(touched, rate / chain.force_frequency)
        fitted = fit_belief(chain, believed, prior, part, unbound.scales, 0.3)
        modes = refine_modes(chain.innovations(fitted.density), believed, u_believed)
        fitted = fit_belief(chain, modes.theta, prior, part, fitted.scales, 0.3)
        look = chain.smooth(modes.theta, fitted.density)
        pulse = chain.pulse(look.force, window)

    sd = np.sqrt(look.variance)
    threshold = np.maximum(2.5 * sd, max(0.03 * pulse.peak, 5 * float(np.median(sd))))
    touched = find_contact(look.force, grid, threshold, guard=GUARD, window=contact)
    part = telling_part(touched, rate / chain.force_frequency)
    length = np.count_nonzero(touched) - 2 * GUARD
    trust = float(np.clip((length - SMOOTH_FROM) / (SMOOTH_FULL - SMOOTH_FROM), 0, 1))
    # swings beside a short pulse may pass for contact, so its width at half height has a say too
    trust = min(trust, float(np.clip(pulse.length * rate - 5, 0, 1)))
    rough = fit_belief(chain, modes.theta, rough_prior(touched, pulse, omega), part, np.zeros(1))
    smooth, touched = fit_kinked(chain, modes.theta, touched, pulse, part)
    n_kinks = 0
    if smooth.evidence < rough.evidence - INNER_KINKS:
        smooth, n_kinks = fit_inner_kinks(chain, modes.theta, smooth, part)
    best = smooth if trust > 0.5 else rough
    if refine:
        modes = refine_modes(chain.innovations(best.density), believed, u_believed, start=modes.theta)
        smooth = fit_belief(chain, modes.theta, smooth.prior, part, smooth.scales)
        rough = fit_belief(chain, modes.theta, rough.prior, part, rough.scales)
        best = smooth if trust > 0.5 else rough

    # Where the force is not zero outside contact, or the modes are wrong and were not refined, the samples
    # are far less probable with a contact than without: then nothing may be built on one.
    if chain.likelihood(modes.theta, whole)(best.density) < unbound.evidence - UNBOUND:
        rough = unbound
        modes = Refined(believed, np.diag(u_believed**2), False)
        return _joined(chain, modes, smooth, rough, 0.0, touched, 0, ("ringing-unexplained",))
    return _joined(
        chain, modes, smooth, rough, trust, touched, n_kinks, ("mode-drift",) if modes.drifted else ()
    )


def _joined(
    chain: Chain,
    modes: Refined,
    smooth: Fitted,
    rough: Fitted,
    trust: float,
    touched: Bools,
    n_kinks: int,
    flags: tuple[str, ...],
) -> CorrectedForce:
    """Mix both beliefs and gather every part of the uncertainty."""
    n = modes.theta.size // 2
    looks = [(trust, chain.smooth(modes.theta, smooth.density))] if trust > 0 else []
    if trust < 1:
        looks.append((1 - trust, chain.smooth(modes.theta, rough.density)))
    force = np.zeros_like(looks[0][1].force)
    for weight, look in looks:
        force += weight * look.force
    posterior = np.zeros_like(force)
    between = np.zeros_like(force)
    for weight, look in looks:
        posterior += weight * look.variance
        between += weight * (look.force - force) ** 2

    best = smooth if trust > 0.5 else rough
    reference = looks[0][1] if trust > 0.5 or trust == 0 else looks[1][1]
    u_theta = np.sqrt(np.diag(modes.covariance))
    moved = np.zeros((2, force.size))
    for i in range(2 * n):
        theta = modes.theta.copy()
        theta[i] += u_theta[i]
        moved[i // n] += (chain.smooth(theta, best.density).force - reference.force) ** 2

    inside = np.flatnonzero(touched)
    window = (int(inside[0]), int(inside[-1]) + 1)
    pulse = chain.pulse(force, window)
    at = round(pulse.time_of_peak * chain.rate * chain.grid)
    value = np.exp(modes.theta)
    main = int(np.argmax(chain.share))
    periods = pulse.length * float(value[main])
    samples = pulse.length * chain.rate
    kappa, kappa_peak = coverage_factors(periods, samples, chain.noise / max(pulse.peak, chain.noise))
    parts = {
        "noise and roughness": kappa_peak * float(np.sqrt(posterior[at])),
        "model order": kappa_peak * float(np.sqrt(between[at])),
        "natural frequency": float(np.sqrt(moved[0, at])),
        "damping ratio": float(np.sqrt(moved[1, at])),
    }
    return CorrectedForce(
        time=np.arange(force.size) / (chain.rate * chain.grid),
        force=force,
        u_force=np.sqrt(kappa**2 * (posterior + between) + moved.sum(axis=0)),
        peak_force=pulse.peak,
        u_peak_force=float(np.sqrt(sum(part**2 for part in parts.values()))),
        time_of_peak=pulse.time_of_peak,
        contact=window,
        natural_frequency=value[:n],
        u_natural_frequency=(value * u_theta)[:n],
        damping_ratio=value[n:],
        u_damping_ratio=(value * u_theta)[n:],
        periods_in_pulse=periods,
        samples_in_pulse=samples,
        log10_density=float(np.log10(best.density[1].max())),
        noise=chain.noise,
        kappa=kappa,
        kappa_peak=kappa_peak,
        n_inner_kinks=n_kinks,
        contributions=parts,
        flags=_doubts(periods, samples) + flags,
    )
