"""Static calibration of a load cell: force from masses, calibration curve, force at any reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "CalibrationFit",
    "ForceAtReading",
    "check_load_table",
    "choose_degree",
    "dead_weight_force",
    "fit_calibration",
    "force_at_reading",
    "force_coefficients",
    "shunt_output",
    "shunt_strain",
]

Array = NDArray[np.float64]

HIGHEST_DEGREE = 3
MIXED_UNITS = 3.0  # a row whose sensitivity is off by this factor was not read in the unit of the others


class ForceAtReading(NamedTuple):
    """Force [N] that a reading stands for, and its standard uncertainty."""

    force: float
    u: float


@dataclass(frozen=True, slots=True)
class CalibrationFit:
    """
    Polynomial ``reading = c0 + c1 F + ...`` fitted to a load table.

    ``coefficients`` rise in power [unit of reading / N^k], ``covariance`` is theirs, ``residual_sd`` has
    the unit of the reading; ``least`` and ``greatest`` bound the forces [N] for which the curve was made.
    """

    coefficients: Array
    covariance: Array
    residual_sd: float
    n: int
    least: float
    greatest: float

    @property
    def degree(self) -> int:
        """Degree of the polynomial."""
        return self.coefficients.size - 1

    @property
    def u_coefficients(self) -> Array:
        """Standard uncertainties of the coefficients."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def sensitivity(self) -> float:
        """Change of reading from no force to the greatest one, a newton. [unit of reading / N]"""
        rise = self.reading(np.array([self.greatest])) - self.coefficients[0]
        return float(rise[0] / self.greatest)

    def reading(self, force: ArrayLike) -> Array:
        """Reading of the curve at given forces. [unit of reading]"""
        return np.asarray(np.polynomial.polynomial.polyval(np.asarray(force, dtype=float), self.coefficients))


def dead_weight_force(
    mass: ArrayLike, gravity: float, *, density: float = 8000.0, air_density: float = 1.2
) -> Array:
    r"""
    Force of hanging masses.

    Parameters
    ----------
    mass : array_like
        True mass. [kg]
    gravity : float
        Local acceleration of free fall; the standard value is not good enough. [m/s²]
    density : float
        Density of the masses. [kg/m³]
    air_density : float
        Density of the air. [kg/m³]

    Returns
    -------
    force : ndarray
        Weight less the buoyancy of air. [N]

    Notes
    -----
    :math:`F = m g (1 - \rho_a / \rho_m)`; buoyancy takes 0.015 % from steel. Taking the standard gravity
    for the local one is wrong by up to 0.27 %.

    Examples
    --------
    >>> float(dead_weight_force(20.0, 9.8125).round(4))
    196.2206
    """
    mass = np.asarray(mass, dtype=float)
    if not 9.7 < gravity < 9.9:
        raise ValueError(f"gravity on the ground lies between 9.76 and 9.84 m/s², got {gravity}")
    if (mass < 0).any():
        raise ValueError(f"masses must not be negative, got {mass.min()} kg")
    if not 0 <= air_density < density:
        raise ValueError(f"densities must satisfy 0 <= air < mass, got {air_density} and {density} kg/m³")
    return np.asarray(mass * gravity * (1 - air_density / density))


def check_load_table(force: ArrayLike, reading: ArrayLike, *, capacity: float | None = None) -> None:
    """
    Refuse a load table from which no calibration can honestly be made.

    Parameters
    ----------
    force : array_like, shape (n,)
        Applied forces. [N]
    reading : array_like, shape (n,)
        Readings, any unit.
    capacity : float, optional
        Rated capacity of the cell. [N]

    Raises
    ------
    ValueError
        For one load only, negative forces, forces beyond 1.1 times the capacity, readings that fall as the
        force grows, or rows that seem to be in another unit.

    Examples
    --------
    >>> check_load_table([0, 1000, 2000], [0.0, 0.2, 0.4])
    >>> check_load_table([0, 1000, 2000, 3], [0.0, 0.2, 0.4, 0.6])
    Traceback (most recent call last):
        ...
    ValueError: row 4 (3 N, reading 0.6) does not fit ... by a factor of 1e+03: another unit, or a slip
    """
    force, reading = np.asarray(force, dtype=float), np.asarray(reading, dtype=float)
    if force.shape != reading.shape or force.ndim != 1:
        raise ValueError(f"need one reading a force, got shapes {force.shape} and {reading.shape}")
    if not (np.isfinite(force).all() and np.isfinite(reading).all()):
        row = int(np.flatnonzero(~(np.isfinite(force) & np.isfinite(reading)))[0]) + 1
        raise ValueError(f"row {row} of the load table is not a number")
    loads = np.unique(force[force != 0])
    if loads.size < 2:
        raise ValueError(
            f"a calibration needs at least two loads besides zero, got {loads.size}: "
            "add loads over the whole range"
        )
    if force.min() < 0:
        row = int(np.argmin(force)) + 1
        raise ValueError(
            f"row {row}: a force of {force.min():g} N is negative; "
            "give loads as positive numbers, all in one direction"
        )
    if capacity is not None and force.max() > 1.1 * capacity:
        row = int(np.argmax(force)) + 1
        raise ValueError(
            f"row {row}: {force.max():g} N lies beyond the capacity of {capacity:g} N; check unit and cell"
        )
    low = reading[force == force.min()].mean()
    loaded = force > force.min()
    sensitivity = (reading[loaded] - low) / (force[loaded] - force.min())
    usual = float(np.median(sensitivity))
    if usual == 0:
        raise ValueError("the reading does not change with the force: see whether the cell is connected")
    if usual < 0:
        raise ValueError(
            "the reading falls as the force grows: "
            "swap the signal wires, or give readings with their sign turned"
        )
    against = np.flatnonzero(loaded)[sensitivity < 0]
    if against.size:
        row = int(against[0])
        raise ValueError(
            f"row {row + 1} ({force[row]:g} N, reading {reading[row]:g}) has the opposite sign of the "
            "others: a slip of the sign, or a load in the other direction"
        )
    off = np.maximum(sensitivity / usual, usual / np.where(sensitivity > 0, sensitivity, 1e-300))
    worst = int(np.argmax(off))
    if off[worst] > MIXED_UNITS:
        row = int(np.flatnonzero(loaded)[worst])
        factor = "more than 1e6" if off[worst] > 1e6 else f"{off[worst]:.3g}"
        raise ValueError(
            f"row {row + 1} ({force[row]:g} N, reading {reading[row]:g}) does not fit the others "
            f"by a factor of {factor}: another unit, or a slip"
        )


def fit_calibration(force: ArrayLike, reading: ArrayLike, degree: int = 1) -> CalibrationFit:
    r"""
    Fit a calibration curve by least squares.

    Parameters
    ----------
    force : array_like, shape (n,)
        Applied forces. [N]
    reading : array_like, shape (n,)
        Readings, any unit.
    degree : int
        1, 2 or 3.

    Returns
    -------
    CalibrationFit
        Coefficients with covariance from the scatter of the readings.

    Raises
    ------
    ValueError
        If there are not more rows than coefficients, or not enough different forces.

    Notes
    -----
    Orthogonal decomposition of the centred and scaled powers, so that certified test sets come out to nine
    digits and more. The scatter is taken as equal at all forces and independent; series and rotations share
    errors, so the stated uncertainty is too small if they differ systematically.

    Examples
    --------
    >>> fit = fit_calibration([0, 1000, 2000, 3000], [0.001, 0.201, 0.401, 0.601])
    >>> print(f"{1e6 * fit.sensitivity:.1f} per MN")
    200.0 per MN
    """
    if degree not in range(1, HIGHEST_DEGREE + 1):
        raise ValueError(f"degree must be 1, 2 or 3, got {degree}")
    force, reading = np.asarray(force, dtype=float), np.asarray(reading, dtype=float)
    if force.shape != reading.shape or force.ndim != 1:
        raise ValueError(f"need one reading a force, got shapes {force.shape} and {reading.shape}")
    n, k = force.size, degree + 1
    if n <= k:
        raise ValueError(f"a fit of degree {degree} needs more than {k} rows, got {n}")
    if np.unique(force).size < k:
        raise ValueError(f"a fit of degree {degree} needs {k} different forces, got {np.unique(force).size}")
    centre, half = (force.max() + force.min()) / 2, (force.max() - force.min()) / 2
    scaled = (force - centre) / half
    q, r = np.linalg.qr(np.vander(scaled, k, increasing=True))
    inverse = np.linalg.solve(r, np.eye(k))
    inner = inverse @ (q.T @ reading)
    residual = reading - q @ (q.T @ reading)
    variance = float(residual @ residual) / (n - k)
    # powers of ((F - centre) / half) written out in powers of F
    outward = np.zeros((k, k))
    power = np.array([1.0])
    for i in range(k):
        outward[: i + 1, i] = power
        power = np.polynomial.polynomial.polymul(power, np.array([-centre / half, 1 / half]))
    spread = outward @ inverse
    return CalibrationFit(
        coefficients=outward @ inner,
        covariance=variance * spread @ spread.T,
        residual_sd=float(np.sqrt(variance)),
        n=n,
        least=float(force[force > 0].min()) if (force > 0).any() else float(force.min()),
        greatest=float(force.max()),
    )


def choose_degree(force: ArrayLike, reading: ArrayLike) -> int:
    """
    Degree, one to three, that the load table supports.

    Parameters
    ----------
    force, reading : array_like, shape (n,)
        Load table.

    Returns
    -------
    degree : int
        The one with the least Bayesian information criterion among those that leave two rows spare.

    Examples
    --------
    >>> import numpy as np
    >>> force = np.linspace(0, 10e3, 22)
    >>> noise = np.random.default_rng(1).normal(0, 1e-5, 22)
    >>> straight = 2e-4 * force + noise
    >>> choose_degree(force, straight), choose_degree(force, straight - 1e-12 * force**2)
    (1, 2)
    """
    n, different = np.size(force), np.unique(np.asarray(force)).size
    scores = []
    for degree in range(1, HIGHEST_DEGREE + 1):
        if n < degree + 3 or different < degree + 2:
            break
        fit = fit_calibration(force, reading, degree)
        squares = fit.residual_sd**2 * (n - degree - 1)
        floor = (1e-15 * float(np.abs(reading).max())) ** 2 * n
        scores.append(n * np.log(max(squares, floor) / n) + (degree + 1) * np.log(n))
    return 1 + int(np.argmin(scores)) if scores else 1


def force_at_reading(reading: float, fit: CalibrationFit, *, u_reference: float = 0.0) -> ForceAtReading:
    r"""
    Force that a reading stands for.

    Parameters
    ----------
    reading : float
        Reading, in the unit of the calibration.
    fit : CalibrationFit
        Calibration curve.
    u_reference : float
        Relative standard uncertainty of the applied forces, common to all.

    Returns
    -------
    ForceAtReading
        Force and standard uncertainty: of the curve, of one reading's scatter, and of the reference.

    Raises
    ------
    ValueError
        If the curve does not reach the reading within one and a half times its range.

    Notes
    -----
    Inverse of the curve with :math:`u^2(F) = (x^T C x + s^2) / (dX/dF)^2 + (F u_{ref})^2`,
    :math:`x = (1, F, F^2, ...)`. Says nothing about an impact: a static curve is the gain at zero frequency.

    Examples
    --------
    >>> fit = fit_calibration([0, 1000, 2000, 3000], [0.001, 0.201, 0.401, 0.6011])
    >>> found = force_at_reading(0.3, fit, u_reference=0.0005)
    >>> print(f"{found.force:.1f} N, u = {found.u:.1f} N")
    1494.9 N, u = 0.8 N
    """
    turned = np.polynomial.polynomial.polyder(fit.coefficients)
    force = (reading - float(fit.coefficients[0])) / fit.sensitivity
    for _ in range(30):  # Newton on a nearly straight curve: three or four steps
        slope = float(np.polynomial.polynomial.polyval(force, turned))
        step = (reading - float(fit.reading(force))) / slope if slope else np.inf
        force += step
        if not abs(step) > 1e-12 * fit.greatest:
            break
    if not -0.5 * fit.greatest <= force <= 1.5 * fit.greatest:
        raise ValueError(
            f"a reading of {reading:g} lies outside the calibration, which ends at "
            f"{float(fit.reading(fit.greatest)):g} ({fit.greatest:g} N)"
        )
    powers = force ** np.arange(fit.degree + 1)
    variance = (float(powers @ fit.covariance @ powers) + fit.residual_sd**2) / slope**2
    return ForceAtReading(force, float(np.sqrt(variance + (force * u_reference) ** 2)))


def force_coefficients(fit: CalibrationFit) -> Array:
    """
    Coefficients that turn readings, zero taken off, into forces.

    Parameters
    ----------
    fit : CalibrationFit
        Calibration curve, reading over force.

    Returns
    -------
    coefficients : ndarray, shape (degree,) or (3,)
        Newtons per unit of reading, per its square and per its cube. [N / unit^k]

    Notes
    -----
    Least squares of force over the curve's own readings from zero to the greatest force, without constant.
    A straight curve is inverted exactly, a bent one by a cubic: for a curve bent by 0.1 % to parts in 1e9.

    Examples
    --------
    >>> fit = fit_calibration([0, 1000, 2000, 3000], [0.0, 0.2, 0.4, 0.6])
    >>> force_coefficients(fit).round(6)
    array([5000.])
    """
    if fit.degree == 1:
        return np.array([1 / fit.coefficients[1]])
    force = np.linspace(0, 1, 201)
    reading = fit.reading(force * fit.greatest) - fit.coefficients[0]
    scaled = reading / reading[-1]
    powers = scaled[:, None] ** np.arange(1, 4)
    found = np.linalg.lstsq(powers, force, rcond=None)[0]
    return np.asarray(fit.greatest * found / reading[-1] ** np.arange(1, 4))


def shunt_output(bridge_resistance: float, shunt_resistance: float) -> float:
    """
    Output that a resistor across one arm of a full bridge must give.

    Parameters
    ----------
    bridge_resistance, shunt_resistance : float
        Resistance of one arm and of the shunt. [ohm]

    Returns
    -------
    output : float
        Bridge output. [mV/V]

    Notes
    -----
    Four equal arms, ideal voltmeter: R / (4 R_s + 2 R). Long leads make it smaller.

    Examples
    --------
    >>> round(shunt_output(350, 100e3), 6)
    0.873471
    """
    if not (bridge_resistance > 0 and shunt_resistance > 0):
        raise ValueError("resistances must be positive")
    return 1000 * bridge_resistance / (4 * shunt_resistance + 2 * bridge_resistance)


def shunt_strain(bridge_resistance: float, shunt_resistance: float, gauge_factor: float) -> float:
    """
    Strain that a shunted gauge seems to see.

    Parameters
    ----------
    bridge_resistance, shunt_resistance : float
        Resistance of the gauge and of the shunt. [ohm]
    gauge_factor : float
        Gauge factor.

    Returns
    -------
    strain : float
        Apparent compressive strain, as a positive number.

    Examples
    --------
    >>> round(1e6 * shunt_strain(350, 100e3, 2.0), 2)
    1743.9
    """
    if not (bridge_resistance > 0 and shunt_resistance > 0 and gauge_factor > 0):
        raise ValueError("resistances and gauge factor must be positive")
    return bridge_resistance / (gauge_factor * (bridge_resistance + shunt_resistance))
