"""``quintain study`` from a plan to answers, as a newcomer types it."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from jsonschema import validate
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.domain.method import Method as Settings
from quintain.schemas import load_schema
from quintain.store.lab import Lab
from quintain.store.schema import Analysis, Method, Person, Recording, Result, Session, Strike

run = CliRunner().invoke


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six invented people, two sessions, three crosses each, entered as results."""
    folder = tmp_path_factory.mktemp("study") / "lab"
    rng = np.random.default_rng(5)
    standard = Settings()
    with Lab.create(folder, name="invented", invented=True) as made, made.writing("test") as writer:
        database = writer.database
        database.add(
            Method(sha256=standard.sha256, name=standard.name, version=1, settings=standard.settings())
        )
        for k in range(2):
            when = datetime(2026, 9, 8 + 7 * k, tzinfo=UTC)
            session = Session(code=f"S-{k + 1}", when=when)
            database.add(session)
            for p in range(6):
                if k == 0:
                    database.add(Person(code=f"P-{p + 1}"))
                database.flush()
                sha256 = f"{k}{p}".ljust(64, "0")
                database.add(
                    Recording(
                        sha256=sha256,
                        name=f"{k}{p}",
                        n_bytes=1,
                        rate=2000.0,
                        session_id=session.id,
                        when=when,
                    )
                )
                database.flush()
                analysis = Analysis(
                    recording_sha256=sha256,
                    method_sha256=standard.sha256,
                    quintain="0",
                    output="0" * 64,
                    n_strikes=3,
                )
                database.add(analysis)
                database.flush()
                for i in range(3):
                    strike = Strike(
                        recording_sha256=sha256,
                        session_id=session.id,
                        position=3 * p + i + 1,
                        start=i,
                        person_id=p + 1,
                        type="cross",
                        side="right",
                        state="waiting" if (k, p, i) == (0, 0, 0) else "accepted",
                    )
                    database.add(strike)
                    database.flush()
                    result = Result(strike_id=strike.id, analysis_id=analysis.id, number=i + 1)
                    result.impulse = 20.0 + 3 * p + rng.normal(0, 0.4)
                    result.u_impulse = 0.1
                    database.add(result)
                    database.flush()
                    strike.result_id = result.id
    return folder  # fmt: skip


PLAN = """\
code = "days"
title = "From day to day (invented)"
quantities = ["impulse"]
[select]
types = ["cross"]
[[reliability]]
"""


def test_a_plan_is_printed_kept_and_answered(lab: Path, tmp_path: Path) -> None:
    printed = run(app, ["study", "plan", "days"])
    assert printed.exit_code == 0
    assert 'code = "days"' in printed.stdout
    file = tmp_path / "days.toml"
    file.write_text(PLAN, encoding="utf-8")
    assert run(app, ["study", "add", str(file), "--lab", str(lab)]).exit_code == 0
    assert run(app, ["study", "add", str(file), "--lab", str(lab)]).exit_code == 0, "the same again is fine"
    answered = run(app, ["study", "run", "days", "--lab", str(lab), "--report", str(tmp_path / "r")])
    assert answered.exit_code == 0, answered.output
    assert "repeats from session to session" in answered.stdout
    assert "1 of 36 strikes were left out: 1 not reviewed" in " ".join(answered.stdout.split())
    assert (tmp_path / "r" / "study-days.report.pdf").exists()
    answer = json.loads(run(app, ["study", "run", "days", "--lab", str(lab), "--json"]).stdout)
    validate(answer, load_schema("study"))
    (found,) = answer["results"]["answers"]
    assert found["kind"] == "ReliabilityAnswer"
    assert found["icc"]["name"] == "ICC(2,1)"
    assert 0.97 < found["icc"]["value"] <= 1  # people 3 N s apart, days and trials below 0.3
    assert answer["results"]["left_out"] == {"not reviewed": 1}


def test_the_goal_is_not_moved_after_the_shot(lab: Path, tmp_path: Path) -> None:
    file = tmp_path / "other.toml"
    file.write_text(PLAN.replace("days", "fixed"), encoding="utf-8")
    assert run(app, ["study", "add", str(file), "--lab", str(lab)]).exit_code == 0
    file.write_text(PLAN.replace("days", "fixed") + "[rules]\ntells_people = 0.1\n", encoding="utf-8")
    moved = run(app, ["study", "add", str(file), "--lab", str(lab)])
    assert moved.exit_code == 1
    assert "another plan" in moved.stderr


@pytest.mark.parametrize(
    ("change", "code", "words"),
    [
        (('types = ["cross"]', 'types = ["hook"]'), 1, "no accepted strike"),
        (('types = ["cross"]', 'types = ["hok"]'), 2, "hok"),
        (('quantities = ["impulse"]', 'quantities = ["energy"]'), 1, "no accepted strike"),
        (
            ("[[reliability]]", '[[agreement]]\nfactor = "session"\nlevels = ["S-1", "S-9"]'),
            1,
            "no strike has session .S-9.",
        ),
    ],
)
def test_what_cannot_be_answered_is_refused(
    lab: Path, tmp_path: Path, change: tuple[str, str], code: int, words: str
) -> None:
    name = f"s{abs(hash(change))}"
    file = tmp_path / "plan.toml"
    file.write_text(PLAN.replace("days", name).replace(*change), encoding="utf-8")
    assert run(app, ["study", "add", str(file), "--lab", str(lab)]).exit_code == 0
    refused = run(app, ["study", "run", name, "--lab", str(lab)])
    assert refused.exit_code == code, refused.output
    assert re.search(words, refused.output), refused.output


def test_people_are_planned_before_they_are_asked() -> None:
    sized = run(app, ["study", "size", "--difference", "2", "--sd-of-responses", "2.5", "--sd-within", "3"])
    assert sized.exit_code == 0
    # statsmodels 0.15.0, TTestPower(dz = 2 / sqrt(2.5**2 + 2 * 9 / 5)): 21.1 people
    assert ["5", "0.64", "22", "220"] in [line.split() for line in sized.stdout.splitlines()]


def test_the_report_of_a_person_is_made_from_own_strikes(lab: Path, tmp_path: Path) -> None:
    made = run(app, ["report", "person", "P-1", "--lab", str(lab), "--to", str(tmp_path)])
    assert made.exit_code == 0, made.output
    assert (tmp_path / "person-P-1.report.pdf").read_bytes().startswith(b"%PDF")
    page = (tmp_path / "person-P-1.report.html").read_text(encoding="utf-8")
    words = " ".join(re.sub("<[^>]+>", " ", page).split())
    assert "Cross, right, S-2 against S-1:" in words
    assert "error of measurement from 6 people in the same sessions" in words
    assert "1 of 6 strikes were left out: 1 not accepted yet" in words
    assert "no strike states it" in words.lower(), "only impulse was entered"
    other = [f"P-{i}" for i in range(2, 7)]
    assert not any(code in words for code in other), "nobody else appears"
    nobody = run(app, ["report", "person", "P-99", "--lab", str(lab), "--to", str(tmp_path)])
    assert nobody.exit_code != 0
    assert "there is no person 'P-99'" in nobody.stderr
