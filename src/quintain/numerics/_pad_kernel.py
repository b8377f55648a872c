"""The pad's force law as the simulator's kernels use it, one number at a time."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from quintain.numerics.pad_law import PadLaw

Floats = NDArray[np.float64]


def pack_pad(law: PadLaw) -> Floats:
    """Lay the constants out for the kernels, ``x_d`` and ``tau`` as their inverses."""
    return np.array(
        [
            law.stiffness,
            law.exponent,
            1 / law.bottoming,
            law.bottoming_exponent,
            law.rate_loss,
            law.friction_loss,
            1 / law.friction_speed,
            law.branch_stiffness,
            1 / law.branch_time,
            law.dashpot,
        ]
    )


@njit(cache=True)
def power(x: float, exponent: float) -> float:
    """``x ** exponent`` for x >= 0; the usual exponents by multiplication, many times faster."""
    if exponent == 1.0:
        return x
    if exponent == 1.5:
        return x * math.sqrt(x)
    if exponent == 2.0:
        return x * x
    if exponent == 8.0:
        fourth = x * x * (x * x)
        return fourth * fourth
    return float(x**exponent)


@njit(cache=True)
def elastic_kernel(x: float, pad: Any) -> tuple[float, float]:
    """Elastic force and its slope, continued as an odd function below x = 0 to give crossings a sign."""
    size = abs(x)
    if size == 0.0:
        return 0.0, (pad[0] if pad[1] == 1.0 else 0.0)
    plain = pad[0] * power(size, pad[1])
    stiffening = power(size * pad[2], pad[3])
    force = plain * (1.0 + stiffening)
    slope = (pad[1] * force + pad[3] * plain * stiffening) / size
    return (force if x > 0.0 else -force), slope


@njit(cache=True)
def energy_kernel(x: float, pad: Any) -> float:
    """Elastic energy at compression x."""
    if x <= 0.0:
        return 0.0
    stiffening = power(x * pad[2], pad[3])
    return float(
        pad[0] * x * power(x, pad[1]) * (1.0 / (pad[1] + 1.0) + stiffening / (pad[1] + pad[3] + 1.0))
    )


@njit(cache=True)
def loss_factor(v: float, pad: Any) -> float:
    """``b v + h tanh(v / v_h)``."""
    factor = pad[4] * v
    if pad[5] > 0.0:
        factor += pad[5] * math.tanh(v * pad[6])
    return float(factor)
