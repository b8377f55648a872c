"""Everything one drop says: speeds, restitution, impulse, gain of the chain, and a verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._contact import contact_time
from quintain.numerics.closure import (
    ClosureSetup,
    approach_speed,
    arrival_speed,
    fall_speed,
    friction_excess,
    gain_with_height,
    gain_without_height,
    restitution,
    speed_until_rest,
)
from quintain.numerics.contact_start import low_pass_sections
from quintain.numerics.drop_doubts import doubts_about, flags_of_train
from quintain.numerics.drop_train import Rig, Train, follow_train
from quintain.numerics.impacts import find_drops
from quintain.numerics.ringing import CorrectedForce, remove_ringing
from quintain.numerics.uncertainty.linear import Contribution, Estimate
from quintain.numerics.verdict import Verdict, judge_gain

__all__ = ["CHAIN_U_GAIN", "DropNumbers", "analyse_drop"]

Floats = NDArray[np.float64]

CHAIN_U_GAIN = 0.0025
"""Standard uncertainty of a chain's gain where none is stated: half a per cent at k = 2, what a good
strain-gauge chain claims (common practice, no source). [1]"""
U_FACE = 2e-4
"""Standard uncertainty of the pad's face being back when the mass returns (common practice, no source;
foams regain the last tenths of a millimetre in seconds). [m]"""


@dataclass(frozen=True, slots=True)
class DropNumbers:
    """Numbers of one drop; None where it gives none."""

    starts: Floats
    """Contact starts. [s]"""
    u_starts: Floats
    """Their standard uncertainties. [s]"""
    speeds: Floats
    """Downward speed at each start, by closure. [m/s]"""
    approach_speed: Estimate | None
    rebound_speed: Estimate | None
    restitution: Estimate | None
    impulse: Estimate | None
    """Of the first contact, gravity's share included. [N s]"""
    contact_time: Estimate | None
    """Of the first contact; its end is soft. [s]"""
    peak_force: Estimate | None
    """Of the first contact, corrected for ringing. [N]"""
    peak_force_raw: float
    """Largest sample of the first contact. [N]"""
    gain: Estimate | None
    """True over shown force, from the height. [1]"""
    gain_without_height: Estimate | None
    """True over shown force, from the bounces alone. [1]"""
    speed_by_height: Estimate | None
    speed_by_half_impulse: float | None
    """J/(2m): the usual short cut, 15-30 % wrong; for comparison only. [m/s]"""
    speed_by_flight_time: float | None
    """From impulse, contact time and the length of the flight; for comparison only. [m/s]"""
    speed_until_rest: Estimate | None
    """From the momentum balance until the mass lies still; for comparison only. [m/s]"""
    friction: Estimate | None
    """Speed by height over speed by closure, minus 1. [1]"""
    verdict: Verdict
    flags: tuple[str, ...]
    """Codes of doubts."""
    noise: float
    """Standard deviation of one sample. [N]"""
    zero: float
    """Zero of the cell at the first start. [N]"""
    corrected: CorrectedForce | None
    """Force of the first contact with the ringing undone; its time begins at ``corrected_from``."""
    corrected_from: float
    """[s]"""
    train: Train | None
    """How starts and moments were found."""


def analyse_drop(
    samples: ArrayLike,
    rate: float,
    *,
    mass: float,
    gravity: float,
    height: float | None = None,
    natural_frequency: ArrayLike = (),
    damping_ratio: ArrayLike = (),
    share: ArrayLike | None = None,
    anti_alias_cutoff: float | None = None,
    anti_alias_order: int = 4,
    noise: float | None = None,
    first: int | None = None,
    u_mass: float = 0.0,
    u_height: float = 0.001,
    u_gravity: float = 0.0,
    u_gain: float | None = None,
) -> DropNumbers:
    """
    Analyse one drop of a known mass.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Cell samples from quiet before the drop to the end of its bounces. [N]
    rate : float
        Sampling rate. [Hz]
    mass, gravity : float
        Falling mass and local acceleration of free fall. [kg], [m/s²]
    height : float, optional
        From the striking face at release to the pad at rest. [m]
    natural_frequency, damping_ratio, share : array_like, shape (n_modes,)
        The rig's modes, from taps. None: the cell follows at once. [Hz], [1], [1]
    anti_alias_cutoff, anti_alias_order : float, int
        Butterworth low-pass before the converter. [Hz]
    noise : float, optional
        Standard deviation of one sample; from the quiet before the drop if not given. [N]
    first : int, optional
        Sample near which the first contact begins; found if not given.
    u_mass, u_height, u_gravity : float
        Standard uncertainties. [kg], [m], [m/s²]
    u_gain : float, optional
        Relative standard uncertainty that the chain claims; ``CHAIN_U_GAIN`` if not given. [1]

    Returns
    -------
    DropNumbers
        With a verdict that is 'undecided' wherever the drop does not allow more.

    Raises
    ------
    ValueError
        If mass, height, gravity, rate or an uncertainty make no sense, or samples are not finite.

    Notes
    -----
    Speeds by first-moment closure between contact starts (:mod:`quintain.numerics.closure`). The gain
    judged is the one with height where there is one, since friction and a wrong height show in it.
    """
    y = _finite(samples)
    _check_drop(rate, mass, gravity, height, u_mass, u_height, u_gravity, u_gain)
    frequency, damping = _modes(natural_frequency, damping_ratio)
    shares = (
        np.full(frequency.size, 1 / max(frequency.size, 1)) if share is None else np.asarray(share, float)
    )
    claim = CHAIN_U_GAIN if u_gain is None else u_gain
    setup = ClosureSetup(mass, gravity, u_mass, u_gravity, claim, U_FACE)
    times = np.arange(y.size) / rate
    flags = ["gain-unknown"] if u_gain is None else []
    if first is None:
        guess = noise if noise is not None else float(np.median(np.abs(np.diff(y)))) / 0.954
        found = find_drops(
            y,
            rate,
            mass=mass,
            gravity=gravity,
            noise=guess,
            frequency=frequency,
            damping=damping,
        )
        if not found:
            return _nothing(
                y,
                claim,
                flags,
                "no-contact",
                "No contact was found: the mass missed the pad or was not dropped.",
            )
        first = found[0].first
    if first < 0.1 * rate + 1:
        return _nothing(
            y,
            claim,
            [*flags, "short-quiet"],
            "starts-on-pad",
            "The recording begins with a force on the pad; there is no quiet before the drop.",
        )
    try:
        rig = Rig(frequency, damping, shares)
        if anti_alias_cutoff is not None:
            rig = rig._replace(low=low_pass_sections(anti_alias_cutoff, anti_alias_order))
        train = follow_train(y, times, rig, setup, first=first, noise=noise)
    except ValueError as error:
        return _nothing(y, claim, flags, "start-uncertain", f"The bounces cannot be followed: {error}.")
    return _numbers(
        y, times, rate, train, setup, height, u_height, claim, flags, (anti_alias_cutoff, anti_alias_order)
    )


def _numbers(
    y: Floats,
    times: Floats,
    rate: float,
    train: Train,
    setup: ClosureSetup,
    height: float | None,
    u_height: float,
    claim: float,
    flags: list[str],
    anti_alias: tuple[float | None, int],
) -> DropNumbers:
    flags = [*flags, *flags_of_train(train)]
    clean = y - train.zero.offset - train.zero.slope * (times - train.zero.reference)
    corrected, origin = _correct(clean, times, train, rate, anti_alias)
    peak = duration = None
    if corrected is not None:
        peak = Estimate(
            corrected.peak_force,
            corrected.u_peak_force,
            tuple(Contribution(k, v) for k, v in corrected.contributions.items()),
        )
        try:
            duration = contact_time(corrected.force, corrected.time, corrected.u_force)
        except ValueError:
            duration = None
    i_first, i_last = (int(i) for i in train.contacts[0])
    by_height = None
    if height is not None:
        by_height = fall_speed(height, setup.gravity, u_height=u_height, u_gravity=setup.u_gravity)
    v1 = v2 = e = impulse = gain = free_gain = excess = None
    if train.moments:
        m = train.moments[0]
        v1, v2 = approach_speed(m, setup), arrival_speed(m, setup)
        if v1.value > 0:
            e = restitution(m, setup)
        impulse = Estimate(
            m.impulse,
            math.hypot(math.sqrt(m.covariance[0, 0]), m.zero[0], m.drift[0]),
            (
                Contribution("noise", math.sqrt(m.covariance[0, 0])),
                Contribution("zero", float(m.zero[0])),
                Contribution("drift", float(m.drift[0])),
            ),
        )
        if height is not None and m.lead > 0:
            gain = gain_with_height(m, setup, height, u_height=u_height)
        if len(train.moments) >= 2:
            free_gain = gain_without_height(train.moments, setup)
        if by_height is not None and v1.value > 0:
            excess = friction_excess(by_height, v1)
    rest, at_rest = _rest(clean, times, train, setup)
    if not at_rest:
        flags.append("mass-not-at-rest")
    flight_speed = None
    if train.moments and duration is not None and impulse is not None:
        flight = train.moments[0].interval - duration.value
        flight_speed = (
            impulse.value / setup.mass - setup.gravity * duration.value - setup.gravity * flight / 2
        )
    doubts = doubts_about(train, v1, e, flight_speed, rest, by_height, gain, free_gain, flags)
    judged = gain if gain is not None else free_gain
    return DropNumbers(
        starts=train.starts,
        u_starts=train.u_starts,
        speeds=train.speeds,
        approach_speed=v1,
        rebound_speed=v2,
        restitution=e,
        impulse=impulse,
        contact_time=duration,
        peak_force=peak,
        peak_force_raw=float(clean[i_first:i_last].max()),
        gain=gain,
        gain_without_height=free_gain,
        speed_by_height=by_height,
        speed_by_half_impulse=None if impulse is None else impulse.value / (2 * setup.mass),
        speed_by_flight_time=flight_speed,
        speed_until_rest=rest,
        friction=excess,
        verdict=judge_gain(judged, u_gain=claim, doubts=doubts),
        flags=tuple(dict.fromkeys(flags)),
        noise=train.noise,
        zero=train.zero.offset,
        corrected=corrected,
        corrected_from=origin,
        train=train,
    )


def _correct(
    clean: Floats, times: Floats, train: Train, rate: float, anti_alias: tuple[float | None, int]
) -> tuple[CorrectedForce | None, float]:
    """Undo the ringing of the first contact."""
    if train.rig.frequency.size == 0:
        return None, 0.0
    i, j = (int(k) for k in train.contacts[0])
    lead = max(int(0.02 * rate), 10)
    tail = max(int(0.04 * rate), int(3 * rate / train.rig.frequency.min()), 12)
    if len(train.contacts) > 1:
        tail = min(tail, max(int(train.contacts[1, 0]) - j - 4, 6))
    span = slice(max(i - lead, 0), min(j + tail, clean.size))
    try:
        found = remove_ringing(
            clean[span],
            rate,
            natural_frequency=train.rig.frequency,
            damping_ratio=train.rig.damping,
            share=train.rig.share,
            noise=train.noise,
            anti_alias_cutoff=anti_alias[0],
            anti_alias_order=anti_alias[1],
            grid=4 if rate >= 3000 else 8,
        )
    except (ValueError, np.linalg.LinAlgError):
        return None, 0.0
    return found, float(times[span.start])


def _rest(clean: Floats, times: Floats, train: Train, setup: ClosureSetup) -> tuple[Estimate | None, bool]:
    """Speed by momentum until rest, where the mass is seen to lie still under its own weight."""
    dt = times[1] - times[0]
    weight = setup.mass * setup.gravity
    last = int(train.contacts[-1, 0])
    width = int(0.2 / dt)
    slow = train.slow
    for i in range(last + width // 4, clean.size - width, max(width // 4, 1)):
        part = slow[i : i + width]
        if abs(float(part.mean()) - weight) < 0.25 * weight + 3 * train.noise and float(np.std(part)) < max(
            0.05 * weight, 3 * train.noise
        ):
            start = float(train.starts[0])
            begin = int(np.searchsorted(times, start))
            duration = float(times[i + width // 2]) - start
            impulse = float(clean[begin : i + width // 2].sum()) * dt
            u = math.hypot(train.zero.u_offset * duration, train.noise * math.sqrt(duration * dt))
            return speed_until_rest(impulse, duration, setup, u_impulse=u), True
    return None, False


def _nothing(y: Floats, claim: float, flags: list[str], code: str, reason: str) -> DropNumbers:
    none = np.zeros(0)
    return DropNumbers(
        starts=none,
        u_starts=none,
        speeds=none,
        approach_speed=None,
        rebound_speed=None,
        restitution=None,
        impulse=None,
        contact_time=None,
        peak_force=None,
        peak_force_raw=float(y.max() - np.median(y)),
        gain=None,
        gain_without_height=None,
        speed_by_height=None,
        speed_by_half_impulse=None,
        speed_by_flight_time=None,
        speed_until_rest=None,
        friction=None,
        verdict=judge_gain(None, u_gain=claim, doubts=[reason]),
        flags=tuple(dict.fromkeys([*flags, code])),
        noise=0.0,
        zero=float(np.median(y)),
        corrected=None,
        corrected_from=0.0,
        train=None,
    )


def _finite(samples: ArrayLike) -> Floats:
    y = np.asarray(samples, dtype=float)
    if y.ndim != 1 or y.size < 50:
        raise ValueError(f"a drop needs one row of at least 50 samples, got shape {y.shape}")
    if not np.isfinite(y).all():
        i = int(np.flatnonzero(~np.isfinite(y))[0])
        raise ValueError(f"samples of a drop must be finite, but sample {i} is {y[i]}")
    return y


def _modes(natural_frequency: ArrayLike, damping_ratio: ArrayLike) -> tuple[Floats, Floats]:
    frequency = np.atleast_1d(np.asarray(natural_frequency, dtype=float))
    damping = np.atleast_1d(np.asarray(damping_ratio, dtype=float))
    if frequency.shape != damping.shape or (frequency <= 0).any() or ((damping <= 0) | (damping >= 1)).any():
        raise ValueError(
            "each mode needs a frequency above 0 and a damping ratio between 0 and 1, "
            f"got {frequency} and {damping}"
        )
    return frequency, damping


def _check_drop(
    rate: float,
    mass: float,
    gravity: float,
    height: float | None,
    u_mass: float,
    u_height: float,
    u_gravity: float,
    u_gain: float | None,
) -> None:
    bounds: dict[str, tuple[float, float, float, str]] = {
        "rate": (rate, 100.0, 1e7, "Hz"),
        "mass": (mass, 0.05, 500.0, "kg"),
        "gravity": (gravity, 9.7, 9.9, "m/s²"),
    }
    if height is not None:
        bounds["height"] = (height, 0.005, 20.0, "m")
    for name, (value, low, high, unit) in bounds.items():
        if not low <= value <= high:
            raise ValueError(
                f"{name} must be between {low:g} and {high:g} {unit} for a drop, got {value:g} {unit}"
            )
    doubts = {"u_mass": u_mass, "u_height": u_height, "u_gravity": u_gravity, "u_gain": u_gain}
    for name, doubt in doubts.items():
        if doubt is not None and not doubt >= 0:
            raise ValueError(f"{name} must not be negative, got {doubt}")
