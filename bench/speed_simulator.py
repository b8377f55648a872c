"""
Simulator against SciPy's general integrator on the same strike, at equal error.

A push of 300 N, 2 kg at 8 m/s, foam with friction and rate loss, plate, ringing cell, soft stand: 8
entries of state, the same equations on both sides, take-off as an event. Ours carries energies and
impulses besides. Both are run over a range of tolerances; the error is the greatest error of the contact
force over its peak, against a run at a far tighter tolerance. For each of our runs, SciPy's time at the
same error is read off the line through its own runs in log-log, so that neither side is held to the
other's tolerance setting. Results at 2 kHz, as a rig samples; at 100 kHz, writing them takes most of the
time on our side, and is shown without a goal.
"""

from __future__ import annotations

import math
import time

import numpy as np
from scipy.integrate import solve_ivp

from bench.row import Row
from quintain.numerics.bodies import Cell, Motion, Plate, Push, Stand, Striker, Target, simulate_strike
from quintain.numerics.pad_law import PadLaw

DURATION = 0.060
STRIKER = Striker(2.0, 8.0, push=Push(300.0, 0.0, 0.040, 0.010))
PAD = PadLaw(8e5, 1.5, 0.045, rate_loss=0.02, friction_loss=0.4)
TARGET = Target(PAD, Plate(0.6, 8e5, 0.05, 0.02), Cell(3.0, 250.0, 0.02), Stand(60.0, 45.0))


def _ours(tolerance: float, rate: float) -> Motion:
    return simulate_strike(STRIKER, TARGET, duration=DURATION, rate=rate, tolerance=tolerance)


def _scipy(method: str, tolerance: float, rate: float) -> np.ndarray:
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
    grid = np.arange(round(DURATION * rate) + 1) / rate
    start = np.zeros(8)
    start[1] = STRIKER.speed
    settings = {"method": method, "rtol": tolerance, "atol": tolerance * 1e-3}
    first = solve_ivp(slopes, (0, DURATION), start, events=leaves, args=(True,), t_eval=grid, **settings)
    end = first.t_events[0][0]
    rest = grid[grid > end]
    solve_ivp(slopes, (end, DURATION), first.y_events[0][0], args=(False,), t_eval=rest, **settings)
    x, v = first.y[0] - first.y[2], first.y[1] - first.y[3]
    force = np.zeros(grid.size)
    force[: x.size] = np.sign(x) * k * np.abs(x) ** n * (1 + (np.abs(x) / xd) ** q)
    force[: x.size] *= 1 + b * v + h * np.tanh(v / vh)
    return force


def _best(call: object, repeats: int) -> float:
    best = math.inf
    for _ in range(repeats):
        begin = time.process_time()
        call()  # type: ignore[operator]
        best = min(best, time.process_time() - begin)
    return best


def _rows(method: str, rate: float, goal: float | None) -> list[Row]:
    truth = _ours(1e-12, rate).contact_force
    peak = truth.max()
    errors, times = [], []
    for tolerance in 10.0 ** -np.arange(4, 11):
        error = np.abs(_scipy(method, tolerance, rate) - truth).max() / peak
        errors.append(math.log(error))
        times.append(math.log(_best(lambda tol=tolerance: _scipy(method, tol, rate), 3)))
    slope, at_one = np.polyfit(errors, times, 1)
    rows = []
    for tolerance in (1e-6, 1e-8):
        error = np.abs(_ours(tolerance, rate).contact_force - truth).max() / peak
        ours = _best(lambda tol=tolerance: _ours(tol, rate), 100)
        theirs = math.exp(at_one + slope * math.log(error))
        against = f"{1000 * ours:.2f} against {1000 * theirs:.0f} ms"
        what = f"times faster than {method}, {rate / 1000:.0f} kHz, error {error:.0e} ({against})"
        rows.append(Row(what, theirs / ours, "x", at_least=goal))
    return rows


def run() -> list[Row]:
    """Time and error of both over tolerances."""
    truth = _ours(1e-12, 10e3).contact_force
    apart = np.abs(_scipy("DOP853", 1e-12, 10e3) - truth).max() / truth.max()
    rows = [Row("force differs from solve_ivp's, both at 1e-12, over peak", apart, "", 1e-8)]
    for method in ("RK45", "DOP853"):
        rows += _rows(method, 2e3, 100.0)
    return rows + _rows("DOP853", 100e3, None)
