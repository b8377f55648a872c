"""Energy and power of a limb against the simulator's own balance."""

from __future__ import annotations

import numpy as np
import pytest
from tests.simulated_limb import simulate_blow

from quintain.numerics.energy import energy_to, kinetic_energy, mean_power, peak_power, power, running_energy


@pytest.mark.parametrize("pad", ["firm", "soft", "thin"])
def test_energy_into_the_pad_is_the_work_of_the_hand(pad: str) -> None:
    blow = simulate_blow(pad=pad)
    # 0.05 %: grids of 20 us
    assert energy_to(blow.trace, blow.stop) == pytest.approx(blow.energy, rel=5e-4)


def test_without_a_push_all_kinetic_energy_goes_into_pad_and_cell() -> None:
    blow = simulate_blow()
    whole = kinetic_energy(3.0, blow.approach_speed)
    assert energy_to(blow.trace, blow.stop) == pytest.approx(whole, rel=1e-3)


def test_power_integrates_to_energy_and_peaks_on_the_way_in() -> None:
    blow = simulate_blow()
    t = blow.trace
    i = int(np.argmax(power(t)))
    assert 0 < t.time[i] < blow.stop
    assert peak_power(t) == power(t)[i]
    assert np.trapezoid(power(t), t.time) == pytest.approx(running_energy(t)[-1], rel=1e-4)
    assert mean_power(energy_to(t, blow.stop), blow.stop) < peak_power(t)


def test_bad_windows_are_refused() -> None:
    blow = simulate_blow()
    with pytest.raises(ValueError, match="inside the trace"):
        energy_to(blow.trace, 1.0)
    with pytest.raises(ValueError, match="above 0 s"):
        mean_power(10.0, 0.0)
