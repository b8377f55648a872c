"""Calibrating a sensor and using its file, as people and scripts meet them; recordings are invented."""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

import invented_session as invented
from quintain.cli.app import app
from quintain.domain.imu_file import ImuFile

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
    file = sides / "wrist.toml"
    file.write_text('name = "wrist (invented)"\nlever_arm = [0.08, 0.0, 0.02]\n')
    result = run("sensor", sides / "sides.csv", "--sensor", file, "--latitude", 45, "--write", "--json")
    assert result.exit_code == 0, result.stderr
    answer = json.loads(result.stdout)
    assert answer["command"] == "sensor"
    assert answer["results"]["bias"]["value"] == pytest.approx([0.2, 0.0, 0.0], abs=0.005)
    written = ImuFile.load(file)
    assert written.lever_arm == (0.08, 0.0, 0.02)
    # the true gravity of the invented place is standard gravity, 0.5 mm/s² more than at 45 degrees
    assert 1 / written.calibration.matrix[0] == pytest.approx(1.01, abs=5e-4)
    assert "Bias of x, y, z: +0.200" in run("sensor", sides / "sides.csv").stdout


def test_what_cannot_be_done_is_said(sides):
    assert run("sensor", sides / "sides.csv", "--write").exit_code == 2
    rows = (sides / "sides.csv").read_text().splitlines()
    (sides / "five.csv").write_text("\n".join(rows[: 1 + 5 * 1700]) + "\n")
    result = run("sensor", sides / "five.csv")
    assert result.exit_code == 1
    assert "at least six positions" in result.stderr


def test_the_analysis_uses_the_file(tmp_path):
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
    (tmp_path / "wrist.toml").write_text('name = "wrist (invented)"\nlever_arm = [0.08, 0.0, 0.02]\n')
    result = run(
        "analyse", tmp_path / "force.csv", "--motion", tmp_path / "imu.csv",
        "--sensor", tmp_path / "wrist.toml", "--json",
    )  # fmt: skip
    speeds = [s["approach_speed"] for s in _strikes(json.loads(result.stdout)["results"])]
    assert [s["value"] for s in speeds] == pytest.approx(session.speeds, rel=0.02)


def _strikes(results):
    """Strikes of the only recording."""
    return results["strikes"] if isinstance(results, dict) else results
