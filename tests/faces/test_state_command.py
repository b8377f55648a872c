"""``quintain state`` and ``import --restate``, as somebody meets them who learns more a day later."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.schemas import load_schema
from quintain.store.lab import Lab
from simulated_lab import set_rig, write_force_and_motion

RUN = CliRunner()
RIG = """name = "invented rig"
[[modes]]
natural_frequency = 220.0
damping_ratio = 0.02
u_natural_frequency = 0.5
u_damping_ratio = 0.001
"""


@pytest.fixture
def place(tmp_path):
    write_force_and_motion(tmp_path)
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        set_rig(lab, f'{RIG}[sensor]\nname = "wrist (invented)"\nnormal = [1.0, 0.0, 0.0]\n')
    assert run(tmp_path, "import", "force.csv", "--rig", "invented rig").exit_code == 0
    return tmp_path


def run(folder, command, *words, code=0):
    words = [str(folder / word) if word.endswith((".csv", ".toml")) else word for word in words]
    done = RUN.invoke(app, [command, *words, "--lab", str(folder / "lab")])
    assert done.exit_code == code, done.output
    return done


def test_a_motion_a_day_later_changes_what_is_known_and_says_why(place):
    run(place, "analyse")
    done = RUN.invoke(
        app, ["state", "force.csv", "--motion", str(place / "motion.csv"), "--lab", str(place / "lab")]
    )
    assert done.exit_code == 0, done.output
    assert "force.csv (changes 1)" in done.stdout
    assert "  motion: not stated → " in done.stdout
    assert "out of date: what is stated of it changed: the recording of the motion" in done.stderr
    shown = RUN.invoke(app, ["show", "recording", str(place / "lab"), "force.csv"]).stdout
    assert "◇ out of date: what is stated of it changed" in shown
    assert "  motion    " in shown
    again = run(place, "analyse")
    assert "because motion of the limb: none → motion.csv" in again.stdout
    assert "Effective mass: 0 of 0 changed; 4 newly stated" in again.stdout
    shown = RUN.invoke(app, ["show", "recording", str(place / "lab"), "force.csv", "--json"]).stdout
    answer = json.loads(shown)
    Draft202012Validator(load_schema("show")).validate(answer)
    assert (answer["results"]["changes"], answer["results"]["out_of_date"]) == (1, [])


def test_gates_from_a_table_and_back(place):
    (place / "gates.csv").write_text(
        "first [s],second [s],spacing [m]\n" + "".join(f"{t - 0.02},{t - 0.01},0.06\n" for t in (1.5, 4.1))
    )
    ask = ["state", "force.csv", "--speed", str(place / "gates.csv"), "--lab", str(place / "lab")]
    answer = json.loads(RUN.invoke(app, [*ask, "--json"]).stdout)
    Draft202012Validator(load_schema("state")).validate(answer)
    assert answer["results"]["changed"] == ["speeds"]
    assert answer["results"]["stated"]["facts"]["speeds"].startswith("first [s],second [s],spacing [m]\n")
    assert answer["results"]["out_of_date"] == []  # it was not analysed yet
    run(place, "analyse")
    shown = RUN.invoke(app, ["history", str(place / "lab"), "1"]).stdout
    assert "stated    speeds: a table of 2 passes through two light gates 0.06 m apart" in shown
    same = RUN.invoke(app, ask)
    assert "nothing is new, all of it was stated before" in same.stdout
    back = RUN.invoke(app, ["state", "force.csv", "--speed", "", "--lab", str(place / "lab")])
    assert "speeds: a table of 2 passes through two light gates 0.06 m apart, 0 m before the pad → not" in (
        back.stdout
    )


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ([], 2, "nothing is stated; see quintain state --help"),
        (["--clock-offset", "1+-0.1"], 2, "state the motion as well"),
        (["--motion", "none.bin"], 3, "there is no recording 'none.bin' in the lab"),
        (["--speed", "none.csv"], 3, "none.csv: cannot be read"),
        (["--side", "up"], 2, "a side is 'left', 'right' or empty"),
        (["--side", "left", "--changes", "4"], 1, "Nothing was written; look again"),
    ],
)
def test_refusals_are_one_line(place, words, code, said):
    done = RUN.invoke(app, ["state", "force.csv", *words, "--lab", str(place / "lab")])
    assert done.exit_code == code
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""


def test_a_table_that_came_with_known_files(place):
    (place / "table.csv").write_text("file,motion,type\nforce.csv,motion.csv,jab\n")
    first = run(place, "import", "force.csv", "motion.csv", "--sidecar", "table.csv")
    assert "to state it: --restate, or quintain state" in first.stdout
    assert "1 new, 1 known, 0 refused" in first.stderr
    done = run(place, "import", "force.csv", "motion.csv", "--sidecar", "table.csv", "--restate")
    assert "stated now: motion, type" in done.stdout
    assert "0 new, 1 known, 1 restated, 0 refused" in done.stderr
    again = run(place, "import", "force.csv", "motion.csv", "--sidecar", "table.csv", "--restate", "--json")
    answer = json.loads(again.stdout)
    Draft202012Validator(load_schema("import")).validate(answer)
    assert [one["state"] for one in answer["results"]] == ["known", "known"]
