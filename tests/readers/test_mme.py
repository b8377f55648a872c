"""ISO/TS 13499: files made here after the standard from memory; no file of another program was at hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from quintain.errors import RecordingError
from quintain.readers import registry
from reader_samples import FORCE, mme_files


@pytest.fixture
def mme_folder(tmp_path: Path) -> Path:
    mme_files(tmp_path / "test.mme")
    return tmp_path


def _change(folder: Path, before: str, after: str) -> Path:
    file = folder / "Channel" / "test.001"
    text = file.read_text()
    assert before in text
    file.write_text(text.replace(before, after))
    return folder / "test.mme"


def test_each_channel_has_its_own_rate_and_start(mme_folder: Path) -> None:
    path = _change(mme_folder, "interval        :0.002", "interval        :0.0001")
    recording = registry.read(path)
    assert [t.rate for t in recording.traces] == [10_000.0, 500.0]
    assert next(recording.traces[0].blocks()).start == -0.01
    assert recording.started is not None
    assert recording.started.year == 2026
    assert "invented" in recording.header


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("samples        :300", "samples        :299", "more rows"),
        ("samples        :300", "samples        :301", "there are 300"),
        ("samples        :300", "samples        :99999999", "do not fit"),
        ("interval        :0.002", "interval        :0", "above 0 s"),
        ("interval        :0.002", "interval        :", "expected a number for 'sampling interval'"),
        (":implicit", ":10TIME000000TIX0", "takes its times from channel"),
        (f"\n{FORCE[3]}\n", "\nabc\n", "row 10: expected a number, got 'abc'"),
    ],
)
def test_contradictions_are_refused(mme_folder: Path, before: str, after: str, says: str) -> None:
    path = _change(mme_folder, before, after)
    with pytest.raises(RecordingError, match=says):
        registry.read(path).traces[0].read()


def test_channel_changed_since_it_was_read(mme_folder: Path) -> None:
    trace = registry.read(mme_folder / "test.mme").traces[0]
    _change(mme_folder, "samples        :300", "samples        :3")
    with pytest.raises(RecordingError, match="changed while it was read"):
        trace.read()


def test_without_channels_the_whole_folder_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "alone.mme"
    path.write_text("Laboratory name :invented\n")
    with pytest.raises(RecordingError, match="folder 'Channel'"):
        registry.read(path)


def test_damaged_channels_cut_short_are_refused(mme_folder: Path) -> None:
    file = mme_folder / "Channel" / "test.001"
    content = file.read_bytes()
    for n in range(1, len(content), len(content) // 60):
        file.write_bytes(content[:n])
        with pytest.raises(RecordingError) as refusal:
            registry.read(mme_folder / "test.mme").traces[0].read()
        assert "\n" not in str(refusal.value)
