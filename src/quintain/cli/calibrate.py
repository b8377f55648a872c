"""``quintain calibrate``: static calibration from a table of loads."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quintain.cli.answer import ReportFolder, TableAsJson
from quintain.cli.failure import explained, say
from quintain.cli.reading import Setting, reading
from quintain.cli.rig_option import LabOfRig, TestWhen, rig_at, time_told
from quintain.version import __version__

if TYPE_CHECKING:
    from quintain.domain.calibration import StaticCalibration

__all__ = ["calibrate"]


def calibrate(
    file: Annotated[
        Path,
        typer.Argument(
            help="Table of loads: mass or force, and reading. With --imu a recording.", show_default=False
        ),
    ],
    gravity: Annotated[float | None, typer.Option(help="Local gravity in m/s², for masses.")] = None,
    latitude: Annotated[float | None, typer.Option(help="Or latitude in degrees,")] = None,
    altitude: Annotated[float, typer.Option(help="and altitude in m.")] = 0.0,
    density: Annotated[float, typer.Option(help="Density of the masses in kg/m³.")] = 8000.0,
    degree: Annotated[
        int | None, typer.Option(help="Degree of the curve, 1 to 3; chosen if not given.")
    ] = None,
    capacity: Annotated[float | None, typer.Option(help="Capacity of the cell in N.")] = None,
    u_reference: Annotated[
        float, typer.Option(help="Relative standard uncertainty of the applied forces.")
    ] = 0.0,
    shunt: Annotated[
        str | None,
        typer.Option(help="Shunt check: bridge ohm, shunt ohm, reading in mV/V: '350,100000,0.873'."),
    ] = None,
    imu: Annotated[
        bool,
        typer.Option("--imu", help="FILE is a recording of the rig's sensor laid still on its six sides."),
    ] = False,
    setting: Setting = None,
    creep: Annotated[
        str | None,
        typer.Option(
            help="Readings 30 s and 300 s after the greatest force came or went, in the table's unit: "
            "'2.00010,2.00034'."
        ),
    ] = None,
    rig: Annotated[Path | None, typer.Option(help="Rig file (rig.toml): capacity and place.")] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Write the calibration into the rig file and its log.")
    ] = False,
    lab: LabOfRig = None,
    when: TestWhen = "",
    report: ReportFolder = None,
    json: TableAsJson = False,
) -> None:
    """
    Fit a calibration curve to a table of static loads and state what the standards would ask of it.

    With --imu bias, scale and misalignment of the accelerometer on the limb, for the rig's [sensor].

    Example: quintain calibrate loads.csv --latitude 52.4 --rig rig.toml --write

    Example: quintain calibrate sides.csv --imu --rig rig.toml --write
    """
    from quintain.cli.calibrate_sensor import calibrate_sensor
    from quintain.domain import as_json
    from quintain.domain.rig import Rig
    from quintain.errors import UsageError
    from quintain.tasks.calibrate import calibrate_file, record_calibration

    with explained():
        if write and rig is None:
            raise UsageError("--write needs --rig: the rig file to write the calibration into")
        at_time = time_told(when, write)
        if imu:
            of_loads = {"--gravity": gravity, "--degree": degree, "--capacity": capacity, "--shunt": shunt,
                        "--creep": creep, "--report": report, "--when": at_time}  # fmt: skip
            for name in (name for name, value in of_loads.items() if value is not None):
                raise UsageError(f"{name} belongs to a table of loads, not to --imu")
            calibrate_sensor(
                file, rig=rig, lab=lab, write=write, latitude=latitude, altitude=altitude,
                reading=reading(setting), json=json,
            )  # fmt: skip
            return
        if setting is not None:
            raise UsageError("--setting belongs to --imu: a table of loads is read as it stands")
        with rig_at(rig, lab, "calibration", [file]) as at:
            result = calibrate_file(
                file, gravity=gravity, latitude=latitude, altitude=altitude, density=density, degree=degree,
                capacity=capacity, u_reference=u_reference, shunt=_shunt(shunt),
                creep=_creep(creep), rig=Rig.load(at.path) if at else None,
            )  # fmt: skip
            answer = as_json.answer(
                "calibrate", version=__version__, inputs=[(result.path, result.sha256)],
                method=result.history[0].settings, results=_as_json(result), flags=result.flags,
            )  # fmt: skip
            if write and at is not None:
                record_calibration(result, at.path, when=at_time and at_time.date())
                at.answer = answer
        if write:
            say(f"rig: {rig}")
        if json:
            print(as_json.text(answer))
        else:
            _print(result)
        if report:
            from quintain.tasks.report import write_calibration_reports

            for path in write_calibration_reports(result, report):
                say(f"report: {path}")


def _shunt(text: str | None) -> tuple[float, float, float] | None:
    from quintain.errors import UsageError

    if text is None:
        return None
    try:
        bridge, resistor, reading = (float(part) for part in text.split(","))
    except ValueError:
        raise UsageError(f"--shunt needs three numbers, as in '350,100000,0.873'; got {text!r}") from None
    if bridge <= 0 or resistor <= 0:
        raise UsageError(f"--shunt needs resistances above 0 ohm, got {text!r}")
    return bridge, resistor, reading / 1000


def _creep(text: str | None) -> tuple[float, float] | None:
    from quintain.errors import UsageError

    if text is None:
        return None
    try:
        early, late = (float(part) for part in text.split(","))
    except ValueError:
        raise UsageError(f"--creep needs two numbers, as in '2.00010,2.00034'; got {text!r}") from None
    return early, late


def _as_json(result: StaticCalibration) -> dict[str, Any]:
    unit = f"{result.reading_unit}/N"
    return {
        "coefficients": list(result.coefficients),
        "u_coefficients": list(result.u_coefficients),
        "force_coefficients": list(result.to_force),
        "reading_unit": result.reading_unit,
        "sensitivity": {"value": result.sensitivity, "u": result.u_sensitivity, "unit": unit},
        "residual_sd": result.residual_sd,
        "reproducibility_pct": result.errors["reproducibility"],
        "repeatability_pct": result.errors["repeatability"],
        "interpolation_pct": result.errors["interpolation"],
        "reversibility_pct": result.errors["reversibility"],
        "zero_pct": result.errors["zero"],
        "creep_pct": result.errors["creep"],
        "class_like": result.class_name,
        "class_limited_by": list(result.limited_by),
        "class_missing": list(result.missing),
        "lower_limit_factor_n": result.lower_limit_factor,
        "class_a_from_n": result.class_a_from,
        "class_aa_from_n": result.class_aa_from,
        "lowest_n": result.lowest,
        "highest_n": result.highest,
        "u_gain": result.u_gain,
        "shunt": None
        if result.shunt_expected is None
        else {"expected_v_per_v": result.shunt_expected, "read_v_per_v": result.shunt_read},
        "steps": [
            {
                "force_n": step.force,
                "reading": step.reading,
                "u_force_n": step.u_force,
                **{f"{kind}_pct": value for kind, value in step.errors.items()},
            }
            for step in result.steps
        ],
    }


def _print(result: StaticCalibration) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from quintain.domain.calibration import CALIBRATION_CAUTION

    console = Console(highlight=False)
    console.print(
        f"{result.path}: {result.n_rows} rows, {result.lowest:g} to {result.highest:g} N", markup=False
    )
    console.print(
        f"sensitivity {result.sensitivity:.7g} ± {1.96 * result.u_sensitivity:.2g} {result.reading_unit}/N; "
        f"curve of degree {len(result.coefficients) - 1}, "
        f"scatter {result.residual_sd:.3g} {result.reading_unit}",
        markup=False,
    )
    kinds = sorted({kind for step in result.steps for kind in step.errors})
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, caption="± expanded uncertainty, 95 %")
    for heading in ("force, N", "±, N", *(f"{kind}, %" for kind in kinds)):
        table.add_column(heading, justify="right")
    for step in result.steps:
        cells = [f"{step.errors[kind]:.4f}" if kind in step.errors else "" for kind in kinds]
        table.add_row(f"{step.force:.6g}", f"{1.96 * step.u_force:.2g}", *cells)
    console.print(table)
    for kind, value in result.errors.items():
        console.print(f"{kind}: " + ("not measured" if value is None else f"{value:.4f} %"), markup=False)
    if result.class_name is not None:
        words = f"as an ISO 376 class {result.class_name} would ask, without being one"
    elif result.missing:
        words = f"no class can be compared: {', '.join(result.missing)} not measured"
    else:
        words = f"outside the limits of every ISO 376 class: {', '.join(result.limited_by)}"
    console.print(words, markup=False)
    console.print(
        f"ASTM E74: lower limit factor {result.lower_limit_factor:.3g} N, "
        f"class A from {result.class_a_from:.4g} N, AA from {result.class_aa_from:.4g} N",
        markup=False,
    )
    if result.shunt_expected is not None and result.shunt_read is not None:
        off = 100 * (result.shunt_read / result.shunt_expected - 1)
        console.print(
            f"shunt: {1e3 * result.shunt_read:.5g} mV/V read, "
            f"{1e3 * result.shunt_expected:.5g} expected ({off:+.2f} %)",
            markup=False,
        )
    for doubt in result.flags:
        console.print(f"◇ {doubt.code}: {doubt.message}", markup=False)
    console.print(CALIBRATION_CAUTION, markup=False)
