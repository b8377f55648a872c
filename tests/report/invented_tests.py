"""Invented results of drop tests, tap tests and a calibration, for tests of reports: nobody measured them."""

from __future__ import annotations

import dataclasses

import numpy as np

from quintain.domain.calibration import ForceStep, StaticCalibration
from quintain.domain.drop import Agreement, Drop, DropTest
from quintain.domain.flags import flag
from quintain.domain.history import Step
from quintain.domain.measured import Contribution, Measured
from quintain.domain.pad import Pad
from quintain.domain.tap import Tap, TapMode, TapTest, TrustedPulse
from report.invented_analysis import RATE, pulse, rig, strike

UTC = "2026-11-25T12:00:00+00:00"


def drop(number: int, height: float | None, *, verdict: str = "pass", bottoms: bool = False) -> Drop:
    """One drop; without a height only its bounces speak."""
    h = 0.5 if height is None else height
    speed = float(np.sqrt(2 * 9.81 * h))
    blow = strike(number, 3.0 * number, peaks=(900.0 * speed,), duration=0.026)
    c = Contribution
    quantities = {
        **{n: blow.quantities[n] for n in ("impulse", "contact_time", "peak_force", "peak_force_raw")},
        "approach_speed": Measured.of("approach_speed", speed, [c("noise", 0.004), c("mass", 0.003)]),
        "rebound_speed": Measured("rebound_speed", 0.57 * speed, 0.004),
        "restitution": Measured("restitution", 0.57, 0.002),
        "gain_without_height": Measured("gain_without_height", 1.0011, 0.0012),
    }
    if height is not None:
        quantities |= {
            "height": Measured("height", height, 0.001),
            "speed_by_height": Measured("speed_by_height", speed * 1.001, 0.003),
            "friction_excess": Measured("friction_excess", 0.001, 0.004),
            "gain": Measured("gain", 1.0003, 0.0011),
        }
    x = np.linspace(0, np.pi, 400)
    pad = Pad(
        {
            "pad_compression": Measured("pad_compression", 0.02 * speed / 3, 2e-4),
            "pad_energy_lost": Measured("pad_energy_lost", 8 * speed, 0.2),
            "pad_bottoming_index": Measured("pad_bottoming_index", 0.4 if bottoms else -0.2, 0.08),
        },
        0.02 * speed / 3 * np.sin(x),
        900.0 * speed * pulse(x, 1.0, float(np.pi)),
        bottoms,
    )
    flags = () if verdict == "pass" else (flag("mode-from-recording"),)
    return Drop(
        number, 3.0 * number, (3.0 * number, 3.0 * number + 0.4), quantities, verdict,
        0.12 if verdict == "pass" else None, (f"invented reason {number}",), flags,
        {"half_impulse": 0.8 * speed}, blow.curve, pad,
    )  # fmt: skip


def drop_test(verdict: str = "pass", *, heights: bool = True, bottoms: bool = False) -> DropTest:
    """A drop test that ends with a verdict."""
    drops = tuple(
        drop(i, h if heights else None, verdict=verdict if i == 3 else "pass", bottoms=bottoms)
        for i, h in enumerate((0.2, 0.5, 0.8), 1)
    )
    interval = (-0.002, 0.006)
    agreement = Agreement(3, 0.002, interval, -0.004, 0.008, (-0.01, 0.002), (0.002, 0.014),
                          1.002, (0.99, 1.01), -0.003, (-0.02, 0.01))  # fmt: skip
    quantities = {
        "gain": Measured.of("gain", 1.0003, [Contribution("height", 7e-4), Contribution("mass", 5e-4)]),
        "gain_without_height": Measured("gain_without_height", 1.0008, 8e-4),
    }
    if not heights:
        del quantities["gain"]
    settings = {
        "mass": 5.0,
        "u_mass": 0.0025,
        "heights": [0.2, 0.5, 0.8],
        "gravity": 9.81,
        "cell_stiffness": None,
    }
    step = Step("quintain.drops", "0.1.0", settings, ("ab",), "cd" * 32, UTC)
    return DropTest(
        "invented/drops.csv", "ab" * 32, 98_765, "Fz", "N", RATE, 12.0, rig(), settings, drops, quantities,
        verdict, -0.05 if verdict != "undecided" else None, ("the chain's gain agrees with 1",),
        agreement if heights else None, (), (step,), "0.1.0",
    )  # fmt: skip


def tap_test(*, doubted: bool = False) -> TapTest:
    """A rig of two modes, tapped four times."""
    taps = tuple(
        Tap("invented/taps.csv", 0.6 + i, 0.25, (212.4 + 0.1 * i, 1350.0), (0.0193, 0.01),
            ((1, 10.0, 3.0), (2, 5.0, 1.1)), (flag("weak"),) if doubted and i == 2 else ())
        for i in range(4)
    )  # fmt: skip
    modes = (
        TapMode(Measured("natural_frequency", 212.5, 0.05), Measured("damping_ratio", 0.0193, 2e-4), 0.97,
                0.08, 4, 1.1, (212.5, 1787.5)),
        TapMode(Measured("natural_frequency", 1350.0, 1.5), Measured("damping_ratio", 0.01, 9e-4), 0.03, 0.6,
                3, 1.4, ()),
    )  # fmt: skip
    trusted = (TrustedPulse(0.01, 0.12, "triangle"), TrustedPulse(0.05, 0.035, "triangle"))
    return TapTest(
        (("invented/taps.csv", "ef" * 32),), "Fz", "N", (2000.0,), modes, taps, trusted, 0.0071, 46.0,
        Measured("moving_mass", 3.1, 0.05), Measured("moving_stiffness", 5.5e6, 1e5), (611.0,),
        (flag("mode-from-recording"),) if doubted else (),
        (Step("quintain.tap", "0.1.0", {"rate": None}, ("ef",), "01" * 32, UTC),),
    )  # fmt: skip


def calibration(*, class_name: str | None = "0.5") -> StaticCalibration:
    """A cell of about 2 mV/V, calibrated from 500 to 10 000 N."""
    steps = tuple(
        ForceStep(f, 2e-7 * f, 0.0004 * f + 0.2, {"repeatability": 0.02, "reproducibility": 0.04})
        for f in np.linspace(500, 10_000, 10)
    )
    return StaticCalibration(
        path="invented/loads.csv", sha256="23" * 32, n_rows=66, reading_unit="V/V", gravity=9.8127,
        coefficients=(1e-8, 2e-7), u_coefficients=(3e-9, 1e-11), to_force=(5e6,), sensitivity=2e-7,
        u_sensitivity=2e-11, u_gain=4.2e-4, residual_sd=2e-8, lowest=500.0, highest=10_000.0,
        errors={"repeatability": 0.02, "reproducibility": 0.05, "creep": None}, class_name=class_name,
        limited_by=("reproducibility",), missing=("creep",), lower_limit_factor=1.9, class_a_from=760.0,
        class_aa_from=3800.0, shunt_expected=8.7e-4, shunt_read=8.71e-4, steps=steps,
        flags=(flag("static-only"),),
        history=(Step("quintain.calibrate", "0.1.0", {"degree": 1}, ("23",), "45" * 32, UTC),),
    )  # fmt: skip


def hostile(words: str) -> tuple[DropTest, TapTest, StaticCalibration]:
    """The same with words that would like to be markup."""
    drops, taps, loads = drop_test(), tap_test(), calibration()
    first = dataclasses.replace(drops.drops[0], reasons=(words,))
    return (
        dataclasses.replace(
            drops, path=words, channel=words, reasons=(words,), drops=(first, *drops.drops[1:])
        ),
        dataclasses.replace(taps, inputs=((words, words),), channel=words),
        dataclasses.replace(loads, path=words, reading_unit=words, class_name=words, missing=(words,)),
    )
