"""The commands that prove a rig, as people and scripts meet them; all recordings here are invented."""

from __future__ import annotations

import contextlib
import json

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from dropped_mass import FOAM, drop, record
from free_decay import free_decay
from load_tables import write_three_positions
from quintain.cli.app import app
from quintain.domain.rig import Rig
from quintain.schemas import load_schema
from quintain.store.lab import Lab
from quintain.tasks.lab_rigs import add_rig
from quintain.tasks.rig_file import earlier_versions, read_log
from tap_recording import write_taps

KNOWN = ("--mass", 5, "--gravity", 9.81)
ABOVE_ZERO = ["0,0", "10,0.02", "20,0.0401", "30,0.06", "40,0.08"]
COMMANDS = {
    "zero": ("zero", "quiet.csv"),
    "tap": ("tap", "taps.csv"),
    "drops": ("drops", "drops.csv", *KNOWN, "--height", 0.5),
    "calibrate": ("calibrate", "loads.csv"),
}


def write_force(path, force, rate):
    rows = "\n".join(f"{i / rate:.4f},{f:.2f}" for i, f in enumerate(force))
    path.write_text(f"time_s,force_N\n{rows}\n")


def write_loads(path, rows, header="mass [kg],reading [mV/V]"):
    path.write_text("\n".join([header, *rows]) + "\n")


@pytest.fixture
def lab(tmp_path):
    """A folder with one sound recording for each command, and a rig that nothing proves yet."""
    noise = np.random.default_rng(2)
    write_force(tmp_path / "quiet.csv", 4 + noise.normal(0, 1.5, 3000), 1000)
    write_force(tmp_path / "drops.csv", record(drop(FOAM, 0.5), 1000.0)[0], 1000)
    write_taps(tmp_path / "taps.csv", 240)
    write_three_positions(tmp_path / "loads.csv")
    (tmp_path / "rig.toml").write_text('name = "wall pad (invented)"  # kept\n')
    return tmp_path


def run(*arguments, cwd):
    """In this process; what would be a traceback for the user is raised."""
    with contextlib.chdir(cwd):
        done = CliRunner().invoke(app, [str(a) for a in arguments])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def refused(done, code, *words):
    """No result on stdout, and the words on one line of stderr."""
    assert done.exit_code == code, done.output
    assert done.stdout == ""
    assert len(done.stderr.strip().splitlines()) == 1
    for word in words:
        assert word in done.stderr


# -- answers


@pytest.mark.parametrize("command", COMMANDS)
def test_answers_keep_to_their_schema(command, lab):
    done = run(*COMMANDS[command], "--json", cwd=lab)
    assert done.exit_code == 0, done.stderr
    answer = json.loads(done.stdout)
    Draft202012Validator(load_schema(command)).validate(answer)
    assert answer["inputs"][0]["path"] == COMMANDS[command][1]


def test_names_that_scripts_rely_on(lab):
    """The contract of the interface, in words of its own beside the schemas."""
    found = {c: json.loads(run(*a, "--json", cwd=lab).stdout)["results"] for c, a in COMMANDS.items()}
    assert {"modes", "shortest_pulse_s", "alias_candidates_hz"} <= set(found["tap"])
    assert {"natural_frequency", "damping_ratio"} <= set(found["tap"]["modes"][0])
    pct = {f"{kind}_pct" for kind in ("repeatability", "reversibility", "interpolation", "zero")}
    assert {"coefficients", "sensitivity", "class_like"} | pct <= set(found["calibrate"])
    assert {"drops", "gain", "gain_without_height", "verdict", "reasons"} <= set(found["drops"])
    each = {"start_s", "approach_speed", "rebound_speed", "restitution", "impulse", "contact_time"}
    assert each | {"peak_force", "flags"} <= set(found["drops"]["drops"][0])


@pytest.mark.parametrize(
    "command",
    ["tap", "calibrate", "calibrate-imu", "drops", "rig", "zero", "translate", "formats"],
)
def test_schemas_are_strict(command):
    schema = load_schema(command)
    Draft202012Validator.check_schema(schema)

    def objects(node):
        if isinstance(node, dict):
            if "properties" in node:
                yield node
            for value in node.values():
                yield from objects(value)

    for node in objects(schema):
        assert node["additionalProperties"] is False
        assert set(node["required"]) <= set(node["properties"])


@pytest.mark.parametrize(
    ("command", "words"),
    [
        ("zero", ("Zero: ", "Noise: ", "±")),
        ("tap", ("natural", "2 of 2", "Local rules")),
        ("drops", ("verdict: pass", "±")),
        ("calibrate", ("sensitivity", "without being one", "Local rules")),
    ],
)
def test_tables_for_people(command, words, lab):
    done = run(*COMMANDS[command], cwd=lab)
    assert done.exit_code == 0, done.stderr
    told = " ".join(done.stdout.split())
    for word in words:
        assert word in told


def test_a_rig_from_nothing_to_proved(lab):
    new = run("rig", "rig.toml", "--json", cwd=lab)
    assert new.exit_code == 1
    answer = json.loads(new.stdout)
    Draft202012Validator(load_schema("rig")).validate(answer)
    assert answer["results"]["verdict"] == "undecided"
    for command in ("zero", "tap", "calibrate"):
        assert run(*COMMANDS[command], "--rig", "rig.toml", "--write", cwd=lab).exit_code == 0
    kept = Rig.load(lab / "rig.toml")
    assert kept.modes[0].natural_frequency == pytest.approx(240, abs=0.2)
    assert kept.calibration.input_unit == "V/V"
    assert kept.calibration.highest == pytest.approx(10_000)
    assert "# kept" in (lab / "rig.toml").read_text()
    assert [e.kind for e in read_log(lab / "rig.toml")] == ["zero", "tap", "calibration"]
    assert len(earlier_versions(lab / "rig.toml")) == 2  # a zero goes into the log alone


def test_a_pass_makes_a_rig_sound_until_it_is_calibrated_anew(lab):
    for command in ("tap", "drops"):
        assert run(*COMMANDS[command], "--rig", "rig.toml", "--write", cwd=lab).exit_code == 0
    state = run("rig", "rig.toml", "--json", cwd=lab)
    answer = json.loads(state.stdout)
    Draft202012Validator(load_schema("rig")).validate(answer)
    assert answer["results"]["reasons"] == ["calibration: never done"]
    assert state.exit_code == 1
    (lab / "newtons.csv").write_text(
        "force [N],reading [N]\n0,0\n500,500.1\n1000,999.8\n1500,1500.2\n2000,2000\n"
    )
    assert run("calibrate", "newtons.csv", "--rig", "rig.toml", "--write", cwd=lab).exit_code == 0
    state = run("rig", "rig.toml", cwd=lab)
    assert state.exit_code == 1
    assert "drop again" in " ".join(state.stdout.split())
    assert run(*COMMANDS["drops"], "--rig", "rig.toml", "--write", cwd=lab).exit_code == 0
    state = run("rig", "rig.toml", cwd=lab)
    assert state.exit_code == 0, state.stdout
    assert "Sound" in state.stdout


@pytest.mark.parametrize("command", ["tap", "calibrate", "rig"])
def test_reports(command, lab):
    arguments = COMMANDS.get(command, ("rig", "rig.toml"))
    done = run(*arguments, "--report", "reports", cwd=lab)
    assert done.stderr.count("report: ") == 2
    name = arguments[1].split(".")[0]
    assert "</html>" in (lab / "reports" / f"{name}.report.html").read_text(encoding="utf-8")
    assert (lab / "reports" / f"{name}.report.pdf").read_bytes().startswith(b"%PDF")


def test_a_report_in_no_folder(lab):
    (lab / "file").write_text("")
    done = run("rig", "rig.toml", "--report", "file", cwd=lab)
    assert done.exit_code == 2
    assert "cannot write the report" in done.stderr


def test_creep_is_in_the_unit_of_the_table(lab):
    done = run("calibrate", "loads.csv", "--creep", "2.0001,2.0003", "--json", cwd=lab)
    # 0.0002 mV/V of 2 mV/V is 0.01 %; ISO 376 clause 8 (from memory)
    assert json.loads(done.stdout)["results"]["creep_pct"] == pytest.approx(0.01, rel=1e-3)
    refused(run("calibrate", "loads.csv", "--creep", "2", cwd=lab), 2, "--creep", "two numbers")
    refused(run("calibrate", "loads.csv", "--creep", "nan,2", cwd=lab), 2, "creep")


# -- refusals: a request that cannot be


@pytest.mark.parametrize("mass", ["0", "-5", "nan", "inf", "1e9", "0.001"])
def test_an_absurd_mass(mass, lab):
    refused(run("drops", "drops.csv", "--mass", mass, "--height", 0.5, cwd=lab), 2, "mass")


@pytest.mark.parametrize("height", ["0", "-1", "nan", "inf", "500"])
def test_an_absurd_height(height, lab):
    refused(run("drops", "drops.csv", "--mass", 5, "--height", height, cwd=lab), 2, "height")


def test_no_mass(lab):
    done = run("drops", "drops.csv", "--height", 0.5, cwd=lab)
    assert (done.exit_code, done.stdout) == (2, "")
    assert "--mass" in done.stderr


def test_without_a_height_the_bounces_decide(lab):
    done = run("drops", "drops.csv", *KNOWN, "--json", cwd=lab)
    results = json.loads(done.stdout)["results"]
    assert results["gain"] is None
    assert results["gain_without_height"]["value"] == pytest.approx(1, abs=0.01)
    # a pass without a height rests on the bounces, so says the reason
    assert results["verdict"] in ("pass", "undecided")
    assert done.exit_code == (0 if results["verdict"] == "pass" else 1)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_file_that_is_not_there(command, lab):
    _, _, *rest = COMMANDS[command]
    refused(run(command, "none.csv", *rest, cwd=lab), 3, "none.csv")


@pytest.mark.parametrize("command", COMMANDS)
def test_write_needs_a_rig(command, lab):
    refused(run(*COMMANDS[command], "--write", cwd=lab), 2, "--rig")


@pytest.mark.parametrize("command", COMMANDS)
def test_a_rig_file_with_a_slip(command, lab):
    (lab / "rig.toml").write_text('name = "x"\n[cel]\ncapacity = 1\n')
    refused(run(*COMMANDS[command], "--rig", "rig.toml", cwd=lab), 2, "rig.toml, line 2")


@pytest.mark.parametrize(
    "settings",
    [
        ("--gravity", "0"),
        ("--gravity", "nan"),
        ("--latitude", "95"),
        ("--latitude", "50", "--altitude", "1e9"),
        ("--gravity", "9.81", "--capacity", "0"),
        ("--gravity", "9.81", "--density", "0"),
        ("--gravity", "9.81", "--degree", "4"),
        ("--gravity", "9.81", "--u-reference", "nan"),
        (),
    ],
)
def test_absurd_settings_of_a_calibration(settings, lab):
    write_loads(lab / "masses.csv", ABOVE_ZERO)
    refused(run("calibrate", "masses.csv", *settings, cwd=lab), 2)


@pytest.mark.parametrize(
    "settings",
    [
        ("--modes", "0"),
        ("--added-mass", "0.5"),
        ("--added-mass", "-1", "--loaded", "taps.csv"),
        ("--added-mass", "1", "--u-added-mass", "-1", "--loaded", "taps.csv"),
    ],
)
def test_absurd_settings_of_a_tap_test(settings, lab):
    refused(run("tap", "taps.csv", *settings, cwd=lab), 2)


# -- data that say no


def undecided(lab, force, rate=1000):
    write_force(lab / "odd.csv", force, rate)
    before = (lab / "rig.toml").read_text()
    done = run("drops", "odd.csv", *KNOWN, "--height", 0.5, "--rig", "rig.toml", "--write", "--json", cwd=lab)
    assert done.exit_code == 1
    results = json.loads(done.stdout)["results"]
    assert results["verdict"] != "pass"
    assert (lab / "rig.toml").read_text() == before
    run("drops", "odd.csv", *KNOWN, "--height", 0.5, cwd=lab)  # and the table has no traceback
    return results["verdict"], " ".join(results["reasons"])


def test_a_drop_that_misses(lab):
    verdict, why = undecided(lab, np.random.default_rng(1).normal(0, 3, 4000))
    assert verdict == "undecided"
    assert "No drop was found" in why


def test_a_drop_that_starts_on_the_pad(lab):
    samples, _ = record(drop(FOAM, 0.5), 1000.0)
    verdict, why = undecided(lab, samples[int(np.argmax(samples)) - 3 :])
    assert verdict == "undecided"
    assert "begins with a force on the pad" in why


@pytest.mark.parametrize("apart", [1, 12, 60, 200])
def test_two_masses_at_once(apart, lab):
    samples, _ = record(drop(FOAM, 0.5), 1000.0)
    both = samples.copy()
    both[apart:] += samples[:-apart]
    _, why = undecided(lab, both)
    assert why


@pytest.mark.parametrize(("swing", "at"), [(200.0, 3.0), (150.0, 37.0)])
def test_a_tap_on_a_rig_that_moves(swing, at, lab):
    time = np.arange(6000) / 2000
    force = swing * np.sin(2 * np.pi * at * time) + np.random.default_rng(2).normal(0, 1, time.size)
    for start in (0.6, 1.5):
        after = time >= start
        force[after] += free_decay(time[after] - start, 240, 0.02, 300, -np.pi / 2)
    write_force(lab / "moving.csv", force, 2000)
    refused(run("tap", "moving.csv", "--rig", "rig.toml", "--write", cwd=lab), 1, "does not die away")
    assert "modes" not in (lab / "rig.toml").read_text()


def test_a_zero_of_a_rig_that_is_touched(lab):
    refused(run("zero", "taps.csv", "--rig", "rig.toml", "--write", cwd=lab), 1, "touched the rig at 0.60")
    assert not read_log(lab / "rig.toml")


def test_a_zero_in_volts_is_never_called_newtons(lab):
    rows = "\n".join(f"{i / 1000:.4f},{0.01 + 1e-4 * (i % 7):.5f}" for i in range(3000))
    (lab / "volts.csv").write_text(f"time_s,signal [V]\n{rows}\n")
    refused(run("zero", "volts.csv", "--channel", "signal", cwd=lab), 3, "expected a force")
    (lab / "rig.toml").write_text('name = "x"\n[calibration]\ninput_unit = "V"\ncoefficients = [1000.0]\n')
    done = run("zero", "volts.csv", "--channel", "signal", "--rig", "rig.toml", "--json", cwd=lab)
    # 10.3 mV on average, 1000 N/V
    assert json.loads(done.stdout)["results"]["zero"]["value"] == pytest.approx(10.3, abs=0.05)


@pytest.mark.parametrize(
    ("rows", "header", "code", "word"),
    [
        (["0,0", "10,0.02"], "mass [kg],reading [mV/V]", 1, "at least two loads"),
        (["10,0.02"], "mass [kg],reading [mV/V]", 1, "at least two loads"),
        (["0,0", "10 kg,0.02", "200 N,0.04"], "mass [kg],reading [mV/V]", 3, "line 3"),
        (["0,0,0", "10,98,0.02"], "mass [kg],force [N],reading [mV/V]", 3, "not both"),
        (
            ["0,0", "100,0.02", "200,0.04", "300,60", "400,0.08"],
            "force [N],reading [mV/V]",
            1,
            "another unit",
        ),
        (["0,0", "10,0.02", "20,0.04"], "mass [kg],reading", 3, "needs a unit"),
        (["0,0", "10,-0.02", "20,-0.0401", "30,-0.06"], "mass [kg],reading [mV/V]", 1, "falls as the force"),
        (["0,0", "10,0.02", "20,-0.04", "30,0.06"], "mass [kg],reading [mV/V]", 1, "opposite sign"),
        (["0,0", "-10,0.02", "-20,0.04", "-30,0.06"], "mass [kg],reading [mV/V]", 1, "negative"),
        (["0,0", "10,0.02", "20,0.04", "900,1.8"], "mass [kg],reading [mV/V]", 1, "beyond the capacity"),
        (["0,1", "10,1", "20,1"], "mass [kg],reading [mV/V]", 1, "does not change"),
        ([], "mass [kg],reading [mV/V]", 3, "header row"),
    ],
)
def test_load_tables_that_are_none(rows, header, code, word, lab):
    (lab / "rig.toml").write_text('name = "invented"\n[cell]\ncapacity = 5000.0\n')
    write_loads(lab / "bad.csv", rows, header)
    done = run("calibrate", "bad.csv", "--gravity", 9.81, "--rig", "rig.toml", "--write", cwd=lab)
    refused(done, code, "bad.csv", word)
    assert not read_log(lab / "rig.toml")


def test_a_report_of_a_rig_of_an_invented_lab_says_so(lab):
    with Lab.create(lab / "lab", name="invented", invented=True) as made:
        add_rig(made, lab / "rig.toml", who="t")
    run("rig", "wall pad (invented)", "--lab", "lab", "--report", "reports", cwd=lab)
    (html,) = (lab / "reports").glob("*.html")
    assert "The data of this report are invented" in html.read_text()
