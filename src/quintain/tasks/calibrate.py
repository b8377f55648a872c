"""Static calibration: from a table of loads to a curve, its uncertainty and its class."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quintain.domain.calibration import ForceStep, StaticCalibration
from quintain.domain.flags import flag
from quintain.domain.history import Step
from quintain.domain.measured import Measured
from quintain.domain.rig import Rig
from quintain.domain.rig_log import LogEntry
from quintain.errors import AnalysisError, UsageError
from quintain.numerics.calibration_class import (
    RelativeErrors,
    class_like,
    lower_limit,
    relative_errors,
)
from quintain.numerics.free_fall import normal_gravity
from quintain.numerics.static_load import (
    CalibrationFit,
    check_load_table,
    choose_degree,
    dead_weight_force,
    fit_calibration,
    force_at_reading,
    force_coefficients,
    shunt_output,
)
from quintain.readers.load_table import LoadTable, read_load_table
from quintain.tasks.evidence_time import evidence_time
from quintain.tasks.rig_file import append_log, has_newer, update_rig
from quintain.version import __version__

__all__ = ["calibrate_file", "record_calibration"]

Array = NDArray[np.float64]


class _Series(NamedTuple):
    """Rows of one series in one direction, zero taken off."""

    name: str
    rotation: str
    rising: bool
    force: Array
    reading: Array
    zero_before: float | None
    zero_after: float | None


def calibrate_file(
    path: str | Path,
    *,
    gravity: float | None = None,
    latitude: float | None = None,
    altitude: float = 0.0,
    density: float = 8000.0,
    air_density: float = 1.2,
    degree: int | None = None,
    capacity: float | None = None,
    u_reference: float = 0.0,
    shunt: tuple[float, float, float] | None = None,
    creep: tuple[float, float] | None = None,
    rig: Rig | None = None,
) -> StaticCalibration:
    """
    Calibrate a load cell from a table of loads.

    Parameters
    ----------
    path : path
        Load table; see :func:`quintain.readers.load_table.read_load_table`.
    gravity : float, optional
        Local gravity [m/s²]; or ``latitude`` [degrees] and ``altitude`` [m], or the rig file's place. Needed
        where the table gives masses.
    density, air_density : float
        Of the masses and of the air, for buoyancy. [kg/m³]
    degree : int, optional
        1 to 3; chosen by an information criterion if not given.
    capacity : float, optional
        Rated capacity; the rig file's if not given. [N]
    u_reference : float
        Relative standard uncertainty of the applied forces.
    shunt : (float, float, float), optional
        Bridge resistance [ohm], shunt resistance [ohm], reading with the shunt on less the zero [V/V].
    creep : (float, float), optional
        Readings 30 s and 300 s after the greatest force came or went, in the unit of the table.
    rig : Rig, optional
        Rig file.

    Returns
    -------
    StaticCalibration
        Curve, uncertainty, errors and class.

    Raises
    ------
    AnalysisError
        If the table cannot make an honest calibration.
    UsageError
        If gravity is needed and not given, or a setting is absurd.
    """
    if degree is not None and not 1 <= degree <= 3:
        raise UsageError(f"degree must be 1, 2 or 3, got {degree}")
    if not 0 <= u_reference < 0.1:
        raise UsageError(f"u_reference is a relative uncertainty between 0 and 0.1, got {u_reference}")
    if capacity is not None and not 0 < capacity < np.inf:
        raise UsageError(f"capacity must be above 0 N, got {capacity:g} N")
    if not air_density < density < np.inf:
        raise UsageError(f"density of the masses: expected about 8000 kg/m³, got {density:g} kg/m³")
    began = datetime.now(UTC).isoformat(timespec="seconds")
    table = read_load_table(path)
    if creep is not None and not np.isfinite(creep).all():
        raise UsageError(f"creep needs two readings that are numbers, got {creep}")
    if capacity is None and rig is not None:
        capacity = rig.cell.capacity
    where = str(path)
    local: float | None = None
    try:
        if table.force is not None:
            force = table.force
        else:
            local = _gravity(gravity, latitude, altitude, rig)
            force = dead_weight_force(table.mass, local, density=density, air_density=air_density)  # type: ignore[arg-type]
        check_load_table(force, table.reading, capacity=capacity)
        series = _series(table, force)
        rows = [s for s in series if s.rising] or series
        all_force = np.concatenate([s.force for s in rows])
        all_reading = np.concatenate([s.reading for s in rows])
        chosen = degree or choose_degree(all_force, all_reading)
        fit = fit_calibration(all_force, all_reading, chosen)
        loaded = all_force > 0
        limit = lower_limit(all_force[loaded], all_reading[loaded], _least_degree(all_force, chosen))
        errors = _errors(series, None if creep is None else _scaled(creep, table.reading_factor))
    except ValueError as problem:
        raise AnalysisError(f"{where}: {problem}") from None
    kept = class_like(errors)
    flags = [flag("static-only")]
    if np.unique(all_force[loaded]).size < 5 or len(rows) < 3:
        flags.append(flag("few-loads", f"{np.unique(all_force[loaded]).size} loads, {len(rows)} series"))
    u_sensitivity = _u_sensitivity(fit, u_reference)
    settings = {
        "gravity": local, "density": density, "air_density": air_density, "degree": chosen,
        "capacity": capacity, "u_reference": u_reference, "creep": creep and list(creep),
    }  # fmt: skip
    output = hashlib.sha256(repr(fit.coefficients.tolist()).encode()).hexdigest()
    return StaticCalibration(
        path=where,
        sha256=table.sha256,
        n_rows=table.reading.size,
        reading_unit=table.reading_unit,
        gravity=local,
        coefficients=tuple(float(c) for c in fit.coefficients),
        u_coefficients=tuple(float(u) for u in fit.u_coefficients),
        to_force=tuple(float(c) for c in force_coefficients(fit)),
        sensitivity=fit.sensitivity,
        u_sensitivity=u_sensitivity,
        u_gain=_read_back(fit, fit.greatest, u_reference) / fit.greatest,
        residual_sd=fit.residual_sd,
        lowest=fit.least,
        highest=fit.greatest,
        errors=errors.worst(),
        class_name=kept.name,
        limited_by=kept.limited_by,
        missing=kept.missing,
        lower_limit_factor=limit.factor_as_force,
        class_a_from=limit.class_a_from,
        class_aa_from=limit.class_aa_from,
        shunt_expected=None if shunt is None else shunt_output(shunt[0], shunt[1]) / 1000,
        shunt_read=None if shunt is None else shunt[2],
        steps=_steps(fit, errors, np.unique(all_force[loaded]), u_reference),
        flags=tuple(flags),
        history=(Step("quintain.calibrate", __version__, settings, (table.sha256,), output, began),),
    )


def record_calibration(result: StaticCalibration, rig_path: str | Path, *, when: date | None = None) -> Rig:
    """
    Write a calibration with its range and date into a rig file, and note it in the log.

    One that is older than the calibration in the file goes into the log alone.

    Parameters
    ----------
    rig_path : path
        Rig file; its earlier version is kept.
    result : StaticCalibration
        What the load table told.
    when : datetime.date, optional
        Day of the calibration; today if not given.

    Returns
    -------
    Rig
        The rig as it now is.

    Raises
    ------
    UsageError
        If the readings are in digits, which no recording states, or the day lies in the future or cannot be.
    """
    at = evidence_time(None if when is None else datetime.combine(when, time()).astimezone())
    made, gain = when or at.date(), 1.0
    change = {
        "u_gain": result.u_gain,
        "lowest": result.lowest,
        "highest": result.highest,
        "date": made,
    }
    if result.reading_unit == "N":
        # the chain shows newtons already: true over shown
        gain = 1 / result.sensitivity
    elif result.reading_unit in ("V", "V/V"):
        change |= {"input_unit": result.reading_unit, "coefficients": result.to_force}
    else:
        raise UsageError(
            "a calibration in digits cannot be applied to recordings: give the readings in V or V/V"
        )
    rig = Rig.load(rig_path)
    kept = rig.calibration.date
    if not (kept and kept > made) and not has_newer(rig_path, "calibration", at):
        rig = update_rig(rig_path, {"calibration": change | {"gain": gain}})
    values = {"gain": Measured("gain", gain, result.u_gain * gain)}
    append_log(
        rig_path,
        LogEntry(at, "calibration", rig.version, (result.sha256,), values, "", __version__),
    )
    return rig


def _gravity(gravity: float | None, latitude: float | None, altitude: float, rig: Rig | None) -> float:
    if gravity is not None:
        if not 9.76 <= gravity <= 9.84:
            raise UsageError(f"gravity on the ground lies between 9.76 and 9.84 m/s², got {gravity:g} m/s²")
        return gravity
    if latitude is not None:
        try:
            return normal_gravity(latitude, altitude)
        except ValueError as problem:
            raise UsageError(str(problem)) from None
    if rig is not None and rig.place is not None:
        return normal_gravity(rig.place.latitude, rig.place.altitude)
    raise UsageError(
        "masses need the local gravity: give --gravity, or --latitude and --altitude, or the place in the "
        "rig file; the standard 9.80665 is wrong by up to 0.27 %"
    )


def _series(table: LoadTable, force: Array) -> list[_Series]:
    """Series in one direction each, zero taken off by the series' own first zero reading."""
    n = force.size
    labels = list(table.series) if table.series else _numbered(force)
    rotations = list(table.rotation) if table.rotation else [""] * n
    found = []
    for key in dict.fromkeys(zip(labels, rotations, strict=True)):
        at = [i for i in range(n) if (labels[i], rotations[i]) == key]
        zeros = [float(table.reading[i]) for i in at if force[i] == 0]
        zero = zeros[0] if zeros else 0.0
        direction = table.direction[at]
        if not direction.any():
            top = int(np.argmax(force[at]))
            direction = np.array([1 if k <= top else -1 for k in range(len(at))])
        for sign in (1, -1):
            chosen = [i for i, d in zip(at, direction, strict=True) if d == sign]
            if sum(force[i] > 0 for i in chosen) < 1:
                continue
            found.append(
                _Series(
                    key[0],
                    key[1],
                    sign == 1,
                    force[chosen],
                    table.reading[chosen] - zero,
                    zeros[0] if zeros else None,
                    zeros[-1] if len(zeros) > 1 else None,
                )
            )
    return found


def _numbered(force: Array) -> list[str]:
    """A new series begins where the load falls back and then rises again."""
    labels, number, falling = ["1"], 1, False
    for before, now in pairwise(force):
        if now < before:
            falling = True
        elif now > before and falling:
            number, falling = number + 1, False
            if before == force.min():
                labels[-1] = str(number)  # the zero between two series opens the next
        labels.append(str(number))
    return labels


def _at(series: _Series, steps: Array) -> Array | None:
    """Readings at given forces, None if the series misses one."""
    found = []
    for step in steps:
        same = np.flatnonzero(np.abs(series.force - step) <= 1e-6 * step)
        if not same.size:
            return None
        found.append(series.reading[same[0]])
    return np.array(found)


def _scaled(pair: tuple[float, float], factor: float) -> tuple[float, float]:
    return pair[0] * factor, pair[1] * factor


def _errors(series: Sequence[_Series], creep: tuple[float, float] | None) -> RelativeErrors:
    rising = [s for s in series if s.rising]
    if not rising:
        raise ValueError("no series with rising force: a calibration starts from zero upward")
    steps = np.unique(rising[0].force[rising[0].force > 0])
    positions: dict[str, _Series] = {}
    repeat = None
    for one in rising:
        if _at(one, steps) is None:
            continue
        if one.rotation not in positions:
            positions[one.rotation] = one
        elif repeat is None and one.rotation == rising[0].rotation:
            repeat = _at(one, steps)
    chosen = list(positions.values())
    # one mounting position: falling loads of its first series; several: those of all but the first
    pairs = chosen[1:] or chosen
    back: list[Array] = []
    for one in pairs:
        falling = next((s for s in series if not s.rising and (s.name, s.rotation) == one[:2]), None)
        # the greatest force is the turning point: it has been read once
        readings = None
        if falling is not None:
            turned = _Series(
                *falling[:3],
                np.append(falling.force, steps[-1]),
                np.append(falling.reading, one.reading[np.argmax(one.force)]),
                *falling[5:],
            )
            readings = _at(turned, steps)
        if readings is None:
            back = []
            break
        back.append(readings)
    zero = [(s.zero_before, s.zero_after) for s in rising if s.zero_after is not None]
    worst = max(zero, key=lambda pair: abs((pair[1] or 0) - (pair[0] or 0)), default=(None, None))
    rows = [r for s in chosen if (r := _at(s, steps)) is not None]
    return relative_errors(
        steps,
        rows,
        repeat=repeat,
        returns=back or None,
        zero_before=worst[0],
        zero_after=worst[1],
        creep=creep,
        degree=_least_degree(steps, 3),
    )


def _least_degree(force: Array, wanted: int) -> int:
    """Highest degree up to the one wanted that leaves forces to test it."""
    return max(1, min(wanted, np.unique(force[force > 0]).size - 2))


def _read_back(fit: CalibrationFit, force: float, u_reference: float) -> float:
    return force_at_reading(float(fit.reading(force)), fit, u_reference=u_reference).u


def _u_sensitivity(fit: CalibrationFit, u_reference: float) -> float:
    powers = fit.greatest ** np.arange(1, fit.degree + 1)
    variance = float(powers @ fit.covariance[1:, 1:] @ powers) / fit.greatest**2
    return float(np.hypot(np.sqrt(variance), fit.sensitivity * u_reference))


def _steps(
    fit: CalibrationFit, errors: RelativeErrors, forces: Array, u_reference: float
) -> tuple[ForceStep, ...]:
    kinds = {
        "reproducibility": errors.reproducibility,
        "repeatability": errors.repeatability,
        "interpolation": errors.interpolation,
        "reversibility": errors.reversibility,
    }
    steps = []
    for force in forces:
        at = np.flatnonzero(np.abs(errors.force - force) <= 1e-6 * force)
        own = {k: float(v[at[0]]) for k, v in kinds.items() if v is not None and at.size}
        steps.append(
            ForceStep(
                float(force), float(fit.reading(force)), _read_back(fit, float(force), u_reference), own
            )
        )
    return tuple(steps)
