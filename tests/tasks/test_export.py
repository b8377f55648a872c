"""Tables that leave the lab: equal to the lab's, bit for bit, and harmless to a spreadsheet."""

from __future__ import annotations

import csv
import math

import openpyxl
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select, update

from invented_lab import invent_lab
from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.errors import OutputError, UsageError
from quintain.quantities import GLOSSARY
from quintain.store.export.cells import guard, unguard
from quintain.store.export.fields import Field, Table
from quintain.store.export.workbook import write_workbook
from quintain.store.queries_filter import StrikeFilter
from quintain.store.schema import Identity, Result, Session, Strike
from quintain.tasks.export import export_tables

HOSTILE = '=HYPERLINK("http://x","y"), \'quoted\'\n+1\t"ü – 名"'


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    with invent_lab(tmp_path_factory.mktemp("labs") / "lab", n_sessions=2, n_people=3) as lab:
        with lab.writing("tester") as writer:
            writer.database.add(Identity(person_id=1, name="Somebody Known", contact="known@example.org"))
            writer.database.execute(update(Session).where(Session.id == 1).values(title=HOSTILE))
            writer.database.execute(
                update(Strike).where(Strike.id == 1).values(reason=HOSTILE, note="by hand")
            )
        yield lab


@pytest.fixture(scope="module")
def rows(lab):
    with lab.reading() as database:
        pairs = database.execute(select(Strike, Result).join(Result, Result.id == Strike.result_id)).all()
    return {strike.id: (strike, result) for strike, result in pairs}


def read_csv(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_csv_holds_every_value_bit_for_bit(lab, rows, tmp_path):
    told = export_tables(lab, tmp_path)
    names = [path.stem for path in told.files]
    assert names == ["strikes", "people", "sessions", "recordings", "methods", "rigs", "codebook"]
    table = read_csv(tmp_path / "strikes.csv")
    assert len(table) == len(rows) == told.n_strikes
    for line in table:
        strike, result = rows[int(line["strike"])]
        for name in STRIKE_QUANTITIES:
            for column in (name, f"u_{name}"):
                text, value = line[f"{column} [{GLOSSARY[name].unit}]"], getattr(result, column)
                assert (float(text) if text else None) == value
        assert unguard(line["reason"]) == strike.reason
        assert line["recording"] == strike.recording_sha256
        assert line["rig_version"] == f"{1 + (strike.session_id - 1) % 2}" * 64
        assert (line["method"], line["quintain"]) == ("e" * 64, "0")
    assert unguard(read_csv(tmp_path / "sessions.csv")[0]["title"]) == HOSTILE


def test_parquet_holds_every_value_bit_for_bit_with_its_unit(lab, rows, tmp_path):
    export_tables(lab, tmp_path, format="parquet")
    table = pq.read_table(tmp_path / "strikes.parquet")
    ids = table["strike"].to_pylist()
    for name in STRIKE_QUANTITIES:
        assert table.schema.field(name).metadata[b"unit"].decode() == GLOSSARY[name].unit
        assert table.schema.field(name).metadata[b"definition"].decode() == GLOSSARY[name].definition
        for column in (name, f"u_{name}"):
            assert table[column].to_pylist() == [getattr(rows[id][1], column) for id in ids]
    assert table["reason"].to_pylist()[ids.index(1)] == HOSTILE


def test_xlsx_has_units_a_codebook_and_no_formula(lab, rows, tmp_path):
    (path,) = export_tables(lab, tmp_path, format="xlsx").files
    book = openpyxl.load_workbook(path)
    assert book.sheetnames[-1] == "codebook"
    sheet = book["strikes"]
    names = [cell.value for cell in sheet[1]]
    assert sheet.cell(2, names.index("impulse") + 1).value == "N s"
    for line in sheet.iter_rows(min_row=3):
        assert all(cell.data_type != "f" for cell in line)
        _, result = rows[line[names.index("strike")].value]
        # the library that writes workbooks keeps 16 digits
        expected = None if result.impulse is None else pytest.approx(result.impulse, rel=1e-15)
        assert line[names.index("impulse")].value == expected
        assert result.impulse is None or line[names.index("impulse")].data_type == "n"
    title = book["sessions"].cell(3, 2)
    assert (unguard(title.value), title.data_type) == (HOSTILE, "s")


def test_nothing_identifies(lab, tmp_path):
    for format in ("csv", "parquet", "xlsx"):
        export_tables(lab, tmp_path, format=format)
    for path in tmp_path.iterdir():
        content = path.read_bytes()
        for secret in (b"Somebody Known", b"known@example.org", b"by hand", b"0-0.csv"):
            assert secret not in content, f"{secret!r} in {path.name}"
    assert "by hand" in {row["note"] for row in _with_notes(lab, tmp_path / "notes")}


def _with_notes(lab, folder):
    export_tables(lab, folder, notes=True)
    return read_csv(folder / "strikes.csv")


def test_every_column_is_in_the_codebook(lab, tmp_path):
    files = export_tables(lab, tmp_path).files
    book = read_csv(tmp_path / "codebook.csv")
    headers = {
        (path.stem, header.split(" [")[0])
        for path in files[:-1]
        for header in path.read_text("utf-8").splitlines()[0].split(",")
    }
    assert {(row["table"], row["name"]) for row in book} == headers
    assert all(row["label"] and row["definition"] and row["source"] for row in book)


def test_shown_units_are_said_and_multiplied(lab, rows, tmp_path):
    export_tables(lab, tmp_path, shown=True)
    for line in read_csv(tmp_path / "strikes.csv"):
        value = rows[int(line["strike"])][1].contact_time
        assert line["contact_time [ms]"] == ("" if value is None else repr(value * 1e3))


def test_only_what_was_chosen_leaves(lab, rows, tmp_path):
    export_tables(lab, tmp_path, chosen=StrikeFilter(people=("P02",), sessions=("S1",)))
    expected = {id for id, (s, _) in rows.items() if (s.person_id, s.session_id) == (2, 1)}
    assert {int(row["strike"]) for row in read_csv(tmp_path / "strikes.csv")} == expected
    assert [row["person"] for row in read_csv(tmp_path / "people.csv")] == ["P02"]
    assert [row["session"] for row in read_csv(tmp_path / "sessions.csv")] == ["S1"]
    assert [row["rig"] for row in read_csv(tmp_path / "rigs.csv")] == ["rig 1"]


def test_what_cannot_be_done_is_said(lab, tmp_path):
    with pytest.raises(UsageError, match="csv, xlsx, parquet"):
        export_tables(lab, tmp_path, format="ods")
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="cannot be written"):
        export_tables(lab, tmp_path / "file")
    wide = Table("wide", "", (Field("a", "text", "A", "A."),), {"a": ["x" * 40_000]})
    with pytest.raises(OutputError, match="32767 characters"):
        write_workbook([wide], tmp_path / "wide.xlsx")


@settings(deadline=None, max_examples=200)
@given(st.text())
def test_a_guarded_text_is_no_formula_and_comes_back(text):
    told = guard(text)
    assert not told.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert unguard(told) == text


@settings(deadline=None, max_examples=100)
@given(st.lists(st.tuples(st.text(st.characters(exclude_categories=["Cs"])), st.floats(allow_nan=False))))
def test_any_text_and_float_come_back_from_csv(tmp_path_factory, pairs):
    from quintain.store.export.delimited import write_csv

    fields = (Field("word", "text", "Word", "Any."), Field("value", "number", "Value", "Any.", "N"))
    path = tmp_path_factory.mktemp("csv") / "any.csv"
    write_csv(Table("any", "", fields, {"word": [w for w, _ in pairs], "value": [v for _, v in pairs]}), path)
    back = read_csv(path)
    assert [unguard(row["word"]) for row in back] == [w for w, _ in pairs]
    values = [float(row["value [N]"]) for row in back]
    assert values == [v for _, v in pairs]
    assert [math.copysign(1, v) for v in values] == [math.copysign(1, v) for _, v in pairs]
