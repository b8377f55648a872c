"""Calibrations in files: shown always, used only where asked, raw numbers never with the unit of others."""

from __future__ import annotations

import struct
from pathlib import Path

import h5py
import numpy as np
import pytest
from scipy.io import wavfile

from quintain.errors import UnitError, UsageError
from quintain.readers.registry import list_readers, read
from reader_samples import FORCE, SAMPLES, tdms_segment, tdms_text
from shared_data import shared

RAW = np.arange(-150, 150, dtype=np.int16)


def _tdms(path: Path, *, status: str = "unscaled") -> None:
    """Raw numbers of a device with two linear scales, one on the other: 1 + 2 (-3 + 0.5 raw)."""
    words = {
        "NI_Scaling_Status": status, "NI_Scale[0]_Scale_Type": "Linear", "NI_Scale[1]_Scale_Type": "Linear",
        "unit_string": "kN",
    }  # fmt: skip
    numbers = {
        "wf_increment": 0.001, "NI_Scale[0]_Linear_Slope": 0.5, "NI_Scale[0]_Linear_Y_Intercept": -3.0,
        "NI_Scale[1]_Linear_Slope": 2.0, "NI_Scale[1]_Linear_Y_Intercept": 1.0,
    }  # fmt: skip
    whole = {
        "NI_Number_Of_Scales": 2, "NI_Scale[1]_Linear_Input_Source": 0, "NI_Scale[0]_Linear_Input_Source": 9
    }  # fmt: skip
    metadata = struct.pack("<I", 1) + tdms_text("/'rig'/'force'") + struct.pack("<IIIQ", 20, 2, 1, RAW.size)
    metadata += struct.pack("<I", len(words) + len(numbers) + len(whole))
    for name, word in words.items():
        metadata += tdms_text(name) + struct.pack("<I", 0x20) + tdms_text(word)
    for name, number in numbers.items():
        metadata += tdms_text(name) + struct.pack("<Id", 10, number)
    for name, number in whole.items():
        metadata += tdms_text(name) + struct.pack("<II", 7, number)
    path.write_bytes(tdms_segment(0b1110, metadata, RAW.tobytes()))


def _hdf5(path: Path) -> None:
    # Packed as CF Conventions 1.11, section 8.1 say: unpacked = packed * scale_factor + add_offset.
    with h5py.File(path, "w") as file:
        file["force"] = RAW
        file["force"].attrs.update({"units": "kN", "scale_factor": 1.0, "add_offset": -5.0, "fs": 1000.0})


@pytest.mark.parametrize("write", [_tdms, _hdf5])
def test_raw_numbers_go_through_the_calibration_only_when_asked(write, tmp_path: Path) -> None:
    path = tmp_path / "raw"
    write(path)
    silent = read(path)
    (found,) = silent.calibrations
    assert (found.channel, found.applied) == ("force", False)
    assert "-5 + 1 x raw [kN]" in found.text
    with pytest.raises(UnitError, match=r"-5 \+ 1 x raw: use that with calibration='file'"):
        silent.trace("force").read()
    with pytest.raises(UnitError, match="calibration='file'"):
        silent.trace()
    # A unit for all channels is not one for raw numbers.
    with pytest.raises(UnitError):
        read(path, units="N").trace("force").read()
    np.testing.assert_array_equal(read(path, units="force=N").trace("force").read(), RAW)
    asked = read(path, calibration="file")
    assert asked.calibrations[0].applied
    trace = asked.trace("force")
    assert (trace.unit, trace.unit_in_file, trace.rate) == ("N", "kN", 1000.0)
    np.testing.assert_array_equal(trace.read(), 1000.0 * (RAW - 5.0))
    with pytest.raises(UsageError, match="expected 'file'"):
        read(path, calibration="yes")


def test_scale_applied_before_writing_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "a.tdms"
    _tdms(path, status="scaled")
    recording = read(path)
    (found,) = recording.calibrations
    assert found.applied
    assert "before the numbers were written" in found.text
    np.testing.assert_array_equal(recording.trace().read(), 1000.0 * RAW)


def test_raw_device_file_of_another_program() -> None:
    recording = read(shared("formats", "tdms", "raw1.tdms"))
    assert len(recording.calibrations) == len(recording.traces) == 7
    assert not any(found.applied for found in recording.calibrations)
    assert {trace.unit for trace in recording.traces} == {"?"}


def test_columns_of_an_array_file_with_calibration(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    _hdf5(path)
    # The user's unit is that of the numbers asked for: raw, or calibrated.
    np.testing.assert_array_equal(read(path, columns="F=force[N]").trace("F").read(), RAW)
    np.testing.assert_array_equal(
        read(path, columns="F=force[N]", calibration="file").trace("F").read(), RAW - 5.0
    )


def test_analog_scales_of_a_motion_file_are_shown_as_used() -> None:
    recording = read(shared("formats", "c3d", "Eb015pi.c3d"))
    shown = {found.channel: found for found in recording.calibrations}
    assert shown["FX1"].applied
    assert "x" in shown["FX1"].text
    assert "[N]" in shown["FX1"].text


def test_conversions_of_mdf_are_declared(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    path = tmp_path / "a.mf4"
    with asammdf.MDF(version="4.10") as mdf:
        signal = asammdf.Signal(
            RAW, np.arange(RAW.size) * 1e-3, name="force", unit="N", conversion={"a": 0.5, "b": -3.0}
        )
        mdf.append([signal])
        mdf.save(path)
    recording = read(path)
    (found,) = recording.calibrations
    assert found.applied
    assert found.text == "-3 + 0.5 x stored [N]"
    np.testing.assert_array_equal(recording.trace("force").read(), 0.5 * RAW - 3.0)


def _with_system(path: Path, code: int, length: float, force: float) -> None:
    """A universal file whose channels state no unit, below a dataset 164."""
    next(s for s in SAMPLES if s.name == "text.uff").write(path)
    text = path.read_text()
    for name, unit in (("force", "N"), ("acc", "m/s^2")):
        text = text.replace(f"{name:<20} {unit:<20}", f"{name:<20} {'NONE':<20}")
    text = text.replace("        13    0    0    0 acc", "        12    0    0    0 acc")
    system = [
        "    -1", "   164", f"{code:10d}{'some units':<20}{2:10d}",
        f"{length:25.17E}{force:25.17E}{1:25.17E}".replace("E", "D"), f"{0:25.17E}".replace("E", "D"),
        "    -1",
    ]  # fmt: skip
    path.write_text("\n".join(system) + "\n" + text)


def test_unit_system_of_a_universal_file(tmp_path: Path) -> None:
    path = tmp_path / "a.uff"
    _with_system(path, 1, 1.0, 1.0)
    recording = read(path)
    assert [t.unit for t in recording.traces] == ["N", "m/s²"]
    assert recording.calibrations[0].applied
    # Derived here: dividing by the factors of dataset 164 gives SI.
    _with_system(path, 5, 1000.0, 0.25)
    recording = read(path)
    assert [t.unit for t in recording.traces] == ["?", "?"]
    assert not recording.calibrations[0].applied
    assert "one metre is 1000, one newton 0.25" in recording.calibrations[0].text
    force, acc = read(path, calibration="file").traces
    np.testing.assert_allclose(force.read(), FORCE / 0.25, rtol=1e-12)
    plain = read(path, units="acc=m/s^2").trace("acc").read()
    np.testing.assert_allclose(acc.read(), plain / 1000.0, rtol=1e-12)


def test_full_scale_is_shown_as_stated(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    wavfile.write(path, 1000, RAW)
    assert read(path).calibrations == ()
    (found,) = read(path, full_scale="5 kN").calibrations
    assert (found.channel, found.text, found.applied) == ("channel 1", "full scale is 5 kN (stated)", True)
    with pytest.raises(UnitError, match="full_scale='5000 N'"):
        read(path).trace()


def test_who_takes_the_setting() -> None:
    taking = {reader.name for reader in list_readers() if "calibration" in reader.settings}
    assert taking == {"tdms", "hdf5", "c3d", "uff58"}
