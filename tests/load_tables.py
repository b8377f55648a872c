"""Invented load tables with micro-errors put in by hand, for tests of calibration commands."""

from __future__ import annotations

import numpy as np

__all__ = ["write_three_positions"]

KN = np.arange(0, 11.0)
BASE = 0.2 * KN  # mV/V
X1 = BASE + np.array([0, 1, 2, 1, 3, 2, 4, 3, 5, 4, 6]) * 1e-5
X2 = X1 + np.array([0, 1, -1, 2, 0, 1, -2, 1, 2, -1, 1]) * 1e-5
X3 = BASE + np.array([0, -2, -1, -3, -2, -4, -3, -5, -4, -6, -5]) * 1e-5
X5 = BASE + np.array([0, 3, 2, 4, 3, 5, 4, 6, 5, 7, 6]) * 1e-5
X4 = X3 + np.array([3, 6, 9, 11, 12, 12, 11, 9, 7, 4, 0]) * 1e-5
X6 = X5 + np.array([2, 5, 8, 10, 12, 13, 11, 9, 6, 3, 0]) * 1e-5


def write_three_positions(path):
    """Two rising series at 0 degrees, rising and falling at 120 and 240 degrees; 0 to 10 kN."""
    rows = ["series,rotation,direction,force [kN],reading [mV/V]"]
    for name, rotation, direction, readings in (
        ("1", 0, "up", X1),
        ("2", 0, "up", X2),
        ("3", 120, "up", X3),
        ("3", 120, "down", X4),
        ("4", 240, "up", X5),
        ("4", 240, "down", X6),
    ):
        steps = list(zip(KN, readings, strict=True))
        if direction == "down":
            steps = steps[:-1][::-1]  # the greatest force is read once
        rows += [f"{name},{rotation},{direction},{f:g},{x:.7f}" for f, x in steps]
    path.write_text("\n".join(rows) + "\n")
    return path
