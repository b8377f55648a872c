"""Invented tap recordings in closed form, for tests of tap commands."""

from __future__ import annotations

import numpy as np

from free_decay import free_decay

__all__ = ["write_taps"]


def write_taps(
    path, frequency, *, rate=2000, damping=0.02, level=300.0, seed=1, starts=(0.6, 1.5), noise=1.0
):
    """A text recording in which a rig of one mode is tapped at each start (an impulse answer)."""
    time = np.arange(int((starts[-1] + 1.0 if starts else 1.0) * rate)) / rate
    trace = np.random.default_rng(seed).normal(0, noise, time.size) + 4
    for start in starts:
        since = time[time >= start] - start
        trace[time >= start] += free_decay(since, frequency, damping, level, -np.pi / 2)
    rows = "\n".join(f"{t:.6f},{y:.4f}" for t, y in zip(time, trace, strict=True))
    path.write_text(f"time [s],force [N]\n{rows}\n")
    return path
