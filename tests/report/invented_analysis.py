"""An invented analysis for tests and for looking at reports: nobody was measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

import numpy as np

from quintain.domain.analysis import Analysis
from quintain.domain.flags import flag
from quintain.domain.history import Step
from quintain.domain.measured import Contribution, Measured
from quintain.domain.method import Method
from quintain.domain.rig import AntiAlias, Calibration, Cell, Mode, Place, Rig, RigPad
from quintain.domain.strike import Contact, ForceCurve, Strike

RATE = 2000.0
MODE = Mode(212.4, 0.019, u_natural_frequency=0.1, u_damping_ratio=0.0003)


def pulse(time: np.ndarray, peak: float, duration: float) -> np.ndarray:
    """A blow that rises faster than it falls."""
    s = np.clip(time / duration, 0, 1)
    shape = s**1.3 * (1 - s) ** 2.6
    return peak * shape / (1.3 / 3.9) ** 1.3 / (2.6 / 3.9) ** 2.6


def ring(force: np.ndarray, step: float, mode: Mode) -> np.ndarray:
    """What a cell of one mode shows of a force (semi-implicit steps; good enough to look at)."""
    omega = 2 * np.pi * mode.natural_frequency
    shown, speed, out = 0.0, 0.0, np.empty_like(force)
    for i, value in enumerate(force):
        speed += step * (omega**2 * (value - shown) - 2 * mode.damping_ratio * omega * speed)
        shown += step * speed
        out[i] = shown
    return out


def strike(
    number: int,
    start: float,
    *,
    peaks: Iterable[float] = (3220.0,),
    duration: float = 0.0355,
    gap: float = 0.012,
    limit: float | None = None,
    corrected: bool = True,
    offset: float = 0.0,
    flags: Iterable[str] = (),
    without: Iterable[str] = (),
    u_known: bool = True,
) -> Strike:
    """One invented strike; ``limit`` clips it, ``offset`` leans on the pad before it."""
    peaks = tuple(peaks)
    fine_step = 1 / (RATE * 16)
    total = len(peaks) * (duration + gap)
    fine = np.arange(-0.02, total + 0.06, fine_step)
    force = sum(pulse(fine - i * (duration + gap), peak, duration) for i, peak in enumerate(peaks))
    noise = np.random.default_rng(number).normal(0, 6.0, fine[::16].size)
    raw = ring(force, fine_step, MODE)[::16] + noise + offset * (fine[::16] < 0.004)
    if limit is not None:
        raw = np.minimum(raw, limit)
    grid = fine[::2]
    u = 4 + 0.008 * force[::2] + 0.02 * np.abs(np.gradient(force[::2]))
    empty = np.empty(0)
    curve = ForceCurve(fine[::16], raw, *((grid, force[::2], u) if corrected else (empty, empty, empty)))
    contacts = tuple(
        Contact(start + i * (duration + gap), start + i * (duration + gap) + duration)
        for i in range(len(peaks))
    )
    impulse = float(np.trapezoid(force, fine))
    peak = max(peaks)
    c = Contribution
    found = [
        Measured.of("contact_time", contacts[-1].end - start, [c("onset", 1.2e-4), c("end", 1e-4)]),
        Measured.of(
            "impulse",
            impulse,
            [c("gain", 0.004 * impulse), c("zero", 0.0024 * impulse), c("noise", 0.001 * impulse)],
        ),
        Measured.of(
            "peak_force",
            peak,
            [
                c("correction", 0.006 * peak),
                c("gain", 0.004 * peak),
                c("natural_frequency", 0.002 * peak),
                c("noise", 0.001 * peak),
            ],
        ),
        Measured("peak_force_raw", float(raw.max()), 0.004 * peak),
        Measured("time_to_peak", duration / 3, 2e-4),
        Measured("rate_of_force_development", 0.6 * peak / (0.18 * duration), 0.03 * peak / duration),
        Measured("expected_peak", 1.6 * impulse / duration, 0.2 * impulse / duration),
        Measured("sampling_loss", 0.0003, None),
    ]
    if not u_known:
        found = [Measured(m.quantity, m.value, None) for m in found]
    quantities: Mapping[str, Measured] = {m.quantity: m for m in found if m.quantity not in set(without)}
    raised = tuple(flag(code, where=f"{start:.3f} s") for code in flags)
    return Strike(
        number,
        start,
        contacts,
        quantities,
        raised,
        curve,
        modes=(MODE,) if corrected else (),
        periods_in_pulse=duration * MODE.natural_frequency,
        samples_in_pulse=duration * RATE,
    )


def strikes() -> tuple[Strike, ...]:
    """One of each kind a report must show."""
    return (
        strike(1, 1.2034),
        strike(2, 4.8121, peaks=(2360.0,), duration=0.0321),
        strike(
            3, 8.4007, peaks=(5400.0,), limit=4000.0, corrected=False, flags=["clipped"],
            without=["peak_force", "rate_of_force_development", "impulse", "time_to_peak",
                     "expected_peak"],
        ),
        strike(
            4, 12.9911, peaks=(1900.0,), duration=0.0029, corrected=False, flags=["pulse-short-for-rig"],
            without=["peak_force", "rate_of_force_development", "time_to_peak"],
        ),
        strike(5, 17.0203, peaks=(2100.0, 900.0), flags=["several-contacts"]),
        strike(6, 21.5552, peaks=(2800.0,), offset=160.0, flags=["loaded-before", "few-samples"]),
        strike(7, 1026.1, peaks=(64321.0,), duration=0.052, flags=["beyond-calibration"]),
        strike(8, 1031.9, peaks=(2950.0,), flags=["gain-unknown"], u_known=False),
    )  # fmt: skip


def rig() -> Rig:
    return Rig(
        name="wall pad 2 (invented)",
        note="steel frame, EVA on PE foam",
        cell=Cell(10_000.0, 15_000.0, "4471", "none: invented", "positive", 12_000.0),
        modes=(MODE,),
        anti_alias=AntiAlias(800.0, 4),
        calibration=Calibration(1.0012, 0.0013, 300.0, 3800.0, date(2026, 10, 31)),
        place=Place(48.1, 520.0),
        pad="EVA",
        pads=(RigPad("EVA", 8e5, 1.5, 0.035, proved_to=0.03, loss_fraction=0.6, date=date(2026, 10, 31)),),
    )


def analysis(
    found: tuple[Strike, ...] | None = None,
    *,
    path: str = "invented/afternoon.csv",
    channel: str = "Fz",
    unit_in_file: str = "kN",
    with_rig: bool = True,
    rig_note: str | None = None,
) -> Analysis:
    """A whole invented recording."""
    sha = "9f2c71d0" * 8
    stated = rig() if with_rig else None
    if stated and rig_note is not None:
        stated = Rig(stated.name, rig_note, stated.cell, stated.modes, None, stated.calibration, None)
    steps = (
        Step(
            "readers.delimited.read", "0.1.0", {"columns": "found"}, (sha,), "ab" * 32, "2026-11-25T12:00:00Z"
        ),
        Step(
            "tasks.analyse.analyse",
            "0.1.0",
            Method().settings(),
            ("ab" * 32,),
            "cd" * 32,
            "2026-11-25T12:00:02Z",
        ),
    )
    return Analysis(
        path, sha, 1_234_567, channel, unit_in_file, RATE, 1040.0, stated, Method(),
        strikes() if found is None else found,
        () if with_rig else (flag("mode-from-recording"),), steps, "0.1.0",
    )  # fmt: skip


def many(count: int) -> Analysis:
    """A long recording: the first three kinds over and over."""
    base = (strike(1, 0.0), strike(2, 0.0, peaks=(2360.0,)), strike(3, 0.0, flags=["few-samples"]))
    found = []
    for i in range(count):
        one = base[i % 3]
        found.append(
            Strike(
                i + 1, 6.0 * i, (Contact(6.0 * i, 6.0 * i + 0.0355),), one.quantities, one.flags, one.curve
            )
        )
    return analysis(tuple(found))
