"""``quintain peek`` and ``quintain formats`` as a person meets them."""

from __future__ import annotations

import json
from pathlib import Path

from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.readers.registry import list_readers

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
    done = RUN.invoke(app, ["peek", str(path), "--units", "aux=V", "--json"])
    answer = json.loads(done.stdout)
    assert answer["inputs"][0]["path"] == str(path)
    force, aux = answer["results"]["channels"]
    assert (force["name"], force["unit"], force["samples"], force["highest"]) == ("Kraft", "N", 21, 19_000)
    assert (aux["missing"], aux["lowest"], aux["breaks"]) == (1, -19, {"gap": 1})
    assert force["duration_s"] == 9.0
    assert answer["results"]["header"] == "t [s];Kraft [kN];aux"


def test_peek_refuses_in_one_line(tmp_path: Path) -> None:
    done = RUN.invoke(app, ["peek", str(tmp_path / "none.csv")])
    assert done.exit_code == 3
    assert done.stderr.count("\n") == 1
    assert "there is no such file" in done.stderr
    done = RUN.invoke(app, ["peek", str(_file(tmp_path)), "--full-scale", "5 N"])
    assert done.exit_code == 2
    assert "does not take 'full_scale'" in done.stderr


def test_formats_lists_every_reader() -> None:
    done = RUN.invoke(app, ["formats"])
    answer = json.loads(RUN.invoke(app, ["formats", "--json"]).stdout)
    assert [row["name"] for row in answer["results"]] == [reader.name for reader in list_readers()]
    for reader in list_readers():
        assert reader.name in done.stdout
