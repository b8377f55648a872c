"""Calibration of an accelerometer by laying it on its six sides."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics._rotation import as_vectors
from quintain.numerics.free_fall import STANDARD_GRAVITY
from quintain.numerics.imu_errors import UNCALIBRATED, ImuErrors

__all__ = ["SixPositionCalibration", "fit_six_position"]

Floats = NDArray[np.float64]


class SixPositionCalibration(NamedTuple):
    """
    From what an accelerometer shows to the specific force: ``matrix @ (shown - bias)``.

    ``bias`` (3,) [m/s²] and ``matrix`` (3, 3) [1] with standard uncertainties alike on all axes:
    ``u_bias`` [m/s²], ``u_scale`` [1] and ``u_misalignment`` [rad]. ``residual`` is the standard deviation
    left by the fit [m/s²].
    """

    bias: Floats
    matrix: Floats
    u_bias: float
    u_scale: float
    u_misalignment: float
    residual: float

    def apply(self, shown: ArrayLike) -> Floats:
        """Calibrate readings of shape (n, 3). [m/s²]"""
        return np.asarray((np.asarray(shown, dtype=float) - self.bias) @ self.matrix.T)

    def errors(self, gyro: ImuErrors = UNCALIBRATED) -> ImuErrors:
        """What is left of the accelerometer's errors, beside those of a gyro."""
        return gyro._replace(
            acceleration_bias=self.u_bias,
            acceleration_scale=self.u_scale,
            acceleration_misalignment=self.u_misalignment,
        )


def fit_six_position(
    readings: ArrayLike,
    *,
    gravity: float = STANDARD_GRAVITY,
    u_gravity: float = 0.005,
    u_level: float = math.radians(0.5),
    u_reading: float = 0.005,
) -> SixPositionCalibration:
    r"""
    Fit bias, scale and misalignment of an accelerometer from its readings at rest on six sides.

    Parameters
    ----------
    readings : array_like, shape (m, 3)
        Mean reading of each still position, at least six: every axis once up and once down, in any
        order, also repeatedly. [m/s²]
    gravity, u_gravity : float
        Acceleration of free fall and its standard uncertainty; the default holds at a known latitude. [m/s²]
    u_level : float
        Standard uncertainty of how level each side lay. [rad]
    u_reading : float
        Standard uncertainty of one mean reading: drift with temperature, resolution. [m/s²]

    Returns
    -------
    SixPositionCalibration
        Least squares over all positions.

    Raises
    ------
    ValueError
        If a side is missing, a reading is no rest (its length is not near gravity), or lies askew.

    Notes
    -----
    The model is :math:`f = M (y - b)`; each position states :math:`f = \pm g\,e_k`, so
    :math:`y = b + M^{-1} f` is linear in twelve numbers. A side that is not level by :math:`\theta` shows
    :math:`g\theta` on the other axes: this goes into bias and misalignment, and only as
    :math:`\theta^2/2` into the scale. Opposite sides of one true block cancel it for the misalignment
    only where the block's sides are parallel. Compare IEEE Std 1293 (from memory), with a dividing
    head.

    Examples
    --------
    >>> import numpy as np
    >>> sides = 9.80665 * np.vstack([np.eye(3), -np.eye(3)])
    >>> fit = fit_six_position(1.02 * sides + [0.2, 0.0, -0.1])
    >>> fit.bias.round(6).tolist(), fit.matrix.diagonal().round(6).tolist()
    ([0.2, 0.0, -0.1], [0.980392, 0.980392, 0.980392])
    """
    y = as_vectors(readings, "readings")
    lengths = np.linalg.norm(y, axis=1)
    if y.shape[0] < 6 or (np.abs(lengths / gravity - 1) > 0.2).any():
        raise ValueError(
            f"need at least six positions at rest, each reading about {gravity:.2f} m/s², got lengths "
            f"{np.round(lengths, 2).tolist()}; check unit and stillness"
        )
    axis = np.argmax(np.abs(y), axis=1)
    sign = np.sign(y[np.arange(y.shape[0]), axis])
    askew = np.abs(y[np.arange(y.shape[0]), axis]) < math.cos(math.radians(20)) * lengths
    if askew.any():
        i = int(np.flatnonzero(askew)[0])
        raise ValueError(f"position {i + 1} lies more than 20 degrees askew: {y[i].round(2).tolist()} m/s²")
    sides = {(int(k), int(s)) for k, s in zip(axis, sign, strict=True)}
    missing = [
        f"{'xyz'[k]} {'up' if s > 0 else 'down'}" for k in range(3) for s in (1, -1) if (k, s) not in sides
    ]
    if missing:
        raise ValueError(f"every axis must lie once up and once down; missing: {', '.join(missing)}")
    force = np.zeros_like(y)
    force[np.arange(y.shape[0]), axis] = sign * gravity
    design = np.column_stack([np.ones(y.shape[0]), force])
    solution, *_ = np.linalg.lstsq(design, y, rcond=None)
    left = y - design @ solution
    free = 3 * (y.shape[0] - 4)
    residual = math.sqrt(float((left**2).sum()) / free)
    bias, mixing = solution[0], solution[1:].T
    covariance = np.linalg.inv(design.T @ design)
    # a side out of level shows across gravity only; scatter of the readings shows everywhere
    across = math.hypot(u_reading, gravity * u_level)
    u_one = max(across, residual)
    u_bias = u_one * math.sqrt(covariance[0, 0])
    u_slope = math.sqrt(float(covariance.diagonal()[1:].mean()))
    tilted = u_level**2 / math.sqrt(2)
    return SixPositionCalibration(
        bias=bias,
        matrix=np.linalg.inv(mixing),
        u_bias=u_bias,
        u_scale=math.hypot(u_reading * u_slope, u_gravity / gravity, tilted),
        u_misalignment=u_one * u_slope,
        residual=residual,
    )
