"""``quintain drops`` as a person meets it: verdict, exit codes, JSON contract, caution, refusals."""

from __future__ import annotations

import json

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from dropped_mass import FOAM, drop, record
from quintain.cli.app import app
from quintain.domain.rig import Rig
from quintain.schemas import load_schema
from quintain.tasks.rig_file import read_log

KNOWN = ("--mass", "5", "--gravity", "9.81", "--height", "0.5")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Invented: one drop from 0.5 m, true and shown 3 % too high."""
    path = tmp_path_factory.mktemp("drops")
    samples, _ = record(drop(FOAM, 0.5), 1000.0)
    time = np.arange(samples.size) / 1000
    for name, gain in (("true.csv", 1.0), ("wrong.csv", 1.03)):
        rows = "\n".join(f"{t:.4f},{gain * f:.2f}" for t, f in zip(time, samples, strict=True))
        (path / name).write_text(f"time_s,force_N\n{rows}\n")
    (path / "rig.toml").write_text(
        'name = "invented"\n[[modes]]\nnatural_frequency = 200.0\ndamping_ratio = 0.02\n'
    )
    return path


def run(*arguments):
    return CliRunner().invoke(app, ["drops", *map(str, arguments)])


def test_a_true_chain_passes(folder):
    done = run(folder / "true.csv", *KNOWN, "--rig", folder / "rig.toml")
    assert done.exit_code == 0
    assert "verdict: pass" in done.stdout
    assert "keep feet and hands clear" in done.stderr


def test_a_wrong_chain_fails(folder):
    done = run(folder / "wrong.csv", *KNOWN, "--rig", folder / "rig.toml")
    assert done.exit_code == 1
    assert "too high" in " ".join(done.stdout.split())


def test_json_keeps_to_its_schema(folder):
    done = run(folder / "true.csv", *KNOWN, "--rig", folder / "rig.toml", "--json")
    answer = json.loads(done.stdout)
    Draft202012Validator(load_schema("drops")).validate(answer)
    results = answer["results"]
    assert results["verdict"] == "pass"
    speed = results["drops"][0]["approach_speed"]
    assert speed["unit"] == "m/s"
    assert speed["value"] == pytest.approx(np.sqrt(2 * 9.81 * 0.5), rel=0.006)
    assert results["gain"]["u"] > 0
    assert "local rules" in results["caution"].lower()


@pytest.mark.parametrize(
    ("arguments", "code", "word"),
    [
        (("--mass", "0"), 2, "mass"),
        (("--mass", "5", "--height", "-1"), 2, "height"),
        (("--mass", "5", "--latitude", "95"), 2, "latitude"),
        (("--mass", "5", "--height", "0.3", "--height", "0.5"), 2, "heights"),
    ],
)
def test_absurd_input_is_refused(folder, arguments, code, word):
    done = run(folder / "true.csv", *arguments)
    assert done.exit_code == code
    assert word in done.stderr


def test_mass_must_be_given(folder):
    assert run(folder / "true.csv").exit_code == 2


def test_a_file_that_is_not_there(folder):
    done = run(folder / "none.csv", *KNOWN)
    assert done.exit_code == 3
    assert "none.csv" in done.stderr


def test_what_was_proved_is_kept(folder, tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text((folder / "rig.toml").read_text())
    done = run(
        folder / "true.csv", *KNOWN, "--rig", rig, "--cell-stiffness", "4.737e6", "--write", "--pad", "blue"
    )
    assert done.exit_code == 0
    kept = Rig.load(rig)
    assert kept.calibration.gain == pytest.approx(1.0, abs=0.004)
    assert 0 < kept.calibration.u_gain < 0.003
    assert kept.pad == "blue"
    assert kept.pads[0].proved_to == pytest.approx(drop(FOAM, 0.5).compression.max(), rel=0.03)
    entry = read_log(rig)[-1]
    assert (entry.kind, entry.verdict) == ("drops", "pass")
    assert {"gain", "restitution", "pad_stiffness"} <= set(entry.values)


def test_a_fail_is_noted_and_changes_nothing(folder, tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text((folder / "rig.toml").read_text())
    done = run(folder / "wrong.csv", *KNOWN, "--rig", rig, "--write")
    assert done.exit_code == 1
    assert Rig.load(rig).calibration.gain == 1.0
    assert read_log(rig)[-1].verdict == "fail"


def test_write_needs_a_rig(folder):
    done = run(folder / "true.csv", *KNOWN, "--write")
    assert done.exit_code == 2
    assert "--rig" in done.stderr


def test_report_is_written(folder, tmp_path):
    done = run(folder / "true.csv", *KNOWN, "--rig", folder / "rig.toml", "--report", tmp_path)
    assert done.exit_code == 0
    assert (tmp_path / "true.report.html").stat().st_size > 10_000
    assert (tmp_path / "true.report.pdf").read_bytes().startswith(b"%PDF")
