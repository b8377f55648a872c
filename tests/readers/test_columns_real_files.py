"""Text files written by real acquisition programs, from open data of others (not in a stranger's clone)."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from quintain.errors import ChannelError, RecordingError, UnitError
from quintain.readers.registry import read
from shared_data import ROOT, shared

LANDINGS = sorted(path.name for path in ROOT.glob("landings/A0*.txt"))


@pytest.mark.skipif(not LANDINGS, reason="larger recordings are not on this machine")
def test_force_plate_exports() -> None:
    # jmablog/common-parkour-vault-techniques, CC BY-SA 4.0: 8000 rows at 1 kHz, names, units, 11 lines above.
    assert len(LANDINGS) == 48
    for name in LANDINGS:
        recording = read(shared("landings", name))
        assert [(t.name, t.unit, t.rate) for t in recording.traces] == [
            ("Fy", "N", 1000.0),
            ("Fz", "N", 1000.0),
        ]
        (block,) = recording.trace("Fz").blocks()
        assert (block.start, block.samples.size) == (0.0, 8000)
        assert "Normalized force (N)" in recording.header


def test_force_plate_export_against_plain_loading() -> None:
    path = shared("landings", "A01_dropD_1.txt")
    plain = np.loadtxt(path, skiprows=13, encoding="latin-1")
    recording = read(path)
    np.testing.assert_array_equal(recording.trace("Fy").read(), plain[:, 1])
    np.testing.assert_array_equal(recording.trace("Fz").read(), plain[:, 2])


def test_comment_header_and_an_odd_step() -> None:
    # High-Rate-SHM-Working-Group Dataset-5, CC BY-SA 4.0: '# time(s), <tabs> acceleration(g)'.
    path = shared("shocks", "plain_text", "acc_base_a0.txt")
    plain = np.loadtxt(path)
    (trace,) = read(path).traces
    assert (trace.name, trace.unit_in_file, trace.unit) == ("acceleration", "g", "m/s²")
    assert trace.rate == pytest.approx(1 / 2.000277970813059e-05, rel=1e-9)
    (block,) = trace.blocks()
    np.testing.assert_allclose(block.samples, plain[:, 1] * 9.80665, rtol=1e-15)
    assert read(shared("shocks", "plain_text", "acc_pcb_a0.txt")).traces[0].rate == 50_000.0


def test_no_header_needs_columns() -> None:
    # Dataset-11 of the same group: time, base, board, and two columns that end early.
    path = shared("shocks", "no_header", "shock_07.lvm")
    with pytest.raises(ChannelError, match=r"the 5 columns have no names\. Say which is which with columns="):
        read(path)
    recording = read(path, columns="time=1[s],base=2[g],board=3[g],early=5[V]")
    assert [(t.name, t.rate, t.read().size) for t in recording.traces] == [
        ("base", 200_000.0, 20_000),
        ("board", 200_000.0, 20_000),
        ("early", 200_000.0, 10),
    ]
    plain = np.array([line.split("\t")[:3] for line in path.read_text().splitlines()], dtype=float)
    np.testing.assert_allclose(recording.trace("board").read(), plain[:, 2] * 9.80665, rtol=1e-15)


def test_oscilloscope_with_its_header_beside_the_samples() -> None:
    # lanl/HopPyBar, BSD-3-Clause: five columns, the first three hold 'Sample Interval' and the like.
    path = shared("bar_pulses", "180303_171828_Ch1.csv")
    with pytest.raises(ChannelError, match="no names"):
        read(path, reader="columns")
    recording = read(path, columns="time=4[s],gauge=5[V]")
    (trace,) = recording.traces
    assert trace.rate == 125e6
    (block,) = trace.blocks()
    assert (block.start, block.samples.size) == (-8e-5, 50_000)
    rows = list(csv.reader(path.read_text().splitlines()))
    np.testing.assert_array_equal(block.samples, [float(row[4]) for row in rows])
    assert '"Sample Interval",8.00000000e-009,s' in recording.header
    # Without the time column, the rate stands in the cells beside the samples.
    assert read(path, columns="gauge=5[V]").traces[0].rate == 125e6


def test_parameters_in_the_columns_beside_two_waveforms() -> None:
    # lanl/HopPyBar: rows 1 to 3 of columns 3 and 4 are name, start and interval; then come samples.
    path = shared("bar_pulses", "20061201_1148HE_CuOFE_273K.raw")
    recording = read(path, columns="incident=3[V],transmitted=4[V]", rate=1e7, first_row=4)
    incident, transmitted = recording.traces
    assert incident.read().size == transmitted.read().size == 5000
    assert incident.read()[:2].tolist() == [-0.011292, -0.012207]
    assert "Striker Length(mm)" in recording.header or "Test Date" in recording.header


def test_one_column_needs_rate_and_unit() -> None:
    # PTB-M4D/PyDynamic examples: one number a line after blanks, 10 MHz (from its documentation).
    path = shared("sensor_dynamics", "measured_output_accel.txt")
    with pytest.raises(UnitError, match="channel 'signal': no unit is stated"):
        read(path, rate=1e7).trace()
    with pytest.raises(RecordingError, match="no time column and no sampling rate"):
        read(path, units="m/s^2")
    (trace,) = read(path, rate=1e7, units="m/s^2").traces
    np.testing.assert_array_equal(trace.read(), np.loadtxt(path))


def test_motion_capture_table() -> None:
    # kineticstoolkit, Apache-2.0: 156 columns 'C7[0]'; an index in brackets is no unit.
    path = shared("motion_c3d", "kinematics_tennis_serve.csv")
    with pytest.raises(UnitError, match=r"channel 'C7\[0\]': no unit is stated"):
        read(path, rate=50).trace()
    recording = read(path, units="m", rate=50)
    assert len(recording.traces) == 156
    plain = np.genfromtxt(path, delimiter=",", skip_header=1)
    for i in (0, 3, 155):
        np.testing.assert_array_equal(recording.traces[i].read(), plain[:, i + 1])
