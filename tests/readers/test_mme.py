"""ISO/TS 13499: files made here after the standard from memory; no file of another program was at hand."""

from __future__ import annotations

import hashlib
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


def test_header_and_hash_of_every_file(mme_folder: Path) -> None:
    recording = registry.read(mme_folder / "test.mme")
    assert recording.sha256 == hashlib.sha256((mme_folder / "test.mme").read_bytes()).hexdigest()
    parts = {path: digest() for path, digest in recording.parts}
    files = sorted((mme_folder / "Channel").iterdir())
    assert parts == {str(file): hashlib.sha256(file.read_bytes()).hexdigest() for file in files}
    first = files[0].read_text().partition(f"\n{FORCE[0]}\n")[0]
    assert first in recording.header
    assert "invented" in recording.header


def test_hash_of_a_channel_that_changed_is_refused(mme_folder: Path) -> None:
    recording = registry.read(mme_folder / "test.mme")
    _change(mme_folder, "samples        :300", "samples        :3")
    with pytest.raises(RecordingError, match="changed while it was read"):
        recording.parts[0][1]()


def test_channel_that_the_list_names_is_missed(mme_folder: Path) -> None:
    # Layout of the list from memory of the standard.
    path = mme_folder / "Channel" / "test.chn"
    lines = [
        "Number of channels :2",
        "Name of channel 001 :10BARR000000FOX0 / Force",
        "Name of channel 002 :x",
    ]
    path.write_text("\n".join(lines) + "\n")
    recording = registry.read(mme_folder / "test.mme")
    assert len(recording.traces) == 2
    assert "Number of channels" in recording.header
    assert str(path) in [name for name, _ in recording.parts]
    (mme_folder / "Channel" / "test.001").unlink()
    with pytest.raises(
        RecordingError, match=r"channel 001 \('10BARR000000FOX0'\), but there is no file test.001"
    ):
        registry.read(mme_folder / "test.mme")


def test_gone_between_looking_and_reading(mme_folder: Path) -> None:
    trace = registry.read(mme_folder / "test.mme").traces[0]
    (mme_folder / "Channel" / "test.001").unlink()
    with pytest.raises(RecordingError, match="vanished"):
        trace.read()
