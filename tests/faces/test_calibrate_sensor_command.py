"""Calibrating the sensor of a rig and using it, as people and scripts meet them; recordings are invented."""

from __future__ import annotations

import json

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from sqlalchemy import select
from typer.testing import CliRunner

import invented_session as invented
from quintain.cli.app import app
from quintain.domain.rig import Rig
from quintain.report.rig_facts import rig_facts
from quintain.schemas import load_schema
from quintain.store.lab import Lab
from quintain.store.schema import Evidence, Recording
from quintain.tasks.lab_rigs import add_rig, rig_of
from quintain.tasks.rig_file import read_log

G = 9.80665
HEADER = "Time [s],Acc_X [g],Acc_Y [g],Acc_Z [g],Gyr_X [deg/s],Gyr_Y [deg/s],Gyr_Z [deg/s]"


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def write_imu(path, samples, rate=1000.0):
    time = np.arange(len(samples)) / rate
    rows = np.column_stack([time, samples[:, :3] / G, np.degrees(samples[:, 3:])])
    np.savetxt(path, rows, delimiter=",", header=HEADER, comments="", fmt="%.6g")


@pytest.fixture
def sides(tmp_path):
    generator = np.random.default_rng(1)
    parts = []
    for side in np.vstack([np.eye(3), -np.eye(3)]) * G:
        still = np.tile(side * 1.01 + [0.2, 0.0, 0.0], (1500, 1))
        parts += [still, still[:200] * 0.5 + generator.normal(0, 3, (200, 3))]
    force = np.vstack(parts)
    force = force + generator.normal(0, 0.02, force.shape)
    write_imu(tmp_path / "sides.csv", np.hstack([force, np.zeros_like(force)]))
    return tmp_path


def test_calibrate_and_write(sides):
    file = sides / "rig.toml"
    file.write_text(
        'name = "wall pad (invented)"\n[sensor]\nname = "wrist (invented)"\nlever_arm = [0.08, 0.0, 0.02]\n'
    )
    result = run(
        "calibrate", sides / "sides.csv", "--imu", "--rig", file, "--latitude", 45, "--write", "--json"
    )
    assert result.exit_code == 0, result.stderr
    answer = json.loads(result.stdout)
    Draft202012Validator(load_schema("calibrate-imu")).validate(answer)
    assert answer["results"]["sensor"] == "wrist (invented)"
    assert answer["results"]["bias"]["value"] == pytest.approx([0.2, 0.0, 0.0], abs=0.005)
    written = Rig.load(file).sensor
    assert written.lever_arm == (0.08, 0.0, 0.02)
    # the true gravity of the invented place is standard gravity, 0.5 mm/s² more than at 45 degrees
    assert 1 / written.calibration.matrix[0] == pytest.approx(1.01, abs=5e-4)
    assert [entry.kind for entry in read_log(file)] == ["sensor"]


def test_without_a_rig_it_is_only_said(sides):
    result = run("calibrate", sides / "sides.csv", "--imu")
    assert result.exit_code == 0
    assert "bias of x, y, z: +0.200" in result.stdout
    assert "unknown place" in result.stdout


def test_the_place_of_the_rig_is_taken(sides):
    file = sides / "rig.toml"
    file.write_text('name = "wall pad (invented)"\n[place]\nlatitude = 45.0\n')
    result = run("calibrate", sides / "sides.csv", "--imu", "--rig", file, "--json")
    assert json.loads(result.stdout)["method"]["latitude"] == 45.0
    assert Rig.load(file).sensor is None  # nothing is written unless asked


def test_a_rig_of_a_lab_gets_it_with_the_recording(sides):
    (sides / "rig.toml").write_text('name = "pad"\n[sensor]\nname = "wrist (invented)"\n')
    with Lab.create(sides / "lab", name="invented", invented=True) as lab:
        add_rig(lab, sides / "rig.toml", who="tester")
    place = ("--rig", "pad", "--lab", sides / "lab")
    result = run("calibrate", sides / "sides.csv", "--imu", *place, "--latitude", 45, "--write")
    assert result.exit_code == 0, result.stderr
    with Lab.open(sides / "lab") as lab:
        assert rig_of(lab, "pad").sensor.calibration.bias[0] == pytest.approx(0.2, abs=0.005)
        with lab.reading() as database:
            (evidence,) = database.scalars(select(Evidence))
            assert evidence.kind == "sensor"
            assert database.get(Recording, evidence.inputs[0]).kind == "motion"


def test_the_report_names_it():
    rig = Rig.from_toml('name = "pad"\n[sensor]\nname = "wrist"\nserial = "7"\n')
    assert ("Sensor on the limb", "wrist, no. 7, not calibrated") in [
        (f.name, f.value) for f in rig_facts(rig)
    ]


def test_what_cannot_be_done_is_said(sides):
    assert run("calibrate", sides / "sides.csv", "--imu", "--write").exit_code == 2
    stray = run("calibrate", sides / "sides.csv", "--imu", "--capacity", 5000)
    assert stray.exit_code == 2
    assert "--capacity belongs to a table of loads" in stray.stderr
    rows = (sides / "sides.csv").read_text().splitlines()
    (sides / "five.csv").write_text("\n".join(rows[: 1 + 5 * 1700]) + "\n")
    result = run("calibrate", sides / "five.csv", "--imu")
    assert result.exit_code == 1
    assert "at least six positions" in result.stderr


def test_the_analysis_uses_the_sensor_of_the_rig(tmp_path):
    session = invented.session(3)
    t = np.arange(0, len(session.samples) / session.rate, 1 / 2000)
    force = np.random.default_rng(0).normal(0, 2, t.size)
    for start in session.starts:
        force += 1800 * np.sin(np.pi * np.clip((t - start) / 0.018, 0, 1)) ** 2
    np.savetxt(
        tmp_path / "force.csv",
        np.c_[t, force],
        delimiter=",",
        header="time_s,force_N",
        comments="",
        fmt="%.6g",
    )
    write_imu(tmp_path / "imu.csv", session.samples)
    (tmp_path / "rig.toml").write_text(
        'name = "wall pad (invented)"\n[sensor]\nname = "wrist (invented)"\nlever_arm = [0.08, 0.0, 0.02]\n'
    )
    result = run(
        "analyse", tmp_path / "force.csv", "--motion", tmp_path / "imu.csv",
        "--rig", tmp_path / "rig.toml", "--json",
    )  # fmt: skip
    speeds = [s["approach_speed"] for s in _strikes(json.loads(result.stdout)["results"])]
    assert [s["value"] for s in speeds] == pytest.approx(session.speeds, rel=0.02)


def _strikes(results):
    """Strikes of the only recording."""
    return results["strikes"] if isinstance(results, dict) else results
