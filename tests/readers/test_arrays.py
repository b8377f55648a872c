"""NumPy, Parquet and Arrow files: times, rates, units, and what is refused."""

from __future__ import annotations

import datetime
import zipfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from quintain.errors import RecordingError, UnitError
from quintain.readers.registry import read


def test_one_array_needs_rate_and_unit(tmp_path: Path) -> None:
    path = tmp_path / "a.npy"
    np.save(path, np.arange(10, dtype=np.int16))
    with pytest.raises(RecordingError, match="neither times nor a sampling rate in the file"):
        read(path, units="N")
    with pytest.raises(UnitError, match="no unit is stated"):
        read(path, rate=100).traces[0].read()
    (trace,) = read(path, rate=100, units="kN").traces
    assert trace.read().tolist() == [1000.0 * i for i in range(10)]


@pytest.mark.parametrize("order", ["C", "F"])
def test_longer_dimension_is_time(tmp_path: Path, order: str) -> None:
    path = tmp_path / "a.npy"
    samples = np.arange(30.0).reshape(3, 10)
    np.save(path, np.array(samples, order=order))
    recording = read(path, rate=100, units="signal[0]=N,signal[1]=g,signal[2]=V")
    assert [t.unit for t in recording.traces] == ["N", "m/s²", "V"]
    assert recording.traces[2].read().tolist() == samples[2].tolist()


def test_python_objects_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.npy"
    np.save(path, np.array([{"a": 1}], dtype=object), allow_pickle=True)
    with pytest.raises(RecordingError, match="the file holds Python objects"):
        read(path, rate=1, units="N")


def test_archive_with_times(tmp_path: Path) -> None:
    path = tmp_path / "a.npz"
    t = np.arange(100) / 1000
    t[60:] += 0.5
    np.savez(path, t=t, force_kN=np.arange(100.0), label=np.array("words"))
    (trace,) = read(path, units="t=s").traces
    assert [(b.first, b.join) for b in trace.blocks()] == [(0, ""), (60, "gap")]
    with pytest.raises(UnitError, match="time column 't' states no unit"):
        read(path)
    with pytest.raises(RecordingError, match="rate is given as 500 Hz"):
        read(path, units="t=s", rate=500)


def test_archive_bomb_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.npz"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("force_N.npy", b"\0" * (70 << 20))
    with pytest.raises(RecordingError, match="unpacks to"):
        read(path, rate=1)


def test_timestamps_of_a_table(tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    begin = datetime.datetime(2026, 11, 25, 12, 0, 0, 250_000)
    times = [begin + datetime.timedelta(milliseconds=2 * i) for i in range(100)]
    table = pa.table(
        {"when": pa.array(times, pa.timestamp("us")), "F_N": [float(i) for i in range(99)] + [None]}
    )
    parquet.write_table(table, path, row_group_size=33)
    recording = read(path)
    (trace,) = recording.traces
    assert recording.started == begin
    assert trace.rate == 500
    assert trace.read().tolist() == [float(i) for i in range(99)]


def test_rate_in_the_metadata_of_a_table(tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    table = pa.table({"F_N": np.arange(5.0)}).replace_schema_metadata({"sample_rate": "2500"})
    parquet.write_table(table, path)
    assert read(path).traces[0].rate == 2500
    with pytest.raises(RecordingError, match="the file states 2500 Hz"):
        read(path, rate=100)


def test_text_columns_are_no_channels(tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    parquet.write_table(pa.table({"note": ["a", "b"]}), path)
    with pytest.raises(RecordingError, match="no channels of numbers"):
        read(path)
