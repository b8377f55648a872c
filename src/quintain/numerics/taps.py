"""Taps in a recording: where each decays freely, and what several of them say together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.damped_sinusoids import matched_start
from quintain.numerics.ring_down import RingDown, clipped_at, identify_ring_down

__all__ = ["FreeDecay", "JointModes", "combine_taps", "find_taps", "identify_from_strikes"]

Array = NDArray[np.float64]

BLOCK = 0.004  # [s] envelope resolution; at least 16 samples
PERIODS_AFTER_PEAK = (0.5, 1.0, 2.0, 3.0, 4.5, 7.0, 10.0, 15.0)
EARLY_EXCESS = 1.4  # early over late residual above which the contact, or a cut-off, may still show,
EARLY_MISFIT = 0.05  # unless it is this small beside the ringing itself
LARGEST_MISFIT = 0.2  # beside the ringing; above it no start serves
MOST_SAMPLES = 6000  # of one decay that are looked at while its start is searched
FINAL_AMPLITUDE = 0.3  # of the noise; beyond it a decay tells nothing more
SAME_MODE = 0.03  # frequencies of two taps this close, relative, can be one mode (common practice, no source)
SLOWEST_MODE = 40.0  # [Hz]; slower swings are those of a plate on its foam (common practice, no source)
MOST_TAILS = 24


class FreeDecay(NamedTuple):
    """Samples ``first`` to ``stop - 1`` of a recording, in which a rig rings untouched."""

    first: int
    stop: int


@dataclass(frozen=True, slots=True)
class JointModes:
    """
    Modes seen alike in several taps, by rising natural frequency; arrays have one entry a mode.

    ``spread_*`` are standard deviations between taps beyond what each tap's own uncertainty explains;
    ``agreement`` is the probability of so large a spread in natural frequency if there were none;
    ``left_out`` lists natural frequencies [Hz] seen in too few taps or below the slowest one asked for.
    """

    natural_frequency: Array
    damping_ratio: Array
    share: Array
    u_natural_frequency: Array
    u_damping_ratio: Array
    spread_natural_frequency: Array
    spread_damping_ratio: Array
    agreement: Array
    n_seen: NDArray[np.int64]
    n_taps: int
    left_out: Array
    flags: tuple[str, ...] = ()


def _noise_of(samples: Array, block: int) -> float:
    """Noise from the quietest tenth of the blocks, each freed of its own mean."""
    whole = samples[: samples.size // block * block].reshape(-1, block)
    sd = np.sort(whole.std(axis=1, ddof=1))
    return float(sd[: max(1, sd.size // 10)].mean())


def _events(samples: Array, block: int, loud: float) -> list[tuple[int, int]]:
    """First sample and one past the last sample of every stretch that begins with a jump of the envelope."""
    whole = samples[: samples.size // block * block].reshape(-1, block)
    span = whole.max(axis=1) - whole.min(axis=1)
    padded = np.concatenate([[0.0, 0.0], span])
    rises = np.flatnonzero((span > loud) & (span > 3 * np.maximum(padded[:-2], padded[1:-1])))
    starts = [int(i) for k, i in enumerate(rises) if k == 0 or i - rises[k - 1] > 3]
    events = []
    for k, start in enumerate(starts):
        limit = starts[k + 1] if k + 1 < len(starts) else span.size
        quiet = np.flatnonzero(span[start:limit] <= loud / 4)
        stop = start + int(quiet[0]) if quiet.size else limit
        last = samples.size if stop == span.size else stop * block
        events.append((max(0, (start - 1) * block), last))
    return events


def _earliest_free(samples: Array, rate: float, first: int, stop: int, noise: float) -> FreeDecay | None:
    """Free decay inside one event: as soon after the peak as the fit holds, as long as the ringing tells."""
    event = samples[first:stop]
    peak = first + int(np.argmax(np.abs(event - np.median(event[-max(16, event.size // 4) :]))))
    level = clipped_at(event)
    if level is not None:
        peak = first + int(np.flatnonzero(event == level)[-1]) + 1
    rest = samples[peak:stop]
    if rest.size < 32:
        return None
    loudest = matched_start(rest - rest.mean(), rate)
    if loudest is None:
        return None
    period = 2 * np.pi / loudest.omega * rate
    fallback: tuple[float, FreeDecay] = (LARGEST_MISFIT, FreeDecay(0, 0))
    for n_periods in PERIODS_AFTER_PEAK:
        start = peak + max(2, round(n_periods * period))
        if stop - start < 32:
            break
        try:
            found = identify_ring_down(samples[start : min(stop, start + MOST_SAMPLES)], rate)
        except ValueError:
            continue
        lasts = np.log(np.maximum(found.amplitude / (FINAL_AMPLITUDE * noise), 1.0)) / found.decay_rate
        decay = FreeDecay(start, min(stop, start + max(32, round(float(lasts.max()) * rate))))
        early = found.residual[: max(8, min(found.n_samples // 8, round(2 * period)))]
        early_rms = float(np.sqrt(np.mean(early**2)))
        late_rms = float(np.sqrt(np.mean(found.residual[found.n_samples // 2 :] ** 2)))
        misfit = early_rms / float(found.amplitude.max())
        if early_rms <= EARLY_EXCESS * max(late_rms, noise) or misfit <= EARLY_MISFIT:
            return decay
        if misfit < fallback[0]:
            fallback = (misfit, decay)
    return fallback[1] if fallback[0] < LARGEST_MISFIT else None


def find_taps(
    samples: ArrayLike, rate: float, *, noise: float | None = None, loud: float = 20.0
) -> list[FreeDecay]:
    """
    Stretches of free decay after the taps in a recording.

    Parameters
    ----------
    samples : array_like, shape (n,)
        One channel that rings, any unit.
    rate : float
        Sampling rate. [Hz]
    noise : float, optional
        Standard deviation of the noise; taken from the quietest tenth of the recording if not given.
        [unit of samples]
    loud : float
        How many noise standard deviations a tap must span from crest to trough.

    Returns
    -------
    list of FreeDecay
        One entry a tap, in order of time; empty if nothing was found that rings freely.

    Raises
    ------
    ValueError
        If the recording is too short or not finite.

    Notes
    -----
    A tap is where the envelope jumps to three times what it was. The decay begins as soon after the peak as
    one set of damped sinusoids explains the beginning as well as the end, or to 5 % of the ringing, or as
    well as it ever does, so that contact and cut-off samples are passed by; it ends where the ringing has
    sunk below the noise or the next tap begins. Derived here. Without a quiet stretch in the recording the
    noise comes out too large, and soft taps are missed.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(4000) / 2000
    >>> trace = np.random.default_rng(5).normal(0, 0.5, t.size)
    >>> for start in (0.4, 1.2):
    ...     since = np.maximum(t - start, 0)
    ...     trace += 200 * np.exp(-25 * since) * np.sin(2 * np.pi * 180 * since)
    >>> [round(tap.first / 2000, 2) for tap in find_taps(trace, 2000)]
    [0.4, 1.2]
    """
    samples = np.ascontiguousarray(samples, dtype=float)
    block = max(16, round(BLOCK * rate))
    if samples.ndim != 1 or samples.size < 4 * block:
        raise ValueError(f"a recording of taps needs at least {4 * block} samples, got shape {samples.shape}")
    if not np.isfinite(samples).all():
        first = int(np.flatnonzero(~np.isfinite(samples))[0])
        raise ValueError(f"the recording must be finite, but sample {first} is {samples[first]}")
    if noise is None:
        noise = _noise_of(samples, block)
    found = []
    events = _events(samples, block, loud * noise)
    for k, (first, stop) in enumerate(events):
        limit = events[k + 1][0] if k + 1 < len(events) else samples.size
        decay = _earliest_free(samples, rate, first, min(stop + 2 * block, limit), max(noise, 1e-300))
        if decay is not None:
            found.append(decay)
    return found


def _groups(taps: Sequence[RingDown]) -> list[list[tuple[int, int]]]:
    """Modes of all taps that can be the same one, each as (tap, mode), at most one mode a tap."""
    entries = sorted(
        (float(tap.natural_frequency[i]), float(tap.u_natural_frequency[i]), k, i)
        for k, tap in enumerate(taps)
        for i in range(tap.n_modes)
    )
    groups: list[list[tuple[float, float, int, int]]] = []
    for entry in entries:
        last = groups[-1] if groups else None
        if last is not None:
            reach = max(SAME_MODE * entry[0], 3 * np.hypot(entry[1], last[-1][1]))
            if entry[0] - last[-1][0] <= reach and entry[0] - last[0][0] <= 2 * reach:
                last.append(entry)
                continue
        groups.append([entry])
    picked = []
    for group in groups:
        best: dict[int, int] = {}
        for _, _, k, i in group:
            if k not in best or taps[k].amplitude[i] > taps[k].amplitude[best[k]]:
                best[k] = i
        picked.append(sorted(best.items()))
    return picked


def _joint(values: Array, u: Array) -> tuple[float, float, float, float]:
    """
    Mean, its uncertainty, spread beyond the stated uncertainties, and probability of agreement.

    Random-effects mean with the spread of Mandel and Paule (1970, doi:10.1021/ac60293a019), by bisection.
    """
    if values.size == 1:
        return float(values[0]), float(u[0]), 0.0, 1.0

    def excess(variance: float) -> float:
        w = 1 / (u**2 + variance)
        return float(w @ (values - (w @ values) / w.sum()) ** 2) - (values.size - 1)

    from scipy.special import chdtrc

    agreement = float(chdtrc(values.size - 1, excess(0.0) + values.size - 1))
    low, high = 0.0, float(np.ptp(values) ** 2 + 1e-300)
    if excess(0.0) <= 0:
        high = 0.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle) > 0 else (low, middle)
    w = 1 / (u**2 + high)
    return float(w @ values / w.sum()), float(1 / np.sqrt(w.sum())), float(np.sqrt(high)), agreement


def combine_taps(taps: Sequence[RingDown], *, seen_in: float = 0.5, slowest: float = 0.0) -> JointModes:
    """
    Modes on which several taps agree.

    Parameters
    ----------
    taps : sequence of RingDown
        Free decays of the same rig.
    seen_in : float
        Share of the taps in which a mode must be seen to count.
    slowest : float
        Natural frequency below which a swing is left out. [Hz]

    Returns
    -------
    JointModes
        Flag ``taps-disagree`` is raised if the spread between taps has a probability below 1 %.

    Raises
    ------
    ValueError
        If no tap is given, or no mode is seen in enough of them.

    Notes
    -----
    Random-effects mean: the spread between taps that their own uncertainties do not explain is part of the
    uncertainty of the mean and is stated beside it. A rig that changes from tap to tap (a bolt working
    loose) shows as spread, not as a smaller uncertainty. With fewer than four taps the spread itself is
    poorly known.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(800) / 2000
    >>> rng = np.random.default_rng(3)
    >>> def tap(frequency):
    ...     ringing = 150 * np.exp(-30 * t) * np.cos(2 * np.pi * frequency * t)
    ...     return identify_ring_down(ringing + rng.normal(0, 1, t.size), 2000)
    >>> joint = combine_taps([tap(240), tap(240.5), tap(241)])
    >>> print(f"{joint.natural_frequency[0]:.1f} Hz, spread {joint.spread_natural_frequency[0]:.1f} Hz")
    240.6 Hz, spread 0.5 Hz
    >>> joint.flags
    ('taps-disagree',)
    """
    if not taps:
        raise ValueError("no tap was given to combine")
    needed = max(1, int(np.ceil(seen_in * len(taps))))
    kept, left_out = [], []
    for group in _groups(taps):
        frequency = np.array([taps[k].natural_frequency[i] for k, i in group])
        if len(group) >= needed and np.median(frequency) >= slowest:
            kept.append(group)
        else:
            left_out.append(float(np.median(frequency)))
    if not kept:
        raise ValueError(f"no mode is seen in at least {needed} of {len(taps)} ring-downs")
    flags = {code for tap in taps for code in tap.flags if code in ("steady-tone", "mode-drifts")}
    rows = []
    for group in kept:
        frequency = np.array([taps[k].natural_frequency[i] for k, i in group])
        u_frequency = np.array([taps[k].u_natural_frequency[i] for k, i in group])
        damping = np.array([taps[k].damping_ratio[i] for k, i in group])
        u_damping = np.array([taps[k].u_damping_ratio[i] for k, i in group])
        share = float(np.mean([taps[k].share[i] for k, i in group]))
        rows.append((*_joint(frequency, u_frequency), *_joint(damping, u_damping)[:3], share, len(group)))
    table = np.array(rows)
    if (table[:, 3] < 0.01).any():
        flags.add("taps-disagree")
    return JointModes(
        natural_frequency=table[:, 0],
        damping_ratio=table[:, 4],
        share=table[:, 7] / table[:, 7].sum(),
        u_natural_frequency=table[:, 1],
        u_damping_ratio=table[:, 5],
        spread_natural_frequency=table[:, 2],
        spread_damping_ratio=table[:, 6],
        agreement=table[:, 3],
        n_seen=table[:, 8].astype(np.int64),
        n_taps=len(taps),
        left_out=np.array(left_out),
        flags=tuple(sorted(flags)),
    )


def identify_from_strikes(
    tails: Sequence[ArrayLike], rate: float, *, noise: float | None = None, slowest: float = SLOWEST_MODE
) -> JointModes:
    """
    A rig's modes from what rings on after strikes, when no tap was made.

    Parameters
    ----------
    tails : sequence of array_like
        Traces from the end of contact to rest, one a strike, any unit.
    rate : float
        Sampling rate. [Hz]
    noise : float, optional
        Standard deviation of the noise. [unit of samples]
    slowest : float
        Natural frequency below which a swing is that of a plate on its foam and is left out. [Hz]

    Returns
    -------
    JointModes
        Modes seen in at least a third of the tails that rang at all, and in two where there are several.

    Raises
    ------
    ValueError
        If no tail rings, or none of the modes is seen often enough.

    Notes
    -----
    At most twenty-four tails, spread over the session, are used. Tails that do not ring or are cut off fail
    one by one and are passed over; a swing of the plate, an offset, a drift and the slow creep of foam are
    fitted beside the modes. Less exact than taps: a padded strike rings the rig weakly, and a tail that
    begins before the contact has ended biases damping upward.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(600) / 2000
    >>> rng = np.random.default_rng(3)
    >>> ring = 40 * np.exp(-30 * t) * np.cos(2 * np.pi * 240 * t)
    >>> swing = 90 * np.exp(-6 * t) * np.cos(2 * np.pi * 14 * t)
    >>> tails = [ring + swing + rng.normal(0, 1, t.size), rng.normal(0, 1, t.size), 2 * ring - swing]
    >>> identify_from_strikes(tails, 2000).natural_frequency.round(0)
    array([240.])
    """
    found = []
    for i in np.unique(np.linspace(0, len(tails) - 1, min(MOST_TAILS, len(tails))).round().astype(int)):
        try:
            found.append(identify_ring_down(tails[i], rate, noise=noise, max_modes=3))
        except ValueError:
            continue  # this tail does not ring; the others may
    if not found:
        raise ValueError(f"none of {len(tails)} tails rings freely: make a tap test")
    enough = 1 / 3 if len(found) < 3 else max(1 / 3, 2 / len(found))
    return combine_taps(found, seen_in=enough, slowest=slowest)
