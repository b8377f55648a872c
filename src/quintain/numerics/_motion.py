"""
Time stepping of the simulator: bodies on springs, one contact that makes and breaks.

Runge-Kutta of order 5(4) with its own interpolant (J. R. Dormand and P. J. Prince, J. Comput. Appl.
Math. 6 (1980) 19; interpolant as in L. F. Shampine, Math. Comp. 46 (1986) 135). The step follows the
error estimate. A make or break of the contact inside a step is located on the interpolant, the step is
taken again to end there, and the next one starts short, so no step ever crosses a kink and the power
law's weak singularity at first touch costs no accuracy. What is lost, and every impulse, is integrated
beside the motion, so that the balances test the integration and not the bookkeeping.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from quintain.numerics._pad_kernel import elastic_kernel, energy_kernel, loss_factor, power
from quintain.numerics._recovery import recover, surface_at

# fmt: off
_C = np.array([0.0, 1/5, 3/10, 4/5, 8/9, 1.0])
_A = np.array([
    [0.0, 0.0, 0.0, 0.0, 0.0],
    [1/5, 0.0, 0.0, 0.0, 0.0],
    [3/40, 9/40, 0.0, 0.0, 0.0],
    [44/45, -56/15, 32/9, 0.0, 0.0],
    [19372/6561, -25360/2187, 64448/6561, -212/729, 0.0],
    [9017/3168, -355/33, 46732/5247, 49/176, -5103/18656],
])
_B = np.array([35/384, 0.0, 500/1113, 125/192, -2187/6784, 11/84])
_E = np.array([-71/57600, 0.0, 71/16695, -71/1920, 17253/339200, -22/525, 1/40])
_P = np.array([
    [1.0, -8048581381/2820520608, 8663915743/2820520608, -12715105075/11282082432],
    [0.0, 0.0, 0.0, 0.0],
    [0.0, 131558114200/32700410799, -68118460800/10900136933, 87487479700/32700410799],
    [0.0, -1754552775/470086768, 14199869525/1410260304, -10690763975/1880347072],
    [0.0, 127303824393/49829197408, -318862633887/49829197408, 701980252875/199316789632],
    [0.0, -282668133/205662961, 2019193451/616988883, -1453857185/822651844],
    [0.0, 40617522/29380423, -110615467/29380423, 69997945/29380423],
])
# fmt: on

# The state. Positions count towards the ground; bodies rest at zero.
XS, VS, XQ, VQ, XP, VP, XT, VT, XB, VB, BRANCH = range(11)
"""Striker, mass behind it, plate, cell, stand (position and speed each), stretch of the slow branch."""
N_MOVING = 11
J_CONTACT, J_CELL, J_OUTPUT, J_PUSH, J_FRICTION = range(11, 16)
"""Impulses of the contact, on the cell, of the cell's spring, of the push and of rail friction."""
W_PUSH, L_PAD, L_JOINT, L_PLATE, L_CELL, L_STAND, L_FRICTION = range(16, 23)
"""Work of the push; energy lost in pad, joint, plate's pad, cell, stand and rail."""
N_STATE = 23

# The bodies, in the order in which `quintain.numerics.bodies` packs them.
M_STRIKER, M_BEHIND, K_JOINT, C_JOINT, M_PLATE, K_PLATE, C_PLATE, BOTTOM_PLATE, POWER_PLATE = range(9)
M_CELL, K_CELL, C_CELL, M_STAND, K_STAND, C_STAND, GRAVITY, FRICTION = range(9, 17)
PUSH_FORCE, PUSH_START, PUSH_RISE, PUSH_DURATION = range(17, 21)
N_BODY = 21

# What is recorded beside the state.
F_CONTACT, F_CELL, F_OUTPUT, F_PUSH, ACCELERATION, COMPRESSION, TOUCHING, STORED, KINETIC = range(9)
N_RECORD = 9

_FRICTION_SPEED = 0.005
"""Speed over which rail friction changes sign. [m/s]"""
_FIRST_STEP = 1e-6
"""Step after every make or break of the contact. [s]"""
_SHORTEST = 1e-13
_LET_GO = 1e-12
"""Overlap at which a new contact begins: just after take-off striker and pad move apart so slowly that
rounding alone would join them again. [m]"""


@njit(cache=True)
def _copy(source: Any, target: Any) -> None:
    """Copy a row; a slice assignment would take the compiler several seconds."""
    for i in range(source.size):
        target[i] = source[i]


@njit(cache=True)
def push_force(t: float, b: Any) -> float:
    """Push with raised-cosine edges."""
    u = t - b[PUSH_START]
    if b[PUSH_FORCE] == 0.0 or u <= 0.0 or u >= b[PUSH_DURATION]:
        return 0.0
    edge = min(u, b[PUSH_DURATION] - u)
    if edge >= b[PUSH_RISE]:
        return float(b[PUSH_FORCE])
    return float(b[PUSH_FORCE] * 0.5 * (1.0 - math.cos(math.pi * edge / b[PUSH_RISE])))


@njit(cache=True)
def _gap(s: Any, b: Any) -> tuple[float, float]:
    """How far the striker is past the rested face of the pad, and how fast that grows."""
    if b[M_PLATE] > 0.0:
        return s[XS] - s[XP], s[VS] - s[VP]
    return s[XS] - s[XT], s[VS] - s[VT]


@njit(cache=True)
def _contact_force(s: Any, b: Any, pad: Any) -> float:
    """Force of the pad on the striker while in contact; negative past take-off, to find it by its sign."""
    x, v = _gap(s, b)
    elastic, _ = elastic_kernel(x, pad)
    return float(elastic * (1.0 + loss_factor(v, pad)) + pad[7] * s[BRANCH] + pad[9] * v)


@njit(cache=True)
def _slopes(t: float, s: Any, touching: bool, b: Any, pad: Any, d: Any) -> None:
    """Rates of change of the whole state; ``d`` was zero at first, and stays so for what is not there."""
    contact = 0.0
    d[BRANCH] = 0.0
    d[L_PAD] = 0.0
    if touching:
        x, v = _gap(s, b)
        elastic, _ = elastic_kernel(x, pad)
        loss = loss_factor(v, pad)
        contact = elastic * (1.0 + loss) + pad[7] * s[BRANCH] + pad[9] * v
        d[BRANCH] = v - s[BRANCH] * pad[8]
        d[L_PAD] = elastic * loss * v + pad[9] * v * v + pad[7] * s[BRANCH] * s[BRANCH] * pad[8]
    d[J_CONTACT] = contact
    push = push_force(t, b)
    d[J_PUSH] = push
    rail = 0.0
    if b[FRICTION] > 0.0:
        rail = b[FRICTION] * math.tanh(s[VS] / _FRICTION_SPEED)
        d[J_FRICTION] = rail
        d[L_FRICTION] = rail * s[VS]
    d[XS] = s[VS]
    force = -contact - rail
    if b[M_BEHIND] > 0.0:
        stretch = s[VQ] - s[VS]
        joint = b[K_JOINT] * (s[XQ] - s[XS]) + b[C_JOINT] * stretch
        d[XQ] = s[VQ]
        d[VQ] = (push - joint) / b[M_BEHIND] + b[GRAVITY]
        d[W_PUSH] = push * s[VQ]
        d[L_JOINT] = b[C_JOINT] * stretch * stretch
        force += joint
    else:
        d[W_PUSH] = push * s[VS]
        force += push
    d[VS] = force / b[M_STRIKER] + b[GRAVITY]
    on_cell = contact
    if b[M_PLATE] > 0.0:
        x = s[XP] - s[XT]
        v = s[VP] - s[VT]
        spring = b[K_PLATE] * x * (1.0 + power(abs(x) * b[BOTTOM_PLATE], b[POWER_PLATE]))
        on_cell = spring + b[C_PLATE] * v
        d[XP] = s[VP]
        d[VP] = (contact - on_cell) / b[M_PLATE]
        d[L_PLATE] = b[C_PLATE] * v * v
    d[J_CELL] = on_cell
    if b[M_CELL] > 0.0:
        x = s[XT] - s[XB]
        v = s[VT] - s[VB]
        spring = b[K_CELL] * x
        through = spring + b[C_CELL] * v
        d[XT] = s[VT]
        d[VT] = (on_cell - through) / b[M_CELL]
        d[J_OUTPUT] = spring
        d[L_CELL] = b[C_CELL] * v * v
        if b[M_STAND] > 0.0:
            d[XB] = s[VB]
            d[VB] = (through - b[K_STAND] * s[XB] - b[C_STAND] * s[VB]) / b[M_STAND]
            d[L_STAND] = b[C_STAND] * s[VB] * s[VB]
    else:
        d[J_OUTPUT] = on_cell


@njit(cache=True)
def _record(t: float, s: Any, touching: bool, surface: float, b: Any, pad: Any, d: Any, row: Any) -> None:
    """Forces and energies at one instant."""
    _slopes(t, s, touching, b, pad, d)
    row[F_CONTACT] = d[J_CONTACT]
    row[F_CELL] = d[J_CELL]
    row[F_OUTPUT] = d[J_OUTPUT]
    row[F_PUSH] = d[J_PUSH]
    row[ACCELERATION] = d[VS]
    row[COMPRESSION] = _gap(s, b)[0] if touching else surface
    row[TOUCHING] = 1.0 if touching else 0.0
    stored = energy_kernel(row[COMPRESSION], pad) + 0.5 * pad[7] * s[BRANCH] ** 2
    kinetic = 0.5 * b[M_STRIKER] * s[VS] ** 2
    if b[M_BEHIND] > 0.0:
        stored += 0.5 * b[K_JOINT] * (s[XQ] - s[XS]) ** 2
        kinetic += 0.5 * b[M_BEHIND] * s[VQ] ** 2
    if b[M_PLATE] > 0.0:
        x = abs(s[XP] - s[XT])
        stiffening = power(x * b[BOTTOM_PLATE], b[POWER_PLATE])
        stored += b[K_PLATE] * x * x * (0.5 + stiffening / (b[POWER_PLATE] + 2.0))
        kinetic += 0.5 * b[M_PLATE] * s[VP] ** 2
    if b[M_CELL] > 0.0:
        stored += 0.5 * b[K_CELL] * (s[XT] - s[XB]) ** 2
        kinetic += 0.5 * b[M_CELL] * s[VT] ** 2
    if b[M_STAND] > 0.0:
        stored += 0.5 * b[K_STAND] * s[XB] ** 2
        kinetic += 0.5 * b[M_STAND] * s[VB] ** 2
    row[STORED] = stored
    row[KINETIC] = kinetic


@njit(cache=True)
def _try_step(
    t: float, s: Any, h: float, touching: bool, b: Any, pad: Any, k: Any, end: Any, size: Any
) -> float:
    """One step from slopes k[0]; fills k and the end state, returns error over tolerance."""
    # Losses and impulses drive nothing, so the stages do without them. Loops run along rows, which the
    # compiler turns into vector instructions.
    for stage in range(1, 6):
        for i in range(N_MOVING):
            end[i] = s[i]
        for j in range(stage):
            weight = h * _A[stage, j]
            for i in range(N_MOVING):
                end[i] += weight * k[j, i]
        _slopes(t + _C[stage] * h, end, touching, b, pad, k[stage])
    _copy(s, end)
    for j in range(6):
        weight = h * _B[j]
        for i in range(N_STATE):
            end[i] += weight * k[j, i]
    _slopes(t + h, end, touching, b, pad, k[6])
    worst = 0.0
    for i in range(N_MOVING):
        total = _E[0] * k[0, i] + _E[2] * k[2, i] + _E[3] * k[3, i]
        total += _E[4] * k[4, i] + _E[5] * k[5, i] + _E[6] * k[6, i]
        worst = max(worst, abs(h * total) / size[i])
    return worst


@njit(cache=True)
def _inside(s: Any, h: float, k: Any, part: float, count: int, out: Any) -> None:
    """The first ``count`` entries of the state at a part of the step."""
    for i in range(count):
        out[i] = s[i]
    for j in range(7):
        weight = h * part * (_P[j, 0] + part * (_P[j, 1] + part * (_P[j, 2] + part * _P[j, 3])))
        for i in range(count):
            out[i] += weight * k[j, i]


@njit(cache=True)
def _past_change(
    s: Any,
    h: float,
    k: Any,
    part: float,
    touching: bool,
    since: float,
    free: Any,
    n_free: int,
    b: Any,
    pad: Any,
    x: Any,
) -> bool:
    """Whether, at a part of the step, the contact has broken (while touching) or been made (in flight)."""
    _inside(s, h, k, part, N_MOVING, x)
    if touching:
        return bool(_contact_force(x, b, pad) < 0.0)
    surface, _ = surface_at(since + part * h, free, n_free, pad)
    return bool(_gap(x, b)[0] > surface + _LET_GO)


@njit(cache=True)
def _change(
    s: Any,
    end: Any,
    h: float,
    k: Any,
    touching: bool,
    since: float,
    free: Any,
    n_free: int,
    b: Any,
    pad: Any,
    x: Any,
) -> float:
    """
    Part of the step at which the contact changes, or 2 if it does not.

    Looked for at each quarter of the step, unless force or distance are so large at both ends that they
    cannot have come to zero and back between.
    """
    if touching:
        before, after = k[0, J_CONTACT], k[6, J_CONTACT]
        if min(before, after) > 0.5 * max(before, after):
            return 2.0
    else:
        before, speed_before = _gap(s, b)
        after, speed_after = _gap(end, b)
        if max(before, after) < -h * (abs(speed_before) + abs(speed_after)):
            return 2.0
    low = 0.0
    for quarter in range(1, 5):
        high = 0.25 * quarter
        if _past_change(s, h, k, high, touching, since, free, n_free, b, pad, x):
            for _ in range(50):
                middle = 0.5 * (low + high)
                if _past_change(s, h, k, middle, touching, since, free, n_free, b, pad, x):
                    high = middle
                else:
                    low = middle
            return high
        low = high
    return 2.0


@njit(cache=True)
def _free_pad(s: Any, since: float, left: Any, free: Any, n_free: int, pad: Any) -> float:
    """
    Put the recovering pad into the state; returns its compression.

    No force acts on it, so what it held at take-off (``left``: energy stored, energy lost) and holds no
    longer is lost.
    """
    surface, s[BRANCH] = surface_at(since, free, n_free, pad)
    s[L_PAD] = left[1] + left[0] - energy_kernel(surface, pad) - 0.5 * pad[7] * s[BRANCH] ** 2
    return float(surface)


@njit(cache=True)
def integrate(
    start: Any, b: Any, pad: Any, n_out: int, dt_out: float, size: Any, longest: float, fixed: bool
) -> tuple[Any, Any, Any, int, int]:
    """
    Follow the motion.

    ``size`` is the error allowed in a step for each moving entry of the state. Returns states and
    records at the output times (one column each), instants at which the contact changed (a make first)
    and their number, and the number of steps: -1 if steps became too short, -2 if the contact changed
    too often.
    """
    states = np.empty((N_STATE, n_out))
    records = np.empty((N_RECORD, n_out))
    changes = np.zeros(1000)
    n_changes = 0
    free = np.empty((1000, 4))
    n_free = recover(0.0, 0.0, 0.0, pad, free)
    left = np.zeros(2)
    t, t_left = 0.0, 0.0
    s = start.copy()
    end = np.empty(N_STATE)
    now = np.empty(N_STATE)
    d = np.zeros(N_STATE)
    k = np.zeros((7, N_STATE))
    first = longest if fixed else _FIRST_STEP
    h = first
    touching = _gap(s, b)[0] >= 0.0
    if touching:
        n_changes = 1
    _slopes(t, s, touching, b, pad, k[0])
    i_out = 0
    n_steps = 0
    while i_out < n_out:
        h = min(h, longest)
        error = _try_step(t, s, h, touching, b, pad, k, end, size)
        n_steps += 1
        if not fixed and not error <= 1.0:
            h *= max(0.2, 0.85 * error**-0.2) if error < 1e300 else 0.2
            if h < _SHORTEST:
                return states, records, changes, n_changes, -1
            continue
        part = _change(s, end, h, k, touching, t - t_left, free, n_free, b, pad, now)
        changed = part <= 1.0
        step = h
        if changed:
            step = part * h
            _try_step(t, s, step, touching, b, pad, k, end, size)
        while i_out < n_out and i_out * dt_out <= t + step:
            time = i_out * dt_out
            _inside(s, step, k, (time - t) / step, N_STATE, now)
            surface = 0.0 if touching else _free_pad(now, time - t_left, left, free, n_free, pad)
            _record(time, now, touching, surface, b, pad, d, records[:, i_out])
            for i in range(N_STATE):
                states[i, i_out] = now[i]
            i_out += 1
        t += step
        _copy(end, s)
        if not touching:
            _free_pad(s, t - t_left, left, free, n_free, pad)
        if changed:
            if n_changes == changes.size:
                return states, records, changes, n_changes, -2
            changes[n_changes] = t
            n_changes += 1
            if touching:
                x, v = _gap(s, b)
                x = max(x, 0.0)
                t_left = t
                left[0] = energy_kernel(x, pad) + 0.5 * pad[7] * s[BRANCH] ** 2
                left[1] = s[L_PAD]
                n_free = recover(x, v, s[BRANCH], pad, free)
            touching = not touching
            _slopes(t, s, touching, b, pad, k[0])
            h = first
        else:
            _copy(k[6], k[0])
            if not fixed:
                h *= min(10.0, 0.85 * (error + 1e-10) ** -0.2)
    return states, records, changes, n_changes, n_steps
