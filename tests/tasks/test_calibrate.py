"""Static calibration from load tables: the standards' numbers, masses, what goes into the rig file."""

from __future__ import annotations

from datetime import date, datetime

import numpy as np
import pytest

from load_tables import write_three_positions
from quintain.domain.rig import Rig
from quintain.errors import AnalysisError, RecordingError, UnitError, UsageError
from quintain.tasks.calibrate import calibrate_file, record_calibration
from quintain.tasks.rig_file import read_log


def write(path, header, rows):
    path.write_text("\n".join([header, *(",".join(map(str, row)) for row in rows)]) + "\n")
    return path


def test_three_positions_give_every_quantity_of_the_standard(tmp_path):
    # largest errors of the table, by the formulas of ISO 376 (derived here): all at 1 kN but for v
    result = calibrate_file(write_three_positions(tmp_path / "loads.csv"))
    assert result.errors["reproducibility"] == pytest.approx(0.025, abs=1e-4)
    assert result.errors["repeatability"] == pytest.approx(0.005, abs=1e-4)
    assert result.errors["reversibility"] == pytest.approx(0.0275, abs=1e-4)
    assert result.errors["zero"] == pytest.approx(0.0015, abs=1e-4)
    assert result.errors["interpolation"] < 6e-4
    assert result.class_name == "00"
    assert result.missing == ()
    assert result.sensitivity == pytest.approx(0.2e-3 / 1e3, rel=1e-4)  # V/V per newton
    assert (result.lowest, result.highest) == (1000, 10000)
    assert [f.code for f in result.flags] == ["static-only"]


def test_masses_need_gravity_and_lose_buoyancy(tmp_path):
    # 1 mV/V per kN, readings made with g 9.8125 and 8000 kg/m3 in air of 1.2 kg/m3
    kg = np.array([0, 20, 40, 60, 80, 100])
    newton = kg * 9.8125 * (1 - 1.2 / 8000)
    path = write(tmp_path / "loads.csv", "mass [kg],reading [mV/V]", zip(kg, newton / 1e3, strict=True))
    with pytest.raises(UsageError, match="local gravity"):
        calibrate_file(path)
    result = calibrate_file(path, gravity=9.8125)
    assert result.sensitivity == pytest.approx(1e-6, rel=1e-9)
    assert result.to_force == pytest.approx((1e6,), rel=1e-9)
    assert "few-loads" in [f.code for f in result.flags]
    at_equator = calibrate_file(path, latitude=0.0)
    assert at_equator.sensitivity / result.sensitivity == pytest.approx(9.8125 / 9.7803253, rel=1e-6)


def test_series_are_told_apart_without_a_column_for_them(tmp_path):
    up = [0, 500, 1000, 1500, 2000, 2500]
    rows = []
    for k in range(3):
        rows += [(f, 2e-4 * f + 1e-5 * k) for f in up] + [(f, 2e-4 * f + 4e-5) for f in up[-2::-1]]
    result = calibrate_file(write(tmp_path / "loads.csv", "force_N,reading_mV_V", rows))
    assert result.errors["repeatability"] is not None
    assert result.errors["reversibility"] is not None
    assert result.errors["reproducibility"] is None  # one mounting position only
    assert result.class_name is None
    assert "reproducibility" in result.missing


def test_the_rig_file_gets_coefficients_range_and_date(tmp_path):
    rig_path = tmp_path / "rig.toml"
    rig_path.write_text('name = "wall pad (invented)"\n')
    result = calibrate_file(write_three_positions(tmp_path / "loads.csv"), u_reference=0.0005)
    rig = record_calibration(result, rig_path, when=date(2026, 11, 25))
    assert Rig.load(rig_path) == rig
    assert rig.calibration.input_unit == "V/V"
    assert rig.calibration.coefficients[0] == pytest.approx(5e6, rel=1e-4)
    assert (rig.calibration.lowest, rig.calibration.highest) == (1000, 10000)
    assert rig.calibration.date == date(2026, 11, 25)
    assert rig.calibration.u_gain == pytest.approx(5e-4, rel=0.1)
    (entry,) = read_log(rig_path)
    assert entry.kind == "calibration"
    assert entry.when == datetime(2026, 11, 25).astimezone()


def test_an_older_calibration_leaves_the_rig_file_as_it_is(tmp_path):
    rig_path = tmp_path / "rig.toml"
    rig_path.write_text('name = "wall pad (invented)"\n[calibration]\ndate = 2026-11-01\n')
    text = rig_path.read_text()
    result = calibrate_file(write_three_positions(tmp_path / "loads.csv"), u_reference=0.0005)
    record_calibration(result, rig_path, when=date(2026, 3, 1))
    assert rig_path.read_text() == text
    (entry,) = read_log(rig_path)
    assert entry.when == datetime(2026, 3, 1).astimezone()


def test_a_chain_that_shows_newtons_gets_a_gain(tmp_path):
    rows = [(f, 0.98 * f) for f in range(0, 6000, 1000)]
    rig_path = tmp_path / "rig.toml"
    rig_path.write_text('name = "wall pad (invented)"\n')
    result = calibrate_file(write(tmp_path / "loads.csv", "force [N],reading [N]", rows))
    assert record_calibration(result, rig_path).calibration.gain == pytest.approx(1 / 0.98, rel=1e-9)


@pytest.mark.parametrize(
    ("header", "rows", "error", "words"),
    [
        ("force [N],reading [mV/V]", [(0, 0), (1000, 0.2)], AnalysisError, "at least two loads"),
        ("force [N],reading [mV/V]", [(0, 0), (1000, -0.2), (2000, -0.4)], AnalysisError, "signal wires"),
        (
            "force [N],reading [mV/V]",
            [(0, 0), (1000, 0.2), (90000, 18)],
            AnalysisError,
            "beyond the capacity",
        ),
        (
            "force [N],reading [mV/V]",
            [(0, 0), (1000, 0.2), (2000, 0.4), (3, 0.6)],
            AnalysisError,
            "another unit",
        ),
        ("force [N],reading [mV/V]", [(0, 0), (1000, "x")], RecordingError, "line 3"),
        ("force,reading [mV/V]", [(0, 0), (1000, 0.2)], UnitError, "unit of force"),
        ("force [N],reading", [(0, 0), (1000, 0.2)], UnitError, "needs a unit"),
        ("when,what", [(0, 0)], RecordingError, "expected a column of mass or force"),
    ],
)
def test_bad_tables_are_refused_in_words(tmp_path, header, rows, error, words):
    with pytest.raises(error, match=words):
        calibrate_file(write(tmp_path / "loads.csv", header, rows), capacity=10e3)


def test_missing_and_binary_files_are_refused(tmp_path):
    with pytest.raises(RecordingError, match="cannot be read"):
        calibrate_file(tmp_path / "none.csv")
    (tmp_path / "noise.csv").write_bytes(bytes(range(128, 256)))
    with pytest.raises(RecordingError, match="UTF-8"):
        calibrate_file(tmp_path / "noise.csv")


def test_shunt_is_compared(tmp_path):
    result = calibrate_file(write_three_positions(tmp_path / "loads.csv"), shunt=(350, 100e3, 0.870e-3))
    assert result.shunt_expected == pytest.approx(0.873471e-3, rel=1e-6)
    assert result.shunt_read == 0.870e-3


def test_a_decimal_comma_with_semicolons(tmp_path):
    text = "Kraft [kN];Anzeige [mV/V]\n0;0,001\n1;0,201\n2;0,401\n3;0,601\n"
    (tmp_path / "lasten.csv").write_text(text)
    assert calibrate_file(tmp_path / "lasten.csv").sensitivity == pytest.approx(0.2e-6, rel=1e-9)
