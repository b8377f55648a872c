"""What holds for every simulated strike, whatever hits whatever."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Plate, Push, Stand, Striker, Target, simulate_strike
from quintain.numerics.pad_law import PadLaw
from quintain.numerics.resonator import Mode, respond_to_modes


def between(low, high):
    return st.floats(low, high, allow_nan=False)


pads = st.builds(
    PadLaw,
    stiffness=between(1e5, 3e6),
    exponent=between(1.0, 2.0),
    bottoming=between(0.02, 0.1),
    bottoming_exponent=st.sampled_from([4.0, 6.5, 8.0]),
    rate_loss=between(0.0, 0.1),
    friction_loss=between(0.0, 0.9),
    branch_stiffness=st.one_of(st.just(0.0), between(1e3, 1e5)),
    branch_time=between(0.002, 0.05),
    dashpot=st.one_of(st.just(0.0), between(1.0, 100.0)),
)
pushes = st.one_of(
    st.none(),
    st.builds(Push, force=between(-300, 800), start=between(-0.02, 0.02), duration=between(0.03, 0.1)),
)
strikers = st.builds(
    Striker,
    mass=between(0.5, 10.0),
    speed=between(0.5, 12.0),
    gap=between(0.0, 0.05),
    push=pushes,
    mass_behind=st.one_of(st.just(0.0), between(0.5, 5.0)),
    joint_frequency=between(10.0, 60.0),
)
cells = st.builds(Cell, between(0.5, 5.0), between(60.0, 800.0), between(0.005, 0.1))
plates = st.one_of(st.none(), st.builds(Plate, between(0.3, 3.0), between(1e5, 2e6), between(0.02, 0.3)))
stands = st.one_of(st.none(), st.builds(Stand, between(10.0, 80.0), between(20.0, 80.0)))
targets = st.one_of(st.builds(Target, pads), st.builds(Target, pads, plates, cells, stands))


@settings(deadline=None, max_examples=60)
@given(strikers, targets)
def test_balances(striker, target):
    m = simulate_strike(striker, target, duration=0.08, rate=10e3)
    energy = m.energy
    scale = max(energy.kinetic.max(), energy.stored.max())
    # The simulator's goal, for rigs nobody has tuned it to.
    assert np.abs(energy.imbalance).max() < 1e-6 * scale
    momentum = striker.mass * m.striker_speed + striker.mass_behind * m.behind_speed
    imbalance = momentum - momentum[0] - m.push_impulse + m.contact_impulse
    assert (
        np.abs(imbalance).max() < 1e-6 * (striker.mass + striker.mass_behind) * np.abs(m.striker_speed).max()
    )


@settings(deadline=None, max_examples=60)
@given(strikers, targets)
def test_contact_only_pushes_and_only_in_contact(striker, target):
    m = simulate_strike(striker, target, duration=0.08, rate=10e3)
    # Take-off is found where the force is zero, to the tolerance.
    assert m.contact_force.min() >= -1e-6 * max(m.contact_force.max(), 1.0)
    assert not m.contact_force[~m.in_contact].any()
    assert (m.compression >= -1e-12).all()
    assert m.leave_times.size in (m.touch_times.size, m.touch_times.size - 1)
    ends = m.leave_times
    assert (m.touch_times[: ends.size] < ends).all()
    assert (ends[: m.touch_times.size - 1] <= m.touch_times[1:]).all()


@settings(deadline=None, max_examples=40)
@given(pads, between(0.5, 8.0), between(0.5, 10.0))
def test_restitution_lies_between_zero_and_one(pad, mass, speed):
    m = simulate_strike(Striker(mass, speed), Target(pad), duration=0.2, rate=1e3)
    if m.leave_times.size:
        assert 0 <= -m.striker_speed[-1] <= speed * (1 + 1e-7)


@settings(deadline=None, max_examples=30)
@given(between(1.0, 3.0), between(0.5, 8.0), between(0.5, 10.0))
def test_lossless_pad_gives_everything_back(exponent, mass, speed):
    m = simulate_strike(Striker(mass, speed), Target(PadLaw(1e5, exponent)), duration=0.5, rate=1e3)
    # Steps of 1e-8 over a contact of some fifty.
    assert abs(-m.striker_speed[-1] / speed - 1) < 1e-6


@settings(deadline=None, max_examples=20)
@given(between(0.001, 0.1), pads)
def test_later_is_only_later(gap, pad):
    target = Target(pad, cell=Cell(3.0, 200.0))
    now = simulate_strike(Striker(3.0, 5.0), target, duration=0.05, rate=1e3)
    later = simulate_strike(Striker(3.0, 5.0, gap=gap), target, duration=0.05 + gap / 5.0, rate=1e3)
    assert abs(later.touch_times[0] - gap / 5.0) < 1e-9
    if now.leave_times.size:
        assert abs(later.leave_times[0] - later.touch_times[0] - now.leave_times[0]) < 1e-7


modes = st.lists(st.tuples(between(20.0, 900.0), between(0.005, 0.5)), min_size=1, max_size=3)


@settings(deadline=None, max_examples=40)
@given(modes, st.integers(0, 1000), between(-3.0, 3.0))
def test_ringing_is_linear_and_shift_free(pairs, seed, factor):
    cell = [Mode(f, z, 1 / len(pairs)) for f, z in pairs]
    rng = np.random.default_rng(seed)
    one, two = rng.normal(size=(2, 300))
    both = respond_to_modes(one + factor * two, 5e3, cell)
    parts = respond_to_modes(one, 5e3, cell) + factor * respond_to_modes(two, 5e3, cell)
    assert np.abs(both - parts).max() < 1e-9
    late = respond_to_modes(np.concatenate([np.zeros(17), [0.0], one]), 5e3, cell)
    start = respond_to_modes(np.concatenate([[0.0], one]), 5e3, cell)
    assert np.abs(late[17:] - start).max() < 1e-9


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 1000), between(100.0, 5000.0), between(0.0, 0.999))
def test_a_perfect_chain_never_exceeds_the_signal(seed, rate, phase):
    signal = np.cumsum(np.random.default_rng(seed).normal(size=2000))
    got = acquire(signal, 1e4, rate=rate, rng=np.random.default_rng(seed), phase=phase, limit=1e3)
    # A cubic may overshoot a rough signal by a part of its steps, not more.
    room = 2 * np.abs(np.diff(signal)).max()
    assert got.force.max() <= signal.max() + room
    assert got.force.min() >= signal.min() - room
