"""Write a long invented recording as text, fast, without holding it in memory."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import csv

from quintain.numerics.bodies import Cell, Striker, Target, simulate_strike
from quintain.numerics.pad_law import INVENTED_PADS

__all__ = ["RIG", "write_long_recording"]

RIG = """\
name = "bench rig (invented)"
[[modes]]
natural_frequency = 230.0
damping_ratio = 0.03
u_natural_frequency = 0.5
u_damping_ratio = 0.001
[calibration]
u_gain = 0.002
"""

SPACING = 6.0
"""Seconds from strike to strike: 600 an hour."""


def write_long_recording(path: Path, *, hours: float, rate: float = 10_000.0, seed: int = 1) -> int:
    """
    Write time and force of a long session; return the number of strikes.

    Each piece of six seconds holds one simulated strike on noise and a slow drift.
    """
    rng = np.random.default_rng(seed)
    target = Target(INVENTED_PADS["soft"], cell=Cell(2.5, 230.0, 0.03))
    blow = simulate_strike(Striker(2.0, 6.0), target, duration=1.2, rate=rate).cell_output
    n_piece = round(SPACING * rate)
    n_strikes = round(hours * 3600 / SPACING)
    schema = pa.schema([("time_s", pa.float64()), ("force_N", pa.float64())])
    with csv.CSVWriter(path, schema, write_options=csv.WriteOptions(quoting_style="none")) as writer:
        for i in range(n_strikes):
            index = i * n_piece + np.arange(n_piece)
            force = rng.normal(5 + 0.001 * i, 2.0, n_piece)
            first = round((2 + rng.uniform(0, 1)) * rate)
            force[first : first + blow.size] += blow * rng.uniform(0.5, 1.5)
            table = pa.table([np.round(index / rate, 4), np.round(force, 2)], schema=schema)
            writer.write_table(table)
    return n_strikes
