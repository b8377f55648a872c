"""Tables that say who, what and when."""

from __future__ import annotations

from pathlib import Path

import pytest

from quintain.errors import UsageError
from quintain.tasks.sidecar import read_sidecar


def test_text_and_toml_say_the_same(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    table.write_text(
        "\ufeffFile;Person;type;when\na.csv;P-01;front kick;2026-11-25T09:30\n\nsub\\b.csv; P-02 ;;\n",
        encoding="utf-8",
    )
    toml = tmp_path / "table.toml"
    toml.write_text(
        '[[recording]]\nfile = "a.csv"\nperson = "P-01"\ntype = "front kick"\nwhen = 2026-11-25T09:30:00\n'
        '[[recording]]\nfile = "sub/b.csv"\nperson = "P-02"\n'
    )
    text, other = read_sidecar(table), read_sidecar(toml)
    assert [row.file for row in text] == [row.file for row in other] == ["a.csv", "sub/b.csv"]
    assert text[1].told == other[1].told == {"person": "P-02"}
    assert text[0].told["type"] == other[0].told["type"] == "front kick"
    assert text[0].where.endswith("table.csv, line 2")
    assert text[1].where.endswith("line 4")


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        (
            "t.csv",
            "file,persn\na,b\n",
            "line 1: the column 'persn' means nothing here; did you mean 'person'",
        ),
        ("t.csv", "person,type\na,b\n", "expected one column 'file'"),
        ("t.csv", "file,person\na.csv,P,extra\n", "line 2: 3 cells, but the header has 2"),
        ("t.csv", "file,person\na.csv,P\na.csv,Q\n", "line 3: a.csv is named twice, first in .*line 2"),
        ("t.csv", "file,person\n,P\n", "line 2: no file is named"),
        ("t.csv", "file,person\n", "names no recording"),
        ("t.toml", "recording = 3", "expected nothing but tables"),
        ("t.toml", "[[recording]]\nfile = true", "recording 1: file: expected text or a number"),
        ("t.toml", "[[recording", "not valid TOML"),
    ],
)
def test_tables_that_cannot_be_understood(tmp_path: Path, name: str, text: str, words: str) -> None:
    (tmp_path / name).write_text(text)
    with pytest.raises(UsageError, match=words):
        read_sidecar(tmp_path / name)


def test_no_table(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot read the table of recordings: No such file"):
        read_sidecar(tmp_path / "none.csv")
    (tmp_path / "latin.csv").write_bytes("file,person\na,Jörg\n".encode("latin-1"))
    with pytest.raises(UsageError, match="it is not UTF-8 text"):
        read_sidecar(tmp_path / "latin.csv")
