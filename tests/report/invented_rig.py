"""An invented rig's state for tests and for looking at reports: nobody measured it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from quintain.domain.measured import Measured
from quintain.domain.rig_state import DueCheck, RigState, Trend
from report.invented_analysis import rig

START = datetime(2026, 9, 1, 8, 30, tzinfo=UTC)
NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def trend(quantity: str, level: float, sigma: float, u: float, *, last: float = 0.0, n: int = 22) -> Trend:
    """One trend; ``last`` moves the newest value by so many sigma."""
    values = level + sigma * np.random.default_rng(n + len(quantity)).normal(0, 1, n)
    values[-1] += last * sigma
    when = tuple(START + timedelta(days=3.9 * i) for i in range(n))
    measured = tuple(Measured(quantity, float(v), u) for v in values)
    if n < 6:
        return Trend(quantity, when, measured)
    centre, limit = float(values[:-1].mean()), 3 * sigma
    average, low, high = ((level,) * n for level in (centre + 0.1 * sigma, centre - sigma, centre + sigma))
    return Trend(quantity, when, measured, centre, centre - limit, centre + limit, average, low, high)


def state(verdict: str = "doubt") -> RigState:
    """A rig with a long log, one jump and one check overdue; or a sound or an unproved one."""
    jump = 6.0 if verdict == "doubt" else 0.0
    trends = () if verdict == "undecided" else (
        trend("natural_frequency", 212.7, 0.25, 0.05, last=-jump),
        trend("damping_ratio", 0.0193, 0.0004, 0.0002),
        trend("gain", 1.0008, 0.0012, 0.0013, n=14),
        trend("restitution", 0.412, 0.004, 0.003, n=3),
    )  # fmt: skip
    reasons = {
        "doubt": ("natural frequency: the newest value lies outside the limits of this rig's own history",
                  "drops: last done 41 days ago, allowed are 30"),
        "undecided": ("no drop test in the log proves the chain: make one",),
    }.get(verdict, ())  # fmt: skip
    checks = (
        DueCheck("tap", NOW - timedelta(days=3), 3.0, 7.0),
        DueCheck("drops", NOW - timedelta(days=41), 41.0, 30.0) if verdict == "doubt" else
        DueCheck("drops", NOW - timedelta(days=11), 11.0, 30.0),
        DueCheck("calibration", None, None, 365.0),
    )  # fmt: skip
    return RigState(rig(), verdict, reasons, trends, checks, 61, 6)
