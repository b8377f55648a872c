"""Calibrate the accelerometer of an inertial sensor from a recording in which it lies on its six sides."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from quintain.domain.motion import ImuSetup
from quintain.domain.recording import Recording
from quintain.domain.rig import Rig
from quintain.domain.rig_log import LogEntry
from quintain.domain.sensor import Sensor, SensorCalibration
from quintain.errors import AnalysisError, UsageError
from quintain.numerics.free_fall import STANDARD_GRAVITY, U_NORMAL_GRAVITY, normal_gravity
from quintain.numerics.six_position import fit_six_position
from quintain.numerics.stillness import find_rests
from quintain.readers.registry import read
from quintain.tasks.imu_recording import read_imu
from quintain.tasks.rig_file import append_log, update_rig
from quintain.version import __version__

__all__ = ["calibrate_imu", "calibrate_imu_file", "record_sensor"]

LONG_REST = 1.0
"""A side counts where the sensor lies still on it for so long. [s]"""

MOVEMENT = 0.15
"""Largest standard deviation of the acceleration of a sensor that lies on a table. [m/s²]"""


def calibrate_imu(
    recording: Recording,
    sensor: Sensor,
    *,
    gravity: float = STANDARD_GRAVITY,
    u_gravity: float = 0.03,
    day: date | None = None,
) -> Sensor:
    """
    Fit bias, scale and misalignment of an accelerometer of its sensor.

    Parameters
    ----------
    recording : Recording
        The sensor laid on each of its six sides for some seconds, in any order.
    sensor : Sensor
        What is known of it; its old calibration is not applied.
    gravity, u_gravity : float
        Acceleration of free fall at the place, and its standard uncertainty; the defaults hold for an
        unknown place. [m/s²]
    day : datetime.date, optional
        When.

    Returns
    -------
    Sensor
        The same with the new calibration.

    Raises
    ------
    ChannelError, UnitError
        If the axes cannot be told.
    AnalysisError
        If a side is missing, or a still reading is no gravity.

    Examples
    --------
    See ``tests/tasks/test_calibrate_imu.py``.
    """
    where = recording.path or "recording"
    readings = []
    for stretch in read_imu(recording, ImuSetup.of(replace(sensor, calibration=None))):
        rests = find_rests(
            stretch.acceleration,
            stretch.rate,
            angular_rate=stretch.angular_rate,
            shortest=LONG_REST,
            largest_acceleration=MOVEMENT,
        )
        margin = round(0.1 * stretch.rate)
        readings += [stretch.acceleration[r.start + margin : r.stop - margin].mean(axis=0) for r in rests]
    if not readings:
        raise AnalysisError(f"{where}: the sensor never lies still for {LONG_REST:g} s; lay it on each side")
    try:
        fit = fit_six_position(np.array(readings), gravity=gravity, u_gravity=u_gravity)
    except ValueError as problem:
        raise AnalysisError(f"{where}: {problem}") from None
    return replace(sensor, calibration=SensorCalibration.of(fit, day))


def calibrate_imu_file(
    path: str | Path,
    sensor: Sensor,
    *,
    latitude: float | None = None,
    altitude: float = 0.0,
    **settings: Any,
) -> tuple[Sensor, str]:
    """
    Read a recording and calibrate from it, as :func:`calibrate_imu`; dated today.

    Parameters
    ----------
    path : path
        The recording's file.
    sensor : Sensor
        What is known of the sensor.
    latitude, altitude : float
        Place [degrees], [m]; without it standard gravity is taken with a doubt that holds for the Earth.
    **settings
        How the file is to be read; as for :func:`quintain.read`.

    Returns
    -------
    tuple of Sensor and str
        The sensor with its calibration, and the hash of the recording's bytes.

    Raises
    ------
    UsageError
        If the place is not on Earth.
    RecordingError
        If the file cannot be read.
    AnalysisError
        As :func:`calibrate_imu`.
    """
    recording = read(path, **settings)
    place: dict[str, float] = {}
    if latitude is not None:
        try:
            place = {"gravity": normal_gravity(latitude, altitude), "u_gravity": U_NORMAL_GRAVITY}
        except ValueError as problem:
            raise UsageError(str(problem)) from None
    return calibrate_imu(recording, sensor, day=date.today(), **place), recording.sha256


def record_sensor(sensor: Sensor, rig_path: str | Path, sha256: str) -> Rig:
    """
    Enter a sensor with its calibration into a rig file and its log; the file's earlier version is kept.

    Parameters
    ----------
    sensor : Sensor
        With its calibration.
    rig_path : path
        The rig file.
    sha256 : str
        Hash of the recording that the calibration rests on.

    Raises
    ------
    RigFileError
        If the rig file cannot be read, or would not be a valid one; nothing is written then.
    OutputError
        If it cannot be written.
    """
    rig = update_rig(rig_path, {"sensor": sensor.entries()})
    append_log(rig_path, LogEntry(datetime.now(UTC), "sensor", rig.version, (sha256,), {}, "", __version__))
    return rig
