"""MDF 4 against the library, and what is said where the library is not installed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from quintain.errors import RecordingError
from quintain.readers import registry
from reader_samples import SAMPLES
from shared_data import shared


@pytest.mark.parametrize("name", ["test_batch_cut_0.mf4", "test_batch_cut_1.mf4", "test_metadata.mf4"])
def test_values_are_those_of_the_library(name: str) -> None:
    """Files of danielhrisca/asammdf, LGPL-3.0 (used as data); two of them are cut. Oracle: that library."""
    from asammdf import MDF

    path = shared("formats", "mdf4", name)
    recording = registry.read(path)
    seen = 0
    with MDF(path) as file:
        for trace in recording.traces:
            places = file.whereis(trace.name.partition(" [group")[0])
            if trace.unit != "s" or len(places) != 1:
                continue
            signal = file.get(group=places[0][0], index=places[0][1])
            # Channels of these files are in hours.
            np.testing.assert_allclose(trace.read(), signal.samples * 3600.0)
            blocks = list(trace.blocks())
            assert blocks[0].start == pytest.approx(signal.timestamps[0], abs=0.5 / trace.rate)
            assert trace.rate == pytest.approx(1 / np.median(np.diff(signal.timestamps)), rel=1e-3)
            seen += 1
    assert seen


def test_groups_name_their_source_and_start(tmp_path: Path) -> None:
    sample = next(s for s in SAMPLES if s.reader == "mdf4")
    path = tmp_path / sample.name
    sample.write(path)
    recording = registry.read(path)
    assert [t.device for t in recording.traces] == ["rig", "wrist"]
    assert recording.started is not None


def test_other_version_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "old.mdf"
    path.write_bytes(b"MDF     3.30    " + b"\0" * 200)
    with pytest.raises(RecordingError, match=r"version '3.30'"):
        registry.read(path)


def test_without_the_library_the_message_says_what_to_install(tmp_path: Path) -> None:
    path = tmp_path / "a.mf4"
    path.write_bytes(b"MDF     4.10    " + b"\0" * 200)
    code = (
        "import sys; sys.modules['asammdf'] = None\n"
        "from quintain.errors import RecordingError\n"
        "from quintain.readers.registry import find_reader, read\n"
        f"assert find_reader({str(path)!r}).name == 'mdf4'\n"
        f"try: read({str(path)!r})\n"
        "except RecordingError as error: print(error)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert 'pip install "quintain[mdf]"' in done.stdout


def test_parts_of_a_cut_recording_keep_their_times() -> None:
    """The library's own cuts of one recording: neither is taken for the whole."""
    first, second = (registry.read(shared("formats", "mdf4", f"test_batch_cut_{k}.mf4")) for k in (0, 1))
    assert [t.name for t in first.traces] == [t.name for t in second.traces]
    a, b = list(first.traces[0].blocks()), list(second.traces[0].blocks())
    end = a[-1].start + (a[-1].samples.size - 1) / first.traces[0].rate
    assert b[0].start > end


def test_file_cut_in_the_middle_is_refused_or_shorter(tmp_path: Path) -> None:
    original = shared("formats", "mdf4", "test_batch.mf4")
    units = {trace.name: "N" for trace in registry.read(original).traces}
    whole = {trace.name: trace.read() for trace in registry.read(original, units=units).traces}
    content = original.read_bytes()
    path = tmp_path / "cut.mf4"
    refused = []
    for n in range(200, len(content), len(content) // 12):
        path.write_bytes(content[:n])
        try:
            for trace in registry.read(path, units=units).traces:
                part = trace.read()
                np.testing.assert_array_equal(part, whole[trace.name][: part.size])
        except RecordingError as refusal:
            refused.append(str(refusal))
    assert refused
    assert all(words.startswith(str(path)) and "\n" not in words for words in refused)
