"""What must hold for any strike: scale, shift, round trip, refusal, and honest doubt."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quintain.numerics.acquisition import acquire
from quintain.numerics.pulse_shape import pulse_force
from quintain.numerics.resonator import Mode, respond_to_modes
from quintain.numerics.ringing import remove_ringing

FINE = 100_000.0


def _recorded(shape, duration, modes, rate, noise, seed, *, peak=4000.0, phase=0.3, cutoff=None, length=0.12):
    t = np.arange(int(length * FINE)) / FINE - 0.015
    force = pulse_force(shape, peak, duration, t)
    shown = respond_to_modes(force, FINE, modes)
    rng = np.random.default_rng(seed)
    return acquire(
        shown, FINE, rate=rate, rng=rng, phase=phase, noise=noise, anti_alias_cutoff=cutoff
    ).force, force


MODE = Mode(250.0, 0.02)
KNOWN = {"natural_frequency": [250.0], "damping_ratio": [0.02]}


@settings(max_examples=4)
@given(scale=st.floats(1e-3, 1e3))
def test_force_scales_with_the_samples(scale):
    samples, _ = _recorded("half-sine", 0.010, [MODE], 2000.0, 3.0, 1)
    one = remove_ringing(samples, 2000.0, noise=3.0, **KNOWN)
    many = remove_ringing(scale * samples, 2000.0, noise=3.0 * scale, **KNOWN)
    # the same arithmetic up to rounding, which the search for densities may carry to its tolerance
    np.testing.assert_allclose(many.force / scale, one.force, atol=0.02 * one.u_peak_force)
    assert many.u_peak_force / scale == pytest.approx(one.u_peak_force, rel=0.02)


def test_a_mirrored_record_gives_the_mirrored_contact_force():
    # sign is the caller's: a record of pulls is not turned into pushes, so the peak is then the largest push
    samples, _ = _recorded("half-sine", 0.010, [MODE], 2000.0, 3.0, 1)
    found = remove_ringing(-samples, 2000.0, noise=3.0, **KNOWN)
    assert found.peak_force < 0.05 * 4000.0


@settings(max_examples=4)
@given(quiet=st.integers(1, 60))
def test_more_quiet_before_the_blow_only_shifts_the_answer(quiet):
    samples, _ = _recorded("sin^1.5", 0.010, [MODE], 2000.0, 3.0, 2)
    extra = np.random.default_rng(3).normal(0, 3.0, quiet)
    one = remove_ringing(samples, 2000.0, noise=3.0, **KNOWN)
    two = remove_ringing(np.r_[extra, samples], 2000.0, noise=3.0, **KNOWN)
    assert two.time_of_peak - one.time_of_peak == pytest.approx(quiet / 2000.0, abs=2e-5)
    assert two.peak_force == pytest.approx(one.peak_force, abs=one.u_peak_force)


@pytest.mark.parametrize("shape", ["half-sine", "haversine", "asymmetric", "double"])
def test_what_was_simulated_comes_back_and_the_error_falls_with_the_noise(shape):
    # goals for T fn >= 1.5 and T fs >= 8: 0.5 % of the peak, and RMS 0.8 %; noise 1 N, then 40 N
    duration = 0.012
    errors = []
    for noise in (1.0, 40.0):
        rms = []
        for seed in range(3):
            samples, force = _recorded(shape, duration, [MODE], 2000.0, noise, seed)
            found = remove_ringing(samples, 2000.0, noise=noise, **KNOWN)
            truth = np.interp(found.time + 0.3 / 2000.0, np.arange(force.size) / FINE, force)
            rms.append(np.sqrt(np.mean((found.force - truth) ** 2)))
            if noise == 1.0:
                assert found.peak_force == pytest.approx(4000.0, rel=0.005)
            assert abs(found.peak_force - 4000.0) < 3.5 * found.u_peak_force
        errors.append(np.mean(rms))
    assert errors[0] < 0.008 * 4000.0
    assert errors[0] < errors[1]


def test_area_of_the_corrected_force_is_the_impulse():
    # a linear rig with unity gain at zero frequency keeps the impulse; half-sine: 2/pi F T
    samples, _ = _recorded("half-sine", 0.008, [MODE], 2000.0, 1.0, 5)
    found = remove_ringing(samples, 2000.0, noise=1.0, **KNOWN)
    first, last = found.contact
    inside = (found.time >= first / 2000.0) & (found.time <= last / 2000.0)
    area = np.trapezoid(found.force[inside], found.time[inside])
    assert area == pytest.approx(2 / np.pi * 4000.0 * 0.008, rel=2e-3)  # 0.1 % from noise and edges


def test_wrong_modes_are_found_again_on_the_strike():
    # goal from simulation: natural frequency within 0.05 %, damping within 3 %, from 2 % and 30 % off
    samples, _ = _recorded("half-sine", 0.008, [MODE], 2000.0, 3.0, 6, length=0.2)
    found = remove_ringing(samples, 2000.0, natural_frequency=[255.0], damping_ratio=[0.026], noise=3.0)
    assert found.natural_frequency[0] == pytest.approx(250.0, rel=5e-4)
    assert found.damping_ratio[0] == pytest.approx(0.02, rel=0.03)
    assert found.peak_force == pytest.approx(4000.0, rel=0.01)
    assert "mode-drift" not in found.flags


def test_a_mode_that_has_moved_further_than_both_uncertainties_say_is_flagged():
    samples, _ = _recorded("half-sine", 0.008, [MODE], 2000.0, 3.0, 7, length=0.2)
    found = remove_ringing(
        samples, 2000.0, natural_frequency=[255.0], damping_ratio=[0.02], noise=3.0,
        u_natural_frequency=[0.5], u_damping_ratio=[0.005],
    )  # fmt: skip
    assert "mode-drift" in found.flags
    assert found.natural_frequency[0] == pytest.approx(250.0, rel=1e-3)


def test_wrong_modes_that_are_not_refined_do_not_wreck_the_force():
    # pinning the force to zero outside contact with the frequency 2 % off is known to cost 100 % and more
    samples, _ = _recorded("half-sine", 0.008, [MODE], 2000.0, 3.0, 8, length=0.2)
    found = remove_ringing(
        samples, 2000.0, natural_frequency=[255.0], damping_ratio=[0.02], noise=3.0, refine=False
    )
    assert found.peak_force == pytest.approx(4000.0, rel=0.06)
    assert abs(found.peak_force - 4000.0) < 3 * found.u_peak_force


def test_two_modes_and_the_anti_alias_filter():
    # a soft stand: one mode alone leaves up to 18 %, two modes stay under 1.2 % (simulation)
    modes = [Mode(250.0, 0.02, 0.8), Mode(60.0, 0.05, 0.2)]
    samples, _ = _recorded("half-sine", 0.010, modes, 2000.0, 3.0, 9, cutoff=600.0, length=0.2)
    found = remove_ringing(
        samples, 2000.0, natural_frequency=[250.0, 60.0], damping_ratio=[0.02, 0.05], share=[0.8, 0.2],
        noise=3.0, anti_alias_cutoff=600.0,
    )  # fmt: skip
    assert found.peak_force == pytest.approx(4000.0, rel=0.012)


def test_missing_samples_are_bridged_or_refused():
    samples, _ = _recorded("half-sine", 0.012, [MODE], 2000.0, 3.0, 10)
    samples[45] = np.nan
    found = remove_ringing(samples, 2000.0, noise=3.0, **KNOWN)
    assert np.isfinite(found.force).all()
    assert found.peak_force == pytest.approx(4000.0, rel=0.02)
    with pytest.raises(ValueError, match="missing"):
        remove_ringing(np.full(50, np.nan), 2000.0, noise=3.0, **KNOWN)


def test_a_rig_above_the_rate_is_refused():
    found = remove_ringing(np.zeros(50), 500.0, noise=1.0, **KNOWN)
    assert found.flags == ("rate-too-low",)
    assert np.isnan(found.peak_force)
    assert np.isnan(found.force).all()


@pytest.mark.parametrize(
    ("duration", "rate", "code"),
    [
        (0.0022, 2000.0, "pulse-short-for-rig"),
        (0.0050, 2000.0, "pulse-near-rig-period"),
        (0.0060, 1000.0, "few-samples"),
        (0.0034, 1000.0, "too-few-samples"),
    ],
)
def test_short_pulses_are_flagged(duration, rate, code):
    samples, _ = _recorded("half-sine", duration, [MODE], rate, 1.0, 11)
    assert code in remove_ringing(samples, rate, noise=1.0, **KNOWN).flags


def test_parts_of_the_uncertainty_add_up():
    samples, _ = _recorded("double", 0.006, [MODE], 1000.0, 3.0, 12)
    found = remove_ringing(samples, 1000.0, noise=3.0, **KNOWN)
    total = np.sqrt(sum(part**2 for part in found.contributions.values()))
    assert total == pytest.approx(found.u_peak_force, rel=1e-12)
    assert (found.u_force > 0).all()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"noise": 0.0}, "noise"),
        ({"grid": 0}, "grid"),
        ({"rate": -1.0}, "rate"),
        ({"samples": np.zeros(3)}, "16 samples"),
        ({"samples": np.r_[np.zeros(30), np.inf]}, "infinite"),
        ({"u_damping_ratio": [0.1, 0.1]}, "uncertainty"),
        ({"contact": (5, 5)}, "contact"),
    ],
)
def test_bad_arguments_are_refused(change, says):
    arguments = {"samples": np.zeros(50), "rate": 2000.0, "noise": 1.0, **KNOWN, **change}
    with pytest.raises(ValueError, match=says):
        remove_ringing(**arguments)
