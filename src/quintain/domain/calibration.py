"""A static calibration: curve, uncertainty, and what the standards of the trade make of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from quintain.domain.flags import Flag
from quintain.domain.history import Step

__all__ = ["CALIBRATION_CAUTION", "ForceStep", "StaticCalibration"]

CALIBRATION_CAUTION = (
    "Hanging masses fall: keep feet and hands clear and load in steps below the cell's capacity. A static "
    "calibration says nothing about how the cell reads an impact. Local rules and licensed practice come "
    "first."
)


@dataclass(frozen=True, slots=True)
class ForceStep:
    """A force, its reading by the curve, its uncertainty when read back, and relative errors in %."""

    force: float
    reading: float
    u_force: float
    errors: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class StaticCalibration:
    """
    Result of a load table.

    Parameters
    ----------
    path, sha256 : str
        The table and the hash of its bytes.
    reading_unit : str
        SI unit of the readings.
    gravity : float or None
        Local gravity used for masses. [m/s²]
    coefficients, u_coefficients : tuple of float
        ``reading = c0 + c1 F + ...`` with standard uncertainties.
    to_force : tuple of float
        Newtons per unit of reading, per its square, its cube; zero taken off.
    sensitivity, u_sensitivity : float
        Reading a newton, from zero to the greatest force, and its standard uncertainty.
    residual_sd : float
        Scatter about the curve, in the unit of the reading.
    lowest, highest : float
        Range of forces. [N]
    errors : mapping of str to float or None
        Largest relative error of each kind by ISO 376, in %; None where the table does not hold it.
    class_name : str or None
        Class of ISO 376 whose limits are kept: what it would ask, not a certificate.
    limited_by, missing : tuple of str
        What forbids the better class, and what the standard asks for beyond this table.
    lower_limit_factor, class_a_from, class_aa_from : float
        ASTM E74, as forces. [N]
    shunt_expected, shunt_read : float or None
        Output that the shunt resistor must give and gave. [V/V]
    steps : tuple of ForceStep
        Force by force.
    """

    path: str
    sha256: str
    n_rows: int
    reading_unit: str
    gravity: float | None
    coefficients: tuple[float, ...]
    u_coefficients: tuple[float, ...]
    to_force: tuple[float, ...]
    sensitivity: float
    u_sensitivity: float
    u_gain: float
    """Relative standard uncertainty of a force near the upper end. [1]"""
    residual_sd: float
    lowest: float
    highest: float
    errors: Mapping[str, float | None]
    class_name: str | None
    limited_by: tuple[str, ...]
    missing: tuple[str, ...]
    lower_limit_factor: float
    class_a_from: float
    class_aa_from: float
    shunt_expected: float | None
    shunt_read: float | None
    steps: tuple[ForceStep, ...]
    flags: tuple[Flag, ...]
    history: tuple[Step, ...]
