"""What is believed about a blow before its samples are seen."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.force_prior import (
    KINK_ZONE,
    OUTSIDE,
    ForcePrior,
    Pulse,
    add_kinks,
    find_contact,
    fit_scales,
    kinked_prior,
    measure_pulse,
    rough_prior,
    shift_edges,
)
from quintain.numerics.pulse_shape import pulse_force
from quintain.numerics.resonator import Mode, respond_to_modes
from quintain.numerics.ringing import remove_ringing

OMEGA = 2 * np.pi * 200.0
PULSE = Pulse(1000.0, 0.010, 0.005)


def test_length_of_a_pulse_is_that_of_the_half_sine_as_wide_at_half_height():
    # derived here: a triangle of length T is T/2 wide at half height, so 0.75 T; a haversine too
    t = np.arange(2001) * 1e-5
    for shape in ("triangle", "haversine"):
        assert measure_pulse(pulse_force(shape, 500.0, 0.012, t), 1e-5).length == pytest.approx(
            0.009, rel=1e-3
        )


def test_peak_between_points_is_found_by_a_parabola():
    t = (np.arange(40) - 20.3) * 1e-3
    pulse = measure_pulse(100 - 1e6 * t**2, 1e-3)
    assert pulse.peak == pytest.approx(100.0, rel=1e-9)
    assert pulse.time_of_peak == pytest.approx(0.0203, rel=1e-9)


def test_contact_is_found_with_its_guard_and_within_its_window():
    force = np.zeros(8 * 50 + 1)
    force[160:240] = 10.0  # intervals 20 to 29
    force[320:328] = -5.0  # a swing back in interval 40
    assert np.flatnonzero(find_contact(force, 8, 1.0, guard=1.5))[[0, -1]].tolist() == [18, 41]
    only = np.flatnonzero(find_contact(force, 8, 1.0, guard=1.5, window=(10, 35)))
    assert only[[0, -1]].tolist() == [18, 30]
    # without any force the largest point counts, so that there is always something to fit
    assert find_contact(force, 8, 100.0, guard=1.5).sum() <= 12


def test_densities_are_soft_outside_and_scale_by_powers_of_ten():
    contact = np.zeros(60, dtype=bool)
    contact[20:40] = True
    rough = rough_prior(contact, PULSE, OMEGA)
    assert rough.density(np.array([1.0])) == pytest.approx(10 * rough.density(np.array([0.0])))
    assert rough.profiles[0, 1, 0] == pytest.approx(OUTSIDE * rough.profiles[0, 1, 30])
    kinked = kinked_prior(contact, PULSE, OMEGA, 1e-3)
    zone = kinked.profiles[1, 1] > 0.5 * kinked.profiles[1, 1].max()
    assert np.flatnonzero(zone).tolist() == [20, 21, 22, 37, 38, 39]
    assert np.argmin(kinked.profiles[0, 2, 20:40]) in (9, 10)  # smoothest in the middle


def test_two_contacts_have_four_kinks():
    contact = np.zeros(60, dtype=bool)
    contact[10:25] = contact[40:52] = True
    zone = kinked_prior(contact, PULSE, OMEGA, 1e-3).profiles[1, 1]
    assert np.count_nonzero(zone > 0.5 * zone.max()) == 4 * KINK_ZONE


def test_scale_is_found_where_likelihood_and_belief_meet():
    # derived here: likelihood N(2, 0.5) and belief N(0, 1.5) of the scale meet at 2 / (1 + (0.5/1.5)^2)
    prior = ForcePrior(np.ones((1, 3, 4)))

    def likelihood(density):
        return -2 * (np.log10(density[0, 0]) - 2) ** 2

    scales, _ = fit_scales(likelihood, prior, np.zeros(1), tolerance=1e-3)
    assert scales[0] == pytest.approx(1.8, abs=0.01)


def test_edges_move_to_where_the_likelihood_is_largest():
    contact = np.zeros(60, dtype=bool)
    contact[18:43] = True

    def build(where):
        return ForcePrior(np.where(where, 1.0, OUTSIDE)[None, None, :] * np.ones((1, 3, 1)))

    wanted = build(np.r_[np.zeros(21), np.ones(19), np.zeros(20)].astype(bool)).profiles[0]

    def likelihood(density):
        return -float(np.abs(density - wanted).sum())

    moved = np.flatnonzero(shift_edges(likelihood, contact, build, np.zeros(1)))
    assert moved[[0, -1]].tolist() == [21, 39]


def test_a_kink_inside_contact_is_added_only_if_it_is_worth_it():
    contact = np.zeros(60, dtype=bool)
    contact[15:45] = True
    prior = kinked_prior(contact, PULSE, OMEGA, 1e-3)
    worth = {30: 100.0, 0: 0.0}

    def loud(density):
        return worth[30] if density[1, 30] > 0.5 * density[1].max() else 0.0

    assert add_kinks(loud, prior, np.zeros(2), 0.0)[3] == 1
    worth[30] = 5.0
    assert add_kinks(loud, prior, np.zeros(2), 0.0)[3] == 0


def test_a_second_hand_that_lands_during_contact_is_told_by_its_kink():
    # two half-sines, the second begins at 0.7 of the first: a corner inside contact
    t = np.arange(-0.02, 0.12, 1e-5)
    force = pulse_force("half-sine", 3000.0, 0.012, t) + pulse_force("half-sine", 2200.0, 0.014, t - 0.0085)
    shown = respond_to_modes(force, 1e5, [Mode(250.0, 0.02)])[::50]
    shown = shown + np.random.default_rng(2).normal(0, 2.0, shown.size)
    found = remove_ringing(shown, 2000.0, natural_frequency=[250.0], damping_ratio=[0.02], noise=2.0)
    assert found.n_inner_kinks >= 1
    assert found.peak_force == pytest.approx(force.max(), rel=0.01)
