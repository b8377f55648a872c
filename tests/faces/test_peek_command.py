"""``quintain peek`` and ``quintain formats`` as a person meets them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.readers.registry import list_readers
from quintain.schemas import load_schema
from reader_samples import mme_files

RUN = CliRunner()


def _file(folder: Path) -> Path:
    path = folder / "session.csv"
    rows = [f"{i / 1000:.3f};{i};" if i == 7 else f"{i / 1000:.3f};{i};{-i}" for i in range(20)]
    path.write_text("t [s];Kraft [kN];aux\n" + "\n".join(rows) + "\n9.000;1;1\n")
    return path


def test_peek_shows_channels(tmp_path: Path) -> None:
    done = RUN.invoke(app, ["peek", str(_file(tmp_path))])
    assert done.exit_code == 0
    shown = " ".join(done.stdout.split())
    for word in ("Kraft", "force, N", "1000", "0 to 1.9e+04", "1 x gap", "state it with units='aux=N'"):
        assert word in shown


def test_peek_as_json(tmp_path: Path) -> None:
    path = _file(tmp_path)
    done = RUN.invoke(app, ["peek", str(path), "--setting", "units=aux=V", "--json"])
    answer = json.loads(done.stdout)
    assert answer["inputs"][0]["path"] == str(path)
    force, aux = answer["results"]["channels"]
    assert (force["name"], force["unit"], force["samples"], force["highest"]) == ("Kraft", "N", 21, 19_000)
    assert (aux["missing"], aux["lowest"], aux["breaks"]) == (1, -19, {"gap": 1})
    assert force["duration_s"] == 9.0
    assert answer["results"]["header"] == "t [s];Kraft [kN];aux"


def test_answers_keep_to_their_schemas(tmp_path: Path) -> None:
    path = str(_file(tmp_path))
    for command in (["peek", path, "--setting", "units=aux=V"], ["peek", path], ["formats"]):
        done = RUN.invoke(app, [*command, "--json"])
        Draft202012Validator(load_schema(command[0])).validate(json.loads(done.stdout))


def test_peek_refuses_in_one_line(tmp_path: Path) -> None:
    done = RUN.invoke(app, ["peek", str(tmp_path / "none.csv")])
    assert done.exit_code == 3
    assert done.stderr.count("\n") == 1
    assert "there is no such file" in done.stderr
    done = RUN.invoke(app, ["peek", str(_file(tmp_path)), "--setting", "full_scale=5 N"])
    assert done.exit_code == 2
    assert "does not take 'full_scale'" in done.stderr


def test_formats_lists_every_reader() -> None:
    done = RUN.invoke(app, ["formats"])
    answer = json.loads(RUN.invoke(app, ["formats", "--json"]).stdout)
    assert [row["name"] for row in answer["results"]] == [reader.name for reader in list_readers()]
    for reader in list_readers():
        assert reader.name in done.stdout


def test_peek_has_no_second_way_to_state_a_setting() -> None:
    shown = RUN.invoke(app, ["peek", "--help"], terminal_width=200).stdout
    assert "--setting" in shown
    for option in ("--units", "--rate", "--columns", "--full-scale", "--reader", "--layout"):
        assert option not in shown


def test_peek_takes_any_setting(tmp_path: Path) -> None:
    path = tmp_path / "numbers"
    path.write_bytes(bytes(range(8)))
    (tmp_path / "layout.toml").write_text('rate = 5\n[[channels]]\nname = "a"\ntype = "int16"\nunit = "N"\n')
    layout = f"layout={tmp_path / 'layout.toml'}"
    answer = json.loads(RUN.invoke(app, ["peek", str(path), "--setting", layout, "--json"]).stdout)
    assert answer["results"]["channels"][0]["samples"] == 4
    done = RUN.invoke(app, ["peek", str(path), "--setting", "reader=tdms"])
    assert done.exit_code == 3
    assert "this TDMS file is damaged" in done.stderr


def test_peek_shows_calibrations(tmp_path: Path) -> None:
    import h5py

    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        file["force"] = list(range(10))
        file["force"].attrs.update({"units": "N", "scale_factor": 0.5, "fs": 100.0})
    done = RUN.invoke(app, ["peek", str(path)])
    assert "calibration of 'force', not used: 0 + 0.5 x raw [N]" in " ".join(done.stdout.split())
    answer = json.loads(
        RUN.invoke(app, ["peek", str(path), "--setting", "calibration=file", "--json"]).stdout
    )
    assert answer["results"]["calibrations"] == [
        {"channel": "force", "text": "0 + 0.5 x raw [N]", "applied": True}
    ]
    assert answer["results"]["channels"][0]["highest"] == 4.5
    assert answer["method"] == {"calibration": "file"}


def test_peek_names_every_file_of_a_recording(tmp_path: Path) -> None:
    mme_files(tmp_path / "test.mme")
    answer = json.loads(RUN.invoke(app, ["peek", str(tmp_path / "test.mme"), "--json"]).stdout)
    assert [Path(row["path"]).name for row in answer["inputs"]] == ["test.mme", "test.001", "test.002"]
    assert len({row["sha256"] for row in answer["inputs"]}) == 3


def test_reader_of_another_package_is_listed_and_reads(tmp_path: Path) -> None:
    """A package of its own, installed as packages are: a module, and what it offers beside it."""
    (tmp_path / "ours.py").write_text(
        "from quintain.domain.recording import Recording\n"
        "from quintain.domain.trace import Trace\n"
        "from quintain.readers.reader import Reader\n"
        "import numpy as np\n"
        "def read_ours(path, *, colour=None):\n"
        "    trace = Trace.from_array(np.arange(7.0), 100.0, name=colour or 'grey')\n"
        "    return Recording(str(path), '0' * 64, 7, (trace,), reader='ours')\n"
        "READER = Reader('ours', ('.ours',), lambda head: head.startswith(b'OURS'), read_ours, 'made up')\n"
    )
    info = tmp_path / "ours-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: ours\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text("[quintain.readers]\nours = ours:READER\n")
    (tmp_path / "a.ours").write_bytes(b"OURS 1")

    def results(*command: str) -> Any:
        done = subprocess.run(
            [sys.executable, "-c", "from quintain.cli.app import app; app()", *command, "--json"],
            env={**os.environ, "PYTHONPATH": str(tmp_path)}, capture_output=True, text=True, check=True,
        )  # fmt: skip
        return json.loads(done.stdout)["results"]

    assert results("formats")[0] == {
        "name": "ours", "about": "made up", "suffixes": [".ours"], "settings": ["colour"], "calibrations": "",
    }  # fmt: skip
    (channel,) = results("peek", str(tmp_path / "a.ours"), "--setting", "colour=red")["channels"]
    assert (channel["name"], channel["samples"]) == ("red", 7)
