"""
Simulator against SciPy's general integrator on the same strike, at equal error.

A push of 300 N, 2 kg at 8 m/s, foam with friction and rate loss, plate, ringing cell, soft stand: 10
entries of state, the same equations on both sides, take-off as an event. Both are run over a range of
tolerances; the error is the greatest error of the contact force at 10 kHz over its peak, against a run
at a far tighter tolerance. For each of our runs, SciPy's time at the same error is read off the line
through its own runs in log-log, so that neither side is held to the other's tolerance setting.
"""

from __future__ import annotations

import math
import time

import numpy as np
from scipy.integrate import solve_ivp

from bench.row import Row
from quintain.numerics.bodies import Cell, Motion, Plate, Push, Stand, Striker, Target, simulate_strike
from quintain.numerics.pad_law import PadLaw

DURATION, RATE = 0.060, 10e3
STRIKER = Striker(2.0, 8.0, push=Push(300.0, 0.0, 0.040, 0.010))
PAD = PadLaw(8e5, 1.5, 0.045, rate_loss=0.02, friction_loss=0.4)
TARGET = Target(PAD, Plate(0.6, 8e5, 0.05, 0.02), Cell(3.0, 250.0, 0.02), Stand(60.0, 45.0))


def _ours(tolerance: float) -> Motion:
    return simulate_strike(STRIKER, TARGET, duration=DURATION, rate=RATE, tolerance=tolerance)


def _scipy(method: str, tolerance: float) -> np.ndarray:
    """Contact force by solve_ivp, in plain Python floats, which it takes faster than small arrays."""
    push, plate, cell, stand = STRIKER.push, TARGET.plate, TARGET.cell, TARGET.stand
    assert push is not None
    assert plate is not None
    assert cell is not None
    assert stand is not None
    k, n, xd, q = PAD.stiffness, PAD.exponent, PAD.bottoming, PAD.bottoming_exponent
    b, h, vh = PAD.rate_loss, PAD.friction_loss, PAD.friction_speed
    c_plate = 2 * plate.damping_ratio * math.sqrt(plate.stiffness * plate.mass)
    k_cell = cell.stiffness
    c_cell = 2 * cell.damping_ratio * math.sqrt(k_cell * cell.moving_mass)
    w_stand = 2 * math.pi * stand.natural_frequency
    k_stand, c_stand = stand.mass * w_stand**2, 2 * stand.damping_ratio * stand.mass * w_stand

    def contact(x: float, v: float) -> float:
        size = abs(x)
        force = k * size**n * (1 + (size / xd) ** q) * (1 + b * v + h * math.tanh(v / vh))
        return force if x > 0 else -force

    def muscle(t: float) -> float:
        edge = min(t - push.start, push.start + push.duration - t)
        if edge <= 0:
            return 0.0
        return push.force * (0.5 - 0.5 * math.cos(math.pi * min(edge / push.rise, 1.0)))

    def slopes(t: float, s: np.ndarray, touching: bool) -> list[float]:
        xs, vs, xp, vp, xt, vt, xb, vb = s.tolist()
        force = contact(xs - xp, vs - vp) if touching else 0.0
        y = xp - xt
        on_cell = plate.stiffness * y * (1 + (abs(y) / plate.bottoming) ** 2) + c_plate * (vp - vt)
        through = k_cell * (xt - xb) + c_cell * (vt - vb)
        a_stand = (through - k_stand * xb - c_stand * vb) / stand.mass
        return [
            *(vs, (muscle(t) - force) / STRIKER.mass, vp, (force - on_cell) / plate.mass),
            *(vt, (on_cell - through) / cell.moving_mass, vb, a_stand),
        ]

    def leaves(t: float, s: np.ndarray, touching: bool) -> float:
        # The first instant is itself a zero of the force; it is not the take-off.
        return contact(s[0] - s[2], s[1] - s[3]) if t > 1e-4 else 1.0

    leaves.terminal, leaves.direction = True, -1
    grid = np.arange(round(DURATION * RATE) + 1) / RATE
    start = np.zeros(8)
    start[1] = STRIKER.speed
    settings = {"method": method, "rtol": tolerance, "atol": tolerance * 1e-3}
    first = solve_ivp(slopes, (0, DURATION), start, events=leaves, args=(True,), t_eval=grid, **settings)
    end = first.t_events[0][0]
    rest = grid[grid > end]
    solve_ivp(slopes, (end, DURATION), first.y_events[0][0], args=(False,), t_eval=rest, **settings)
    s = first.y
    force = np.zeros(grid.size)
    force[: s.shape[1]] = [contact(*pair) for pair in zip(s[0] - s[2], s[1] - s[3], strict=True)]
    return force


def _best(call: object, repeats: int) -> float:
    best = math.inf
    for _ in range(repeats):
        begin = time.process_time()
        call()  # type: ignore[operator]
        best = min(best, time.process_time() - begin)
    return best


def run() -> list[Row]:
    """Time and error of both over tolerances."""
    truth = _ours(1e-12).contact_force
    peak = truth.max()
    other = _scipy("DOP853", 1e-12)
    rows = [
        Row(
            "force differs from solve_ivp's, both at 1e-12, over peak",
            np.abs(other - truth).max() / peak,
            "",
            1e-8,
        )
    ]
    for method in ("RK45", "DOP853"):
        errors, times = [], []
        for tolerance in 10.0 ** -np.arange(4, 11):
            error = np.abs(_scipy(method, tolerance) - truth).max() / peak
            errors.append(math.log(error))
            times.append(math.log(_best(lambda m=method, tol=tolerance: _scipy(m, tol), 3)))
        slope, at_one = np.polyfit(errors, times, 1)
        for tolerance in (1e-6, 1e-8):
            error = np.abs(_ours(tolerance).contact_force - truth).max() / peak
            ours = _best(lambda tol=tolerance: _ours(tol), 20)
            theirs = math.exp(at_one + slope * math.log(error))
            against = f"{1000 * ours:.2f} against {1000 * theirs:.0f} ms"
            what = f"times faster than {method} at error {error:.1e} ({against})"
            rows.append(Row(what, theirs / ours, "x", at_least=100))
    return rows
