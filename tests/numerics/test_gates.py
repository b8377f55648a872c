"""Speed from optical gates, by hand and by chance."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.gates import speed_from_gates


def test_the_speed_is_carried_on_to_the_pad():
    # from rest at 50 m/s²: v = 50 t, x = 25 t²; gates at 0.16 m (t = 0.08) and 0.25 m (t = 0.1), pad at 0.36
    speed = speed_from_gates(0.08, 0.10, 0.09, distance_to_pad=0.11, acceleration=50.0, u_acceleration=0.0)
    assert speed.value == pytest.approx(6.0, abs=1e-12)


def test_stated_uncertainty_agrees_with_draws():
    generator = np.random.default_rng(1)
    drawn = [
        (0.08 + generator.normal(0, 0.001)) / (0.01 + generator.normal(0, 1e-4) - generator.normal(0, 1e-4))
        for _ in range(4000)
    ]
    speed = speed_from_gates(0.0, 0.01, 0.08, u_spacing=0.001, u_time=1e-4, u_acceleration=0.0)
    assert np.std(drawn) == pytest.approx(speed.u, rel=0.05)  # 4000 draws know a deviation to 1.1 %


@pytest.mark.parametrize(
    "arguments", [(0.2, 0.1, 0.1), (0.1, 0.1, 0.1), (0.1, 0.2, 0.0), (0.1, float("nan"), 0.1)]
)
def test_impossible_gates_are_refused(arguments):
    with pytest.raises(ValueError, match="gate"):
        speed_from_gates(*arguments)
