"""The same blow on another pad, and through another chain."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.simulated_limb import CELL, simulate_blow

from quintain.numerics.bodies import Push, Target
from quintain.numerics.pad_law import INVENTED_PADS, PadLaw
from quintain.numerics.resonator import Mode
from quintain.numerics.translate import Blow, show_through_chain, translate_blow

FIRM = Target(INVENTED_PADS["firm"], cell=CELL)


@pytest.mark.parametrize("pad", ["soft", "thin", "slow", "dead", "lively"])
def test_a_blow_is_carried_from_pad_to_pad(pad: str) -> None:
    push = Push(250.0, start=-0.03, duration=0.15, rise=0.001)
    here, there = simulate_blow(push=push, speed=6.0), simulate_blow(push=push, speed=6.0, pad=pad)
    found = translate_blow(
        Blow(3.0, here.approach_speed, here.acceleration),
        measured_peak=float(here.motion.force_on_cell.max()),
        u_measured_peak=5.0,
        hit=FIRM,
        to=Target(INVENTED_PADS[pad], cell=CELL),
    )
    true = float(there.motion.force_on_cell.max())
    assert found.peak_force.value == pytest.approx(true, rel=0.01)  # goal: 1 % median
    assert abs(found.peak_force.value - true) < 1.96 * found.peak_force.u
    assert found.ratio == pytest.approx(1.0, abs=0.01)


def test_the_scaling_takes_out_what_is_wrong_on_both_pads() -> None:
    blow = simulate_blow(speed=6.0)
    peak = float(blow.motion.force_on_cell.max())
    soft = Target(INVENTED_PADS["soft"], cell=CELL)
    right, heavy = (
        translate_blow(Blow(mass, 6.0), measured_peak=peak, u_measured_peak=0.0, hit=FIRM, to=soft)
        for mass in (3.0, 3.3)
    )
    assert heavy.ratio < 0.97
    # 10 % of mass would be 5 % of peak without the scaling
    assert heavy.peak_force.value == pytest.approx(right.peak_force.value, rel=0.01)


def test_bottoming_is_doubted_then_refused() -> None:
    shallow = Target(PadLaw(5e4, 1.4, 0.020, friction_loss=0.3), cell=CELL)
    found = translate_blow(Blow(3.0, 8.0), measured_peak=6000.0, u_measured_peak=10.0, hit=FIRM, to=shallow)
    assert found.flags == ("translation-refused", "translation-ratio")[: len(found.flags)]
    assert "translation-refused" in found.flags
    assert math.isnan(found.peak_force.value)
    assert found.force.size == 0
    thin = Target(INVENTED_PADS["thin"], cell=CELL)
    near = translate_blow(Blow(5.0, 7.4), measured_peak=9000.0, u_measured_peak=10.0, hit=FIRM, to=thin)
    assert "translation-near-bottoming" in near.flags


def test_a_pad_proved_to_a_lesser_depth_is_said() -> None:
    soft = Target(INVENTED_PADS["soft"], cell=CELL)
    found = translate_blow(
        Blow(3.0, 6.0), measured_peak=4500.0, u_measured_peak=10.0, hit=FIRM, to=soft, proved_depth_to=0.010
    )
    assert "translation-beyond-proof" in found.flags


def test_a_peak_that_does_not_fit_mass_and_speed_is_doubted() -> None:
    found = translate_blow(Blow(3.0, 6.0), measured_peak=9000.0, u_measured_peak=10.0, hit=FIRM, to=FIRM)
    assert found.flags == ("translation-ratio",)


def test_forgetting_the_cell_makes_the_peak_too_high() -> None:
    blow = Blow(3.0, 7.0)
    kwargs = {"measured_peak": 6000.0, "u_measured_peak": 0.0, "hit": FIRM}
    thin = INVENTED_PADS["thin"]
    stiff = translate_blow(blow, to=Target(thin), **kwargs).peak_force.value  # type: ignore[arg-type]
    true = translate_blow(blow, to=Target(thin, cell=CELL), **kwargs).peak_force.value  # type: ignore[arg-type]
    assert 1.01 < stiff / true < 1.25


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="mass must be above 0"):
        translate_blow(Blow(0.0, 6.0), measured_peak=1.0, u_measured_peak=0.0, hit=FIRM, to=FIRM)
    with pytest.raises(ValueError, match="0 or above"):
        translate_blow(Blow(1.0, 6.0), measured_peak=1.0, u_measured_peak=-1.0, hit=FIRM, to=FIRM)
    with pytest.raises(ValueError, match="sampling rate"):
        show_through_chain(np.ones(10), 1000.0, sampling_rate=2000.0)
    with pytest.raises(ValueError, match="finite"):
        show_through_chain([1.0, math.nan], 1000.0)


def test_another_chain_rings_filters_and_samples() -> None:
    t = np.arange(-100, 3000) / 100e3
    pulse = np.where((t > 0) & (t < 0.012), 3000 * np.sin(np.pi * t / 0.012), 0.0)
    plain = show_through_chain(pulse, 100e3)
    assert plain.lowest == plain.highest == pytest.approx(3000.0, rel=1e-5)
    # shock response of an undamped oscillator to a half-sine, r = T fn = 3.6: 1.13 to 1.15, ζ 1-2 %
    # (derived from Duhamel's integral; a 12 ms blow on a rig of 300 Hz)
    ringing = show_through_chain(pulse, 100e3, modes=[Mode(300.0, 0.02)])
    assert 1.12 < ringing.highest / 3000 < 1.16
    filtered = show_through_chain(pulse, 100e3, cutoff=60.0)
    assert filtered.highest < 0.95 * 3000
    sampled = show_through_chain(pulse, 100e3, sampling_rate=500.0)
    # worst phase 1 - cos(π/2N), N = 6 samples in the pulse
    assert sampled.lowest == pytest.approx(3000 * math.cos(math.pi / 12), rel=1e-3)
    assert sampled.lowest < sampled.mean < sampled.highest <= 3000.1
