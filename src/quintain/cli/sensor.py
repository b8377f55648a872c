"""``quintain sensor``: calibrate the accelerometer of a sensor on its six sides."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated

import typer

from quintain.cli.failure import explained, say
from quintain.errors import UsageError
from quintain.version import __version__

__all__ = ["sensor"]


def sensor(
    file: Annotated[
        Path, typer.Argument(help="Recording of the sensor on each of its six sides.", show_default=False)
    ],
    rig: Annotated[
        Path | None, typer.Option(help="Rig file whose [sensor] it is: channels, seat, ranges, calibration.")
    ] = None,
    sensor: Annotated[
        Path | None, typer.Option(help="File of the sensor alone, where there is no rig file.")
    ] = None,
    write: Annotated[bool, typer.Option("--write", help="Write the calibration into that file.")] = False,
    latitude: Annotated[float | None, typer.Option(help="Latitude of the place in degrees,")] = None,
    altitude: Annotated[float, typer.Option(help="and its altitude in m.")] = 0.0,
    columns: Annotated[str | None, typer.Option(help="What the columns of a text file hold.")] = None,
    rate: Annotated[float | None, typer.Option(help="Sampling rate in Hz, if the file has no time.")] = None,
    units: Annotated[str | None, typer.Option(help="Units the file does not state.")] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object instead of text.")] = False,
) -> None:
    """
    Calibrate an accelerometer that was laid still on each of its six sides for some seconds.

    Example: quintain sensor sides.csv --rig rig.toml --latitude 52.4 --write
    """
    from quintain.domain import as_json
    from quintain.domain.imu_file import ImuFile
    from quintain.domain.rig import Rig
    from quintain.tasks.calibrate_imu import calibrate_imu_file, record_sensor, write_sensor_file

    with explained():
        if rig is not None and sensor is not None:
            raise UsageError(
                "name the rig file that holds the sensor, or a file of the sensor alone, not both"
            )
        if write and rig is None and sensor is None:
            raise UsageError("--write needs the file to write into: add --rig rig.toml")
        known = ImuFile(sensor.stem if sensor else "sensor")
        if rig is not None:
            known = Rig.load(rig).sensor or known
        elif sensor is not None and sensor.exists():
            known = ImuFile.load(sensor)
        settings = {"columns": columns, "rate": rate, "units": units}
        found, sha256 = calibrate_imu_file(
            file, known, latitude=latitude, altitude=altitude,
            **{name: value for name, value in settings.items() if value is not None},
        )  # fmt: skip
        fit = found.calibration
        assert fit is not None
        results = {
            "bias": {"value": list(fit.bias), "u": fit.u_bias, "unit": "m/s²"},
            "matrix": {
                "value": list(fit.matrix),
                "u_scale": fit.u_scale,
                "u_misalignment": fit.u_misalignment,
            },
            "residual": {"value": fit.residual, "u": None, "unit": "m/s²"},
        }
        if json:
            print(
                as_json.text(
                    as_json.answer(
                        "sensor", version=__version__, inputs=[(str(file), sha256)], method={},
                        results=results, flags=(),
                    )
                )
            )  # fmt: skip
        else:
            bias = ", ".join(f"{b:+.3f}" for b in fit.bias)
            scale = ", ".join(f"{1 / fit.matrix[i]:.4f}" for i in (0, 4, 8))
            print(f"Bias of x, y, z: {bias} m/s² (each ± {1.96 * fit.u_bias:.3f})")
            print(f"Scale of x, y, z: {scale} (each ± {1.96 * fit.u_scale:.4f})")
            print(f"Axes towards each other: ± {math.degrees(1.96 * fit.u_misalignment):.2f}° after it")
            print(f"Left by the fit: {fit.residual:.3f} m/s²")
        if write and rig is not None:
            record_sensor(found, rig)
            say(f"written into {rig}")
        elif write and sensor is not None:
            write_sensor_file(found, sensor)
            say(f"written into {sensor}")
