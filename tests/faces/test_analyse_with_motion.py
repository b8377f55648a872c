"""``quintain analyse`` with typed speeds and with a recording of the limb."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from tests.simulated_limb import simulate_blow
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.schemas import load_schema

RIG = """
name = "invented rig"
[[modes]]
natural_frequency = 220.0
damping_ratio = 0.02
u_natural_frequency = 0.5
u_damping_ratio = 0.001
[calibration]
u_gain = 0.003
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented session of four equal blows, and an inertial sensor whose x axis points into the pad."""
    folder = tmp_path_factory.mktemp("motion")
    (folder / "rig.toml").write_text(RIG)
    rng = np.random.default_rng(1)
    blow = simulate_blow(speed=6.0, pad="soft")
    rate, imu_rate, starts, whole = 2000.0, 1000.0, (1.5, 4.1, 7.4, 9.3), 12.0
    t, ti = np.arange(whole * rate) / rate, np.arange(whole * imu_rate) / imu_rate
    force, hand = np.zeros(t.size), np.zeros(ti.size)
    for start in starts:
        force += np.interp(t - start, blow.since, blow.motion.cell_output, left=0.0, right=0.0)
        launch = (ti - start > -0.2) & (ti - start <= -0.001)
        hand[launch] += 6.0 / (launch.sum() / imu_rate)
        during = (ti - start > -0.001) & (ti - start < 0.03)
        hand[during] += np.interp(ti[during] - start, blow.since, blow.motion.striker_acceleration)
        back = (ti - start >= 0.03) & (ti - start < 0.33)
        gained = hand[(ti - start > -0.25) & (ti - start < 0.03)].sum()
        hand[back] -= gained / back.sum()
    force += rng.normal(0, 3.0, t.size)
    np.savetxt(
        folder / "force.csv", np.c_[t, force], delimiter=",", header="time_s,force_N", comments="", fmt="%.6f"
    )
    noise = rng.normal(0, 0.02, (ti.size, 3))
    turn = rng.normal(0, 0.001, (ti.size, 3))
    axes = np.c_[ti + 100.0, hand + noise[:, 0], noise[:, 1], 9.80665 + noise[:, 2], turn]
    names = "time_s,ax_m/s2,ay_m/s2,az_m/s2,gx_rad/s,gy_rad/s,gz_rad/s"
    np.savetxt(folder / "motion.csv", axes, delimiter=",", header=names, comments="", fmt="%.6f")
    return folder


def _run(folder: Path, *more: str) -> tuple[int, str, str]:
    found = CliRunner().invoke(
        app, ["analyse", str(folder / "force.csv"), "--rig", str(folder / "rig.toml"), *more]
    )
    return found.exit_code, found.stdout, found.stderr


def test_typed_speeds_give_bounds(folder: Path) -> None:
    code, out, _ = _run(folder, "--speed", "6.0+-0.1", "--json")
    answer = json.loads(out)
    assert code == 0
    jsonschema.validate(answer, load_schema("analyse"))
    for strike in answer["results"]:
        assert strike["effective_mass"] is None
        assert strike["effective_mass_low"]["value"] < 3.0 < strike["effective_mass_high"]["value"]
        assert strike["energy"] is None


def test_a_speed_for_each_strike(folder: Path) -> None:
    _, out, _ = _run(folder, "--speed", "6.0+-0.1; 5.9; 6.1+-0.1", "--json")
    speeds = [s["approach_speed"] and s["approach_speed"]["value"] for s in json.loads(out)["results"]]
    assert speeds == [6.0, 5.9, 6.1, None]
    code, _, err = _run(folder, "--speed", "6;6;6;6;6")
    assert code != 0
    assert "strike 5" in err


def test_a_sensor_gives_mass_and_energy(folder: Path) -> None:
    code, out, err = _run(folder, "--motion", str(folder / "motion.csv"), "--normal", "1,0,0", "--json")
    assert code == 0, err
    answer = json.loads(out)
    jsonschema.validate(answer, load_schema("analyse"))
    for strike in answer["results"]:
        mass, energy = strike["effective_mass"], strike["energy"]
        assert abs(mass["value"] - 3.0) < 2 * mass["u"]
        assert abs(energy["value"] - 54.0) < 2 * energy["u"]  # 3 kg at 6 m/s, no push
        assert strike["budget"]["effective_mass"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--speed", "fast"), "such as '8.2+-0.2'"),
        (("--speed", "0"), "above 0 m/s"),
        (("--speed", "-3"), "such as '8.2+-0.2'"),
        (("--speed", "6", "--motion", "x.csv"), "not both"),
        (("--speed", "6", "--kind", "throw"), "any, punch or kick"),
        (("--speed", "6", "--normal", "1,0"), "three numbers"),
    ],
)
def test_what_makes_no_sense_is_one_line(folder: Path, arguments: tuple[str, ...], words: str) -> None:
    code, _, err = _run(folder, *arguments)
    assert code != 0
    assert words in err
