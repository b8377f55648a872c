"""TDMS files against values of the format's reference library, and segments put together by hand."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest

from quintain.errors import RecordingError
from quintain.readers.registry import read
from reader_samples import tdms_segment, tdms_text
from shared_data import shared

# Files of adamreeve/npTDMS, LGPL-3.0 (used as data), and totonga/tdms_tools, MIT (the six steps). Length, sum
# and sum of squares of each channel by npTDMS 1.13.0, scaled where the file holds a scale.
STEP = "IncrementalMetaInformationExample_step"
KNOWN = {
    f"{STEP}1.tdms": [(3, 6.0, 14.0), (3, 15.0, 77.0)],
    f"{STEP}2.tdms": [(6, 12.0, 28.0), (6, 30.0, 154.0)],
    f"{STEP}3.tdms": [(9, 18.0, 42.0), (9, 45.0, 231.0)],
    f"{STEP}4.tdms": [(12, 24.0, 56.0), (12, 60.0, 308.0), (5, 45.0, 415.0)],
    f"{STEP}5.tdms": [(15, 30.0, 70.0), (39, 438.0, 7238.0), (10, 90.0, 830.0)],
    f"{STEP}6.tdms": [(18, 36.0, 84.0), (39, 438.0, 7238.0), (15, 135.0, 1245.0)],
    "Digital_Input.tdms": [(20000, 10000.0, 10000.0), (400, 200.0, 200.0), (8, 4.0, 4.0)],
    "big_endian.tdms": [
        (3500, 92.4168263064218, 22910.756291540984),
        (3500, 24.607279472921544, 1753.4143818565567),
    ],
    "raw1.tdms": [
        (2000, 129.41648609881895, 71.70796681344986),
        (2000, 1819.5751823480941, 1717.5543046755315),
        (2000, 3475.2009643848996, 6100.189491005887),
        (2000, 5149.5931882686855, 13321.753886287042),
        (2000, 6759.486373485519, 22904.708452493353),
        (2000, 8314.76699118015, 34631.08814923266),
        (2000, 9808.32605975524, 48163.737610861965),
    ],
    "raw_timestamps.tdms": [(128, 3.247402347028583e-15, 64.00000000000003)],
}


@pytest.mark.parametrize("name", sorted(KNOWN))
def test_agrees_with_the_reference_library(name: str) -> None:
    rate = 1000 if STEP in name else None
    recording = read(shared("formats", "tdms", name), rate=rate, units="V", calibration="file")
    found = [trace.read() for trace in recording.traces]
    assert [samples.size for samples in found] == [n for n, _, _ in KNOWN[name]]
    for samples, (_, total, squares) in zip(found, KNOWN[name], strict=True):
        # Sums of up to 20 000 numbers in double precision, in whatever order.
        assert samples.sum() == pytest.approx(total, rel=1e-11, abs=1e-11)
        assert samples @ samples == pytest.approx(squares, rel=1e-11)


def test_rates_units_and_start() -> None:
    recording = read(shared("formats", "tdms", "raw1.tdms"), calibration="file")
    assert {(t.rate, t.unit, t.unit_in_file, t.device) for t in recording.traces} == {
        (50_000.0, "V", "Volts", "Layer Data")
    }
    assert recording.started is not None
    assert recording.started.isoformat() == "2016-12-15T22:35:21"
    assert all(found.applied and "0.000305185" in found.text for found in recording.calibrations)
    digital = read(shared("formats", "tdms", "Digital_Input.tdms"), units="V")
    assert [t.rate for t in digital.traces] == [2000.0, 40.0, 0.8]


def test_each_step_appends() -> None:
    before: list[np.ndarray] = []
    for k in range(1, 7):
        recording = read(shared("formats", "tdms", f"{STEP}{k}.tdms"), rate=1000, units="V")
        now = [trace.read() for trace in recording.traces]
        for old, new in zip(before, now, strict=False):
            np.testing.assert_array_equal(new[: old.size], old)
        assert sum(map(len, now)) > sum(map(len, before))
        before = now


def _index(kind: int, n: int) -> bytes:
    return struct.pack("<IIIQ", 20, kind, 1, n)


def test_interleaved_numbers(tmp_path: Path) -> None:
    path = tmp_path / "a.tdms"
    metadata = struct.pack("<I", 2)
    metadata += tdms_text("/'g'/'a_N'") + _index(2, 5) + struct.pack("<I", 0)
    metadata += tdms_text("/'g'/'b_V'") + _index(9, 5) + struct.pack("<I", 0)
    raw = b"".join(struct.pack("<hf", i, i / 2) for i in range(5))
    path.write_bytes(tdms_segment(0b101110, metadata, raw))
    a, b = read(path, rate=100).traces
    assert (a.name, a.unit, b.unit) == ("a", "N", "V")
    assert a.read().tolist() == [0, 1, 2, 3, 4]
    assert b.read().tolist() == [0, 0.5, 1, 1.5, 2]


def test_recording_that_was_not_closed(tmp_path: Path) -> None:
    path = tmp_path / "a.tdms"
    metadata = struct.pack("<I", 1) + tdms_text("/'g'/'a_N'") + _index(5, 4) + struct.pack("<I", 0)
    segment = tdms_segment(0b1110, metadata, bytes(range(10)))
    path.write_bytes(segment[:12] + b"\xff" * 8 + segment[20:])
    (trace,) = read(path, rate=100).traces
    # Two whole chunks of four; the third was not finished.
    assert trace.read().tolist() == list(range(8))


def test_channel_without_rate_is_noted_beside_others(tmp_path: Path) -> None:
    path = tmp_path / "a.tdms"
    metadata = struct.pack("<I", 2)
    metadata += tdms_text("/'g'/'a_N'") + _index(5, 4) + struct.pack("<I", 1)
    metadata += tdms_text("wf_increment") + struct.pack("<Id", 10, 0.01)
    metadata += tdms_text("/'g'/'b_N'") + _index(5, 4) + struct.pack("<I", 0)
    path.write_bytes(tdms_segment(0b1110, metadata, bytes(8)))
    recording = read(path)
    assert [t.name for t in recording.traces] == ["a"]
    assert any("channel 'b' has neither times nor a rate" in note for note in recording.notes)


def test_scale_that_is_not_linear_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.tdms"
    metadata = struct.pack("<I", 1) + tdms_text("/'g'/'a_N'") + _index(5, 4) + struct.pack("<I", 3)
    for name, value in (("NI_Scaling_Status", "unscaled"), ("NI_Scale[0]_Scale_Type", "Table")):
        metadata += tdms_text(name) + struct.pack("<I", 0x20) + tdms_text(value)
    metadata += tdms_text("NI_Number_Of_Scales") + struct.pack("<II", 7, 1)
    path.write_bytes(tdms_segment(0b1110, metadata, bytes(4)))
    with pytest.raises(RecordingError, match="no channels of numbers"):
        read(path, rate=100)


def test_segment_of_rubbish_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.tdms"
    metadata = struct.pack("<I", 1) + tdms_text("/'g'/'a_N'") + _index(99, 4) + struct.pack("<I", 0)
    path.write_bytes(tdms_segment(0b1110, metadata, bytes(4)))
    with pytest.raises(RecordingError, match=r"damaged \(numbers of unknown type 0x63\)"):
        read(path, rate=100)
