"""C3D files: all makes hold one recording, twins agree, values of a reference library, force plates."""

from __future__ import annotations

import csv
import struct
from pathlib import Path

import numpy as np
import pytest

from quintain.errors import RecordingError
from quintain.readers.registry import read
from reader_samples import c3d_file
from shared_data import shared

# Files of kineticstoolkit (Apache-2.0), among them the C3D test suite of c3d.org.
MAKES = ("pc_real", "pc_int", "dec_real", "dec_int", "sgi_real", "sgi_int")


def test_all_makes_hold_one_recording() -> None:
    recordings = [read(shared("formats", "c3d", f"{make}.c3d"), units="CH7=V") for make in MAKES]
    names = [trace.name for trace in recordings[0].traces]
    assert len(names) == 130
    for make, recording in zip(MAKES, recordings, strict=True):
        assert [trace.name for trace in recording.traces] == names
        for trace, first in zip(recording.traces, recordings[0].traces, strict=True):
            assert (trace.rate, trace.unit) == (first.rate, first.unit)
            if trace.unit == "?":
                continue
            # Integers may differ by one step of their scale, 0.281 mm.
            tolerance = 1e-9 if make.endswith("real") else 2.9e-4 if trace.unit == "m" else 1e-6
            np.testing.assert_allclose(trace.read(), first.read(), rtol=1e-6, atol=tolerance)


def test_agrees_with_a_reference_library() -> None:
    # Sums over all markers [mm] and over FX1, FY1, FZ1 [N] by ezc3d 1.7.2.
    recording = read(shared("formats", "c3d", "Eb015pi.c3d"))
    for axis, total in (("x", 1324086.2894608453), ("y", 11907935.438217454), ("z", 4987437.148637205)):
        found = sum(np.nansum(t.read()) for t in recording.traces if t.name.endswith(f".{axis}"))
        assert found * 1000 == pytest.approx(total, rel=1e-12)
    for name, total in (
        ("FX1", -47413.09078866243),
        ("FY1", -10018.814037829638),
        ("FZ1", -274751.7665153742),
    ):
        trace = recording.trace(name)
        assert (trace.rate, trace.unit) == (200.0, "N")
        assert trace.read().sum() == pytest.approx(total, rel=1e-12)
    assert recording.trace("plate 1 Fz").read().sum() == pytest.approx(-274751.7665153742, rel=1e-12)


def test_plate_of_type_3_adds_up_its_feet() -> None:
    recording = read(shared("formats", "c3d", "FP_Type3.c3d"))
    feet = [recording.trace(f"Channel_0{k}").read() for k in range(1, 9)]
    np.testing.assert_allclose(recording.trace("plate 1 Fx").read(), feet[0] + feet[1], rtol=1e-12)
    np.testing.assert_allclose(recording.trace("plate 1 Fy").read(), feet[2] + feet[3], rtol=1e-12)
    np.testing.assert_allclose(recording.trace("plate 1 Fz").read(), sum(feet[4:]), rtol=1e-12)
    # By ezc3d 1.7.2: the sum of the four feet's channels over all samples.
    assert sum(feet[4:]).sum() == pytest.approx(-1862.0576132833958 - 1761.7672924418002 - 1721.2039264850318
                                                - 1744.7345123812556, rel=1e-12)  # fmt: skip


def test_table_twin_holds_the_same_numbers() -> None:
    recording = read(shared("motion_c3d", "kinematics_tennis_serve.c3d"))
    twin = read(shared("motion_c3d", "kinematics_tennis_serve.csv"), units="m", rate=50)
    with shared("motion_c3d", "kinematics_tennis_serve.csv").open() as file:
        labels = next(csv.reader(file))[1::4]
    assert len(labels) == 39
    for label in labels:
        marker = label.removesuffix("[0]")
        for k, axis in enumerate("xyz"):
            trace = recording.trace(f"Derrick:{marker}.{axis}")
            assert (trace.rate, trace.unit) == (50.0, "m")
            # The table prints nine decimals, but small numbers with three digits (-6.45E-05).
            np.testing.assert_allclose(trace.read(), twin.trace(f"{marker}[{k}]").read(), atol=6e-8)


def test_gaps_stay_gaps() -> None:
    whole = read(shared("motion_c3d", "kinematics_tennis_serve.c3d"))
    gaps = read(shared("motion_c3d", "kinematics_tennis_serve_nan.c3d"))
    missing = 0
    for a, b in zip(whole.traces, gaps.traces, strict=True):
        x, y = a.read(), b.read()
        assert x.size == y.size == 1092
        missing += np.count_nonzero(np.isnan(y))
        seen = np.isfinite(y)
        np.testing.assert_allclose(x[seen], y[seen], atol=1e-6)
    assert missing > 0


def test_file_of_rotations_is_refused() -> None:
    with pytest.raises(RecordingError, match="neither markers nor analog channels"):
        read(shared("formats", "c3d", "C3DRotationExample.c3d"))


def _parameter(name: str, kind: int, shape: list[int], content: bytes) -> bytes:
    body = struct.pack("<bB", kind, len(shape)) + bytes(shape) + content + b"\0"
    return struct.pack("<bb", len(name), 2) + name.encode() + struct.pack("<H", len(body) + 2) + body


def test_plate_of_type_4_goes_through_its_matrix(tmp_path: Path) -> None:
    # Derived here: six bridge signals v and a full matrix C, F = C v (user guide, force platform type 4).
    rng = np.random.default_rng(4)
    matrix, signals = rng.normal(size=(6, 6)), rng.normal(size=(50, 6))
    more = struct.pack("<bb", 14, -2) + b"FORCE_PLATFORM" + struct.pack("<HB", 3, 0)
    more += _parameter("USED", 2, [1], struct.pack("<h", 1)) + _parameter(
        "TYPE", 2, [1], struct.pack("<h", 4)
    )
    more += _parameter("CHANNEL", 2, [6, 1], struct.pack("<6h", *range(1, 7)))
    more += _parameter("CAL_MATRIX", 4, [6, 6, 1], matrix.astype("<f4").tobytes(order="F"))
    path = tmp_path / "a.c3d"
    path.write_bytes(c3d_file(signals, [f"v{k}" for k in range(6)], ["V"] * 6, 100.0, more))
    assert "plate 1 Fz" not in [trace.name for trace in read(path).traces]
    recording = read(path, calibration="file")
    expected = signals @ matrix.T
    for k, axis in enumerate("xyz"):
        # Matrix and signals in single precision.
        np.testing.assert_allclose(recording.trace(f"plate 1 F{axis}").read(), expected[:, k], atol=2e-6)
    assert recording.trace("plate 1 Fz").unit == "N"


def test_thousands_of_markers_are_named_at_once(tmp_path: Path) -> None:
    """Found by damaging files, as the time it took was that of looking for each name among all others."""
    path = tmp_path / "a.c3d"
    content = bytearray(c3d_file(np.zeros((3000, 4)), list("abcd"), ["V"] * 4, 100.0))
    # One frame of 3000 markers, where there were 3000 frames of four analog numbers.
    content[2:10] = struct.pack("<4H", 3000, 0, 1, 1)
    path.write_bytes(bytes(content))
    assert len({trace.name for trace in read(path, units="m").traces}) == 9_000


@pytest.mark.parametrize(
    "twin", ["EB015PI", "Eb015pr", "Eb015vi", "Eb015vr", "TESTAPI", "TESTBPI", "TESTCPI", "TESTDPI"]
)
def test_other_makes_and_orders_of_parameters_hold_the_same(twin: str) -> None:
    """Sample files of c3d.org: processors and number types, and parameters written otherwise."""
    units = dict.fromkeys(("CH7", "CH8", "CH15", "CH16"), "V")
    first = read(shared("formats", "c3d", "Eb015pi.c3d"), units=units)
    other = read(shared("formats", "c3d", f"{twin}.c3d"), units=units)
    assert [(t.name, t.rate, t.unit) for t in other.traces] == [
        (t.name, t.rate, t.unit) for t in first.traces
    ]
    for a, b in zip(first.traces, other.traces, strict=True):
        x, y = a.read(), b.read()
        # Integers may differ by one step of their scale, some 0.1 mm; analog numbers are whole in all.
        np.testing.assert_allclose(y, x, rtol=1e-6, atol=2e-4 if a.unit == "m" else 1e-6)
