"""All numbers of a limb with shared doubts: to first order and by draws."""

from __future__ import annotations

import numpy as np
import pytest
from tests.simulated_limb import Simulated, simulate_blow

from quintain.numerics.bodies import Push
from quintain.numerics.effective_mass import LimbTrace, join_speed
from quintain.numerics.limb_numbers import (
    INPUTS,
    QUANTITIES,
    LimbDoubts,
    draw_limb,
    improve_first,
    measure_limb,
)

DOUBTS = LimbDoubts(0.003, 0.002, 0.005, 0.02, 5.0, 5e-5, 5e-5, 0.01)


@pytest.fixture(scope="module")
def blow() -> Simulated:
    return simulate_blow(push=Push(300.0, start=-0.03, duration=0.15, rise=0.001))


def _numbers(trace: LimbTrace, blow: Simulated, doubts: LimbDoubts = DOUBTS) -> dict[str, float]:
    found = measure_limb(
        trace, approach_speed=blow.approach_speed, acceleration=blow.acceleration, doubts=doubts
    )
    return {name: e.value for name, e in found.estimates.items()}


def test_values_are_those_of_the_simulation(blow: Simulated) -> None:
    found = _numbers(blow.trace, blow)
    assert found["effective_mass"] == pytest.approx(3.0, rel=0.003)
    assert found["energy"] == pytest.approx(blow.energy, rel=1e-3)
    assert found["stop"] == pytest.approx(blow.stop, abs=2e-5)
    true_peak = float((blow.motion.contact_force * blow.motion.striker_speed).max())
    assert found["peak_power"] == pytest.approx(true_peak, rel=2e-3)
    assert found["mean_power"] == pytest.approx(blow.energy / blow.stop, rel=2e-3)


def test_first_order_and_draws_agree(blow: Simulated) -> None:
    kwargs = {"approach_speed": blow.approach_speed, "acceleration": blow.acceleration, "doubts": DOUBTS}
    linear, drawn = measure_limb(blow.trace, **kwargs), draw_limb(blow.trace, **kwargs)  # type: ignore[arg-type]
    for name in QUANTITIES:
        one, many = linear.estimates[name], drawn[name]
        # standard deviation from 1e5 draws is good to 0.2 %; the rest is curvature
        assert many.u == pytest.approx(one.u, rel=0.03), name
        assert many.value == pytest.approx(one.value, abs=0.05 * one.u), name
        assert many.symmetric[0] == pytest.approx(one.value - 1.96 * one.u, abs=0.1 * one.u), name


def test_correlations_agree_with_those_of_draws(blow: Simulated) -> None:
    found = measure_limb(
        blow.trace, approach_speed=blow.approach_speed, acceleration=blow.acceleration, doubts=DOUBTS
    )
    assert np.allclose(found.covariance, found.covariance.T)
    assert np.linalg.eigvalsh(found.covariance)[0] > -1e-6
    # a scale read too high: mass low, speed and energy high
    only_scale = measure_limb(
        blow.trace, approach_speed=blow.approach_speed, acceleration=blow.acceleration,
        doubts=LimbDoubts(speed_scale=0.01, definition=0.0),
    )  # fmt: skip
    assert only_scale.correlation("effective_mass", "approach_speed") == pytest.approx(-1, abs=1e-6)
    assert only_scale.correlation("energy", "approach_speed") == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("name", INPUTS)
def test_each_contribution_is_what_a_real_error_does(blow: Simulated, name: str) -> None:
    u = 3 * getattr(DOUBTS, name)
    doubts = LimbDoubts(**{n: (u if n == name else 0.0) for n in INPUTS})
    found = measure_limb(
        blow.trace, approach_speed=blow.approach_speed, acceleration=blow.acceleration, doubts=doubts
    )
    t, force, speed = blow.since, blow.motion.force_on_cell, blow.motion.striker_speed
    v1, a0 = blow.approach_speed, blow.acceleration
    end = float(blow.trace.time[-1])
    if name in ("gain", "force"):
        force = force * (1 + u)
    elif name == "speed_scale":
        speed, v1, a0 = speed * (1 + u), v1 * (1 + u), a0 * (1 + u)
    elif name == "speed_offset":
        speed, v1 = speed + u, v1 + u
    elif name == "acceleration":
        a0 = a0 + u
    moved = join_speed(t, force, t + (u if name == "alignment" else 0.0), speed, end=end)
    off = measure_limb(moved, approach_speed=v1, acceleration=a0, doubts=LimbDoubts(definition=0.0))
    if name in ("start", "definition"):  # nothing of the trace moves
        return
    for quantity in ("impulse_to_stop", "effective_mass", "energy", "kinetic_energy", "peak_power"):
        contribution = dict(found.estimates[quantity].contributions).get(name, 0.0)
        change = off.estimates[quantity].value - found.estimates[quantity].value
        # first order: the change of a finite error differs in its second order
        assert change == pytest.approx(contribution, rel=0.08, abs=2e-4 * off.estimates[quantity].value)


def test_offset_of_the_speed_hardly_moves_the_mass(blow: Simulated) -> None:
    found = measure_limb(
        blow.trace, approach_speed=blow.approach_speed, acceleration=blow.acceleration,
        doubts=LimbDoubts(speed_offset=0.1, definition=0.0),
    )  # fmt: skip
    mass, speed = found.estimates["effective_mass"], found.estimates["approach_speed"]
    assert mass.u / mass.value < 0.15 * speed.u / speed.value


def test_the_same_seed_gives_the_same_draws(blow: Simulated) -> None:
    one, two = (
        draw_limb(
            blow.trace, approach_speed=blow.approach_speed, acceleration=0.0, doubts=DOUBTS, n_draws=20_000
        )
        for _ in range(2)
    )
    assert one == two


def test_advice_names_the_largest_gain(blow: Simulated) -> None:
    found = measure_limb(
        blow.trace, approach_speed=blow.approach_speed, acceleration=0.0,
        doubts=LimbDoubts(gain=0.001, speed_scale=0.05, definition=0.0),
    )  # fmt: skip
    assert "speed sensor" in improve_first(found.estimates["effective_mass"])


def test_what_cannot_be_measured_is_refused(blow: Simulated) -> None:
    with pytest.raises(ValueError, match="above 0 m/s"):
        measure_limb(blow.trace, approach_speed=0.0, acceleration=0.0, doubts=DOUBTS)
    with pytest.raises(ValueError, match="without the pad"):
        measure_limb(blow.trace, approach_speed=2.0, acceleration=-1000.0, doubts=DOUBTS)
    with pytest.raises(ValueError, match="the doubt gain"):
        measure_limb(blow.trace, approach_speed=7.0, acceleration=0.0, doubts=LimbDoubts(gain=-1.0))
    short = blow.trace.time < 0.5 * blow.stop
    cut = LimbTrace(*(a[short] for a in blow.trace))
    with pytest.raises(ValueError, match="does not stop"):
        measure_limb(cut, approach_speed=7.0, acceleration=0.0, doubts=DOUBTS)
    with pytest.raises(ValueError, match="1000 draws"):
        draw_limb(blow.trace, approach_speed=7.0, acceleration=0.0, doubts=DOUBTS, n_draws=10)
