"""Bad input is refused in one line that names file, row or channel and the remedy."""

from __future__ import annotations

import gzip
import os
from pathlib import Path

import numpy as np
import pytest

from quintain.errors import ChannelError, QuintainError, RecordingError, UnitError, UsageError
from quintain.readers.registry import read

GOOD = "t [s],F [N]\n" + "".join(f"{i / 1000:.3f},{i}.5\n" for i in range(200))


def _file(tmp_path: Path, content: str | bytes, name: str = "blow.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _read_all(path: Path) -> None:
    for trace in read(path).traces:
        trace.read()


def _one_line(error: QuintainError, path: Path) -> str:
    message = str(error)
    assert "\n" not in message
    assert str(path) in message
    return message


@pytest.mark.parametrize(
    ("content", "kind", "says"),
    [
        ("", RecordingError, "the file is empty (0 bytes)"),
        ("t [s],F [N]\n", RecordingError, "no rows of numbers"),
        ("t [s],F [N]", RecordingError, "no rows of numbers"),
        ("\n\n\n", RecordingError, "no rows of numbers"),
        ("just some words\nand more of them\n", RecordingError, "no rows of numbers"),
        (bytes(range(256)) * 40, RecordingError, "no reader knows this kind of file"),
        (np.random.default_rng(0).bytes(5000), RecordingError, "no reader knows this kind of file"),
        ("t [s],F\n0,1\n1,2\n2,3\n", UnitError, "channel 'F': no unit is stated; state it with units='F=N'"),
        ("t [s],F [furlong]\n0,1\n1,2\n2,3\n", UnitError, "channel 'F': unit 'furlong' is not known"),
        ("t,F [N]\n0,1\n1,2\n2,3\n", UnitError, "time column 't' states no unit"),
        ("F [N]\n1\n2\n3\n", RecordingError, "there is no time column and no sampling rate"),
        ("t [s]\n1\n2\n3\n", ChannelError, "no channel stands beside it"),
        ("t [s];F [N]\n0;1,000.5\n1;1,001.5\n2;1,002.5\n", ChannelError, "column 2 holds text"),
        ("0,1,5\n1,2,5\n2,3,5\n", ChannelError, "columns have no names"),
        ("1,5\n2,5\n3,5\n", RecordingError, "a comma may separate columns here or be the decimal mark"),
        ("t [s],F [N]\n0,1\n1,oops\n2,3\n3,4\n4,5\n5,6\n", RecordingError, "row 3 holds the text 'oops'"),
        ("t [s],force_g\n0,1\n1,2\n2,3\n", UnitError, "channel 'force': unit 'g' is not known"),
        (b"\x1f\x8b\x08\x00garbage", RecordingError, "damaged"),
        (gzip.compress(GOOD.encode())[:-9], RecordingError, "damaged"),
    ],
)
def test_bad_file_is_refused(tmp_path: Path, content: str | bytes, kind: type, says: str) -> None:
    path = _file(tmp_path, content)
    with pytest.raises(kind) as caught:
        _read_all(path)
    assert says in _one_line(caught.value, path)
    assert caught.value.exit_code == 3


def test_text_in_a_number_column_names_its_row(tmp_path: Path) -> None:
    lines = GOOD.splitlines()
    lines[151] = "0.150,4x7"
    path = _file(tmp_path, "\n".join(lines))
    with pytest.raises(RecordingError, match=r"row 152, column 2 holds '4x7' where a number is expected"):
        read(path).trace().read()


def test_text_far_down_names_its_row(tmp_path: Path) -> None:
    lines = ["t [s],F [N]"] + [f"{i / 1e4:.4f},{i}" for i in range(400_000)]
    lines[300_000] = "29.9999,#"
    trace = read(_file(tmp_path, "\n".join(lines))).trace()
    with pytest.raises(RecordingError, match="row 300001, column 2 holds '#'"):
        trace.read()


def test_row_with_too_many_cells_is_refused(tmp_path: Path) -> None:
    path = _file(tmp_path, GOOD + "0.200,1,2,3\n")
    with pytest.raises(RecordingError, match="row 202 has 4 cells where 2 are expected"):
        read(path).trace().read()


def test_row_cut_short_is_a_missing_sample(tmp_path: Path) -> None:
    path = _file(tmp_path, GOOD.replace("0.100,100.5\n", "0.100\n"))
    samples = read(path).trace().read()
    assert np.flatnonzero(np.isnan(samples)).tolist() == [100]


def test_missing_folder_and_rights(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="there is no such file"):
        read(tmp_path / "nowhere.csv")
    with pytest.raises(RecordingError, match="this is a folder"):
        read(tmp_path)
    with pytest.raises(RecordingError, match="cannot be read"):
        read("nul\0byte.csv")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_no_permission(tmp_path: Path) -> None:
    path = _file(tmp_path, GOOD)
    path.chmod(0)
    with pytest.raises(RecordingError, match="no permission to read this file"):
        read(path)


def test_no_permission_as_the_system_says_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = _file(tmp_path, GOOD)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(RecordingError, match="no permission to read this file"):
        read(path)


def test_file_that_grows_or_vanishes_while_read(tmp_path: Path) -> None:
    path = _file(tmp_path, GOOD * 1)
    trace = read(path).trace()
    blocks = trace.blocks()
    with path.open("a") as file:
        file.write("0.200,1\n")
    with pytest.raises(RecordingError, match="the file changed while it was read"):
        list(blocks)
    trace = read(path).trace()
    path.unlink()
    with pytest.raises(RecordingError, match="the file vanished while it was read"):
        trace.read()


def test_file_that_changes_after_the_first_block(tmp_path: Path) -> None:
    text = "t [s],F [N]\n" + "".join(f"{i / 1e4:.4f},{i}\n" for i in range(600_000))
    path = _file(tmp_path, text)
    blocks = read(path).trace().blocks()
    next(blocks)
    os.utime(path, ns=(0, 0))
    with pytest.raises(RecordingError, match="the file changed while it was read"):
        list(blocks)


def test_gzip_bomb_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bomb.csv.gz"
    with gzip.open(path, "wb") as file:
        file.write(b"t [s],F [N]\n")
        for i in range(40):
            file.write(b"".join(b"%d,0\n" % (i * 10 + j) for j in range(10)) + b"\n" * (2 << 20))
    with pytest.raises(RecordingError, match="unpacks to more than"):
        read(path).trace().read()


def test_endless_line_is_refused(tmp_path: Path) -> None:
    path = _file(tmp_path, GOOD + "1" * (12 << 20))
    with pytest.raises(RecordingError, match="longer than"):
        read(path).trace().read()


@pytest.mark.parametrize(
    ("settings", "kind", "says"),
    [
        ({"encoding": "klingon"}, UsageError, "there is no encoding 'klingon'"),
        ({"separator": "ab"}, UsageError, "separator must be one character"),
        ({"decimal": "x"}, UsageError, "decimal must be"),
        ({"first_row": 0}, UsageError, "first_row counts lines from 1"),
        ({"first_row": 9999}, RecordingError, "no rows of numbers"),
        ({"rate": -5.0}, UsageError, "rate must be above 0 Hz"),
        ({"rate": float("nan")}, UsageError, "rate must be above 0 Hz"),
        ({"columns": "force"}, UsageError, "'force' cannot be understood"),
        ({"columns": "time=1[s]"}, UsageError, "only time is named"),
        ({"columns": "time=1[s],force=7[N]"}, ChannelError, "there is no column 7; the table has 2 columns"),
        (
            {"columns": "time=1[s],force=Kraft[N]"},
            ChannelError,
            "there is no column 'Kraft'; there are: 't', 'F'",
        ),
        (
            {"columns": "time=1[s],force=2[furlong]"},
            UnitError,
            "unit 'furlong' of channel 'force' is not known",
        ),
        ({"columns": "time=1[N],force=2[N]"}, UnitError, "which is no time"),
        ({"units": "acc=g"}, ChannelError, "there is no channel 'acc' to give a unit to"),
        ({"units": "F=furlong"}, UnitError, "unit 'furlong' of channel 'F' is not known"),
        ({"colour": "red"}, UsageError, "does not take 'colour'; it takes columns, rate"),
    ],
)
def test_bad_setting_is_refused(tmp_path: Path, settings: dict[str, object], kind: type, says: str) -> None:
    path = _file(tmp_path, GOOD)
    with pytest.raises(kind) as caught:
        read(path, **settings)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_unit_unknown_beside_known_ones_is_asked_for_on_reading(tmp_path: Path) -> None:
    path = _file(tmp_path, "t [s],F [N],aux\n0,1,7\n1,2,8\n2,3,9\n")
    recording = read(path)
    assert [t.name for t in recording.traces] == ["F", "aux"]
    assert recording.traces[0].read().tolist() == [1, 2, 3]
    with pytest.raises(UnitError, match="channel 'aux': no unit is stated"):
        recording.traces[1].read()
    assert any("'aux'" in note for note in recording.notes)
    assert read(path, units="aux=kN").traces[1].read().tolist() == [7000, 8000, 9000]


def test_binary_read_as_text_is_refused(tmp_path: Path) -> None:
    path = _file(tmp_path, bytes(range(256)) * 40)
    with pytest.raises(RecordingError, match="this is no text"):
        read(path, reader="columns")


@pytest.mark.parametrize("rows", [2, 3, 4])
def test_a_handful_of_rows_is_enough(tmp_path: Path, rows: int) -> None:
    path = _file(tmp_path, "".join(GOOD.splitlines(keepends=True)[: rows + 1]))
    assert read(path).trace().read().tolist() == [0.5, 1.5, 2.5, 3.5][:rows]


def test_reader_by_name(tmp_path: Path) -> None:
    path = _file(tmp_path, GOOD)
    assert read(path, reader="columns").reader == "columns"
    with pytest.raises(UsageError, match="there is no reader 'carrier pigeon'"):
        read(path, reader="carrier pigeon")


def test_file_of_one_blank_character(tmp_path: Path) -> None:
    """Found by damaging files: a form feed is neither a line of words nor one of numbers."""
    path = tmp_path / "a.csv"
    path.write_bytes(b"\x0c")
    with pytest.raises(RecordingError, match="no rows of numbers follow"):
        read(path)
