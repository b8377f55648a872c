"""Original bytes: once, whole or not at all, never altered."""

from __future__ import annotations

import hashlib
import os
import stat
import threading
from pathlib import Path

import pytest

from quintain.errors import LabError, RecordingError
from quintain.readers.registry import find_reader, read
from quintain.store.originals import LISTING, Originals
from reader_samples import mme_files


@pytest.fixture
def originals(tmp_path: Path) -> Originals:
    return Originals(tmp_path / "recordings")


def _write(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


def test_the_hash_is_that_of_the_standard(originals: Originals, tmp_path: Path) -> None:
    """FIPS 180-4, example of SHA-256 for the message 'abc'."""
    sha256, new = originals.put(_write(tmp_path / "a.CSV", b"abc"))
    assert sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert new
    place = originals.path(sha256)
    assert place.read_bytes() == b"abc"
    assert place.name == f"{sha256}.csv"
    assert not place.stat().st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH)


def test_the_same_bytes_are_stored_once(originals: Originals, tmp_path: Path) -> None:
    first = originals.put(_write(tmp_path / "a.csv", b"abc"))
    second = originals.put(_write(tmp_path / "b.txt", b"abc"))
    assert second == (first[0], False)
    assert len(list(originals.entries())) == 1


def test_bytes_larger_than_a_piece(originals: Originals, tmp_path: Path) -> None:
    content = os.urandom((1 << 20) + 17)
    sha256, _ = originals.put(_write(tmp_path / "a.bin", content))
    assert sha256 == hashlib.sha256(content).hexdigest()
    assert originals.path(sha256).read_bytes() == content


def test_many_store_the_same_at_once(originals: Originals, tmp_path: Path) -> None:
    source = _write(tmp_path / "a.bin", os.urandom(3 << 20))
    parts = tmp_path / "test"
    parts.mkdir()
    mme_files(parts / "T1.mme")
    channels = find_reader(parts / "T1.mme").parts
    assert channels is not None
    results: list[tuple[str, bool]] = []

    def put() -> None:
        results.append(originals.put(source))
        results.append(originals.put(parts / "T1.mme", channels(parts / "T1.mme")))

    threads = [threading.Thread(target=put) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(results) == 16
    assert len({sha256 for sha256, _ in results}) == 2
    assert [originals.broken(*entry) for entry in originals.entries()] == ["", ""]
    assert list(originals.folder.glob("incoming*")) == []


def test_an_original_cut_short_is_healed_by_storing_it_again(originals: Originals, tmp_path: Path) -> None:
    source = _write(tmp_path / "a.csv", b"abc")
    sha256, _ = originals.put(source)
    place = originals.path(sha256)
    place.chmod(0o644)
    place.write_bytes(b"ab")
    assert "not what they were" in originals.broken(sha256, place)
    assert originals.put(source) == (sha256, True)
    assert originals.broken(sha256, originals.path(sha256)) == ""


def test_what_cannot_be_read_leaves_nothing(originals: Originals, tmp_path: Path) -> None:
    with pytest.raises(LabError, match=r"none\.csv: cannot be stored in the lab: No such file"):
        originals.put(tmp_path / "none.csv")
    assert [entry for entry in originals.folder.rglob("*") if entry.is_file()] == []
    with pytest.raises(LabError, match="is missing"):
        originals.path("0" * 64)


def test_what_is_refused_while_it_is_copied_leaves_nothing(originals: Originals, tmp_path: Path) -> None:
    def refuse() -> None:
        raise RecordingError("row 7 is no number")

    source = _write(tmp_path / "a.csv", b"abc")
    with pytest.raises(RecordingError, match="row 7"):
        originals.put(source, meanwhile=refuse)
    assert [entry for entry in originals.folder.rglob("*") if entry.is_file()] == []
    seen = []
    originals.put(source, meanwhile=lambda: seen.append(source.read_bytes()))
    assert seen == [b"abc"]


def test_a_recording_of_several_files(originals: Originals, tmp_path: Path) -> None:
    folder = tmp_path / "test"
    folder.mkdir()
    mme_files(folder / "T1.mme")
    channels = find_reader(folder / "T1.mme").parts
    assert channels is not None
    parts = channels(folder / "T1.mme")
    sha256, new = originals.put(folder / "T1.mme", parts)
    assert new
    assert sha256 == hashlib.sha256((folder / "T1.mme").read_bytes()).hexdigest()
    stored, given = read(originals.path(sha256)), read(folder / "T1.mme")
    assert stored.sha256 == sha256
    for ours, theirs in zip(stored.traces, given.traces, strict=True):
        assert ours.name == theirs.name
        assert (ours.read() == theirs.read()).all()
    assert originals.put(folder / "T1.mme", parts) == (sha256, False)

    with open(parts[0], "a") as file:  # the same header, but other samples
        file.write("1.0\n")
    with pytest.raises(LabError, match="needs a header of its own"):
        originals.put(folder / "T1.mme", parts)
    assert list(originals.folder.glob("incoming*")) == []

    bundle = originals.path(sha256).parent
    assert originals.broken(sha256, bundle) == ""
    channel = next(file for file in bundle.rglob("*.001"))
    channel.unlink()
    assert "cannot be read" in originals.broken(sha256, bundle)
    (bundle / LISTING).write_text("{")
    assert "list of files is damaged" in originals.broken(sha256, bundle)


def test_what_was_left_is_told_from_what_is_going_on(originals: Originals, tmp_path: Path) -> None:
    with originals._incoming(folder=False) as going_on:
        left = _write(originals.folder / "incoming.1234.part", b"half")
        (originals.folder / "incoming.5678.part").mkdir()
        assert originals.left_behind() == [left, originals.folder / "incoming.5678.part"]
        assert going_on.exists()
    assert not going_on.exists()


def test_settings_that_name_a_file_are_kept_with_it(originals: Originals, tmp_path: Path) -> None:
    layout = _write(tmp_path / "layout.toml", b"rate = 1000\n")
    kept = originals.keep_settings({"layout": layout, "units": "N"})
    layout.unlink()
    told = originals.settings(kept)
    assert told["units"] == "N"
    assert told["layout"].read_bytes() == b"rate = 1000\n"
