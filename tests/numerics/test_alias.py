"""Folded modes: candidates, two rates, an added mass (identities derived here)."""

from __future__ import annotations

import numpy as np
import pytest

from free_decay import free_decay
from quintain.numerics.added_mass import find_moving_mass
from quintain.numerics.alias import alias_candidates, resolve_by_added_mass, resolve_by_rates
from quintain.numerics.ring_down import identify_ring_down


def seen(frequency, rate, *, seed, damping=0.02):
    time = np.arange(300) / rate
    trace = free_decay(time, frequency, damping, 200) + np.random.default_rng(seed).normal(0, 1, time.size)
    found = identify_ring_down(trace, rate, n_modes=1)
    return (float(found.damped_frequency[0]), float(found.u_natural_frequency[0])), float(found.decay_rate[0])


@pytest.mark.parametrize("frequency", [620, 700, 900, 1300])
def test_two_rates_settle_it(frequency):
    first, decay = seen(frequency, 1000, seed=1)
    second, _ = seen(frequency, 1100, seed=2)
    (mode,) = resolve_by_rates(first, 1000, second, 1100, decay, highest=2000)
    assert mode.natural_frequency == pytest.approx(frequency, abs=1)
    assert mode.damping_ratio == pytest.approx(0.02, rel=0.05)


def test_candidates_fold_back_to_what_was_seen():
    for mode in alias_candidates(137.0, 0.0, 1000, highest=5000):
        folded = mode.natural_frequency % 1000
        assert min(folded, 1000 - folded) == pytest.approx(137.0)


def test_an_odd_alias_rises_under_added_mass_and_is_weighed():
    before, decay = seen(700, 1000, seed=3)
    after, _ = seen(700 / np.sqrt(1.05), 1000, seed=4)
    assert after[0] > before[0]
    (mode,) = resolve_by_added_mass(before, after, decay, 1000, 0.05, moving_mass=(0.7, 1.4), highest=2000)
    assert mode.natural_frequency == pytest.approx(700, abs=1)
    assert mode.moving_mass == pytest.approx(1.0, abs=0.05)


def test_a_mode_below_half_the_rate_falls_under_added_mass():
    before, decay = seen(300, 1000, seed=5)
    after, _ = seen(300 / np.sqrt(1.05), 1000, seed=6)
    (mode,) = resolve_by_added_mass(before, after, decay, 1000, 0.05, moving_mass=(0.7, 1.4), highest=2000)
    assert mode.zone == 0


def test_what_cannot_be_told_is_refused():
    with pytest.raises(ValueError, match="two different rates"):
        resolve_by_rates((300, 1), 1000, (300, 1), 1000, 88)
    with pytest.raises(ValueError, match="half the rate"):
        alias_candidates(600, 10, 1000)
    with pytest.raises(ValueError, match="did not move"):
        resolve_by_added_mass((300, 1.0), (301, 1.0), 88, 1000, 0.05)


def test_added_mass_worked_example():
    # k 2e7 N/m, m 3 kg: 410.936 Hz; with 1 kg more 355.881 Hz (derived here)
    bare, loaded = (np.sqrt(2e7 / m) / (2 * np.pi) for m in (3.0, 4.0))
    assert (bare, loaded) == pytest.approx((410.936, 355.881), abs=1e-3)
    found = find_moving_mass(bare, loaded, 1.0)
    assert found.mass == pytest.approx(3.0, rel=1e-9)
    assert found.stiffness == pytest.approx(2e7, rel=1e-9)


def test_added_mass_uncertainty_agrees_with_simulation():
    rng = np.random.default_rng(7)
    stated = find_moving_mass(410.936, 355.881, 1.0, u_bare=0.3, u_loaded=0.2, u_added_mass=0.004)
    drawn = [
        find_moving_mass(410.936 + a, 355.881 + b, 1.0 + c)
        for a, b, c in zip(
            rng.normal(0, 0.3, 4000), rng.normal(0, 0.2, 4000), rng.normal(0, 4e-3, 4000), strict=True
        )
    ]
    # spread of 4000 draws is known to 1.1 %; three of those and a little curvature
    assert np.std([d.mass for d in drawn]) == pytest.approx(stated.u_mass, rel=0.04)
    assert np.std([d.stiffness for d in drawn]) == pytest.approx(stated.u_stiffness, rel=0.04)


def test_mass_that_raises_or_does_not_move_the_frequency_is_refused():
    with pytest.raises(ValueError, match="rose"):
        find_moving_mass(300, 310, 1.0)
    with pytest.raises(ValueError, match="add more mass"):
        find_moving_mass(300, 299.9, 1.0, u_bare=0.1)
    with pytest.raises(ValueError, match="positive"):
        find_moving_mass(300, 290, 0.0)
