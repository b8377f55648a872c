"""How each error of an inertial sensor moves a speed that was integrated from it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quintain.numerics._rotation import running_integral
from quintain.numerics.imu_errors import ImuErrors
from quintain.numerics.strapdown import Motion, drift_ramp

Floats = NDArray[np.float64]

_DIAGONAL = np.array([0, 4, 8])
_OFF_DIAGONAL = np.array([1, 2, 3, 5, 6, 7])


def speed_uncertainty(
    motion: Motion,
    force: Floats,
    direction: Floats,
    lever_arm: Floats,
    errors: ImuErrors,
    rate: float,
    n_rest: int,
    *,
    gyro: bool,
    rest_after: slice | None = None,
) -> dict[str, Floats]:
    r"""
    Standard uncertainty of the speed along a direction, at every sample, by kind of error.

    The error equations of strapdown integration are linear in the sensor's errors:
    :math:`\delta v = \int (R\,\delta f + \psi \times R f)\,dt`, :math:`\psi = \int R\,\delta\omega\,dt`,
    each less its mean over the rest, because gravity, gyro bias and zero speed are taken from there; the
    lever arm adds :math:`R(\delta\omega \times r) + \psi \times R(\omega \times r)`. A rest afterwards takes
    the straight drift between both rests out of speed and tilt. Second-order terms are left out (derived
    here).
    """
    along = np.einsum("i,nij->nj", direction, motion.attitude)  # the direction in the sensor's axes
    turned = np.einsum("nij,nj->ni", motion.attitude, force)
    up = motion.gravity / np.linalg.norm(motion.gravity)
    if rest_after is not None:
        ramp = drift_ramp(force.shape[0], n_rest, rest_after)

    def speed(columns: Floats) -> Floats:
        v = running_integral(columns - columns[:n_rest].mean(axis=0), rate)
        v -= v[:n_rest].mean(axis=0)
        if rest_after is not None:
            v -= ramp[:, None] * v[rest_after].mean(axis=0)
        return v

    pairs = (along[:, :, None] * force[:, None, :]).reshape(-1, 9)
    scale = speed(pairs)
    found = {
        "accelerometer_bias": errors.acceleration_bias * _norm(speed(along)),
        "accelerometer_scale": errors.acceleration_scale * _norm(scale[:, _DIAGONAL]),
        "accelerometer_misalignment": errors.acceleration_misalignment * _norm(scale[:, _OFF_DIAGONAL]),
    }
    if not gyro:
        return found
    w, still = motion.angular_rate, force[:n_rest].mean(axis=0)
    tip = np.einsum("nij,nj->ni", motion.attitude, np.cross(w, lever_arm))
    tilt_to_acceleration = np.cross(turned, direction)
    tilt_to_tip = np.cross(tip, direction)
    rate_to_tip = np.cross(lever_arm, along)

    def through_gyro(factors: Floats) -> Floats:
        """Speed errors of δω = e_j factors_k, for all j and k, as columns."""
        columns = []
        for factor in factors.T:
            for j in range(3):
                tilt = running_integral(motion.attitude[:, :, j] * factor[:, None], rate)
                if rest_after is not None:
                    seen = tilt[rest_after].mean(axis=0)
                    tilt -= ramp[:, None] * (seen - up * (up @ seen))
                by_tilt = speed(np.einsum("ni,ni->n", tilt, tilt_to_acceleration)[:, None])[:, 0]
                at_tip = rate_to_tip[:, j] * factor + np.einsum("ni,ni->n", tilt, tilt_to_tip)
                columns.append(by_tilt + at_tip)
        return np.stack(columns, axis=1)

    by_rate = through_gyro(w)
    by_force = through_gyro(force - still)
    found["gyro_bias"] = errors.rate_bias * _norm(through_gyro(np.ones((w.shape[0], 1))))
    found["gyro_scale"] = errors.rate_scale * _norm(by_rate[:, _DIAGONAL])
    found["gyro_misalignment"] = errors.rate_misalignment * _norm(by_rate[:, _OFF_DIAGONAL])
    found["gyro_by_acceleration"] = errors.rate_by_acceleration * _norm(by_force)
    return found


def _norm(columns: Floats) -> Floats:
    return np.asarray(np.sqrt((columns**2).sum(axis=1)))
