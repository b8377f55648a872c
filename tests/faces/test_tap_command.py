"""``quintain tap`` as people and scripts meet it."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.tasks.rig_file import read_log
from tap_recording import write_taps

RUN = CliRunner()


def test_json_holds_the_contract(tmp_path):
    path = write_taps(tmp_path / "taps.csv", 240)
    result = RUN.invoke(app, ["tap", str(path), "--json"])
    assert result.exit_code == 0, result.output
    answer = json.loads(result.stdout)
    assert answer["command"] == "tap"
    assert answer["inputs"][0]["path"] == str(path)
    (mode,) = answer["results"]["modes"]
    assert mode["natural_frequency"]["value"] == pytest.approx(240, abs=0.2)
    assert mode["natural_frequency"]["unit"] == "Hz"
    assert mode["damping_ratio"]["u"] > 0
    assert 0.01 < answer["results"]["shortest_pulse_s"] < 0.1
    assert answer["results"]["alias_candidates_hz"][1] == pytest.approx(1760, abs=1)
    assert answer["flags"][0]["code"] == "mode-may-be-folded"


def test_people_get_a_table_with_caution(tmp_path):
    result = RUN.invoke(app, ["tap", str(write_taps(tmp_path / "taps.csv", 240))])
    assert result.exit_code == 0, result.output
    assert "2 of 2" in result.stdout
    assert "Local rules" in result.stdout.replace("\n", " ")


def test_noise_is_no_tap(tmp_path):
    result = RUN.invoke(app, ["tap", str(write_taps(tmp_path / "noise.csv", 240, starts=()))])
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "no tap was found" in result.stderr


def test_write_needs_a_rig(tmp_path):
    path = write_taps(tmp_path / "taps.csv", 240)
    assert RUN.invoke(app, ["tap", str(path), "--write"]).exit_code == 2
    rig = tmp_path / "rig.toml"
    rig.write_text('name = "wall pad (invented)"\n')
    result = RUN.invoke(app, ["tap", str(path), "--rig", str(rig), "--write"])
    assert result.exit_code == 0, result.output
    assert "natural_frequency" in rig.read_text()


def test_a_test_may_be_of_another_day(tmp_path):
    path, rig = write_taps(tmp_path / "taps.csv", 240), tmp_path / "rig.toml"
    rig.write_text('name = "wall pad (invented)"\n')
    arguments = ["tap", str(path), "--rig", str(rig)]
    for when, words in (
        ("2999-01-01", "ahead of now"), ("1970-01-01", "from 1990 on"), ("Monday", "expected a time as"),
    ):  # fmt: skip
        refused = RUN.invoke(app, [*arguments, "--write", "--when", when])
        assert refused.exit_code == 2
        assert words in " ".join(refused.stderr.split())
    refused = RUN.invoke(app, [*arguments, "--when", "2026-05-04"])
    assert refused.exit_code == 2
    assert "add --write" in refused.stderr
    assert read_log(rig) == []
    done = RUN.invoke(app, [*arguments, "--write", "--when", "2026-05-04T14:30+00:00"])
    assert done.exit_code == 0, done.output
    (entry,) = read_log(rig)
    assert entry.when == datetime(2026, 5, 4, 14, 30, tzinfo=UTC)
