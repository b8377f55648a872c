r"""
The simulator: a striker, a pad and a rig, followed through every contact.

The chain, one dimension, positions counted towards the ground::

    push -> [mass behind] = joint = [striker]  pad  [plate] = its pad = [cell] = gauge = [stand] = ground

The contact between striker and pad makes and breaks; everything else stays together. It serves as the
truth of the tests, makes the demonstration, and designs targets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.numerics import _motion as m
from quintain.numerics._pad_kernel import pack_pad
from quintain.numerics.pad_law import PadLaw
from quintain.numerics.resonator import Mode, respond_to_modes

__all__ = [
    "Cell",
    "Energy",
    "Motion",
    "Plate",
    "Push",
    "Stand",
    "Striker",
    "Target",
    "simulate_drop",
    "simulate_strike",
]

Floats = NDArray[np.float64]


def _check(owner: str, above: dict[str, float], from_zero: dict[str, float] | None = None) -> None:
    for name, value in above.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} of {owner} must be above 0, got {value}")
    for name, value in (from_zero or {}).items():
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} of {owner} must be 0 or above, got {value}")


@dataclass(frozen=True)
class Push:
    """
    Force of the muscles: rises and falls along half a cosine and is constant between.

    Parameters
    ----------
    force : float
        Height; negative pulls back. [N]
    start : float
        When it begins; may lie before the contact or before the simulation. [s]
    duration : float
        From start to end. [s]
    rise : float
        Length of each edge, at most half the duration. [s]
    """

    force: float
    start: float = 0.0
    duration: float = 0.050
    rise: float = 0.010

    def __post_init__(self) -> None:
        _check("a push", {"duration": self.duration, "rise": self.rise})
        if not (math.isfinite(self.force) and math.isfinite(self.start)):
            raise ValueError(f"force and start of a push must be finite, got {self.force} N, {self.start} s")
        if self.rise > self.duration / 2:
            raise ValueError(f"rise of a push must be at most half its {self.duration} s, got {self.rise} s")


@dataclass(frozen=True)
class Striker:
    """
    What hits: one mass, or two joined by a spring and a dashpot.

    Parameters
    ----------
    mass : float
        Mass in front, that touches the pad. [kg]
    speed : float
        Speed of all of it at time zero, towards the pad. [m/s]
    gap : float
        Distance to the pad at time zero. [m]
    push : Push, optional
        Force on the mass behind if there is one, else on the mass in front.
    mass_behind : float
        Second mass; zero for none. [kg]
    joint_frequency : float
        Natural frequency of the two masses against each other, free of all else. [Hz]
    joint_damping : float
        Damping ratio of that motion.
    """

    mass: float
    speed: float
    gap: float = 0.0
    push: Push | None = None
    mass_behind: float = 0.0
    joint_frequency: float = 30.0
    joint_damping: float = 0.3

    def __post_init__(self) -> None:
        _check(
            "a striker",
            {"mass": self.mass, "joint_frequency": self.joint_frequency},
            {"gap": self.gap, "mass_behind": self.mass_behind, "joint_damping": self.joint_damping},
        )
        if not math.isfinite(self.speed):
            raise ValueError(f"speed of a striker must be finite, got {self.speed} m/s")


@dataclass(frozen=True)
class Plate:
    """
    A plate behind the contact pad, held on a pad of its own that pushes and pulls.

    Parameters
    ----------
    mass : float
        Its mass. [kg]
    stiffness : float
        Stiffness of its pad for small motion. [N/m]
    damping_ratio : float
        Damping of the plate on its pad with the cell held still.
    bottoming : float
        Compression at which its pad has become twice as stiff as a spring; infinite for none. [m]
    bottoming_exponent : float
        How suddenly it does.
    """

    mass: float
    stiffness: float
    damping_ratio: float = 0.1
    bottoming: float = math.inf
    bottoming_exponent: float = 2.0

    def __post_init__(self) -> None:
        _check(
            "a plate",
            {"mass": self.mass, "stiffness": self.stiffness, "bottoming_exponent": self.bottoming_exponent},
            {"damping_ratio": self.damping_ratio},
        )
        if not self.bottoming > 0:
            raise ValueError(f"bottoming of a plate must be above 0 m, got {self.bottoming} m")


@dataclass(frozen=True)
class Cell:
    """
    The load cell: a moving mass on the spring that the gauge reads.

    Parameters
    ----------
    moving_mass : float
        Mass in front of the gauge. [kg]
    natural_frequency, damping_ratio : float
        Of that mass on the cell with its base held still. [Hz], no unit
    more_modes : tuple of Mode
        Further modes that the gauge shows beside the first; the first has the share they leave of 1.
        They ring with the force on the cell and do not act back on it.
    """

    moving_mass: float
    natural_frequency: float
    damping_ratio: float = 0.02
    more_modes: tuple[Mode, ...] = ()

    def __post_init__(self) -> None:
        _check(
            "a cell",
            {"moving_mass": self.moving_mass, "natural_frequency": self.natural_frequency},
            {"damping_ratio": self.damping_ratio},
        )

    @property
    def stiffness(self) -> float:
        """Stiffness of the cell. [N/m]"""
        return self.moving_mass * (2 * math.pi * self.natural_frequency) ** 2


@dataclass(frozen=True)
class Stand:
    """
    What the cell is mounted on, a mass on a spring.

    Parameters
    ----------
    mass : float
        Its mass. [kg]
    natural_frequency, damping_ratio : float
        Of that mass alone on its spring. [Hz], no unit
    """

    mass: float
    natural_frequency: float
    damping_ratio: float = 0.05

    def __post_init__(self) -> None:
        _check(
            "a stand",
            {"mass": self.mass, "natural_frequency": self.natural_frequency},
            {"damping_ratio": self.damping_ratio},
        )


@dataclass(frozen=True)
class Target:
    """
    What is hit: a pad, and behind it what there is of plate, cell and stand; else rigid ground.

    Parameters
    ----------
    pad : PadLaw
        Between striker and plate or cell.
    plate : Plate, optional
        Behind the pad.
    cell : Cell, optional
        Behind pad and plate.
    stand : Stand, optional
        Below the cell; without one the cell stands on the ground.
    """

    pad: PadLaw
    plate: Plate | None = None
    cell: Cell | None = None
    stand: Stand | None = None

    def __post_init__(self) -> None:
        if self.stand is not None and self.cell is None:
            raise ValueError("a stand needs a cell on it, got a target with a stand and no cell")


class Energy(NamedTuple):
    """Where the energy is, each shape (n,) in J; see `Motion.energy`."""

    kinetic: Floats
    """Of all moving masses."""
    stored: Floats
    """In pad, joint, plate's pad, cell and stand."""
    height: Floats
    """Of the striker in gravity, zero at time zero."""
    lost_in_pad: Floats
    """In the contact pad, while squashed and while it recovers."""
    lost_elsewhere: Floats
    """In joint, plate's pad, cell, stand and rail friction."""
    work_of_push: Floats
    """Done by the push since time zero."""

    @property
    def imbalance(self) -> Floats:
        """What is missing in the balance since time zero: an error of the integration. [J]"""
        have = self.kinetic + self.stored + self.height + self.lost_in_pad + self.lost_elsewhere
        return np.asarray(have - self.work_of_push - (have[0] - self.work_of_push[0]))


@dataclass(frozen=True, eq=False)
class Motion:
    """
    A simulated strike or drop: arrays of shape (n,) over time, forces in N, positions in m, speeds in m/s.

    Positions count towards the ground and are zero where each body rests before the strike (striker:
    where it just touches the pad).
    """

    rate: float
    """Points per second. [Hz]"""
    time: Floats
    """From time zero. [s]"""
    contact_force: Floats
    """Between striker and pad."""
    force_on_cell: Floats
    """On the cell, behind pad and plate: what a perfect correction of the ringing returns."""
    cell_output: Floats
    """What the gauge shows: the cell's spring force with all its ringing; steady forces read true."""
    push: Floats
    """Force of the push."""
    striker_position: Floats
    striker_speed: Floats
    striker_acceleration: Floats
    """Of the mass in front, gravity included. [m/s²]"""
    behind_position: Floats
    behind_speed: Floats
    plate_position: Floats
    plate_speed: Floats
    cell_position: Floats
    cell_speed: Floats
    stand_position: Floats
    stand_speed: Floats
    compression: Floats
    """Of the contact pad; in flight, what it has not yet recovered."""
    in_contact: NDArray[np.bool_]
    """Whether striker and pad touch."""
    contact_impulse: Floats
    """Integral of the contact force since time zero. [N s]"""
    cell_impulse: Floats
    """Integral of the force on the cell since time zero. [N s]"""
    output_impulse: Floats
    """Integral of the force in the cell's spring since time zero. [N s]"""
    push_impulse: Floats
    """Integral of the push since time zero. [N s]"""
    friction_impulse: Floats
    """Integral of rail friction, counted against the motion towards the pad, since time zero. [N s]"""
    energy: Energy
    """The energy balance."""
    touch_times: Floats
    """When contacts begin, located to the tolerance, shape (n_contacts,). [s]"""
    leave_times: Floats
    """When contacts end, shape (n_contacts,) or one fewer if the last goes on. [s]"""
    n_steps: int
    """Steps of the integration."""


def _pack(striker: Striker, target: Target, gravity: float, friction: float) -> Floats:
    b: Floats = np.zeros(m.N_BODY)
    b[m.M_STRIKER] = striker.mass
    if striker.mass_behind > 0:
        shared = striker.mass * striker.mass_behind / (striker.mass + striker.mass_behind)
        omega = 2 * math.pi * striker.joint_frequency
        b[m.M_BEHIND] = striker.mass_behind
        b[m.K_JOINT] = shared * omega**2
        b[m.C_JOINT] = 2 * striker.joint_damping * shared * omega
    if target.plate is not None:
        plate = target.plate
        b[m.M_PLATE] = plate.mass
        b[m.K_PLATE] = plate.stiffness
        b[m.C_PLATE] = 2 * plate.damping_ratio * math.sqrt(plate.stiffness * plate.mass)
        b[m.BOTTOM_PLATE] = 1 / plate.bottoming
        b[m.POWER_PLATE] = plate.bottoming_exponent
    if target.cell is not None:
        cell = target.cell
        b[m.M_CELL] = cell.moving_mass
        b[m.K_CELL] = cell.stiffness
        b[m.C_CELL] = 2 * cell.damping_ratio * math.sqrt(cell.stiffness * cell.moving_mass)
    if target.stand is not None:
        omega = 2 * math.pi * target.stand.natural_frequency
        b[m.M_STAND] = target.stand.mass
        b[m.K_STAND] = target.stand.mass * omega**2
        b[m.C_STAND] = 2 * target.stand.damping_ratio * target.stand.mass * omega
    b[m.GRAVITY] = gravity
    b[m.FRICTION] = friction
    b[m.PUSH_RISE] = 1.0
    if striker.push is not None:
        push = striker.push
        b[m.PUSH_FORCE : m.PUSH_DURATION + 1] = push.force, push.start, push.rise, push.duration
    return b


def simulate_strike(
    striker: Striker,
    target: Target,
    *,
    duration: float,
    rate: float = 100e3,
    gravity: float = 0.0,
    friction: float = 0.0,
    tolerance: float = 1e-8,
    step: float | None = None,
) -> Motion:
    r"""
    Follow a striker into a target and, if it comes back, into every further contact.

    Parameters
    ----------
    striker : Striker
        What hits.
    target : Target
        What is hit, at rest at time zero.
    duration : float
        How long to follow. [s]
    rate : float
        Points of the result per second; does not change the motion. [Hz]
    gravity : float
        Acceleration of the striker towards the pad: local g for a vertical drop, zero for a
        horizontal strike. [m/s²]
    friction : float
        Friction of a guide rail, against the motion. [N]
    tolerance : float
        Error allowed in one step, as a share of the speeds in play.
    step : float, optional
        Take steps of this length whatever the error, to study convergence. [s]

    Returns
    -------
    motion : Motion
        The motion at evenly spaced instants from zero to ``duration``.

    Raises
    ------
    ValueError
        If an argument makes no sense, or the motion cannot be followed (too many contacts, or
        constants so extreme that no step is short enough).

    Notes
    -----
    Gravity acts on the striker alone: plate, cell and stand are counted from where they rest under
    their own weight, as is the zero of the gauge. The pad's face has no mass. Rail friction changes
    sign over 5 mm/s, so a resting striker creeps instead of sticking.

    Examples
    --------
    A mass of 5 kg dropped 1 m onto a spring of 50 kN/m without losses (peak force with its weight
    by the textbook formula :math:`m g (1 + \sqrt{1 + 2 k h / (m g)})` = 2263.92 N):

    >>> speed = (2 * 9.80665 * 1.0) ** 0.5
    >>> drop = simulate_strike(
    ...     Striker(5.0, speed), Target(PadLaw(50e3)), duration=0.040, gravity=9.80665
    ... )
    >>> print(f"{drop.contact_force.max():.2f} N, {1000 * drop.leave_times[0]:.3f} ms")
    2263.92 N, 31.859 ms
    """
    _check(
        "a simulation",
        {"duration": duration, "rate": rate, "tolerance": tolerance, "step": 1.0 if step is None else step},
        {"friction": friction},
    )
    if not math.isfinite(gravity):
        raise ValueError(f"gravity must be finite, got {gravity} m/s²")
    n_out = math.floor(duration * rate * (1 + 1e-12)) + 1
    if n_out > 50_000_000:
        raise ValueError(
            f"{duration} s at {rate} Hz makes {n_out} points, more than 50 million; lower the rate"
        )

    start = np.zeros(m.N_STATE)
    start[m.XS] = start[m.XQ] = -striker.gap
    start[m.VS] = start[m.VQ] = striker.speed
    pushed = 0.0
    longest = 2e-3
    if striker.push is not None:
        pushed = abs(striker.push.force) * striker.push.duration / (striker.mass + striker.mass_behind)
        longest = min(longest, striker.push.rise / 2)
    # What errors are measured by: the speed of approach, or what the push can give to a striker at rest.
    speed = max(abs(striker.speed), math.sqrt(2 * abs(gravity) * striker.gap)) or pushed or 1e-3
    size = np.full(m.N_MOVING, tolerance * speed * 1e-3)
    size[[m.VS, m.VQ, m.VP, m.VT, m.VB]] = tolerance * speed
    states, records, events, n_events, n_steps = m.integrate(
        start,
        _pack(striker, target, gravity, friction),
        pack_pad(target.pad),
        n_out,
        1 / rate,
        size,
        longest if step is None else step,
        step is not None,
    )
    if n_steps == -1:
        raise ValueError("the motion cannot be followed: no step is short enough for these constants")
    if n_steps == -2:
        raise ValueError(
            f"the motion cannot be followed: more than {events.size} makes and breaks of the contact"
        )
    return _motion(striker, target, gravity, rate, states, records, events[:n_events], n_steps)


def _motion(
    striker: Striker,
    target: Target,
    gravity: float,
    rate: float,
    s: Floats,
    r: Floats,
    events: Floats,
    n_steps: int,
) -> Motion:
    """Name the columns."""
    output = r[m.F_OUTPUT]
    if target.cell is not None and target.cell.more_modes:
        more = target.cell.more_modes
        total = sum(mode.share for mode in more)
        output = (1 - total) * output
        for mode in more:
            alone = Mode(mode.natural_frequency, mode.damping_ratio)
            output = output + mode.share * respond_to_modes(r[m.F_CELL], rate, [alone])
    weight = gravity * (striker.mass * s[m.XS] + striker.mass_behind * s[m.XQ])
    energy = Energy(
        kinetic=r[m.KINETIC],
        stored=r[m.STORED],
        height=-(weight - weight[0]),
        lost_in_pad=s[m.L_PAD],
        lost_elsewhere=s[m.L_JOINT : m.L_FRICTION + 1].sum(axis=0),
        work_of_push=s[m.W_PUSH],
    )
    return Motion(
        rate=rate,
        time=np.arange(s.shape[1]) / rate,
        contact_force=r[m.F_CONTACT],
        force_on_cell=r[m.F_CELL],
        cell_output=output,
        push=r[m.F_PUSH],
        striker_position=s[m.XS],
        striker_speed=s[m.VS],
        striker_acceleration=r[m.ACCELERATION],
        behind_position=s[m.XQ],
        behind_speed=s[m.VQ],
        plate_position=s[m.XP],
        plate_speed=s[m.VP],
        cell_position=s[m.XT],
        cell_speed=s[m.VT],
        stand_position=s[m.XB],
        stand_speed=s[m.VB],
        compression=r[m.COMPRESSION],
        in_contact=r[m.TOUCHING] > 0,
        contact_impulse=s[m.J_CONTACT],
        cell_impulse=s[m.J_CELL],
        output_impulse=s[m.J_OUTPUT],
        push_impulse=s[m.J_PUSH],
        friction_impulse=s[m.J_FRICTION],
        energy=energy,
        touch_times=events[0::2],
        leave_times=events[1::2],
        n_steps=n_steps,
    )


def simulate_drop(
    mass: float,
    target: Target,
    *,
    height: float,
    duration: float,
    gravity: float = 9.80665,
    friction: float = 0.0,
    rate: float = 100e3,
    tolerance: float = 1e-8,
) -> Motion:
    """
    Drop a mass from rest and follow its bounces.

    Parameters
    ----------
    mass : float
        The falling mass. [kg]
    target : Target
        What it falls on.
    height : float
        From its face to the pad at rest. [m]
    duration : float
        How long to follow, from release. [s]
    gravity : float
        Local acceleration of free fall; default is the standard value. [m/s²]
    friction, rate, tolerance : float
        As in :func:`simulate_strike`.

    Returns
    -------
    motion : Motion
        From release on. The first contact begins at ``touch_times[0]``.

    Raises
    ------
    ValueError
        As :func:`simulate_strike`, or if the height or gravity is not above zero.

    Examples
    --------
    From 1 m the fall takes 0.4516 s:

    >>> drop = simulate_drop(5.0, Target(PadLaw(50e3)), height=1.0, duration=0.5)
    >>> print(f"{drop.touch_times[0]:.4f} s")
    0.4516 s
    """
    _check("a drop", {"height": height, "gravity": gravity})
    return simulate_strike(
        Striker(mass, 0.0, gap=height),
        target,
        duration=duration,
        rate=rate,
        gravity=gravity,
        friction=friction,
        tolerance=tolerance,
    )
