"""What every reader promises, whatever the format."""

from __future__ import annotations

import hashlib
import os
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quintain.errors import ChannelError, QuintainError, RecordingError, UsageError
from quintain.readers import registry
from quintain.readers.reader import HEAD
from reader_samples import SAMPLES, Sample

READERS = registry.list_readers()
SI = {
    "N", "m/s²", "m/s", "m", "V", "V/V", "rad", "rad/s", "Pa", "s", "A", "K", "T", "N·m", "Hz", "1", "?",
}  # fmt: skip
SETTINGS = {
    "columns", "rate", "units", "encoding", "separator", "decimal", "first_row", "layout", "full_scale",
    "calibration",
}  # fmt: skip


def _id(value: object) -> str:
    return f"{value.reader}-{value.name}" if isinstance(value, Sample) else getattr(value, "name", str(value))


@pytest.fixture
def written(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Sample, Path]:
    sample: Sample = request.param
    path = tmp_path / sample.name
    sample.write(path)
    return sample, path


every_sample = pytest.mark.parametrize("written", SAMPLES, ids=_id, indirect=True)


def _read_whole(path: Path, sample: Sample) -> None:
    recording = registry.read(path, **sample.settings)
    for trace in recording.traces:
        for _ in trace.blocks():
            pass


def _refusal(path: Path, sample: Sample) -> str:
    """What the reader says against a file, '' if it reads it; any other exception fails the test."""
    try:
        _read_whole(path, sample)
    except QuintainError as error:
        return str(error)
    return ""


def test_every_reader_has_a_sample() -> None:
    assert {reader.name for reader in READERS} <= {sample.reader for sample in SAMPLES}
    assert len({reader.name for reader in READERS}) == len(READERS)


@pytest.mark.parametrize("reader", READERS, ids=_id)
def test_reader_says_what_it_is(reader: registry.Reader) -> None:
    assert reader.about
    assert reader.calibrations
    assert all(suffix.startswith(".") and suffix == suffix.lower() for suffix in reader.suffixes)
    assert set(reader.settings) <= SETTINGS


@pytest.mark.parametrize("reader", READERS, ids=_id)
@given(head=st.binary(max_size=300))
def test_recognises_never_raises(reader: registry.Reader, head: bytes) -> None:
    assert reader.recognises(head) in (True, False)


@every_sample
def test_recognised_by_its_reader_alone(written: tuple[Sample, Path]) -> None:
    sample, path = written
    head = path.read_bytes()[:HEAD]
    names = [reader.name for reader in READERS if reader.recognises(head)]
    if "layout" not in sample.settings:
        assert names[0] == sample.reader
    assert set(names[1:]) <= {"columns"}
    for n in range(0, min(len(head), 64)):
        for reader in READERS:
            assert reader.recognises(head[:n]) in (True, False)


@every_sample
def test_reads_what_was_written(written: tuple[Sample, Path]) -> None:
    sample, path = written
    recording = registry.read(path, **sample.settings)
    content = path.read_bytes()
    assert recording.reader == sample.reader
    assert recording.path == str(path)
    assert recording.n_bytes == len(content)
    assert recording.sha256 == hashlib.sha256(content).hexdigest()
    assert [(t.name, t.unit) for t in recording.traces] == [
        (name, unit) for name, unit, _, _ in sample.traces
    ]
    for trace, (_, unit, rate, samples) in zip(recording.traces, sample.traces, strict=True):
        assert unit in SI
        # Stamps printed to the microsecond, or an interval stored in single precision.
        assert trace.rate == pytest.approx(rate, rel=1e-6)
        # Single precision in the file at worst.
        np.testing.assert_allclose(trace.read(), samples, rtol=2e-7, atol=1e-4)


@every_sample
def test_blocks_follow_each_other_and_can_be_read_again(written: tuple[Sample, Path]) -> None:
    sample, path = written
    for trace in registry.read(path, **sample.settings).traces:
        first = 0
        blocks = list(trace.blocks())
        for block in blocks:
            assert block.first == first
            assert block.samples.dtype == np.float64
            assert 0 < block.samples.size <= 1 << 20
            assert np.isfinite(block.start)
            assert not np.isinf(block.samples).any()
            assert block.join in ("", "gap", "time-backward", "time-repeated")
            first += block.samples.size
        for a, b in zip(blocks, trace.blocks(), strict=True):
            np.testing.assert_array_equal(a.samples, b.samples)
            assert (a.first, a.start, a.join) == (b.first, b.start, b.join)


@every_sample
def test_channel_that_is_not_there_lists_those_that_are(written: tuple[Sample, Path]) -> None:
    sample, path = written
    names = [name for name, _, _, _ in sample.traces]
    with pytest.raises(ChannelError) as caught:
        registry.read(path, **sample.settings).trace("no such channel")
    assert all(repr(name) in str(caught.value) for name in names)
    assert str(path) in str(caught.value)
    taken = registry.find_reader(path, sample.reader).settings
    setting = "full_scale" if "full_scale" in taken else "units"
    if setting in taken:
        with pytest.raises(ChannelError) as caught:
            registry.read(path, reader=sample.reader, **{setting: {"no such channel": "5 N"}})
        assert all(repr(name) in str(caught.value) for name in names)


@every_sample
def test_unknown_setting_is_refused(written: tuple[Sample, Path]) -> None:
    sample, path = written
    with pytest.raises(UsageError, match="does not take 'colour'"):
        registry.read(path, reader=sample.reader, colour="red")


@every_sample
def test_missing_file_folder_and_empty_file(written: tuple[Sample, Path], tmp_path: Path) -> None:
    sample, _ = written
    (tmp_path / "empty").write_bytes(b"")
    for path, says in (
        (tmp_path / "none", "no such file"),
        (tmp_path, "folder"),
        (tmp_path / "empty", "empty"),
    ):
        with pytest.raises(RecordingError, match=says):
            registry.read(path, reader=sample.reader, **sample.settings)


@every_sample
def test_file_changed_since_it_was_read(written: tuple[Sample, Path]) -> None:
    sample, path = written
    trace = registry.read(path, **sample.settings).traces[0]
    os.utime(path, ns=(1, 1))
    with pytest.raises(RecordingError, match="changed while it was read"):
        trace.read()


@every_sample
def test_cut_anywhere_reads_or_is_refused(written: tuple[Sample, Path], tmp_path: Path) -> None:
    sample, path = written
    content = path.read_bytes()
    size = len(content)
    begin, end = range(1, min(size, 260), 9), range(max(1, size - 60), size, 9)
    lines = [i + 1 for i, byte in enumerate(content[:2000]) if byte == 10][:40]
    for n in sorted({1, 2, 3, 16, *begin, *end, *lines, *(size * k // 23 for k in range(1, 23))} - {size}):
        part = tmp_path / "part"
        part.write_bytes(content[:n])
        assert "\n" not in _refusal(part, sample)


@every_sample
def test_damaged_bytes_read_or_are_refused(written: tuple[Sample, Path], tmp_path: Path) -> None:
    sample, path = written
    content = path.read_bytes()
    chance = random.Random(len(content))
    for case in range(40):
        damaged = bytearray(content)
        # Headers are short and first: every other case damages only them.
        reach = len(content) if case % 2 else min(len(content), 600)
        for _ in range(chance.choice((1, 1, 2, 5, 30))):
            kind, at = chance.randrange(4), chance.randrange(reach)
            if kind == 0:
                damaged[at % len(damaged)] = chance.randrange(256)
            elif kind == 1:
                damaged[at % len(damaged)] ^= 1 << chance.randrange(8)
            elif kind == 2:
                del damaged[at : at + chance.randrange(1, 9)]
            else:
                damaged[at:at] = chance.choice(
                    (b"\xff\xff\xff\xff", b"\0" * 8, b"\n", b",", b"1e999", b"-", b"\x80")
                )
        part = tmp_path / "damaged"
        part.write_bytes(bytes(damaged) or b"\0")
        assert "\n" not in _refusal(part, sample)
