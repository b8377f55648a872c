"""Versions of a format that are not known are refused in words, in every format that states one."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from quintain.errors import RecordingError
from quintain.readers.registry import read
from reader_samples import SAMPLES


def _at(place: int, content: bytes) -> Callable[[bytes], bytes]:
    return lambda whole: whole[:place] + content + whole[place + len(content) :]


CASES = [
    ("segments.tdms", _at(8, struct.pack("<I", 4714)), "version 4714; 4712 and 4713 are read"),
    ("groups.mf4", _at(8, b"5.00    "), "version '5.00'; 4 is read"),
    ("records.npy", _at(6, b"\x09\x00"), "cannot be read"),
    ("compressed.mat", _at(124, b"\x00\x03"), "of version 0003; 4 to 7.3 are read"),
    ("group.h5", _at(8, b"\x63"), "cannot be read"),
    ("binary.unv", lambda whole: whole.replace(b"58b     1     2", b"58b     1     5"), "format 5 are not"),
    ("analog.c3d", _at(515, b"\x57"), "processor type 87 is not known"),
    ("float.wav", _at(20, struct.pack("<H", 0x1610)), r"compressed \(format 0x1610\)"),
]


@pytest.mark.parametrize(("name", "change", "says"), CASES, ids=[case[0] for case in CASES])
def test_version_that_is_not_known(
    name: str, change: Callable[[bytes], bytes], says: str, tmp_path: Path
) -> None:
    sample = next(s for s in SAMPLES if s.name == name)
    path = tmp_path / name
    sample.write(path)
    content = path.read_bytes()
    assert change(content) != content
    path.write_bytes(change(content))
    with pytest.raises(RecordingError, match=says) as caught:
        read(path, reader=sample.reader, **sample.settings)
    assert "\n" not in str(caught.value)
