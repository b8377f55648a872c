"""The single pass over a recording that tells rest from activity: kernels behind ``onset``."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = [
    "ACTIVE",
    "AT",
    "CELL",
    "CLOSED_GAP",
    "CLOSED_LOADED",
    "CLOSED_OFF_ZERO",
    "CLOSED_QUIET",
    "HAS_HOME",
    "HOME",
    "LOCAL",
    "N_RING",
    "QUIET_SINCE",
    "RUNNING",
    "SIGMA",
    "SIGMA_RAW",
    "SLOPE",
    "START",
    "STOP",
    "WAS_LOADED",
    "ZERO",
    "average_cells",
    "new_state",
    "scan_cells",
    "settle",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

RUNNING, CLOSED_QUIET, CLOSED_OFF_ZERO, CLOSED_LOADED, CLOSED_GAP = range(5)
"""Why the scan stopped: out of cells; at rest on the zero; at rest elsewhere; still pushed; samples lost."""


# places of the running numbers in the two state arrays
ZERO, SLOPE, AT, SIGMA, SIGMA_RAW, SPREAD, HOME, LOCAL, LAST, SUM, SQUARES, WITHIN, TOP, LARGEST = range(14)
CELL, ACTIVE, START, STOP, QUIET_SINCE, N_RING, N_RECENT, REJECTED, COUNT, LOST, CALM, PUSHED = range(12)
LOADED, DEAD_FROM, HAS_HOME, WAS_LOADED = range(12, 16)


def new_state(n_hops: int) -> tuple[FloatArray, IntArray, FloatArray, FloatArray]:
    """State of a scan: floats, integers, ring of accepted hops, ring of all hops (time, mean, variances)."""
    return np.zeros(14), np.zeros(16, np.int64), np.zeros((4, n_hops)), np.zeros((4, n_hops))


@njit(cache=True)
def average_cells(samples: FloatArray, width: int, means: FloatArray, within: FloatArray) -> None:
    """
    Mean of every ``width`` samples, and their sum of squares about it.

    From four samples on, the highest and the lowest are left out of the mean, so that one sample
    struck by a discharge does not move it; on the straight line that a well sampled signal is, that
    changes nothing.
    """
    for cell in range(means.size):
        begin = cell * width
        if width == 1:
            means[cell] = samples[begin]
            within[cell] = 0.0
            continue
        if width == 2:
            half = 0.5 * (samples[begin] - samples[begin + 1])
            means[cell] = samples[begin + 1] + half
            within[cell] = 2 * half * half
            continue
        total = 0.0
        low = math.inf
        high = -math.inf
        for k in range(begin, begin + width):
            x = samples[k]
            total += x
            low = min(low, x)
            high = max(high, x)
        mean = (total - low - high) / (width - 2) if width >= 4 else total / width
        squares = 0.0
        for k in range(begin, begin + width):
            squares += (samples[k] - mean) ** 2
        means[cell] = mean
        within[cell] = squares


@njit(cache=True)
def _fit_level(f: FloatArray, i: IntArray, ring: FloatArray) -> None:
    """Straight line through the accepted hops, their spread about it and the typical noise."""
    size = ring.shape[1]
    n = min(i[N_RING], size)
    mean_t = 0.0
    mean_m = 0.0
    for k in range(n):
        mean_t += ring[0, k]
        mean_m += ring[1, k]
    mean_t /= n
    mean_m /= n
    tt = 0.0
    tm = 0.0
    mm = 0.0
    for k in range(n):
        t = ring[0, k] - mean_t
        m = ring[1, k] - mean_m
        tt += t * t
        tm += t * m
        mm += m * m
    # until there are enough hops, the drift from before the last event goes on
    slope = f[SLOPE]
    spread = math.sqrt(mm / (n - 1)) if n > 1 else 0.0
    if 2 * n >= size and tt > 0:
        slope = 0.0
        fitted = tm / tt
        residual = max(mm - fitted * tm, 0.0) / (n - 2)
        # a slope is believed, and carried through an event, only well above its own uncertainty
        if abs(fitted) > 3 * math.sqrt(residual / tt):
            slope = fitted
            spread = math.sqrt(residual)
    f[ZERO] = mean_m
    f[SLOPE] = slope
    f[AT] = mean_t
    if n >= 4:
        f[SPREAD] = spread
    if n >= 10 and i[N_RING] % 5 == 0:
        f[SIGMA] = math.sqrt(np.median(ring[2, :n]))
        f[SIGMA_RAW] = math.sqrt(np.median(ring[3, :n]))


@njit(cache=True)
def _push_hop(
    ring: FloatArray, count: int, at: float, mean: float, variance: float, variance_raw: float
) -> None:
    place = count % ring.shape[1]
    ring[0, place] = at
    ring[1, place] = mean
    ring[2, place] = variance
    ring[3, place] = variance_raw


@njit(cache=True)
def scan_cells(
    means: FloatArray,
    within: FloatArray,
    f: FloatArray,
    i: IntArray,
    ring: FloatArray,
    recent: FloatArray,
    width: int,
    hop: int,
    sigmas: float,
    floor: float,
    minimum_force: float,
    patience: int,
    calm_hops: int,
    gap_cells: int,
    settled: int,
) -> tuple[int, int]:
    """
    Carry the state over cells until they end or a stretch of activity closes.

    Returns the number of cells used and the reason for stopping. All decisions hang on absolute
    cell numbers, never on how the cells were handed over.
    """
    size = ring.shape[1]
    for k in range(means.size):
        x = means[k]
        cell = i[CELL]
        i[CELL] = cell + 1
        sigma = max(f[SIGMA], floor)
        high = max(sigmas * math.sqrt(sigma**2 + f[SPREAD] ** 2), minimum_force)
        if math.isnan(x):
            i[LOST] += 1
            if i[ACTIVE] and i[LOST] >= gap_cells:
                i[ACTIVE] = 0
                i[STOP] = cell + 1 - i[LOST]
                i[N_RECENT] = 0
                i[REJECTED] = 0
                return k + 1, 4
        else:
            i[LOST] = 0
            if i[COUNT] == 0:
                f[TOP] = x  # reference that keeps the sums small
                f[SUM] = 0.0
                f[SQUARES] = 0.0
                f[WITHIN] = 0.0
            i[COUNT] += 1
            f[SUM] += x - f[TOP]
            f[SQUARES] += (x - f[TOP]) ** 2
            f[WITHIN] += within[k]
            zero = f[ZERO] + f[SLOPE] * (cell - f[AT])
            if not i[ACTIVE]:
                reference = zero
                needed = high
                if i[HAS_HOME]:
                    needed = max(high, 1.2 * abs(zero - f[HOME]))
                if i[LOADED]:
                    reference = f[LOCAL]
                    needed = max(needed, 1.2 * abs(f[LOCAL] - zero))
                d = x - reference
                before = f[LAST]
                f[LAST] = d
                big = max(abs(d), abs(before))
                # two neighbours on the same side: a lone sample is a discharge, not a force
                if big > needed and min(abs(d), abs(before)) > 0.5 * needed and d * before > 0:
                    i[ACTIVE] = 1
                    i[START] = cell - 1
                    i[CALM] = 0
                    i[PUSHED] = 0
                    i[WAS_LOADED] = i[LOADED]
                    f[LARGEST] = 0.0
            else:
                f[LARGEST] = max(f[LARGEST], abs(x - zero))  # largest departure of this stretch
        if (cell + 1) % hop:
            continue
        n = i[COUNT]
        i[COUNT] = 0
        if 2 * n < hop:
            i[CALM] = 0
            i[REJECTED] += 1
            i[N_RECENT] = 0
            continue
        offset = f[SUM] / n
        mean = f[TOP] + offset
        squares = max(f[SQUARES] - n * offset * offset, 0.0)
        variance = squares / (n - 1)
        variance_raw = (f[WITHIN] + width * squares) / (n * width - 1)
        at = cell - 0.5 * (hop - 1)
        off = mean - (f[ZERO] + f[SLOPE] * (at - f[AT]))
        gate = max(1.5 * sigma, 5 * f[SPREAD]) + 0.5 * abs(f[SLOPE]) * max(at - f[AT] - size * hop, 0.0)
        if i[ACTIVE]:
            _push_hop(recent, i[N_RECENT], at, mean, variance, variance_raw)
            i[N_RECENT] += 1
            if variance > (1.6 * sigma) ** 2:
                i[CALM] = 0
            else:
                drift = mean - recent[1, (i[N_RECENT] - 2) % size]
                i[CALM] = i[CALM] + 1 if i[CALM] and abs(drift) < gate else 1
                if i[CALM] == 1:
                    i[DEAD_FROM] = cell + 1 - hop
            near = abs(off) <= max(gate, 0.5 * high, 0.005 * f[LARGEST])
            i[PUSHED] = i[PUSHED] + 1 if abs(off) > high and variance < off * off else 0
            reason = 0
            if near and i[CALM] >= 2:
                reason = 1
            elif not near and i[CALM] >= calm_hops:
                reason = 2
            elif i[PUSHED] >= patience:
                reason = 3
            if reason:
                i[ACTIVE] = 0
                i[STOP] = i[DEAD_FROM] if reason != 3 else cell + 1
                i[REJECTED] = 0
                f[LAST] = 0.0
                f[LOCAL] = mean
                i[LOADED] = reason != 1
                return k + 1, reason
            continue
        if abs(off) <= gate and variance <= (2 * sigma) ** 2:
            if i[REJECTED] >= 3:
                i[QUIET_SINCE] = cell + 1 - hop
            i[REJECTED] = 0
            i[N_RECENT] = 0
            i[LOADED] = 0
            _push_hop(ring, i[N_RING], at, mean, variance, variance_raw)
            i[N_RING] += 1
            _fit_level(f, i, ring)
            if i[HAS_HOME] and i[N_RING] >= settled:
                i[HAS_HOME] = 0
            continue
        if i[HAS_HOME] and abs(mean - f[HOME]) <= gate and variance <= (2 * sigma) ** 2:
            # a load that had been taken for zero has left the pad
            f[ZERO] = mean
            f[SLOPE] = 0.0
            i[N_RING] = 0
            i[N_RECENT] = 0
            i[REJECTED] = 0
            i[HAS_HOME] = 0
            i[LOADED] = 0
            i[QUIET_SINCE] = cell + 1 - hop
            continue
        i[REJECTED] += 1
        f[LOCAL] = mean
        i[LOADED] = abs(off) > gate
        if abs(off) > gate:
            f[LAST] = 0.0
        _push_hop(recent, i[N_RECENT], at, mean, variance, variance_raw)
        i[N_RECENT] += 1
        if i[N_RECENT] < size:
            continue
        # a whole ring of hops that agree with each other, though not with the zero: a new zero
        typical = math.sqrt(np.median(recent[2]))
        if recent[1].max() - recent[1].min() <= 4 * max(typical, floor):
            if not i[HAS_HOME]:
                f[HOME] = f[ZERO]
                i[HAS_HOME] = 1
            ring[:] = recent
            i[N_RING] = size
            f[SIGMA] = typical
            f[SIGMA_RAW] = math.sqrt(np.median(recent[3]))
            i[LOADED] = 0
            i[REJECTED] = 0
            i[QUIET_SINCE] = cell + 1 - size * hop
            i[N_RECENT] = 0
            f[SLOPE] = 0.0
            _fit_level(f, i, ring)
    return means.size, 0


@njit(cache=True)
def settle(f: FloatArray, i: IntArray, ring: FloatArray, recent: FloatArray, rested: bool) -> None:
    """
    Begin anew after a stretch; until this call the state still tells the zero from before it.

    The zero may have moved during the stretch: where it ended at rest, it starts from the hops found at
    rest, with the drift known from before.
    """
    if rested:
        i[N_RING] = 0
        for back in range(i[CALM] - 1, -1, -1):
            place = (i[N_RECENT] - 1 - back) % recent.shape[1]
            _push_hop(ring, i[N_RING], recent[0, place], recent[1, place], recent[2, place], recent[3, place])
            i[N_RING] += 1
        _fit_level(f, i, ring)
        i[QUIET_SINCE] = i[DEAD_FROM]
    i[N_RECENT] = 0
