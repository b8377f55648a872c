"""``quintain calibrate --imu``: the accelerometer of the rig's sensor, laid on its six sides."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quintain.cli.failure import say
from quintain.cli.rig_option import rig_at
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.domain.sensor import SensorCalibration

__all__ = ["calibrate_sensor"]


def calibrate_sensor(
    file: Path,
    *,
    rig: Path | None,
    lab: Path | None,
    write: bool,
    latitude: float | None,
    altitude: float,
    reading: dict[str, Any],
    json: bool,
) -> None:
    """Calibrate, write into the rig where asked, and print; errors as of the task."""
    from quintain.domain import as_json
    from quintain.domain.rig import Rig
    from quintain.domain.sensor import Sensor
    from quintain.tasks.calibrate_imu import calibrate_imu_file, record_sensor

    with rig_at(rig, lab, "sensor", [file], reading=reading) as at:
        known = Rig.load(at.path) if at else None
        sensor = (known.sensor if known else None) or Sensor("sensor")
        if latitude is None and known is not None and known.place is not None:
            latitude, altitude = known.place.latitude, known.place.altitude
        found, sha256 = calibrate_imu_file(file, sensor, latitude=latitude, altitude=altitude, **reading)
        fit = found.calibration
        assert fit is not None
        answer = as_json.answer(
            "calibrate", version=__version__, inputs=[(str(file), sha256)],
            method={"latitude": latitude, "altitude": altitude, "reading": reading},
            results=_as_json(found.name, fit), flags=(),
        )  # fmt: skip
        if write and at is not None:
            record_sensor(found, at.path, sha256)
            at.answer = answer
    if write:
        say(f"rig: {rig}")
    if json:
        print(as_json.text(answer))
    else:
        _print(fit, place_known=latitude is not None)


def _as_json(name: str, fit: SensorCalibration) -> dict[str, Any]:
    return {
        "sensor": name,
        "bias": {"value": list(fit.bias), "u": fit.u_bias, "unit": "m/s²"},
        "matrix": {
            "value": list(fit.matrix),
            "u_scale": fit.u_scale,
            "u_misalignment_rad": fit.u_misalignment,
        },
        "residual": {"value": fit.residual, "u": None, "unit": "m/s²"},
        "date": None if fit.date is None else fit.date.isoformat(),
    }


def _print(fit: SensorCalibration, *, place_known: bool) -> None:
    bias = ", ".join(f"{b:+.3f}" for b in fit.bias)
    scale = ", ".join(f"{1 / fit.matrix[i]:.4f}" for i in (0, 4, 8))
    print(f"bias of x, y, z: {bias} m/s² (each ± {1.96 * fit.u_bias:.3f})")
    print(f"scale of x, y, z: {scale} (each ± {1.96 * fit.u_scale:.4f})")
    print(f"axes towards each other: ± {math.degrees(1.96 * fit.u_misalignment):.2f}° after it")
    print(f"left by the fit: {fit.residual:.3f} m/s²")
    if not place_known:
        print("gravity of an unknown place was taken, with a doubt of 0.3 %: give --latitude and --altitude")
