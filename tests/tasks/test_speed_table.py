"""Tables of speeds and of gate times, as people keep them."""

from __future__ import annotations

import pytest

from quintain.errors import RecordingError, UnitError
from quintain.tasks.speed_table import keep_speed_table, read_speed_table


def table(tmp_path, text):
    path = tmp_path / "table.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_speed_for_each_strike(tmp_path):
    found = read_speed_table(
        table(tmp_path, "# invented\nstrike,speed [m/s],± [m/s]\n1,8.2,0.196\n3,7.9,\n4,,\n")
    )
    assert found.by_strike == {1: (8.2, pytest.approx(0.1)), 3: (7.9, None)}


def test_comma_as_decimal_and_another_unit(tmp_path):
    found = read_speed_table(table(tmp_path, "Strike;Speed (km/h)\n1;28,8\n2;30,6\n"))
    assert found.by_strike == {1: (pytest.approx(8.0), None), 2: (pytest.approx(8.5), None)}


def test_commas_of_other_columns_divide_no_number(tmp_path):
    text = "strike;speed [m/s];who\n1;8.2;Tester, Ada\n"
    assert read_speed_table(table(tmp_path, text)).by_strike == {1: (8.2, None)}
    assert keep_speed_table(text) == "strike;speed [m/s]\n1;8.2\n"
    assert keep_speed_table(keep_speed_table(text)) == keep_speed_table(text)


def test_gates(tmp_path):
    text = "first [ms],second [ms],spacing [mm],to pad [cm]\n975,985,80,2\n1975.5,1985,80,2\n"
    found = read_speed_table(table(tmp_path, text))
    assert found.times == ((pytest.approx(0.975), pytest.approx(0.985)), (pytest.approx(1.9755), 1.985))
    assert found.spacing == pytest.approx(0.08)
    assert found.distance_to_pad == pytest.approx(0.02)


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        ("strike,speed\n1,8\n", UnitError, "'speed' needs a unit"),
        ("strike,speed [N]\n1,8\n", UnitError, "needs a unit"),
        ("strike,speed [m/s]\n1,fast\n", RecordingError, "line 2: 'fast' is no number"),
        ("strike,speed [m/s]\n1,8\n1,9\n", RecordingError, "each strike's number once, got 1"),
        ("strike,speed [m/s]\n1.5,8\n", RecordingError, "got 1.5"),
        ("name,speed [m/s]\nA,8\n", RecordingError, "no column 'strike'"),
        ("first [s],second [s]\n1,2\n", RecordingError, "no column 'spacing'"),
        ("first [s],second [s],spacing [m]\n1,2,0.1\n3,4,0.2\n", RecordingError, "from 0.1 to 0.2 m"),
        ("8.2\n", RecordingError, "expected a header"),
        ("strike,speed [m/s]\n1,0\n", RecordingError, "strike 1: a speed must be above 0 m/s, got 0"),
        ("strike,speed [m/s]\n1,\n", RecordingError, "holds no speed"),
        ("first [s],second [s],spacing [m]\n2,1,0.1\n", RecordingError, "after the first, got 2 s and 1 s"),
        ("first [s],second [s],spacing [m]\n1,2,0\n", RecordingError, "a spacing above 0"),
        ("first [s],second [s],spacing [m]\n1,,0.1\n", RecordingError, "expected two times in a row"),
    ],
)
def test_what_is_no_such_table_is_said(tmp_path, text, error, words):
    with pytest.raises(error, match=words):
        read_speed_table(table(tmp_path, text))


def test_a_missing_file_is_said(tmp_path):
    with pytest.raises(RecordingError, match="cannot be read"):
        read_speed_table(tmp_path / "none.csv")
