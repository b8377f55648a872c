r"""
Speed of a falling mass, and gain of the measuring chain, from the force between two contact starts.

Between two starts the mass leaves one height and comes back to it, so z'' = g - F/m, integrated
twice, must give zero. The force may have passed through any pad, plate and ringing cell: they too
come back to where they were. Derived here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.numerics.uncertainty.linear import Contribution, Estimate

__all__ = [
    "ClosureSetup",
    "ForceMoments",
    "approach_speed",
    "arrival_speed",
    "fall_speed",
    "friction_excess",
    "gain_with_height",
    "gain_without_height",
    "inner_bounce_gain",
    "restitution",
    "speed_until_rest",
]

Floats = NDArray[np.float64]


class ClosureSetup(NamedTuple):
    """What is known of a drop beside the force, with standard uncertainties."""

    mass: float
    """Falling mass. [kg]"""
    gravity: float
    """Local acceleration of free fall. [m/s²]"""
    u_mass: float = 0.0
    """[kg]"""
    u_gravity: float = 0.0
    """[m/s²]"""
    u_gain: float = 0.0
    """Of the gain of the chain, relative; the gain itself is taken as 1. [1]"""
    u_face: float = 0.0
    """Of the pad's face being back at its height when the mass returns. [m]"""


class ForceMoments(NamedTuple):
    """Impulse of the force between two contact starts, and its first moment about the first."""

    interval: float
    """From the first start to the second. [s]"""
    impulse: float
    """Integral of the force. [N s]"""
    trail: float
    """Integral of the force times the time since the first start. [N s²]"""
    covariance: Floats
    """Of (impulse, trail), from the noise of the samples, shape (2, 2)."""
    zero: Floats
    """Change of (impulse, trail) by the standard uncertainty of the zero, shape (2,)."""
    drift: Floats
    """The same for the slope of the zero."""
    u_start: float
    """Of the first start. [s]"""
    u_stop: float
    """Of the second start. [s]"""
    u_rise: float = 0.0
    """Of the height of the second touch over the first, where a plate swings. [m]"""

    @property
    def lead(self) -> float:
        """Integral of the force times the time left to the second start. [N s²]"""
        return self.interval * self.impulse - self.trail


def _combine(
    function: Callable[[float, float, float, float, float, float], float],
    moments: ForceMoments,
    setup: ClosureSetup,
    *,
    gain: bool = True,
    face: bool = True,
) -> Estimate:
    """
    Carry every source through a function of (interval, impulse, trail, mass, gravity, rise).

    ``rise`` is the height of the second touch above the first. A later first start shortens the
    interval and takes impulse times the shift from the first moment; the force itself stays.
    """
    base = (moments.interval, moments.impulse, moments.trail, setup.mass, setup.gravity, 0.0)

    def at(**shift: float) -> float:
        names = ("interval", "impulse", "trail", "mass", "gravity", "rise")
        return function(*(b + shift.get(n, 0.0) for n, b in zip(names, base, strict=True)))

    def half_range(**shift: float) -> float:
        return (at(**shift) - at(**{k: -v for k, v in shift.items()})) / 2

    small_impulse = 1e-6 * max(abs(moments.impulse), 1e-9)
    small_trail = 1e-6 * max(abs(moments.trail), 1e-9)
    slope = np.array(
        [half_range(impulse=small_impulse) / small_impulse, half_range(trail=small_trail) / small_trail]
    )
    parts = [
        Contribution("noise", math.sqrt(max(float(slope @ moments.covariance @ slope), 0.0))),
        Contribution("zero", float(slope @ moments.zero)),
        Contribution("drift", float(slope @ moments.drift)),
        Contribution(
            "first start",
            half_range(interval=-moments.u_start, trail=-moments.u_start * moments.impulse),
        ),
        Contribution("second start", half_range(interval=moments.u_stop)),
        Contribution("mass", half_range(mass=setup.u_mass)),
        Contribution("gravity", half_range(gravity=setup.u_gravity)),
    ]
    if face:
        rise = math.hypot(setup.u_face, moments.u_rise)
        parts.append(Contribution("pad recovery", half_range(rise=rise)))
    if gain:
        parts.append(
            Contribution(
                "gain",
                half_range(impulse=moments.impulse * setup.u_gain, trail=moments.trail * setup.u_gain),
            )
        )
    return Estimate(at(), math.hypot(*(p.u for p in parts)), tuple(parts))


def _check(moments: ForceMoments, setup: ClosureSetup) -> None:
    if not moments.interval > 0:
        raise ValueError(
            f"the second start must come after the first, got an interval of {moments.interval} s"
        )
    if not setup.mass > 0:
        raise ValueError(f"the falling mass must be above 0, got {setup.mass} kg")
    if not setup.gravity > 0:
        raise ValueError(f"gravity must be above 0, got {setup.gravity} m/s²")


def approach_speed(moments: ForceMoments, setup: ClosureSetup) -> Estimate:
    r"""
    Speed at which a falling mass meets the pad, from the force alone.

    Parameters
    ----------
    moments : ForceMoments
        Of the force between this start and the next.
    setup : ClosureSetup
        Mass and gravity.

    Returns
    -------
    Estimate
        Downward speed at the first start, its standard uncertainty and the named contributions.
        [m/s]

    Raises
    ------
    ValueError
        If mass, gravity or the interval are not above 0.

    Notes
    -----
    :math:`v_1=\frac{1}{mT}\int_{t_1}^{t_2}(t_2-t)F\,dt-\frac{gT}{2}` (first-moment closure, derived
    here). No restitution, symmetry or end of contact is needed. Friction on a guide takes weight
    from the falling mass and gives too high a speed; a pad not yet recovered at the second touch
    gives too high a speed by its remaining compression over T; a gain or mass wrong by a share a
    shifts the speed by about 1.5 a, since :math:`v_1+gT/2` is what is measured.

    Examples
    --------
    An elastic bounce at 2 m/s in no time: T = 2 v/g, J = 2 m v, all of it at the first start.

    >>> import numpy as np
    >>> m = ForceMoments(4 / 9.81, 20.0, 0.0, np.zeros((2, 2)), np.zeros(2), np.zeros(2), 0.0, 0.0)
    >>> round(approach_speed(m, ClosureSetup(mass=5.0, gravity=9.81)).value, 12)
    2.0
    """
    _check(moments, setup)
    return _combine(
        lambda T, J, trail, m, g, rise: (T * J - trail) / (m * T) - g * T / 2 - rise / T, moments, setup
    )


def arrival_speed(moments: ForceMoments, setup: ClosureSetup) -> Estimate:
    r"""
    Speed of the mass when it comes back to the height at which it first touched.

    In free flight this is also the speed at which it left that height upward: the rebound speed.

    Parameters
    ----------
    moments : ForceMoments
        Of the force between the first start and the second.
    setup : ClosureSetup
        Mass and gravity.

    Returns
    -------
    Estimate
        Downward speed at the second start, equal to the upward one after the contact. [m/s]

    Raises
    ------
    ValueError
        If mass, gravity or the interval are not above 0.

    Notes
    -----
    :math:`v_2=\frac{gT}{2}-\frac{1}{mT}\int_{t_1}^{t_2}(t-t_1)F\,dt = v_1+gT-J/m`. No instant of
    take-off is used: foam is still squashed then, and its height another. Friction in the flight
    makes the true rebound speed larger than this.

    Examples
    --------
    >>> import numpy as np
    >>> m = ForceMoments(2 / 9.81, 15.0, 0.0, np.zeros((2, 2)), np.zeros(2), np.zeros(2), 0.0, 0.0)
    >>> round(arrival_speed(m, ClosureSetup(mass=5.0, gravity=9.81)).value, 12)
    1.0
    """
    _check(moments, setup)
    return _combine(lambda T, J, trail, m, g, rise: g * T / 2 - trail / (m * T) + rise / T, moments, setup)


def restitution(moments: ForceMoments, setup: ClosureSetup) -> Estimate:
    r"""
    Rebound speed over approach speed, both at the height of first touch.

    Parameters
    ----------
    moments : ForceMoments
        Of the force between the first start and the second.
    setup : ClosureSetup
        Mass and gravity.

    Returns
    -------
    Estimate
        Coefficient of restitution. [1]

    Raises
    ------
    ValueError
        If mass, gravity or the interval are not above 0, or the approach speed is not.

    Notes
    -----
    :math:`e=v_2/v_1` with both speeds from the same closure, so that their common errors are carried
    with their correlation.

    Examples
    --------
    >>> import numpy as np
    >>> m = ForceMoments(2 / 9.81, 15.0, 0.0, np.zeros((2, 2)), np.zeros(2), np.zeros(2), 0.0, 0.0)
    >>> round(restitution(m, ClosureSetup(mass=5.0, gravity=9.81)).value, 12)
    0.5
    """
    v1 = approach_speed(moments, setup)
    if not v1.value > 0:
        raise ValueError(f"the approach speed must be above 0, the force gives {v1.value:.4g} m/s")

    def ratio(T: float, J: float, trail: float, m: float, g: float, rise: float) -> float:
        before = (T * J - trail) / (m * T) - g * T / 2 - rise / T
        return (g * T / 2 - trail / (m * T) + rise / T) / before

    return _combine(ratio, moments, setup)


def fall_speed(height: float, gravity: float, *, u_height: float = 0.0, u_gravity: float = 0.0) -> Estimate:
    r"""
    Speed after a free fall from rest, with its uncertainty.

    Parameters
    ----------
    height : float
        From the striking face at release to the pad at rest, above 0. [m]
    gravity : float
        Local acceleration of free fall. [m/s²]
    u_height, u_gravity : float
        Standard uncertainties. [m], [m/s²]

    Returns
    -------
    Estimate
        Speed at the pad. [m/s]

    Raises
    ------
    ValueError
        If height or gravity are not above 0.

    Notes
    -----
    :math:`v=\sqrt{2gh}`. Air drag and friction on a guide make the true speed smaller.

    Examples
    --------
    >>> v = fall_speed(0.5, 9.80665, u_height=0.001)
    >>> round(v.value, 6), round(v.u, 6)
    (3.131557, 0.003132)
    """
    if not (height > 0 and gravity > 0):
        raise ValueError(f"height and gravity must be above 0, got {height} m and {gravity} m/s²")
    v = math.sqrt(2 * gravity * height)
    parts = (
        Contribution("height", v * u_height / (2 * height)),
        Contribution("gravity", v * u_gravity / (2 * gravity)),
    )
    return Estimate(v, math.hypot(*(p.u for p in parts)), parts)


def gain_with_height(
    moments: ForceMoments, setup: ClosureSetup, height: float, *, u_height: float = 0.0
) -> Estimate:
    r"""
    Gain of the whole chain from one drop of known height: true force over shown force.

    Parameters
    ----------
    moments : ForceMoments
        Of the shown force between the first start and the second.
    setup : ClosureSetup
        Mass and gravity; its ``u_gain`` is not used.
    height : float
        Fall from the striking face at release to the pad at rest, above 0. [m]
    u_height : float
        Its standard uncertainty. [m]

    Returns
    -------
    Estimate
        Factor by which shown force must be multiplied. [1]

    Raises
    ------
    ValueError
        If mass, gravity, height or the interval are not above 0, or the first moment is not.

    Notes
    -----
    :math:`G=m\left(\sqrt{2gh}\,T+gT^2/2\right)/\int_{t_1}^{t_2}(t_2-t)F\,dt` (derived here). Friction
    in the fall makes the true speed smaller and this gain too large.

    Examples
    --------
    >>> import numpy as np
    >>> m = ForceMoments(4 / 9.81, 20.0, 0.0, np.zeros((2, 2)), np.zeros(2), np.zeros(2), 0.0, 0.0)
    >>> round(gain_with_height(m, ClosureSetup(mass=5.0, gravity=9.81), 4 / (2 * 9.81)).value, 12)
    1.0
    """
    _check(moments, setup)
    v = fall_speed(height, setup.gravity, u_height=u_height)
    if not moments.lead > 0:
        raise ValueError(f"the first moment of the force must be above 0, got {moments.lead:.4g} N s²")

    def factor(T: float, J: float, trail: float, m: float, g: float, rise: float) -> float:
        fall = math.sqrt(2 * g * height)
        return m * (fall * T + g * T * T / 2 + rise) / (T * J - trail)

    known = _combine(factor, moments, setup, gain=False)
    by_height = Contribution("height", setup.mass * v.u * moments.interval / moments.lead)
    parts = (*known.contributions, by_height)
    return Estimate(known.value, math.hypot(known.u, by_height.u), parts)


def inner_bounce_gain(before: ForceMoments, after: ForceMoments, mass: float, gravity: float) -> float:
    r"""
    Gain of the chain from one bounce between two flights, without any height.

    Parameters
    ----------
    before : ForceMoments
        From the start before this one to this one.
    after : ForceMoments
        From this start to the next.
    mass, gravity : float
        Falling mass and acceleration of free fall. [kg], [m/s²]

    Returns
    -------
    float
        True force over shown force. [1]

    Notes
    -----
    Speed at the middle start must be the same from both sides:
    :math:`G=\frac{mg(T_a+T_b)/2}{\frac1{T_a}\int(t-t_1)F+\frac1{T_b}\int(t_3-t)F}` (derived here).

    Examples
    --------
    Three starts 0.2 s apart, all of each impulse m g T at its start:

    >>> import numpy as np
    >>> m = ForceMoments(0.2, 9.81, 0.0, np.zeros((2, 2)), np.zeros(2), np.zeros(2), 0.0, 0.0)
    >>> round(inner_bounce_gain(m, m, 5.0, 9.81), 12)
    1.0
    """
    needed = mass * gravity * (before.interval + after.interval) / 2
    return needed / (before.trail / before.interval + after.lead / after.interval)


def gain_without_height(train: Sequence[ForceMoments], setup: ClosureSetup) -> Estimate:
    r"""
    Gain of the whole chain from a train of bounces, with neither height nor speed known.

    Parameters
    ----------
    train : sequence of ForceMoments
        Successive intervals between starts, each beginning where the last one ended; two at least.
    setup : ClosureSetup
        Mass and gravity; its ``u_gain`` is not used.

    Returns
    -------
    Estimate
        True force over shown force. [1]

    Raises
    ------
    ValueError
        If fewer than two intervals are given, or mass, gravity or an interval are not above 0.

    Notes
    -----
    One equation at each inner start (see :func:`inner_bounce_gain`), linear in the gain; they are
    weighed by the inverse of their covariance, with each start's doubt shared by the equations it
    enters (generalised least squares). Friction makes the gain too large by about half its share of
    the weight.

    Examples
    --------
    >>> import numpy as np
    >>> m = ForceMoments(0.2, 9.81, 0.0, np.eye(2) * 1e-6, np.zeros(2), np.zeros(2), 1e-5, 1e-5)
    >>> gain = gain_without_height([m, m], ClosureSetup(mass=5.0, gravity=9.81))
    >>> round(gain.value, 9), 0 < gain.u < 0.01
    (1.0, True)
    """
    if len(train) < 2:
        raise ValueError(f"a gain without height needs two flights at least, got {len(train)} intervals")
    for moments in train:
        _check(moments, setup)
    m, g, n = setup.mass, setup.gravity, len(train)
    needed = np.array([m * g * (a.interval + b.interval) / 2 for a, b in pairwise(train)])
    shown = np.array([a.trail / a.interval + b.lead / b.interval for a, b in pairwise(train)])
    sources = _bounce_sources(train, setup)
    total = sum((s @ s.T for s in sources.values()), np.zeros((n - 1, n - 1)))
    total += 1e-12 * np.diag(needed**2)
    weight = np.linalg.solve(total, shown)
    scale = float(shown @ weight)
    gain = float(needed @ weight) / scale
    linear = weight / scale
    parts = [Contribution(k, float(np.linalg.norm(linear @ s))) for k, s in sources.items()]
    parts.append(Contribution("mass", gain * setup.u_mass / m))
    parts.append(Contribution("gravity", gain * setup.u_gravity / g))
    return Estimate(gain, math.hypot(*(p.u for p in parts)), tuple(parts))


def _bounce_sources(train: Sequence[ForceMoments], setup: ClosureSetup) -> dict[str, Floats]:
    """Change of each inner start's equation by one standard uncertainty of each independent source."""
    n, mass, gravity = len(train), setup.mass, setup.gravity
    noise = np.zeros((n - 1, 2 * n))
    zero = np.zeros((n - 1, 1))
    drift = np.zeros((n - 1, 1))
    starts = np.zeros((n - 1, n + 1))
    face = np.zeros((n - 1, n + 1))
    # the pad is at rest before the first touch, so that height is the reference
    u_face = [0.0, *(math.hypot(setup.u_face, p.u_rise) for p in train)]
    for k, p in enumerate(train):
        root = np.linalg.cholesky(p.covariance + 1e-30 * np.eye(2))
        # equation k - 1 takes trail / T of this interval, equation k takes lead / T
        as_last = np.array([0.0, 1 / p.interval])
        as_first = np.array([1.0, -1 / p.interval])
        for row, slope in ((k - 1, as_last), (k, as_first)):
            if 0 <= row < n - 1:
                noise[row, 2 * k : 2 * k + 2] += slope @ root
                zero[row, 0] += slope @ p.zero
                drift[row, 0] += slope @ p.drift
        # a start moved later by dt (force fixed): interval and first moment change
        by_interval_last = -p.trail / p.interval**2
        by_interval_first = p.trail / p.interval**2
        if k >= 1:
            starts[k - 1, k + 1] += p.u_stop * (by_interval_last - mass * gravity / 2)
            starts[k - 1, k] += p.u_start * (-by_interval_last - p.impulse / p.interval + mass * gravity / 2)
            face[k - 1, k + 1] += mass * u_face[k + 1] / p.interval
            face[k - 1, k] -= mass * u_face[k] / p.interval
        if k < n - 1:
            starts[k, k + 1] += p.u_stop * (by_interval_first - mass * gravity / 2)
            starts[k, k] += p.u_start * (-by_interval_first + p.impulse / p.interval + mass * gravity / 2)
            face[k, k + 1] += mass * u_face[k + 1] / p.interval
            face[k, k] -= mass * u_face[k] / p.interval
    return {"noise": noise, "zero": zero, "drift": drift, "contact starts": starts, "pad recovery": face}


def speed_until_rest(
    impulse: float, duration: float, setup: ClosureSetup, *, u_impulse: float = 0.0
) -> Estimate:
    r"""
    Speed at first touch from everything the cell felt until the mass lies still on the pad.

    Parameters
    ----------
    impulse : float
        Integral of the force from the first start to an instant of rest. [N s]
    duration : float
        From the first start to that instant. [s]
    setup : ClosureSetup
        Mass and gravity.
    u_impulse : float
        Standard uncertainty of the impulse from noise and zero. [N s]

    Returns
    -------
    Estimate
        Downward speed at first touch. [m/s]

    Raises
    ------
    ValueError
        If mass or gravity are not above 0.

    Notes
    -----
    :math:`v_1=J/m-g\,t`: momentum balance. A plausibility check, and the only speed that a mass which
    sticks gives: the zero's error is multiplied by seconds.

    Examples
    --------
    >>> round(speed_until_rest(59.05, 1.0, ClosureSetup(mass=5.0, gravity=9.81)).value, 6)
    2.0
    """
    if not (setup.mass > 0 and setup.gravity > 0):
        raise ValueError(f"mass and gravity must be above 0, got {setup.mass} kg and {setup.gravity} m/s²")
    parts = (
        Contribution("zero and noise", u_impulse / setup.mass),
        Contribution("mass", -impulse * setup.u_mass / setup.mass**2),
        Contribution("gravity", -duration * setup.u_gravity),
        Contribution("gain", impulse * setup.u_gain / setup.mass),
    )
    value = impulse / setup.mass - setup.gravity * duration
    return Estimate(value, math.hypot(*(p.u for p in parts)), parts)


def friction_excess(by_height: Estimate, by_closure: Estimate) -> Estimate:
    """
    How much faster the height says the mass was than the force says, as a share.

    Parameters
    ----------
    by_height, by_closure : Estimate
        The two speeds. [m/s]

    Returns
    -------
    Estimate
        Positive where the mass was slower than a free fall: friction on the guide, a height read too
        large, or a gain too small. [1]

    Raises
    ------
    ValueError
        If the speed by closure is not above 0.

    Notes
    -----
    Friction of 1 % of the weight makes the height's speed 0.5 % too high; closure takes up 0.2 % of
    that, so about 0.3 % remain to be seen (derived here by simulation).

    Examples
    --------
    >>> round(friction_excess(Estimate(3.0, 0.003), Estimate(2.97, 0.004)).value, 4)
    0.0101
    """
    if not by_closure.value > 0:
        raise ValueError(f"the speed by closure must be above 0, got {by_closure.value}")
    ratio = by_height.value / by_closure.value
    parts = (
        Contribution("height speed", by_height.u / by_closure.value),
        Contribution("closure speed", -ratio * by_closure.u / by_closure.value),
    )
    return Estimate(ratio - 1, math.hypot(*(p.u for p in parts)), parts)
