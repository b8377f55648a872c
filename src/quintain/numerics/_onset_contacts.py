"""Contacts inside one stretch of activity: where the rig is driven, and where it only rings."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.bad_samples import marked_runs

__all__ = ["CellContact", "find_cell_contacts"]

FloatArray = NDArray[np.float64]

RISE_TIME = 0.06
"""A blow climbs three tenths of its height within this time; what climbs slower is a push. [s]"""

SHARP_START = 0.1
"""From first touch to a quarter of the peak; longer means a push came before the blow. [s]"""

START_SHARE = 0.005
"""A contact starts, at the earliest, where it first stays over this share of its height."""

KNOWN_SHARE = 0.08
"""Share of the ringing that may be left when the mode is known: natural frequency 2 % off leaves 3 %."""

LEARNED_SHARE = 0.12
"""The same, at least, when the decay was learned from the event itself."""

GROWTH = 1.2
"""Where no decay can be learned, only a force this much above the ringing before it is a contact."""

ENVELOPE_TIME = 0.025
"""Ringing is judged by its largest sample over this time, more than a period at 40 Hz. [s]"""


class CellContact(NamedTuple):
    """One contact, in cells of the stretch; ``slow`` where a push led into the blow."""

    first: int
    last: int
    peak: int
    sign: int
    height: float
    slow: bool


class _FreeResponse(NamedTuple):
    """What is left of the trace when the free ringing is taken out, and how far to trust it."""

    driven: FloatArray
    lag: int
    noise_gain: float
    share: float


def _recurrence(frequency: float, damping: float, cell_time: float) -> tuple[int, float, float]:
    """Stride and coefficients (a, b) with d[k] = a d[k-m] + b d[k-2m] in free decay, m a quarter period."""
    decay = 2 * np.pi * frequency * damping
    omega = 2 * np.pi * frequency * np.sqrt(1 - damping**2)
    stride = max(1, round(np.pi / 2 / (omega * cell_time)))
    shrink = np.exp(-decay * stride * cell_time)
    return stride, float(2 * shrink * np.cos(omega * stride * cell_time)), float(-(shrink**2))


def _take_out(trace: FloatArray, stride: int, a: float, b: float) -> FloatArray:
    left = trace.copy()
    left[stride:] -= a * trace[:-stride]
    left[2 * stride :] -= b * trace[: -2 * stride]
    return left / (1 - a - b)


def _learn_recurrence(d: FloatArray, sigma: float) -> tuple[int, float, float, float] | None:
    """Stride, coefficients and remaining share of the ringing after the largest peak, or None."""
    loud = np.flatnonzero(np.abs(d) > 6 * sigma)
    peak = int(np.argmax(np.abs(d)))
    if loud.size == 0:
        return None
    tail = d[peak : loud[-1] + 1]
    crossings = np.flatnonzero(np.signbit(tail[1:]) != np.signbit(tail[:-1]))
    if crossings.size < 5:
        return None
    # median distance between crossings, robust against the contact and the noisy end
    half_period = float(crossings[-1] - crossings[0]) / (crossings.size - 1)
    stride = max(1, round(half_period / 2))
    tail = tail[crossings[0] + 1 :]
    if tail.size < 2 * stride + 12:
        return None
    now, once, twice = tail[2 * stride :], tail[stride:-stride], tail[: -2 * stride]
    kept = np.ones(now.size, bool)
    a = b = 0.0
    for _ in range(3):
        columns = np.column_stack([once[kept], twice[kept]])
        (a, b), *_rest = np.linalg.lstsq(columns, now[kept], rcond=None)
        left = np.abs(now - a * once - b * twice)
        kept = left <= np.quantile(left, 0.8)
    noise = 0.67 * sigma * np.sqrt(1 + a * a + b * b)
    residual = np.sqrt(max(float(np.median(left)) ** 2 - noise**2, 0.0)) / (1 - a - b)
    if not (-1.05 < b < -0.02 and 1 - a - b > 0.7):
        return None
    return stride, float(a), float(b), float(residual / max(float(np.median(np.abs(tail))), sigma))


def _take_out_ringing(
    d: FloatArray, sigma: float, cell_time: float, modes: tuple[tuple[float, float], ...]
) -> _FreeResponse:
    if modes:
        driven, lag = d.copy(), 0
        impulse = np.zeros(1)
        impulse[0] = 1.0
        for frequency, damping in modes:
            stride, a, b = _recurrence(frequency, damping, cell_time)
            if 2 * stride >= d.size:
                continue
            driven = _take_out(driven, stride, a, b)
            kernel = np.zeros(2 * stride + 1)
            kernel[[0, stride, 2 * stride]] = np.array([1.0, -a, -b]) / (1 - a - b)
            impulse = np.convolve(impulse, kernel)
            lag += 2 * stride
        return _FreeResponse(driven, lag, float(np.sqrt(impulse @ impulse)), KNOWN_SHARE)
    learned = _learn_recurrence(d, sigma)
    if learned is not None:
        stride, a, b, residual = learned
        share = max(6 * residual, LEARNED_SHARE)
        if share < 0.5:
            gain = float(np.sqrt(1 + a * a + b * b) / (1 - a - b))
            return _FreeResponse(_take_out(d, stride, a, b), 2 * stride, gain, share)
    return _FreeResponse(d.copy(), 0, 1.0, GROWTH)


def _largest(x: FloatArray, window: int) -> FloatArray:
    """Largest value of the ``window`` cells that end with each cell."""
    from scipy.ndimage import maximum_filter1d

    largest: FloatArray = maximum_filter1d(x, window, origin=(window - 1) // 2, mode="nearest")
    return largest


def _envelope(d: FloatArray, window: int, lag: int) -> FloatArray:
    """Largest magnitude over the ``window`` cells that end ``lag`` cells before each cell."""
    largest = _largest(np.abs(d), window)
    if lag:
        largest = np.concatenate([np.zeros(lag), largest[:-lag]])
    return largest


def find_cell_contacts(
    d: FloatArray,
    sigma: float,
    *,
    high: float,
    cell_time: float,
    begin: int,
    modes: tuple[tuple[float, float], ...] = (),
) -> list[CellContact]:
    """
    Contacts in a trace whose zero has been taken off.

    Parameters
    ----------
    d : ndarray, shape (n,)
        Means of the cells, zero line taken off, without gaps. [N]
    sigma : float
        Noise of one cell. [N]
    high : float
        A contact must rise over this. [N]
    cell_time : float
        Length of a cell. [s]
    begin : int
        First cell of the stretch; those before it are context.
    modes : tuple of (float, float)
        Natural frequencies [Hz] and damping ratios, if known.

    Returns
    -------
    list of CellContact
        In time order, all of the sign of the largest. Pushes and lone cells are left out.

    Notes
    -----
    A free decay obeys d[k] = a d[k-m] + b d[k-2m] exactly, with a = 2 r^m cos(m w), b = -r^2m, for any
    stride m (the two-term linear recurrence of a sampled damped sine; R. de Prony 1795). With m a quarter
    of a period what is left is the driving force averaged over half a period, at a noise below that
    of one cell. Where the mode is not given, a and b are fitted to the decay after the largest peak; the
    share of ringing that the fit leaves raises the threshold, and above one half the rule becomes:
    ringing never grows, so a contact must stand ``GROWTH`` times above what rang just before it.
    A natural frequency further than some 5 % off lets ringing pass for contacts.
    """
    free = _take_out_ringing(d, sigma, cell_time, modes)
    found = _driven_contacts(d, free, high, cell_time, begin)
    if not found and begin and free.share < 1:
        # a blow much shorter than the rig's period: its force is lost in the mean, its ringing is not
        found = _driven_contacts(d, _FreeResponse(d.copy(), 0, 1.0, GROWTH), high, cell_time, begin)
    return found


def _driven_contacts(
    d: FloatArray, free: _FreeResponse, high: float, cell_time: float, begin: int
) -> list[CellContact]:
    y = free.driven
    y[: free.lag] = y[free.lag] if free.lag < y.size else 0.0  # the ringing is not yet known there
    window = max(2 * (round(ENVELOPE_TIME / cell_time) // 2) + 1, 3)
    if free.share >= 1:
        envelope = _envelope(d, window, max(1, round(0.006 / cell_time)))
        over = np.maximum(high, free.share * envelope + 0.5 * high)
        under = np.full(d.size, 0.5 * high)
    else:
        over = np.maximum(high * max(free.noise_gain, 0.75), free.share * _envelope(d, window, 0))
        under = np.maximum(0.5 * over, 0.5 * high)
    found: list[CellContact] = []
    for sign in (1, -1):
        found += _one_sided(sign * y, sign, over, under, begin, free.lag, cell_time)
    if not found:
        return []
    sign = max(found, key=lambda c: c.height).sign
    return sorted(c for c in found if c.sign == sign)


def _joined(runs: list[tuple[int, int]], lag: int) -> list[tuple[int, int]]:
    """Ranges with those joined that lie closer than the lag: a short force and its own echo."""
    ranges: list[tuple[int, int]] = []
    for first, stop in runs:
        if ranges and first - ranges[-1][1] < lag:
            ranges[-1] = (ranges[-1][0], stop)
        else:
            ranges.append((first, stop))
    return ranges


def _one_sided(
    y: FloatArray, sign: int, over: FloatArray, under: FloatArray, begin: int, lag: int, cell_time: float
) -> list[CellContact]:
    above = y > under
    contacts = []
    rise = max(1, round(RISE_TIME / cell_time))
    lowest = np.maximum(-_largest(-y, rise + 1), 0.0)
    for first, stop in _joined(marked_runs(above), lag):
        # any force shows for as long as the lag, by its echo if not by itself; what is shorter is noise
        if stop <= begin or stop - first < max(2, lag) or not np.any(y[first:stop] > over[first:stop]):
            continue
        peak = first + int(np.argmax(y[first:stop]))
        height = float(y[peak])
        # where the recording itself begins, nobody knows how the force rose
        cut = begin == 0 and first <= lag + 1
        if not cut and np.max((y - lowest)[first : peak + 1]) < 0.3 * height:
            continue
        start, slow = (0, False) if cut else (first, False)
        quarter = first + int(np.argmax(y[first:stop] > 0.25 * height))
        if cut:
            pass
        elif (quarter - first) * cell_time > SHARP_START:
            early = max(quarter - rise, first)
            before = y[early : quarter + 1]
            level = float(before.min())
            start = early + int(np.flatnonzero(before <= level + 0.05 * (height - level))[-1])
            slow = True
        else:
            # the trembling of a rig about to be hit is no part of the contact
            low = np.flatnonzero(y[first : quarter + 1] < START_SHARE * height)
            start = first + int(low[-1]) + 1 if low.size else first
        contacts.append(
            CellContact(start, max(stop - 1 - lag, peak - lag, start + 1), peak, sign, height, slow)
        )
    return contacts
