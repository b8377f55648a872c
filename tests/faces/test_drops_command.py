"""``quintain drops`` as a person meets it: verdict, exit codes, JSON contract, caution, refusals."""

from __future__ import annotations

import json

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from dropped_mass import FOAM, drop, record
from quintain.cli.app import app
from quintain.schemas import load_schema

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
