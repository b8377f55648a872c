"""Contacts of a falling mass, told from the ringing that follows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.bad_samples import marked_runs
from quintain.numerics.free_response import slow_force_weights

__all__ = [
    "DropStretch",
    "SlowForce",
    "find_contacts",
    "find_drops",
    "find_impacts",
    "prune_contacts",
    "slow_force",
]

Floats = NDArray[np.float64]


class SlowForce(NamedTuple):
    """Force without ringing and without what is faster than about 10 ms."""

    force: Floats
    """One value for each sample; the ends repeat the nearest whole stretch. [N]"""
    gain: float
    """Standard deviation of a value over that of a sample. [1]"""
    half_width: float
    """Half of the moving stretch. [s]"""


@dataclass(frozen=True, slots=True)
class DropStretch:
    """Where one drop lies in a recording."""

    begin: int
    """First sample that belongs to it: quiet before the drop."""
    first: int
    """Sample near which the first contact begins."""
    end: int
    """First sample that does not belong to it."""


def slow_force(samples: ArrayLike, rate: float, frequency: Floats, damping: Floats) -> SlowForce:
    """
    Take ringing and fast detail out of a recording, however strong the ringing is.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Cell samples. [N]
    rate : float
        Sampling rate. [Hz]
    frequency, damping : ndarray, shape (n_modes,)
        The rig's modes. [Hz], [1]

    Returns
    -------
    SlowForce
        See :func:`~quintain.numerics.free_response.slow_force_weights`.

    Raises
    ------
    ValueError
        If the recording is shorter than the moving stretch.

    Examples
    --------
    >>> import numpy as np
    >>> slow = slow_force(np.full(100, 3.0), 1000.0, np.array([200.0]), np.array([0.02]))
    >>> round(float(slow.force[50]), 6)
    3.0
    """
    y = np.asarray(samples, dtype=float)
    weights = slow_force_weights(rate, frequency, damping)
    if y.size < weights.size:
        raise ValueError(
            f"need at least {weights.size} samples at {rate:g} Hz to tell force from ringing, got {y.size}"
        )
    half = weights.size // 2
    core = np.convolve(y, weights[::-1], mode="valid")
    force = np.concatenate([np.full(half, core[0]), core, np.full(half, core[-1])])
    return SlowForce(force, float(np.linalg.norm(weights)), half / rate)


def find_contacts(
    force: ArrayLike, rate: float, *, threshold: float, merge: float = 0.012
) -> NDArray[np.intp]:
    """
    Find stretches in which the slow force stays above a threshold.

    Parameters
    ----------
    force : array_like, shape (n,)
        Slow force with the zero taken off. [N]
    rate : float
        Sampling rate. [Hz]
    threshold : float
        Level that counts as contact. [N]
    merge : float
        Gaps shorter than this do not part two contacts. [s]

    Returns
    -------
    contacts : ndarray, shape (n_contacts, 2)
        First sample above, first sample below again (or the number of samples).

    Examples
    --------
    >>> find_contacts([0, 5, 6, 0, 7, 0, 0, 0, 9], 1000.0, threshold=4, merge=0.0015).tolist()
    [[1, 5], [8, 9]]
    """
    above = np.asarray(force, dtype=float) > threshold
    pairs = np.array(marked_runs(above), dtype=np.intp).reshape(-1, 2)
    if len(pairs) < 2:
        return pairs
    apart = np.concatenate([[True], (pairs[1:, 0] - pairs[:-1, 1]) / rate >= merge])
    first = pairs[apart, 0]
    last = pairs[np.concatenate([apart[1:], [True]]), 1]
    return np.stack([first, last], axis=1)


def prune_contacts(
    contacts: NDArray[np.intp], force: Floats, rate: float, *, weight: float, least: float = 0.35
) -> NDArray[np.intp]:
    r"""
    Drop contacts that cannot have carried the mass from one flight into the next.

    Parameters
    ----------
    contacts : ndarray, shape (n, 2)
        From :func:`find_contacts`.
    force : ndarray
        Slow force with the zero taken off. [N]
    rate : float
        Sampling rate. [Hz]
    weight : float
        Mass times gravity. [N]
    least : float
        Share of the needed impulse below which a contact is none.

    Returns
    -------
    contacts : ndarray, shape (n_kept, 2)
        Without half-swings of a plate and other bumps.

    Notes
    -----
    Between two flights a mass needs :math:`J=mg[(t_a+t_b)/2+T_c]`; a plate that swings gives far less
    in its half-swings. The weakest is dropped first, then flights are measured anew. The first
    contact and the last are kept.

    Examples
    --------
    >>> import numpy as np
    >>> f = np.zeros(1000); f[100:130] = 900.0; f[300:310] = 30.0; f[600:630] = 600.0; f[900:] = 50.0
    >>> seen = np.array([[100, 130], [300, 310], [600, 630], [900, 1000]])
    >>> prune_contacts(seen, f, 1000.0, weight=49.0).tolist()
    [[100, 130], [600, 630], [900, 1000]]
    """
    kept = [tuple(c) for c in contacts]
    while len(kept) > 2:
        ratios = []
        for (_, end), (a, b), (begin, _) in zip(kept, kept[1:], kept[2:], strict=False):
            needed = weight * ((a - end + begin - b) / 2 + (b - a)) / rate
            ratios.append(float(force[a:b].sum()) / rate / needed)
        worst = int(np.argmin(ratios))
        if ratios[worst] >= least:
            break
        del kept[worst + 1]
    return np.array(kept, dtype=np.intp).reshape(-1, 2)


def find_impacts(
    force: ArrayLike, rate: float, *, weight: float, noise: float, quiet: float = 0.25
) -> NDArray[np.intp]:
    """
    Find where drops begin in a recording that may hold many.

    Parameters
    ----------
    force : array_like, shape (n,)
        Slow force, any zero. [N]
    rate : float
        Sampling rate. [Hz]
    weight : float
        Mass times gravity. [N]
    noise : float
        Standard deviation of a slow force value. [N]
    quiet : float
        How long the force must have been steady before. [s]

    Returns
    -------
    first : ndarray of int
        Sample of the first contact of each drop.

    Notes
    -----
    A drop begins where the force rises by more than two weights above the level of the quiet before
    it, after a stretch without such force. A later bounce follows within a second and is weaker than
    the one before; a rise after 1.5 s, or one stronger by a fifth after 0.4 s, is another drop.

    Examples
    --------
    >>> import numpy as np
    >>> f = np.zeros(6000); f[1000:1020] = 900; f[1400:1420] = 500; f[4000:4020] = 950
    >>> find_impacts(f, 1000.0, weight=49.0, noise=1.0).tolist()
    [1000, 4000]
    """
    f = np.asarray(force, dtype=float)
    threshold = max(2 * weight, 8 * noise)
    lag = int(0.03 * rate)
    span = max(int(quiet * rate), 4)
    level = _running_level(f, span, lag)
    contacts = find_contacts(f - level, rate, threshold=threshold, merge=0.02)
    first: list[int] = []
    last_end, last_peak = -np.inf, 0.0
    for a, b in contacts:
        peak = float((f[a:b] - level[a]).max())
        gap = (a - last_end) / rate
        if gap > 1.5 or (gap > 0.4 and peak > 1.2 * last_peak):
            first.append(int(a))
        last_end, last_peak = float(b), peak
    return np.array(first, dtype=np.intp)


def _running_level(f: Floats, span: int, lag: int) -> Floats:
    """Median of the stretch that ended ``lag`` samples ago, coarse in time."""
    step = max(span // 8, 1)
    n_blocks = f.size // step
    if n_blocks < 2:
        return np.full(f.size, float(np.median(f)))
    block = np.median(f[: n_blocks * step].reshape(n_blocks, step), axis=1)
    padded = np.concatenate([np.full(8, block[0]), block])
    running = np.median(np.lib.stride_tricks.sliding_window_view(padded, 8), axis=1)
    index = np.clip((np.arange(f.size) - lag) // step, 0, n_blocks)
    return np.asarray(running[index])


def find_drops(
    samples: ArrayLike,
    rate: float,
    *,
    mass: float,
    gravity: float,
    noise: float,
    frequency: Floats,
    damping: Floats,
) -> tuple[DropStretch, ...]:
    """
    Find every drop in a recording.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Cell samples. [N]
    rate : float
        Sampling rate. [Hz]
    mass, gravity : float
        Falling mass and acceleration of free fall. [kg], [m/s²]
    noise : float
        Standard deviation of one sample. [N]
    frequency, damping : ndarray, shape (n_modes,)
        The rig's modes. [Hz], [1]

    Returns
    -------
    tuple of DropStretch
        In order; each ends half a second before the next begins.

    Raises
    ------
    ValueError
        If the recording is shorter than the moving stretch of the slow force.
    """
    y = np.asarray(samples, dtype=float)
    slow = slow_force(y, rate, frequency, damping)
    firsts = find_impacts(slow.force, rate, weight=mass * gravity, noise=noise * slow.gain)
    stretches = []
    for k, first in enumerate(firsts):
        begin = max(0, int(first - 1.7 * rate))
        end = y.size if k + 1 == firsts.size else max(int(firsts[k + 1] - 0.5 * rate), int(first) + 1)
        stretches.append(DropStretch(begin, int(first), min(end, int(first + 8 * rate))))
    return tuple(stretches)
