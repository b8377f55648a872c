"""The command line as a person meets it: answers, refusals and exit codes."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from dataclasses import dataclass

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

import quintain
from quintain.cli.app import app
from quintain.schemas import load_schema

RATE = 2000.0


@dataclass
class Done:
    returncode: int
    stdout: str
    stderr: str


def run(*arguments, cwd):
    """In this process; what would be a traceback for the user is raised."""
    with contextlib.chdir(cwd):
        result = CliRunner().invoke(app, [str(a) for a in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return Done(result.exit_code, result.stdout, result.stderr)


def test_the_installed_command_answers():
    done = subprocess.run(
        [sys.executable, "-m", "quintain", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == quintain.__version__


def recording(n_strikes=2, seed=3):
    """Invented: half-sine pulses of 1500 N and 12 ms on a quiet cell that does not ring."""
    rng = np.random.default_rng(seed)
    time = np.arange(round((1.5 * n_strikes + 1.5) * RATE)) / RATE
    force = rng.normal(0, 2.0, time.size)
    for i in range(n_strikes):
        at = 1.2 + 1.5 * i
        inside = (time > at) & (time < at + 0.012)
        force[inside] += 1500 * np.sin(np.pi * (time[inside] - at) / 0.012)
    return time, force


@pytest.fixture
def session(tmp_path):
    time, force = recording()
    rows = [f"{t:.4f},{f:.3f}" for t, f in zip(time, force, strict=True)]
    (tmp_path / "session.csv").write_text("time_s,force_N\n" + "\n".join(rows) + "\n")
    (tmp_path / "rig.toml").write_text(
        'name = "invented"\n[[modes]]\nnatural_frequency = 900.0\ndamping_ratio = 0.5\n'
        "[calibration]\nu_gain = 0.002\n"
    )
    return tmp_path


def test_json_keeps_its_contract(session):
    done = run("analyse", "session.csv", "--rig", "rig.toml", "--json", cwd=session)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    Draft202012Validator(load_schema("analyse")).validate(answer)
    assert answer["command"] == "analyse"
    assert len(answer["results"]) == 2
    first = answer["results"][0]
    # area of a half-sine: 2/pi x 1500 N x 12 ms = 11.459 N s (calculus)
    assert first["impulse"]["value"] == pytest.approx(11.459, rel=0.01)
    assert abs(first["impulse"]["value"] - 11.459) < 3 * first["impulse"]["u"]
    assert first["start_s"] == pytest.approx(1.2, abs=0.002)
    assert first["approach_speed"] is None


def test_table_for_people(session):
    done = run("analyse", "session.csv", "--rig", "rig.toml", cwd=session)
    assert done.returncode == 0, done.stderr
    assert "2 strikes" in done.stdout
    assert "±" in done.stdout


def test_several_files_one_bad(session):
    done = run("analyse", "session.csv", "none.csv", "--rig", "rig.toml", "--json", cwd=session)
    assert done.returncode == 3
    answer = json.loads(done.stdout)
    assert len(answer["results"]) == 2
    assert answer["errors"][0]["path"] == "none.csv"


def test_no_strike_is_a_no_not_an_error(session):
    quiet = np.random.default_rng(1).normal(0, 2, 6000)
    (session / "quiet.csv").write_text("force_N\n" + "\n".join(f"{f:.3f}" for f in quiet))
    done = run("analyse", "quiet.csv", "--rate", "2000", cwd=session)
    assert done.returncode == 1
    assert "no strike was found" in done.stderr


BAD = {
    "empty": (b"", 3),
    "header only": (b"time_s,force_N\n", 3),
    "text in a number column": (b"time_s,force_N\n" + b"0.0,1.0\n" * 0 + b"".join(
        b"%.4f,%s\n" % (i / 1000, b"oops" if i == 300 else b"1.0") for i in range(1000)), 3),
    "binary rubbish": (bytes(range(256)) * 40, 3),
    "missing unit": (b"time_s,force\n" + b"".join(b"%.4f,1.0\n" % (i / 1000) for i in range(1000)), 3),
    "one column and no rate": (b"force_N\n" + b"1.0\n" * 1000, 3),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_recordings_are_one_line_and_no_traceback(name, tmp_path):
    content, code = BAD[name]
    (tmp_path / "bad.csv").write_bytes(content)
    done = run("analyse", "bad.csv", "--report", "reports", cwd=tmp_path)
    assert done.returncode == code, done.stderr
    lines = [line for line in done.stderr.splitlines() if line.strip()]
    assert len(lines) == 1
    assert "bad.csv" in lines[0]
    assert not list(tmp_path.glob("reports/*"))


@pytest.mark.parametrize("name", ["folder", "no permission", "missing"])
def test_what_is_no_readable_file(name, tmp_path):
    target = tmp_path / "thing.csv"
    if name == "folder":
        target.mkdir()
    elif name == "no permission":
        target.write_text("time_s,force_N\n0,1\n")
        target.chmod(0)
        if os.access(target, os.R_OK):
            pytest.skip("this user may read everything")
    done = run("analyse", "thing.csv", cwd=tmp_path)
    assert done.returncode == 3
    assert "thing.csv" in done.stderr


@pytest.mark.parametrize("option", ["--rig", "--method"])
def test_a_typo_in_a_settings_file_names_its_line(option, session):
    (session / "typo.toml").write_text('name = "x"\n[detecton]\nmerge_gap = 1\n')
    done = run("analyse", "session.csv", option, "typo.toml", cwd=session)
    assert done.returncode == 2
    assert "typo.toml, line 2" in done.stderr


def test_wrong_usage_is_exit_code_2(tmp_path):
    assert run("analyse", cwd=tmp_path).returncode == 2
    assert run("analyze", "x.csv", cwd=tmp_path).returncode == 2


def test_every_command_has_help_with_an_example():
    commands = [c.callback for c in app.registered_commands]
    assert commands
    for command in commands:
        assert "Example: quintain" in command.__doc__, command.__name__
