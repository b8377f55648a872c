"""``quintain analyse --lab`` and ``quintain history``, as somebody types them."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator
from sqlalchemy import select
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.schemas import load_schema
from quintain.store.lab import Lab
from quintain.store.schema import Strike
from simulated_lab import RIG, make_lab, set_rig


@pytest.fixture
def folder(tmp_path):
    with make_lab(tmp_path, n=2) as lab:
        return lab.folder


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def test_a_lab_is_analysed_once_and_again_when_its_rig_changed(folder):
    planned = run("analyse", "--lab", folder, "--dry-run")
    assert planned.exit_code == 0
    assert planned.stdout.count("it has not been analysed yet") == 2
    first = run("analyse", "--lab", folder, "--session", "S1", "--who", "Ada")
    assert first.exit_code == 0
    assert "blow_000.csv: 1 new" in first.stdout
    assert "2 analysed with 3 strikes, 0 failed, 0 up to date" in first.stderr
    assert "0 analysed" in run("analyse", "--lab", folder).stderr
    with Lab.open(folder) as lab:
        set_rig(lab, RIG.replace("150.0", "151.0"))
    assert "the rig's version is now" in run("analyse", "--lab", folder, "--again", "--dry-run").stdout
    again = run("analyse", "--lab", folder, "--again")
    assert "because rig: modes.1.natural_frequency 150.0 → 151.0" in again.stdout
    assert "Peak force on the cell: 3 of 3 changed" in again.stdout


def test_json_is_that_of_analyse(folder, tmp_path):
    with Lab.open(folder) as lab:
        broken = tmp_path / "broken.csv"
        broken.write_bytes(b"\x00\x01nobody knows this\xff" * 20)
        from simulated_lab import add_recording

        add_recording(lab, broken)
    done = run("analyse", "--lab", folder, "--json")
    assert done.exit_code == 3
    answer = json.loads(done.stdout)
    Draft202012Validator(load_schema("analyse")).validate(answer)
    assert [strike["input"] for strike in answer["results"]] == [0, 1, 1]
    assert answer["errors"][0]["path"] == "broken.csv"
    assert "broken.csv" in done.stderr


def test_history_leads_from_a_strike_to_its_bytes(folder):
    run("analyse", "--lab", folder, "--who", "Ada")
    with Lab.open(folder) as lab, lab.reading() as database:
        strike = database.scalars(select(Strike).where(Strike.position == 2)).one()
        sha256 = strike.recording_sha256
    told = run("history", folder, strike.id, "--replay")
    assert told.exit_code == 0, told.output
    assert f"bytes     {sha256}" in told.stdout
    assert "by Ada" in told.stdout
    assert "replayed  the same, bit for bit" in told.stdout
    answer = json.loads(run("history", folder, strike.id, "--replay", "--json").stdout)
    (result,) = answer["results"]["results"]
    assert result["replay"]["same"] is True
    assert result["quantities"]["impulse"]["unit"] == "N s"
    assert answer["inputs"] == [{"path": "blow_001.csv", "sha256": sha256}]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "name recordings to analyse"),
        (("--again",), "name recordings to analyse"),
        (("x.csv", "--again"), "belong to --lab"),
        (("--lab", "nowhere"), "no lab here"),
        (("--lab", "nowhere", "--rate", "1000"), "--rate has no place"),
        (("--lab", "nowhere", "--jobs", "2", "--dask", "tcp://x:1"), "either --jobs"),
    ],
)
def test_what_makes_no_sense_is_one_line(words, said):
    done = run("analyse", *words)
    assert done.exit_code in (2, 3)
    assert said in done.stderr
    assert done.stderr.count("\n") == 1


def test_a_strike_that_is_not_there_is_said(folder):
    done = run("history", folder, 99)
    assert done.exit_code == 3
    assert "no strike 99" in done.stderr
