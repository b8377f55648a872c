"""MATLAB and HDF5 files: versions agree, real data against h5py, and what is refused."""

from __future__ import annotations

from pathlib import Path

import h5py
import numpy as np
import pytest

from quintain.errors import ChannelError, RecordingError, UnitError
from quintain.readers.registry import read
from shared_data import ROOT, shared

DOUBLES = sorted(ROOT.glob("formats/mat/test*double*.mat")) + sorted(ROOT.glob("formats/mat/testhdf5*.mat"))


@pytest.mark.skipif(not DOUBLES, reason="larger recordings are not on this machine")
def test_versions_agree() -> None:
    # scipy's own test files, BSD-3-Clause: one variable written by versions 4.2c to 7.4, all holding
    # 0 to 2 pi in steps of pi/4 (scipy/io/matlab/tests/test_mio.py).
    assert len(DOUBLES) == 6
    for path in DOUBLES:
        (trace,) = read(path, rate=10, units="N").traces
        assert trace.name == "testdouble"
        np.testing.assert_allclose(trace.read(), np.arange(9) * np.pi / 4, rtol=1e-15)


def test_structure_and_matrix() -> None:
    recording = read(shared("formats", "mat", "teststruct_7.4_GLNX86.mat"), rate=10, units="N")
    (trace,) = recording.traces
    assert trace.name == "teststruct/doublefield"
    np.testing.assert_allclose(trace.read(), [np.sqrt(2), np.e, np.pi], rtol=1e-15)
    matrix = read(shared("formats", "mat", "testmatrix_4.2c_SOL2.mat"), rate=10, units="N")
    assert [t.read().size for t in matrix.traces] == [5, 5, 5]


def test_text_variables_are_no_channels() -> None:
    with pytest.raises((RecordingError, UnitError)):
        read(shared("formats", "mat", "testbool_8_WIN64.mat"), rate=1).traces[0].read()


def test_inertial_sensor_with_optical_reference() -> None:
    # dlaidig/broad, CC BY 4.0: rate in an attribute of the file, units in words only.
    path = shared("imu_optical", "18_undisturbed_fast_translation_with_breaks_B.hdf5")
    units = {f"imu_acc[{k}]": "m/s^2" for k in range(3)} | {f"opt_pos[{k}]": "m" for k in range(3)}
    recording = read(path, units=units)
    assert {t.rate for t in recording.traces} == {2000 / 7}
    assert "`imu_acc` in m/s²" in recording.header
    with h5py.File(path) as file:
        np.testing.assert_array_equal(recording.trace("imu_acc[1]").read(), file["imu_acc"][:, 1])
        np.testing.assert_array_equal(recording.trace("opt_pos[2]").read(), file["opt_pos"][:, 2])
    with pytest.raises(UnitError, match=r"channel 'imu_gyr\[0\]': no unit is stated"):
        recording.trace("imu_gyr[0]").read()


def test_arrays_by_path(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        file["rig/clock"] = np.arange(50) / 100
        file["rig/fz"] = np.arange(50.0)
        file["other"] = np.arange(7)
    (trace,) = read(path, columns="time=rig/clock[s],force=/rig/fz[kN]").traces
    assert (trace.name, trace.unit, trace.rate) == ("force", "N", 100)
    assert trace.read()[-1] == 49_000
    with pytest.raises(ChannelError, match="there is no array 'rig/fy'; there are: 'other', 'rig/clock'"):
        read(path, columns="time=rig/clock[s],force=rig/fy[N]")


def test_array_that_announces_more_than_it_holds(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        file.create_dataset("force", shape=(10**12,), chunks=(10**6,), dtype="f8")
    with pytest.raises(RecordingError, match="announces 1000000000000 numbers but holds 0 bytes"):
        read(path, rate=1, units="N")


def test_links_to_other_files_are_not_followed(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        file["force"] = np.arange(5.0)
        file["elsewhere"] = h5py.ExternalLink("/etc/passwd", "/x")
        file["round"] = h5py.SoftLink("/")
    assert [t.name for t in read(path, rate=1, units="N").traces] == ["force"]


@pytest.mark.parametrize("what", ["testmatrix", "teststruct"])
def test_versions_of_matrices_and_structures_agree(what: str) -> None:
    paths = sorted(ROOT.glob(f"formats/mat/{what}*.mat"))
    if not paths:
        pytest.skip("larger recordings are not on this machine")
    assert len(paths) == {"testmatrix": 5, "teststruct": 4}[what]
    first, *others = [read(path, rate=10, units="N") for path in paths]
    for other in others:
        assert [t.name for t in other.traces] == [t.name for t in first.traces]
        for a, b in zip(first.traces, other.traces, strict=True):
            np.testing.assert_array_equal(a.read(), b.read())


def test_byte_orders_agree() -> None:
    # scipy's own test files, BSD-3-Clause.
    big, little = (
        read(shared("formats", "mat", f"{order}_endian.mat"), rate=10, units="N")
        for order in ("big", "little")
    )
    assert len(big.traces) == len(little.traces) == 2
    for a, b in zip(big.traces, little.traces, strict=True):
        assert a.name == b.name
        np.testing.assert_array_equal(a.read(), b.read())
