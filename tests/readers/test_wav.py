"""WAV files against scipy's reader and against the format's own rules."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from quintain.errors import ChannelError, RecordingError, UnitError, UsageError
from quintain.readers.registry import read
from shared_data import ROOT

FILES = sorted(ROOT.glob("formats/wav/*.wav"))  # of scipy's own tests, BSD-3-Clause
REFUSED = {
    "test-44100Hz-le-1ch-4bytes-early-eof-no-data.wav": "ends before its samples begin",
    "test-44100Hz-le-1ch-4bytes-incomplete-chunk.wav": "ends before its samples begin",
    "test-8000Hz-le-1ch-1byte-ulaw.wav": r"compressed \(mu-law\)",
    "test-8000Hz-le-3ch-5S-24bit-inconsistent.wav": "24 bits in 1 bytes",
}


@pytest.mark.skipif(not FILES, reason="larger recordings are not on this machine")
def test_files_of_a_reference_library() -> None:
    for path in FILES:
        if path.name in REFUSED:
            with pytest.raises(RecordingError, match=REFUSED[path.name]):
                read(path, full_scale="1 N")
            continue
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)
            rate, samples = wavfile.read(path)
        samples = samples.reshape(len(samples), -1)
        full = {"u": 128.0, "i": 2.0 ** (8 * samples.itemsize - 1), "f": 1.0}[samples.dtype.kind]
        zero = 128.0 if samples.dtype.kind == "u" else 0.0
        recording = read(path, full_scale="1 N")
        assert [trace.rate for trace in recording.traces] == [rate] * samples.shape[1]
        for trace, expected in zip(recording.traces, samples.T, strict=True):
            # Exact: factors are powers of two; 64-bit integers round once to double precision.
            np.testing.assert_array_equal(trace.read(), (expected.astype(float) - zero) / full)


def test_full_scale_by_channel(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    wavfile.write(path, 1000, np.array([[16384, -32768], [8192, 0]], dtype=np.int16))
    first, second = read(path, full_scale="channel 1=5 kN,channel 2=-50 g").traces
    assert first.read().tolist() == [2500, 1250]
    assert second.read().tolist() == pytest.approx([50 * 9.80665, 0])
    assert (first.quantity, second.quantity) == ("force", "acceleration")


def test_without_full_scale_the_unit_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    wavfile.write(path, 1000, np.zeros(10, dtype=np.int16))
    with pytest.raises(UnitError, match="state what full scale stands for with full_scale='5000 N'"):
        read(path).traces[0].read()


@pytest.mark.parametrize(
    ("setting", "kind", "says"),
    [
        ("lots", UsageError, "'lots' cannot be understood"),
        ("0 N", UsageError, "'0 N' cannot be understood"),
        ("5 furlong", UnitError, "unit 'furlong'"),
        ("left=5 N", ChannelError, "there is no channel 'left'; there are: 'channel 1'"),
    ],
)
def test_bad_full_scale(tmp_path: Path, setting: str, kind: type[Exception], says: str) -> None:
    path = tmp_path / "a.wav"
    wavfile.write(path, 1000, np.zeros(10, dtype=np.int16))
    with pytest.raises(kind, match=says):
        read(path, full_scale=setting)


def test_size_that_is_not_true_is_noted(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    wavfile.write(path, 1000, np.arange(100, dtype=np.int16))
    path.write_bytes(path.read_bytes()[:-20])
    recording = read(path, full_scale="1 N")
    assert recording.traces[0].read().size == 90
    assert any("announces 200 bytes of samples, the file holds 180" in note for note in recording.notes)
