"""The choice of a reader: by bytes and not by ending, by name, and from other packages."""

from __future__ import annotations

from pathlib import Path

import pytest

from quintain.domain.recording import Recording
from quintain.errors import RecordingError, UsageError
from quintain.readers import registry
from quintain.readers.reader import Reader
from reader_samples import SAMPLES


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda s: s.name)
@pytest.mark.parametrize("ending", [".csv", ".wav", ""])
def test_the_ending_of_a_file_does_not_matter(sample, ending: str, tmp_path: Path) -> None:
    path = tmp_path / f"recording{ending}"
    sample.write(tmp_path / sample.name)
    (tmp_path / sample.name).rename(path)
    recording = registry.read(path, **sample.settings)
    assert recording.reader == sample.reader
    assert [t.name for t in recording.traces] == [name for name, _, _, _ in sample.traces]


def test_right_ending_with_other_content(tmp_path: Path) -> None:
    path = tmp_path / "a.tdms"
    path.write_text("t [s],F [N]\n0,1\n1,2\n2,3\n")
    assert registry.read(path).reader == "columns"
    with pytest.raises(RecordingError, match="this TDMS file is damaged"):
        registry.read(path, reader="tdms")


def test_format_that_is_not_known_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "a.xyz"
    path.write_bytes(b"XYZ\0\xff\xfe\x01\x02" * 40)
    with pytest.raises(RecordingError, match=r"no reader knows this kind of file \(it begins with b'XYZ"):
        registry.read(path)


class _Point:
    def __init__(self, name: str, thing: object) -> None:
        self.name, self._thing = name, thing

    def load(self) -> object:
        if isinstance(self._thing, Exception):
            raise self._thing
        return self._thing


def _offer(monkeypatch: pytest.MonkeyPatch, thing: object) -> None:
    monkeypatch.setattr(registry, "entry_points", lambda group: [_Point("ours", thing)] if group else [])


def test_reader_of_another_package_is_asked_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def read_ours(path: Path) -> Recording:
        return Recording(str(path), "", 0, (), reader="ours")

    _offer(
        monkeypatch, Reader("ours", (".ours",), lambda head: head.startswith(b"OURS"), read_ours, "our own")
    )
    path = tmp_path / "a.csv"
    path.write_text("OURS,1\n")
    assert registry.read(path).reader == "ours"
    with pytest.raises(UsageError, match="the reader 'ours' does not take 'rate'; it takes no settings"):
        registry.read(path, rate=5)


@pytest.mark.parametrize(
    ("thing", "says"),
    [(ImportError("no such module"), "cannot be loaded"), (42, "gives a int, not a Reader")],
)
def test_broken_reader_of_another_package(monkeypatch: pytest.MonkeyPatch, thing: object, says: str) -> None:
    _offer(monkeypatch, thing)
    with pytest.raises(UsageError, match=says):
        registry.list_readers()
