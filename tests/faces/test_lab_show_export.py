"""``quintain show``, ``export`` and ``import-package`` on an invented lab."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator
from sqlalchemy import update
from typer.testing import CliRunner

from invented_lab import invent_lab
from quintain.cli.app import app
from quintain.schemas import load_schema
from quintain.store.lab import Lab
from quintain.store.schema import Strike
from quintain.tasks.analyse_lab import analyse_lab
from simulated_lab import SENSOR_AHEAD, add_recording, write_force_and_motion

runner = CliRunner()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("labs") / "lab"
    with invent_lab(place, n_sessions=2, n_people=3) as lab, lab.writing("tester") as writer:
        writer.database.execute(update(Strike).where(Strike.id == 3).values(note="[bold]slipped[/bold]"))
    return place


def run(*words):
    return runner.invoke(app, [str(word) for word in words])


SHOWN = [("lab",), ("session", "S1"), ("person", "P02"), ("recording", "0-1.csv"), ("strike", "3")]


@pytest.mark.parametrize("what", SHOWN)
def test_show_prints_tables(folder, what):
    done = run("show", what[0], folder, *what[1:])
    assert done.exit_code == 0, done.output
    expected = {
        "lab": ["invented lab", "S2", "rig 1", "6 recordings"],
        "session": ["Session S1", "P03", "jab", "of 36 strikes"],
        "person": ["Person P02", "roundhouse", "S2"],
        "recording": ["0-1.csv", "SHA-256", "in force"],
        "strike": ["Strike 3", "[bold]slipped[/bold]", "after it 4"],
    }[what[0]]
    for words in expected:
        assert words in done.output


@pytest.mark.parametrize("what", SHOWN)
def test_show_prints_json_by_its_schema(folder, what):
    done = run("show", what[0], folder, *what[1:], "--json")
    answer = json.loads(done.stdout)
    Draft202012Validator(load_schema("show")).validate(answer)
    assert answer["results"]["of"] == what[0]


def test_how_clocks_were_tied_is_shown(tmp_path):
    force, motion = write_force_and_motion(tmp_path)
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        sha256 = add_recording(lab, motion, reading={}, kind="motion")
        said = {"offset": "100+-0.2"}
        add_recording(lab, force, reading={}, motion_sha256=sha256, alignment=said)
        analyse_lab(lab, who="tester")
    done = run("show", "recording", tmp_path / "lab", "force.csv")
    assert "clocks    4 of 4 strikes matched by impacts near the stated offset" in " ".join(
        done.output.split("\n")
    )
    answer = json.loads(run("show", "recording", tmp_path / "lab", "force.csv", "--json").stdout)
    Draft202012Validator(load_schema("show")).validate(answer)
    assert answer["results"]["alignment"] == said
    clock = answer["results"]["analyses"][0]["clock"]
    assert clock["offset"]["value"] == pytest.approx(SENSOR_AHEAD, abs=0.002)  # edges within 1 ms


def test_show_says_what_there_is_not(folder):
    done = run("show", "person", folder, "nobody")
    assert done.exit_code == 3
    assert "no person 'nobody'" in done.stderr


@pytest.mark.parametrize("format", ["csv", "xlsx", "parquet"])
def test_export_writes_tables(folder, tmp_path, format):
    done = run(
        "export", folder, "--to", tmp_path / "out", "--format", format, "--state", "accepted", "--json"
    )
    answer = json.loads(done.stdout)
    Draft202012Validator(load_schema("export")).validate(answer)
    assert sorted(answer["results"]["files"]) == sorted(map(str, (tmp_path / "out").iterdir()))


def test_a_package_goes_out_and_in(folder, tmp_path):
    done = run("export", folder, "--to", tmp_path / "out.zip", "--format", "package")
    assert done.stdout.strip() == str(tmp_path / "out.zip")
    done = run("import-package", tmp_path / "out.zip", tmp_path / "lab", "--json")
    answer = json.loads(done.stdout)
    Draft202012Validator(load_schema("import-package")).validate(answer)
    assert answer["results"] == {"folder": str(tmp_path / "lab"), "name": "invented lab", "strikes": 72}
    assert run("show", "strike", tmp_path / "lab", "3").exit_code == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--format", "ods"), "csv, xlsx, parquet or package"),
        (("--units", "stone"), "si or shown"),
        (("--format", "package", "--person", "P01"), "whole sessions"),
        (("--person", "nobody"), "no person 'nobody'"),
    ],
)
def test_export_says_what_it_cannot_do(folder, tmp_path, words, told):
    done = run("export", folder, "--to", tmp_path / "out", *words)
    assert done.exit_code == 2
    assert told in done.stderr
    assert not (tmp_path / "out").exists()
