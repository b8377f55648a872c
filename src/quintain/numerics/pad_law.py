r"""
Force law of a pad: what a foam answers to being squashed.

.. math::
    F = F_e(x)\,\bigl(1 + b\,\dot x + h \tanh(\dot x / v_h)\bigr) + k_b\,y + c\,\dot x,
    \qquad F_e(x) = k\,x^n \bigl(1 + (x/x_d)^q\bigr),
    \qquad \dot y = \dot x - y/\tau

``F_e`` is the elastic part: a power law that stiffens as the foam bottoms out near ``x_d``. The rest
is loss: ``b`` grows with speed (Hunt and Crossley 1975), ``h`` does not (friction of the cell walls),
the branch ``k_b, tau`` is a spring and dashpot in series beside the foam (Maxwell), which leaves the
pad squashed at take-off and lets it recover in flight, and ``c`` is a plain dashpot (Kelvin and
Voigt). Every loss takes energy and none gives any. A pad only pushes: a striker that outruns it leaves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["INVENTED_PADS", "PadLaw", "elastic_energy", "elastic_force", "loop_force", "pad_force"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PadLaw:
    """
    Constants of one pad's force law; only the first is needed, every loss is off by default.

    Parameters
    ----------
    stiffness : float
        ``k``, elastic force at 1 m of compression if it never bottomed out. [N/m^n]
    exponent : float
        ``n``, at least 1: 1 for a spring, 3/2 for a ball on a flat (Hertz).
    bottoming : float
        ``x_d``, compression at which bottoming out has doubled the force; infinite for none. [m]
    bottoming_exponent : float
        ``q``, how suddenly it bottoms out.
    rate_loss : float
        ``b``, share of force added per speed. [s/m]
    friction_loss : float
        ``h``, share of force added while squashing and taken away while recovering, below 1.
    friction_speed : float
        ``v_h``, speed over which the friction loss changes sign. [m/s]
    branch_stiffness, branch_time : float
        ``k_b`` [N/m] and ``tau`` [s] of the slow branch.
    dashpot : float
        ``c``. [N s/m]

    Raises
    ------
    ValueError
        If a constant lies outside the range in which the law only takes energy.

    References
    ----------
    K. H. Hunt and F. R. E. Crossley, "Coefficient of restitution interpreted as damping in
    vibroimpact", J. Appl. Mech. 42 (1975) 440, doi:10.1115/1.3423596, for the rate loss; the sum is
    our own choice.

    Examples
    --------
    >>> PadLaw(stiffness=8e5, exponent=1.5, bottoming=0.035, friction_loss=0.5).exponent
    1.5
    """

    stiffness: float
    exponent: float = 1.0
    bottoming: float = math.inf
    bottoming_exponent: float = 8.0
    rate_loss: float = 0.0
    friction_loss: float = 0.0
    friction_speed: float = 0.8
    branch_stiffness: float = 0.0
    branch_time: float = 0.01
    dashpot: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if math.isnan(value) or value < 0 or (math.isinf(value) and field.name != "bottoming"):
                raise ValueError(f"{field.name} of a pad must be a number, 0 or above, got {value}")
        for name in ("stiffness", "bottoming", "bottoming_exponent", "friction_speed", "branch_time"):
            if getattr(self, name) == 0:
                raise ValueError(f"{name} of a pad must be above 0, got 0")
        if self.exponent < 1:
            raise ValueError(f"exponent of a pad must be at least 1, got {self.exponent}")
        if self.friction_loss >= 1:
            raise ValueError(f"friction_loss of a pad must be below 1, got {self.friction_loss}")


INVENTED_PADS: dict[str, PadLaw] = {
    "firm": PadLaw(8e5, 1.5, 0.045, friction_loss=0.55),
    "soft": PadLaw(3e5, 1.4, 0.060, friction_loss=0.60),
    "thin": PadLaw(2.2e6, 1.6, 0.030, friction_loss=0.50),
    "slow": PadLaw(6e5, 1.5, 0.050, friction_loss=0.45, branch_stiffness=4e4, branch_time=0.01),
    "dead": PadLaw(5e5, 1.5, 0.050, friction_loss=0.60, branch_stiffness=6e4, branch_time=0.01),
    "lively": PadLaw(6e5, 1.5, 0.050, rate_loss=0.06, friction_loss=0.20),
}
"""Foams made up for examples and tests; none describes a product or a measurement."""


def elastic_force(law: PadLaw, compression: ArrayLike) -> Floats:
    """
    Force of the pad squashed so slowly that nothing is lost.

    Parameters
    ----------
    law : PadLaw
        Constants of the pad.
    compression : array_like
        How far the pad is squashed; a negative value means not touched. [m]

    Returns
    -------
    force : ndarray, shape of ``compression``
        Elastic force. [N]

    Examples
    --------
    Bottoming out has doubled the force at ``x_d``:

    >>> float(elastic_force(PadLaw(1000.0, bottoming=0.05), 0.05))
    100.0
    """
    x = np.maximum(np.asarray(compression, dtype=float), 0.0)
    force = law.stiffness * x**law.exponent * (1 + (x / law.bottoming) ** law.bottoming_exponent)
    return np.asarray(force)


def elastic_energy(law: PadLaw, compression: ArrayLike) -> Floats:
    """
    Work that squashes the pad so slowly that nothing is lost.

    Parameters
    ----------
    law : PadLaw
        Constants of the pad.
    compression : array_like
        How far the pad is squashed. [m]

    Returns
    -------
    energy : ndarray, shape of ``compression``
        Integral of :func:`elastic_force` from zero. [J]

    Examples
    --------
    A spring of 1000 N/m squashed by 0.1 m holds 5 J:

    >>> round(float(elastic_energy(PadLaw(1000.0), 0.1)), 9)
    5.0
    """
    x = np.maximum(np.asarray(compression, dtype=float), 0.0)
    n, q = law.exponent, law.bottoming_exponent
    energy = law.stiffness * x ** (n + 1) * (1 / (n + 1) + (x / law.bottoming) ** q / (n + q + 1))
    return np.asarray(energy)


def pad_force(law: PadLaw, compression: ArrayLike, speed: ArrayLike, *, branch: ArrayLike = 0.0) -> Floats:
    """
    Force of a pad at one instant.

    Parameters
    ----------
    law : PadLaw
        Constants of the pad.
    compression, speed : array_like
        How far the pad is squashed [m], and how fast that grows [m/s].
    branch : array_like
        Stretch ``y`` of the slow branch; it depends on the past, see :func:`loop_force`. [m]

    Returns
    -------
    force : ndarray
        Force, never below zero: a pad does not pull. [N]

    Examples
    --------
    >>> float(pad_force(PadLaw(1000.0, rate_loss=0.1), 0.05, 2.0))
    60.0
    """
    v = np.asarray(speed, dtype=float)
    factor = 1 + law.rate_loss * v + law.friction_loss * np.tanh(v / law.friction_speed)
    force = elastic_force(law, compression) * factor
    force = force + law.branch_stiffness * np.asarray(branch, dtype=float) + law.dashpot * v
    return np.asarray(np.where(np.asarray(compression) > 0, np.maximum(force, 0.0), 0.0))


def loop_force(law: PadLaw, compression: ArrayLike, rate: float) -> Floats:
    """
    Force of a pad that is squashed along a given path, as a press or a recorded drop does.

    Parameters
    ----------
    law : PadLaw
        Constants of the pad.
    compression : array_like, shape (n,)
        Path, starting from a rested pad, evenly sampled. [m]
    rate : float
        Samples per second of the path. [Hz]

    Returns
    -------
    force : ndarray, shape (n,)
        Force along the path. [N]

    Raises
    ------
    ValueError
        If fewer than two samples are given.

    Notes
    -----
    Speed comes from central differences, the branch is exact for a path made of straight pieces; both
    err by the square of the sampling interval.

    Examples
    --------
    Squashed by 10 mm in 1 s and held, the branch relaxes and the elastic part stays:

    >>> law = PadLaw(1000.0, branch_stiffness=500.0, branch_time=0.1)
    >>> path = np.minimum(np.arange(3000) / 1000, 1.0) * 0.01
    >>> np.round(loop_force(law, path, 1000.0)[[999, 2999]], 3)
    array([10.49, 10.  ])
    """
    x = np.asarray(compression, dtype=float)
    if x.size < 2:
        raise ValueError(f"need at least 2 samples of compression, got {x.size}")
    fade = math.exp(-1 / (rate * law.branch_time))
    held = (1 - fade) * rate * law.branch_time
    stretch = np.zeros(x.size)
    if law.branch_stiffness > 0:
        from scipy.signal import lfilter

        stretch[1:] = lfilter([held], [1.0, -fade], np.diff(x))
    return pad_force(law, x, np.gradient(x, 1 / rate), branch=stretch)
