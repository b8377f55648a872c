"""Universal files: text and binary twins, partly filled rows, other functions, damage."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quintain.errors import RecordingError
from quintain.readers.registry import read
from reader_samples import FORCE, SAMPLES
from shared_data import shared

# Real files: ladisk/pyuff, MIT.


def test_text_and_binary_twins_agree() -> None:
    (text,) = read(shared("formats", "uff", "Sample_UFF58_ascii.uff")).traces
    (binary,) = read(shared("formats", "uff", "Sample_UFF58b_bin.uff")).traces
    assert (text.name, text.unit, text.device) == (binary.name, binary.unit, binary.device)
    assert text.rate == binary.rate == 65_536
    a, b = text.read(), binary.read()
    assert a.size == b.size == 79_292
    # Text holds six digits, the binary twin single precision.
    np.testing.assert_allclose(a, b, rtol=5e-6, atol=1e-12)


def test_double_precision() -> None:
    # The file's own description: a sine of 5 Hz in g, 250 samples at 100 Hz.
    recording = read(shared("formats", "uff", "binary8byte.uff"))
    (trace,) = recording.traces
    assert (trace.name, trace.unit_in_file, trace.rate) == ("acc", "g", 100.0)
    expected = np.sin(2 * np.pi * 5 * np.arange(250) / 100) * 9.80665
    # Its phase was summed in single precision.
    np.testing.assert_allclose(trace.read(), expected, atol=1e-4)


def test_last_row_partly_filled() -> None:
    recording = read(shared("formats", "uff", "time-history-not-all-columns-filled.uff"))
    (trace,) = recording.traces
    assert (trace.name, trace.unit, trace.rate) == ("1x", "m/s²", 20_000.0)
    assert trace.read()[[0, -1]].tolist() == [-3.81956, -5.84096]
    assert trace.read().size == 13
    assert recording.started is not None
    assert recording.started.isoformat() == "2020-04-30T19:12:52"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("1858.uff", "dataset 1858 is left out"),
        ("non_ascii_header.uff", "is a frequency response, no time history"),
        ("sample_dataset58_psd.uff", "is a power spectral density, no time history"),
    ],
)
def test_files_without_a_time_history_are_refused(name: str, says: str) -> None:
    with pytest.raises(RecordingError, match=says):
        read(shared("formats", "uff", name))


def _text(tmp_path: Path) -> Path:
    path = tmp_path / "a.uff"
    next(s for s in SAMPLES if s.name == "text.uff").write(path)
    return path


def test_uneven_spacing_is_followed(tmp_path: Path) -> None:
    path = tmp_path / "a.uff"
    t = np.arange(300) / 500
    t[200:] += 0.1
    head = _text(tmp_path).read_text().splitlines()[2:13]
    head[6] = head[6][:20] + "         0" + head[6][30:]
    rows = [f"{a:13.5E}{b:20.12E}" for a, b in zip(t, FORCE, strict=True)]
    path.write_text("\n".join(["    -1", "    58", *head, *rows, "    -1", ""]))
    (trace,) = read(path).traces
    assert trace.rate == 500
    assert [(b.first, b.join) for b in trace.blocks()] == [(0, ""), (200, "gap")]


def test_fewer_numbers_than_announced(tmp_path: Path) -> None:
    path = _text(tmp_path)
    lines = path.read_text().splitlines()
    del lines[20]
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(RecordingError, match="announces 300 numbers, but holds 296"):
        read(path).trace("force").read()


def test_three_digit_exponents_that_touch(tmp_path: Path) -> None:
    path = _text(tmp_path)
    lines = path.read_text().splitlines()
    lines[13] = " 1.000000000000E-01" * 2 + "-1.000000000000E-100-2.000000000000E-100"
    path.write_text("\n".join(lines) + "\n")
    assert read(path).trace("force").read()[:4].tolist() == [0.1, 0.1, -1e-100, -2e-100]
