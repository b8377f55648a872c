"""LVM files of real programs: rates, units, segments, comments, decimal comma."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quintain.errors import RecordingError, UnitError
from quintain.readers.registry import read
from shared_data import shared

# ladisk/lvm_read, MIT; shocks: High-Rate-SHM-Working-Group Dataset-5, CC BY-SA 4.0.


def test_shock_with_channels_of_two_rates() -> None:
    path = shared("shocks", "Test_001.lvm")
    recording = read(path)
    assert [(t.rate, t.unit_in_file) for t in recording.traces] == [(51_200.0, "m/s^2")] * 2 + [(1.0, "")] * 4
    assert recording.started is not None
    assert recording.started.isoformat() == "2023-05-05T13:39:50.887019"
    rows = [line.split(",") for line in path.read_text().splitlines()[24:]]
    (block,) = recording.trace("Acceleration_0").blocks()
    np.testing.assert_array_equal(block.samples, [float(row[1]) for row in rows])
    assert block.samples.size == 51_200
    slow = read(path, units="Untitled 1=V").trace("Untitled 1")
    assert slow.read().tolist() == [492489.0, 5187210.0, 5.13983e7, 4.1644e8, 5.23721e8]


def test_decimal_comma_without_time_column() -> None:
    recording = read(shared("formats", "lvm", "short.lvm"))
    force, response = recording.traces
    assert (force.rate, force.quantity, response.quantity) == (25_600.0, "force", "acceleration")
    assert force.read()[:3].tolist() == [0.914018, 0.537321, 0.616905]
    twin = read(shared("formats", "lvm", "short_new_line_end.lvm"))
    np.testing.assert_array_equal(twin.traces[1].read(), response.read())


def test_each_channel_with_its_time_column() -> None:
    voltage, acceleration = read(shared("formats", "lvm", "multi_time_column.lvm")).traces
    assert (voltage.rate, acceleration.rate) == (51_200.0, 51_200.0)
    np.testing.assert_allclose(
        acceleration.read(), np.array([0.532608, 0.502991, 0.467541]) * 9.80665, rtol=1e-15
    )


def test_decimal_mark_told_by_the_numbers() -> None:
    ax, _, _ = read(shared("formats", "lvm", "no_decimal_separator.lvm")).traces
    assert ax.rate == 4000
    np.testing.assert_allclose(ax.read()[:2], np.array([-0.008807, -0.025979]) * 9.80665, rtol=1e-15)


def test_two_runs_under_one_header() -> None:
    recording = read(shared("formats", "lvm", "long_single_header_multi_ch.lvm"), units="F=N")
    force, _, _ = recording.traces
    # The header prints the interval of 1/1024 s as 0.000977.
    assert force.rate == 1024
    assert [(b.first, b.samples.size, b.join) for b in force.blocks()] == [(0, 8192, ""), (8192, 8192, "gap")]
    # The hammer taps lie near rows 0 and 8276 (of the data's own description).
    samples = force.read()
    assert np.argmax(np.abs(samples[4000:])) + 4000 == pytest.approx(8276, abs=10)


def test_empty_channels_are_left_out_and_noted() -> None:
    recording = read(shared("formats", "lvm", "with_empty_fields.lvm"), units="V")
    assert [t.name for t in recording.traces] == ["Dev0/Ai0", "Dev0/Ai2", "Dev0/Ai0 1"]
    assert "channel 'Untitled' holds no samples" in recording.notes
    assert recording.traces[2].read()[:2].tolist() == [-0.011923, -0.009206]


def test_uneven_log_is_refused() -> None:
    with pytest.raises(RecordingError, match="not evenly sampled"):
        read(shared("formats", "lvm", "with_comments.lvm"))


def _segment(first: int, n: int, comment: bool) -> str:
    head = ["Channels\t1\t", f"Samples\t{n}\t", "Y_Unit_Label\tN", "X0\t0.0E+0", "Delta_X\t0.001000"]
    rows = [f"{i / 1000:.6f}\t{first + i}" for i in range(n)]
    if comment:
        rows[1] += "\ttouched, then 5"
    return "\n".join([*head, "***End_of_Header***\t", "X_Value\tforce\tComment", *rows]) + "\n"


@pytest.mark.parametrize("comment", [False, True])
def test_segments_with_a_header_each(tmp_path: Path, comment: bool) -> None:
    path = tmp_path / "two.lvm"
    top = "LabVIEW Measurement\t\nSeparator\tTab\nX_Columns\tOne\n***End_of_Header***\t\n\t\n"
    path.write_text(top + _segment(0, 40, comment) + "\n" + _segment(100, 60, comment))
    recording = read(path)
    (trace,) = recording.traces
    blocks = list(trace.blocks())
    assert [(b.first, b.samples.size, b.join) for b in blocks] == [(0, 40, ""), (40, 60, "gap")]
    np.testing.assert_array_equal(trace.read(), [*range(40), *range(100, 160)])
    assert recording.header.count("Delta_X") == 2


def test_unit_not_stated_is_asked_for() -> None:
    recording = read(shared("shocks", "Test_001.lvm"))
    with pytest.raises(UnitError, match="channel 'Untitled': no unit is stated"):
        recording.trace("Untitled").read()
