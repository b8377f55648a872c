"""``quintain calibrate`` as people and scripts meet it."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from load_tables import write_three_positions
from quintain.cli.app import app

RUN = CliRunner()


def test_json_holds_the_contract(tmp_path):
    path = write_three_positions(tmp_path / "loads.csv")
    result = RUN.invoke(app, ["calibrate", str(path), "--json"])
    assert result.exit_code == 0, result.output
    results = json.loads(result.stdout)["results"]
    assert results["class_like"] == "00"
    assert results["sensitivity"]["value"] == pytest.approx(2e-7, rel=1e-4)
    assert results["sensitivity"]["u"] > 0
    assert results["repeatability_pct"] == pytest.approx(0.005, abs=1e-4)
    assert len(results["steps"]) == 10


def test_people_are_told_what_it_is_not(tmp_path):
    path = write_three_positions(tmp_path / "loads.csv")
    result = RUN.invoke(app, ["calibrate", str(path), "--shunt", "350,100000,0.8735"])
    assert result.exit_code == 0, result.output
    words = " ".join(result.stdout.split())
    assert "would ask, without being one" in words
    assert "says nothing about how the cell reads an impact" in words
    assert "shunt: 0.8735 mV/V read" in words


def test_writing_and_refusals(tmp_path):
    path = write_three_positions(tmp_path / "loads.csv")
    assert RUN.invoke(app, ["calibrate", str(path), "--write"]).exit_code == 2
    assert RUN.invoke(app, ["calibrate", str(path), "--shunt", "350"]).exit_code == 2
    assert RUN.invoke(app, ["calibrate", str(tmp_path / "none.csv")]).exit_code == 3
    assert RUN.invoke(app, ["calibrate", str(path), "--capacity", "100"]).exit_code == 1
    rig = tmp_path / "rig.toml"
    rig.write_text('name = "wall pad (invented)"\n')
    assert RUN.invoke(app, ["calibrate", str(path), "--rig", str(rig), "--write"]).exit_code == 0
    assert "coefficients" in rig.read_text()
