"""People, sessions, review, the audit and rigs of a lab, on the command line as a person meets them."""

from __future__ import annotations

import json

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from sqlalchemy import select
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.schemas import load_schema
from quintain.store.lab import Lab
from quintain.store.schema import Evidence, Recording
from quintain.tasks.analyse_lab import analyse_lab
from simulated_lab import make_lab

RUN = CliRunner()


@pytest.fixture
def lab(tmp_path):
    with make_lab(tmp_path, n=2) as made:
        analyse_lab(made, who="tester")
    return made.folder


def say(lab, *words, code=0, who=True):
    """What a command prints, on both channels, with the exit code that is expected."""
    told = RUN.invoke(
        app, [*words, *(["--lab", str(lab)] if lab else []), *(["--who", "Ann"] if who else [])]
    )
    assert told.exit_code == code, told.output
    return told


def answer(lab, *words, code=0, who=True):
    told = json.loads(say(lab, *words, "--json", code=code, who=who).stdout)
    Draft202012Validator(load_schema(words[0])).validate(told)
    assert told["command"] in (" ".join(words[:2]), words[0])
    return told["results"]


def test_a_person_from_coming_to_leaving(lab, tmp_path):
    added = answer(lab, "person", "add", "P07", "--body-mass", "72.5", "--name", "Zenobia", "--born", "1990")
    assert (added["facts"]["body_mass"], added["identity"]["name"]) == (72.5, "Zenobia")
    assert "taken by another person" in say(lab, "person", "add", "P07", code=1).stderr
    assert (
        "from 0.5 to 2.6 m, got 178 m" in say(lab, "person", "edit", "P07", "--height", "178", code=2).stderr
    )
    assert "nothing is to change" in say(lab, "person", "edit", "P07", code=2).stderr
    assert answer(lab, "person", "edit", "P07", "--height", "1.78")["facts"]["height"] == 1.78
    assert [one["code"] for one in answer(lab, "person", "list", who=False)] == ["P01", "P07"]
    shown = say(lab, "person", "show", "P07", who=False).stdout
    assert "72.5 kg" in shown
    assert "Zenobia" not in shown
    assert answer(lab, "person", "show", "P07", who=False)["identity"] is None
    assert "Zenobia" in say(lab, "person", "show", "P07", "--identity", who=False).stdout
    out = answer(lab, "person", "export", "P01", str(tmp_path / "out"), "--recordings", who=False)
    assert out["n_recordings"] == 2
    refused = RUN.invoke(app, ["person", "erase", "P07", "--lab", str(lab)], input="n\n")
    assert refused.exit_code == 2
    assert "nothing was erased" in refused.stderr
    done = answer(lab, "person", "erase", "P07", "--data", "--yes")
    assert any("backups" in line for line in done["remains"])
    assert "was erased" in say(lab, "person", "edit", "P07", "--side", "left", code=3).stderr


def test_a_session_from_plan_to_tags(lab, tmp_path):
    assert answer(lab, "type", "add", "flying knee", "--family", "knee")["own"]
    assert "flying knee" in say(lab, "type", "list", who=False).stdout
    answer(lab, "type", "list", who=False)
    assert answer(lab, "session", "new", "mon", "--when", "2026-11-30T18:00")["code"] == "mon"
    assert "expected a time" in say(lab, "session", "new", "tue", "--when", "Tuesday", code=2).stderr
    answer(lab, "person", "add", "P02")
    options = ["--person", "P01", "--person", "P02", "--strike", "jab:left", "--repetitions", "1"]
    planned = answer(lab, "session", "plan", "S1", *options)
    assert len(planned["planned"]) == 2
    protocol = tmp_path / "plan.toml"
    protocol.write_text('people = ["P01"]\nrepetitions = 3\n[[conditions]]\ntype = "jab"\nside = "left"\n')
    assert len(answer(lab, "session", "plan", "S1", str(protocol))["planned"]) == 3
    assert "not both" in say(lab, "session", "plan", "S1", str(protocol), *options, code=2).stderr
    assert (
        "'left', 'right' or none"
        in say(lab, "session", "plan", "S1", "--person", "P01", "--strike", "jab:lft", code=2).stderr
    )
    assert "injure hands" in say(lab, "session", "sheet", "S1", who=False).stdout
    assert "[ ]" in answer(lab, "session", "sheet", "S1", who=False)["text"]
    assert len(answer(lab, "session", "show", "S1", who=False)["planned"]) == 3
    assert "S1" in say(lab, "session", "list", who=False).stdout
    answer(lab, "session", "list", who=False)
    tagged = answer(lab, "session", "tag", "S1", "--dry-run")
    assert (len(tagged["tagged"]), tagged["dry_run"]) == (3, True)
    unsure = answer(lab, "session", "tag", "S1", "--extra", "1", "--missing", "1", code=1)
    assert unsure["unsure"] != []
    assert "tagged 3 of 3 strikes" in say(lab, "session", "tag", "S1").stdout
    by_hand = answer(lab, "session", "tag", "S1", "--strikes", "2-3", "--type", "cross")
    assert len(by_hand["tagged"]) == 2
    for words in (
        ["--strikes", "x", "--type", "cross"],
        ["--type", "cross"],
        ["--strikes", "70", "--type", "jab"],
    ):
        say(lab, "session", "tag", "S1", *words, code=2)


def test_review_and_its_trace(lab):
    waiting = answer(lab, "review", "list", "--session", "S1", who=False)
    assert waiting["total"] == 3
    one = waiting["strikes"][0]
    assert f"(changes {one['changes']})" in say(lab, "review", "list", who=False).stdout
    done = answer(lab, "review", "reject", "1", "--reason", "slipped off", "--changes", str(one["changes"]))
    assert done["strikes"][0]["state"] == "rejected"
    late = say(lab, "review", "accept", "1", "--changes", str(one["changes"]), code=1)
    assert "the last to change it was Ann (reject)" in late.stderr
    assert "rejected (slipped off)" in say(lab, "review", "note", "1", "wet glove").stdout
    assert answer(lab, "review", "retag", "1", "--side", "left")["strikes"][0]["side"] == "left"
    assert "took back 'retag'" in say(lab, "review", "undo").stdout
    answer(lab, "review", "undo")
    answer(lab, "review", "accept", "2")
    assert answer(lab, "review", "accept", "--unflagged", "--session", "S1")["accepted"] is not None
    for words in (["accept"], ["accept", "1", "--unflagged"], ["reject", "1", "--reason", " "]):
        say(lab, "review", *words, code=2)
    assert "no strike 99" in say(lab, "review", "accept", "99", code=3).stderr


def test_the_audit_on_screen_and_in_a_file(lab, tmp_path):
    say(lab, "review", "reject", "1", "--reason", "late")
    told = answer(lab, "audit", "--action", "reject", who=False)
    assert [(one["who"], one["after"]["reason"]) for one in told["entries"]] == [("Ann", "late")]
    assert "state: 'waiting' → 'rejected'" in say(lab, "audit", "--by", "Ann", who=False).stdout
    written = answer(lab, "audit", "--export", str(tmp_path / "a.csv"), who=False)
    assert (tmp_path / "a.csv").read_text().count("\n") == written["total"] + 1
    say(lab, "audit", "--since", "yesterday", who=False, code=2)


def test_the_lab_may_come_from_the_environment(lab, monkeypatch):
    monkeypatch.setenv("QUINTAIN_LAB", str(lab))
    assert "P01" in say(None, "person", "list", who=False).stdout
    monkeypatch.setenv("QUINTAIN_LAB", str(lab.parent))
    assert "no lab here" in say(None, "person", "list", who=False, code=3).stderr


def test_a_rig_is_taken_into_the_lab_and_tested_there(lab, tmp_path):
    file = tmp_path / "rig.toml"
    file.write_text('name = "post (invented)"\n')
    assert "goes" not in say(None, "rig", str(file), "--add", who=False, code=2).stderr
    added = say(lab, "rig", str(file), "--add", who=False, code=1)
    assert "took 1 versions of the rig 'post (invented)'" in added.stderr
    quiet = tmp_path / "quiet.csv"
    force = np.random.default_rng(1).normal(3.0, 1.0, 6000)
    quiet.write_text("time_s,force_N\n" + "\n".join(f"{i / 2000:.4f},{f:.3f}" for i, f in enumerate(force)))
    say(lab, "zero", str(quiet), "--rig", "post (invented)", who=False)
    with Lab.open(lab) as opened, opened.reading() as database:
        assert database.scalars(select(Evidence)).all() == [], "without --write nothing is entered"
    say(lab, "zero", str(quiet), "--rig", "post (invented)", "--write", who=False)
    with Lab.open(lab) as opened, opened.reading() as database:
        evidence = database.scalars(select(Evidence)).one()
        assert evidence.kind == "zero"
        assert evidence.answer["command"] == "zero"
        assert database.get(Recording, evidence.inputs[0]).name == "quiet.csv"
    state = json.loads(say(lab, "rig", "post (invented)", "--json", who=False, code=1).stdout)
    Draft202012Validator(load_schema("rig")).validate(state)
    assert {trend["quantity"] for trend in state["results"]["trends"]} >= {"zero", "noise"}
    say(lab, "zero", str(quiet), "--write", who=False, code=2)
    assert "no rig 'post'" in say(lab, "zero", str(quiet), "--rig", "post", who=False, code=3).stderr


@pytest.mark.parametrize(
    "words",
    [
        ["person", name] for name in ("add", "edit", "list", "show", "export", "erase")
    ] + [["type", "add"], ["type", "list"], ["audit"]] + [
        ["session", name] for name in ("new", "plan", "list", "show", "sheet", "tag")
    ] + [["review", name] for name in ("list", "accept", "reject", "retag", "note", "undo")],
    ids=" ".join,
)  # fmt: skip
def test_every_command_says_what_it_is_for_with_an_example(words):
    told = RUN.invoke(app, [*words, "--help"])
    assert told.exit_code == 0
    assert f"quintain {' '.join(words)}" in " ".join(told.stdout.split()).partition("Example:")[2]
