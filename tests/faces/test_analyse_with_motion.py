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


def test_the_clocks_are_in_the_answer_and_on_screen(folder: Path) -> None:
    motion = ("--motion", str(folder / "motion.csv"), "--normal", "1,0,0")
    (clock,) = json.loads(_run(folder, *motion, "--json")[1])["clocks"]
    assert abs(clock["offset"]["value"] - 100.0) < 0.002  # as invented; edges within 1 ms on either side
    assert [pair["strike"] for pair in clock["matched"]] == [1, 2, 3, 4]
    assert clock["missed"] == clock["extra_s"] == []
    _, out, _ = _run(folder, *motion)
    assert "clocks: 4 of 4 strikes matched by impacts alone" in " ".join(out.split())
    assert json.loads(_run(folder, "--speed", "6", "--json")[1])["clocks"] == [None]


def test_a_table_of_speeds(folder: Path) -> None:
    (folder / "speeds.csv").write_text("strike,speed [m/s],± [m/s]\n1,6.0,0.2\n3,5.9,\n")
    _, out, _ = _run(folder, "--speed", str(folder / "speeds.csv"), "--json")
    strikes = json.loads(out)["results"]
    assert [s["approach_speed"] and s["approach_speed"]["value"] for s in strikes] == [6.0, None, 5.9, None]
    assert strikes[0]["approach_speed"]["u"] == pytest.approx(0.2 / 1.96)


def test_light_gates(folder: Path) -> None:
    rows = [f"{s - 0.02:.4f},{s - 0.003:.4f},0.102,0.018" for s in (1.5, 4.1, 7.4)]
    (folder / "gates.csv").write_text("\n".join(["first [s],second [s],spacing [m],to pad [m]", *rows]))
    code, out, err = _run(folder, "--speed", str(folder / "gates.csv"), "--json")
    assert code == 0, err
    speeds = [s["approach_speed"] for s in json.loads(out)["results"]]
    assert [s and s["value"] for s in speeds] == [pytest.approx(6.0)] * 3 + [None]
    # 1 mm of 102 and 0.1 ms twice of 17 ms alone give 1.3 %
    assert all(s["u"] > 0.013 * 6.0 for s in speeds[:3])


def test_a_track_whose_point_is_named(folder: Path) -> None:
    t = np.arange(0, 12, 1 / 250)
    x = sum(6.0 * np.clip(t - s + 0.3, 0, 0.3) for s in (1.5, 4.1, 7.4, 9.3))
    columns = np.c_[t, x, 0 * x, 0 * x, 3 * x, x, x]
    names = "time_s,hand_x_m,hand_y_m,hand_z_m,elbow_x_m,elbow_y_m,elbow_z_m"
    np.savetxt(folder / "track.csv", columns, delimiter=",", header=names, comments="", fmt="%.6f")
    motion = ("--motion", str(folder / "track.csv"), "--normal", "1,0,0")
    code, _, err = _run(folder, *motion)
    assert code == 3
    assert "hand_x" in err
    code, out, err = _run(
        folder, *motion, "--track", "hand_x,hand_y,hand_z", "--clock-offset", "0+-0.002", "--json"
    )
    assert code == 0, err
    speeds = [s["approach_speed"] for s in json.loads(out)["results"]]
    assert all(abs(s["value"] - 6.0) < 2 * s["u"] for s in speeds)


def test_a_pulse_on_both_recordings(folder: Path) -> None:
    """One strike of force against four of the sensor: only the pulse says which one it is."""
    force = np.genfromtxt(folder / "force.csv", delimiter=",", skip_header=1)
    pulse = 5.0 * ((force[:, 0] > 0.5) & (force[:, 0] < 0.55))
    quiet = np.where(np.abs(force[:, 0] - 4.1) < 0.5, force[:, 1], np.clip(force[:, 1], -9, 9))
    one = np.c_[force[:, 0], quiet, pulse]
    np.savetxt(
        folder / "one.csv", one, delimiter=",", header="time_s,force_N,sync_V", comments="", fmt="%.6f"
    )
    limb = np.genfromtxt(folder / "motion.csv", delimiter=",", names=True, deletechars="")
    there = np.c_[
        limb.view(np.float64).reshape(limb.size, -1),
        5.0 * ((limb["time_s"] - 100 > 0.5) & (limb["time_s"] - 100 < 0.55)),
    ]
    names = "time_s,ax_m/s2,ay_m/s2,az_m/s2,gx_rad/s,gy_rad/s,gz_rad/s,trigger_V"
    np.savetxt(folder / "there.csv", there, delimiter=",", header=names, comments="", fmt="%.6f")
    line = ["analyse", str(folder / "one.csv"), "--channel", "force", "--rig", str(folder / "rig.toml"),
            "--motion", str(folder / "there.csv"), "--normal", "1,0,0", "--json"]  # fmt: skip
    alone = CliRunner().invoke(app, line)
    assert alone.exit_code == 1
    assert "no strike has a speed" in alone.stderr
    tied = CliRunner().invoke(app, [*line, "--sync", "sync,trigger"])
    assert tied.exit_code == 0, tied.stderr
    answer = json.loads(tied.stdout)
    (strike,) = answer["results"]
    assert abs(strike["approach_speed"]["value"] - 6.0) < 2 * strike["approach_speed"]["u"]
    assert len(answer["clocks"][0]["extra_s"]) == 3


def test_settings_of_the_motions_file(folder: Path) -> None:
    bare = (folder / "motion.csv").read_text().splitlines()[1:]
    (folder / "bare.csv").write_text("\n".join(["t,ax,ay,az,gx,gy,gz", *bare]))
    layout = "columns=time=1[s],acc_x=2[m/s2],acc_y=3[m/s2],acc_z=4[m/s2]"
    motion = ("--motion", str(folder / "bare.csv"), "--motion-setting", layout, "--normal", "1,0,0")
    code, out, err = _run(folder, *motion, "--straight", "--json")
    assert code == 0, err
    assert all(s["approach_speed"] for s in json.loads(out)["results"])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--speed", "fast"), "such as '8.2+-0.2'"),
        (("--speed", "0"), "above 0 m/s"),
        (("--speed", "-3"), "such as '8.2+-0.2'"),
        (("--speed", "6", "--motion", "x.csv"), "not both"),
        (("--speed", "6", "--kind", "throw"), "any, punch or kick"),
        (("--speed", "6", "--normal", "1,0"), "three numbers"),
        (("--speed", "6", "--normal", "0,0,0"), "needs a length"),
        (("--speed", "none.csv"), "cannot be read"),
        (("--normal", "1,0,0"), "add --motion"),
        (("--sync", "pulse"), "add --motion"),
        (("--motion", "x.csv", "--clock-offset", "28.9"), "'28.9+-0.05'"),
        (("--motion", "x.csv", "--clock-offset", "1+-1", "--sync", "a"), "give one"),
        (("--motion", "x.csv", "--track", "a,b"), "one or three channels"),
        (("--motion", "x.csv", "--motion-setting", "rate"), "name=value"),
    ],
)
def test_what_makes_no_sense_is_one_line(folder: Path, arguments: tuple[str, ...], words: str) -> None:
    code, _, err = _run(folder, *arguments)
    assert code != 0
    assert words in err
