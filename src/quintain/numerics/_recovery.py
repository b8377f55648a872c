"""
Recovery of a pad that nothing touches.

The face of a pad has no mass, so after take-off it moves at the speed that keeps its force zero. That
motion does not depend on where the striker is, so it is worked out once per take-off, as a table.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from quintain.numerics._pad_kernel import elastic_kernel, loss_factor

TIME, SURFACE, SPEED, BRANCH = range(4)
"""Columns of the table: time since take-off, compression, its rate, stretch of the slow branch."""
_RECOVERED = 1e-6
"""Compression at which the table ends. [m]"""
_CLOSE = 1e-8
"""Error allowed in one step of the table. [m]"""


@njit(cache=True)
def _zero_force_step(x: float, y: float, dt: float, pad: Any) -> tuple[float, float, float]:
    """Backward Euler: the speed at which the force at the end of the step is zero, by safe Newton."""
    fade = 1.0 / (1.0 + dt * pad[8])
    low, high = -x / dt, 0.0
    u = 0.0
    for _ in range(80):
        force, slope = elastic_kernel(x + u * dt, pad)
        factor = 1.0 + loss_factor(u, pad)
        cosh = math.cosh(min(abs(u) * pad[6], 300.0))
        rest = force * factor + pad[9] * u + pad[7] * (y + u * dt) * fade
        if rest > 0.0:
            high = u
        else:
            low = u
        grade = slope * dt * factor + pad[9] + pad[7] * dt * fade
        grade += force * (pad[4] + pad[5] * pad[6] / (cosh * cosh))
        trial = u - rest / grade if grade > 0.0 else low
        if not low < trial < high:
            trial = 0.5 * (low + high)
        moved = abs(trial - u)
        u = trial
        if moved * dt < 1e-16:
            break
    return max(x + u * dt, 0.0), u, (y + u * dt) * fade


@njit(cache=True)
def _extrapolated(end: Any) -> tuple[float, float]:
    """Limit of 1, 2, 3 parts a step by Aitken and Neville, and its difference to second order."""
    second = 3.0 * end[2] - 2.0 * end[1]
    third = second + 0.5 * (second - (2.0 * end[1] - end[0]))
    return third, abs(third - second) + 1e-16


@njit(cache=True)
def recover(x: float, speed: float, y: float, pad: Any, table: Any) -> int:
    """
    Fill the table from take-off until the pad has recovered; returns its length.

    The force is zero at take-off, so the striker's speed over the pad there is also the pad's own.

    Speed-dependent loss alone lets go of the striker at one fixed speed, kept to the end. With a slow
    branch or a dashpot the equation is stiff: backward Euler with 1, 2 and 3 parts a step, extrapolated
    to third order, the step chosen by the difference to second order.
    """
    speed = min(speed, -1e-12)
    table[0, TIME], table[0, SURFACE], table[0, SPEED], table[0, BRANCH] = 0.0, x, speed, y
    if x <= _RECOVERED:
        return 1
    if pad[7] == 0.0 and pad[9] == 0.0:
        table[1, TIME], table[1, SURFACE], table[1, SPEED] = -x / speed, 0.0, speed
        table[1, BRANCH] = 0.0
        return 2
    n = 1
    t = 0.0
    dt = 1e-6
    ends = np.empty((3, 3))
    while x > _RECOVERED and n < table.shape[0]:
        for parts in range(1, 4):
            xp, yp, up = x, y, 0.0
            for _ in range(parts):
                xp, up, yp = _zero_force_step(xp, yp, dt / parts, pad)
            ends[0, parts - 1], ends[1, parts - 1], ends[2, parts - 1] = xp, up, yp
        x3, error = _extrapolated(ends[0])
        if error > _CLOSE and dt > 1e-9:
            dt *= max(0.2, 0.9 * (_CLOSE / error) ** (1.0 / 3.0))
            continue
        u, _ = _extrapolated(ends[1])
        y, _ = _extrapolated(ends[2])
        x = min(max(x3, 0.0), x)
        t += dt
        table[n, TIME], table[n, SURFACE], table[n, SPEED], table[n, BRANCH] = t, x, min(u, 0.0), y
        n += 1
        dt *= min(3.0, 0.9 * (_CLOSE / error) ** (1.0 / 3.0))
    return n


@njit(cache=True)
def _cubic(u: float, start: float, end: float, slope_start: float, slope_end: float) -> float:
    """Hermite's cubic on the unit interval."""
    bend = 3.0 * (end - start) - 2.0 * slope_start - slope_end
    return start + u * (slope_start + u * (bend + u * (2.0 * (start - end) + slope_start + slope_end)))


@njit(cache=True)
def surface_at(t: float, table: Any, n: int, pad: Any) -> tuple[float, float]:
    """Compression and branch of a free pad some time after take-off, by cubics between table rows."""
    last = n - 1
    if t >= table[last, TIME]:
        # The last micrometre fades at the rate it had; a cut would meet a striker that is still near.
        if table[last, SURFACE] == 0.0:
            return 0.0, 0.0
        rate = table[last, SPEED] / table[last, SURFACE]
        fade = math.exp(max(rate * (t - table[last, TIME]), -700.0))
        return table[last, SURFACE] * fade, table[last, BRANCH] * fade
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) // 2
        if table[middle, TIME] <= t:
            low = middle
        else:
            high = middle
    dt = table[high, TIME] - table[low, TIME]
    u = (t - table[low, TIME]) / dt
    x0, x1 = table[low, SURFACE], table[high, SURFACE]
    y0, y1 = table[low, BRANCH], table[high, BRANCH]
    v0, v1 = table[low, SPEED], table[high, SPEED]
    x = _cubic(u, x0, x1, v0 * dt, v1 * dt)
    return max(x, 0.0), _cubic(u, y0, y1, (v0 - y0 * pad[8]) * dt, (v1 - y1 * pad[8]) * dt)
