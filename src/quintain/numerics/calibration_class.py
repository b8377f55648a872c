"""What the standards of static force calibration make of a load table; never a certificate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quintain.numerics.static_load import fit_calibration

__all__ = ["ClassLike", "LowerLimit", "RelativeErrors", "class_like", "lower_limit", "relative_errors"]

Array = NDArray[np.float64]

CLASS_LIMITS: dict[str, dict[str, float]] = {
    # ISO 376:2011 table 2, per cent (from memory)
    "00": {
        "reproducibility": 0.05,
        "repeatability": 0.025,
        "interpolation": 0.025,
        "zero": 0.012,
        "reversibility": 0.07,
        "creep": 0.025,
    },
    "0.5": {
        "reproducibility": 0.10,
        "repeatability": 0.05,
        "interpolation": 0.05,
        "zero": 0.025,
        "reversibility": 0.15,
        "creep": 0.05,
    },
    "1": {
        "reproducibility": 0.20,
        "repeatability": 0.10,
        "interpolation": 0.10,
        "zero": 0.050,
        "reversibility": 0.30,
        "creep": 0.10,
    },
    "2": {
        "reproducibility": 0.40,
        "repeatability": 0.20,
        "interpolation": 0.20,
        "zero": 0.10,
        "reversibility": 0.50,
        "creep": 0.20,
    },
}
ASKED_ALWAYS = ("reproducibility", "repeatability", "interpolation", "zero")


@dataclass(frozen=True, slots=True)
class RelativeErrors:
    """
    Relative errors of ISO 376 clause 8, in per cent, one entry a force step; None where the data do not
    allow.

    ``zero`` and ``creep`` are single numbers.
    """

    force: Array
    reproducibility: Array | None
    repeatability: Array | None
    interpolation: Array | None
    reversibility: Array | None
    zero: float | None
    creep: float | None

    def worst(self) -> dict[str, float | None]:
        """Largest magnitude of each quantity. [%]"""
        values = {
            "reproducibility": self.reproducibility,
            "repeatability": self.repeatability,
            "interpolation": self.interpolation,
            "zero": self.zero,
            "reversibility": self.reversibility,
            "creep": self.creep,
        }
        return {k: None if v is None else float(np.max(np.abs(v))) for k, v in values.items()}


class ClassLike(NamedTuple):
    """
    Class whose limits a table keeps.

    ``name`` is None if it keeps none, or if too little was measured to say; ``limited_by`` names the
    quantities that forbid the next better class, ``missing`` those the standard asks for and the table does
    not hold.
    """

    name: str | None
    limited_by: tuple[str, ...]
    missing: tuple[str, ...]


class LowerLimit(NamedTuple):
    """Scatter and lower limit factor of ASTM E74, in the unit of the reading and as forces [N]."""

    scatter: float
    factor: float
    factor_as_force: float
    class_a_from: float
    class_aa_from: float


def relative_errors(
    force: ArrayLike,
    rotations: ArrayLike,
    *,
    repeat: ArrayLike | None = None,
    returns: ArrayLike | None = None,
    zero_before: float | None = None,
    zero_after: float | None = None,
    creep: tuple[float, float] | None = None,
    degree: int = 3,
) -> RelativeErrors:
    r"""
    Relative errors of a load table with several series.

    Parameters
    ----------
    force : array_like, shape (n,)
        Force steps above zero. [N]
    rotations : array_like, shape (k, n)
        Readings with rising force, zero taken off, one row for each mounting position (X1, X3, X5).
    repeat : array_like, shape (n,), optional
        Second rising series in the first position (X2).
    returns : array_like, shape (k - 1, n), optional
        Readings with falling force after the second and further rows of ``rotations`` (X'4, X'6).
    zero_before, zero_after : float, optional
        Reading without force before and after a series.
    creep : (float, float), optional
        Readings 30 s and 300 s after the greatest force was applied or removed.
    degree : int
        Degree of the interpolation.

    Returns
    -------
    RelativeErrors
        In per cent.

    Raises
    ------
    ValueError
        If shapes disagree or a force step is not positive.

    Notes
    -----
    ISO 376:2011 clause 8 (from memory):
    :math:`b = 100 (X_{max} - X_{min}) / \bar X_r`, :math:`b' = 100 |X_2 - X_1| / \bar X_{wr}`,
    :math:`f_c = 100 (\bar X_r - X_a) / X_a`, :math:`f_0 = 100 (i_f - i_0) / X_N`,
    :math:`v` = mean of :math:`100 |X'_4 - X_3| / X_3`, :math:`c = 100 |i_{300} - i_{30}| / X_N`.

    Examples
    --------
    >>> errors = relative_errors([1000, 2000], [[0.2, 0.4], [0.2001, 0.4], [0.2, 0.4002]], degree=1)
    >>> errors.reproducibility.round(4)
    array([0.05, 0.05])
    """
    force = np.asarray(force, dtype=float)
    rows = np.atleast_2d(np.asarray(rotations, dtype=float))
    if force.ndim != 1 or rows.shape[1] != force.size:
        raise ValueError(f"need one reading a force step, got {rows.shape[1]} for {force.size}")
    if (force <= 0).any():
        raise ValueError("force steps must be above zero; give the zero readings apart")
    mean = rows.mean(axis=0)
    full = float(mean[np.argmax(force)])
    reproducibility = None
    if rows.shape[0] >= 2:
        reproducibility = 100 * (rows.max(axis=0) - rows.min(axis=0)) / mean
    repeatability = None
    if repeat is not None:
        second = np.asarray(repeat, dtype=float)
        repeatability = 100 * np.abs(second - rows[0]) / ((second + rows[0]) / 2)
    interpolation = None
    if force.size > degree + 1:
        curve = fit_calibration(force, mean, degree).reading(force)
        interpolation = 100 * (mean - curve) / curve
    reversibility = None
    if returns is not None:
        back = np.atleast_2d(np.asarray(returns, dtype=float))
        forth = rows[1:] if rows.shape[0] > 1 else rows
        if back.shape != forth.shape:
            raise ValueError(f"need {forth.shape} readings with falling force, got {back.shape}")
        reversibility = (100 * np.abs((back - forth) / forth)).mean(axis=0)
    zero = None
    if zero_before is not None and zero_after is not None:
        zero = 100 * (zero_after - zero_before) / full
    return RelativeErrors(
        force,
        reproducibility,
        repeatability,
        interpolation,
        reversibility,
        zero,
        None if creep is None else 100 * abs(creep[1] - creep[0]) / full,
    )


def class_like(errors: RelativeErrors) -> ClassLike:
    """
    Class of ISO 376 whose limits these errors keep, without claiming it.

    Parameters
    ----------
    errors : RelativeErrors
        Relative errors over the whole range.

    Returns
    -------
    ClassLike
        The best class all of whose limits are kept.

    Notes
    -----
    A real classification also asks for the uncertainty of the applied force, for temperature, for creep or
    reversibility as chosen, and for an accredited laboratory. It is static: it says nothing about an impact.

    Examples
    --------
    >>> errors = relative_errors([1000, 2000], [[0.2, 0.4], [0.2001, 0.4], [0.2, 0.4002]], degree=1)
    >>> class_like(errors).missing
    ('repeatability', 'interpolation', 'zero', 'reversibility or creep')
    """
    worst = errors.worst()
    missing = [k for k in ASKED_ALWAYS if worst[k] is None]
    if worst["reversibility"] is None and worst["creep"] is None:
        missing.append("reversibility or creep")
    too_large: tuple[str, ...] = ()
    for name, limits in CLASS_LIMITS.items():
        over = []
        for quantity, limit in limits.items():
            value = worst[quantity]
            if value is not None and value > limit * (1 + 1e-9):
                over.append(quantity)
        if not over:
            return ClassLike(None if missing else name, too_large, tuple(missing))
        too_large = tuple(over)
    return ClassLike(None, too_large, tuple(missing))


def lower_limit(force: ArrayLike, reading: ArrayLike, degree: int = 2) -> LowerLimit:
    r"""
    Lower limit factor of ASTM E74.

    Parameters
    ----------
    force : array_like, shape (n,)
        Applied forces of all series. [N]
    reading : array_like, shape (n,)
        Readings, zero taken off.
    degree : int
        Degree of the calibration curve.

    Returns
    -------
    LowerLimit
        The forces from which class A (400 limits) and class AA (2000 limits) verified range would begin.

    Notes
    -----
    :math:`s = \sqrt{\sum d^2 / (n - m - 1)}`, factor 2.4 s, which covers 98.4 % of a normal scatter; ASTM E74
    clause 8 (from memory). The standard excludes dynamic and high-speed use in its scope (E74-18, 1.3).

    Examples
    --------
    >>> limit = lower_limit([1e3, 2e3, 3e3, 4e3], [0.2, 0.40001, 0.6, 0.8], degree=1)
    >>> print(f"{limit.factor_as_force:.3f} N, class A from {limit.class_a_from:.0f} N")
    0.071 N, class A from 28 N
    """
    fit = fit_calibration(force, reading, degree)
    factor = 2.4 * fit.residual_sd
    as_force = factor / abs(fit.sensitivity)
    return LowerLimit(fit.residual_sd, factor, as_force, 400 * as_force, 2000 * as_force)
