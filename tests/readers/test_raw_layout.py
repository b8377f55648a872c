"""Plain binary numbers by a described layout."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quintain.errors import RecordingError, UsageError
from quintain.readers.registry import read

LAYOUT = 'rate = 1000\n[[channels]]\nname = "force"\ntype = "int16"\nunit = "kN"\n'


def _files(tmp_path: Path, numbers: bytes, layout: str = LAYOUT) -> tuple[Path, Path]:
    (tmp_path / "a.bin").write_bytes(numbers)
    (tmp_path / "layout.toml").write_text(layout)
    return tmp_path / "a.bin", tmp_path / "layout.toml"


@pytest.mark.parametrize("order", ["samples", "channels"])
def test_both_orders(tmp_path: Path, order: str) -> None:
    table = np.arange(20, dtype="<i2").reshape(10, 2)
    layout = (
        f'order = "{order}"\n' + LAYOUT + '[[channels]]\nname = "b"\ntype = "int16"\nunit = "V"\nzero = -1\n'
    )
    path, described = _files(tmp_path, (table if order == "samples" else table.T).tobytes(), layout)
    force, b = read(path, layout=described).traces
    assert (force.unit, force.rate) == ("N", 1000)
    assert force.read().tolist() == (table[:, 0] * 1000.0).tolist()
    assert b.read().tolist() == (table[:, 1] - 1.0).tolist()


def test_half_a_sample_at_the_end_is_noted(tmp_path: Path) -> None:
    path, described = _files(tmp_path, bytes(9))
    recording = read(path, layout=described)
    assert recording.traces[0].read().size == 4
    assert "1 bytes at the end are no whole sample" in recording.notes


def test_numbers_that_do_not_fit(tmp_path: Path) -> None:
    path, described = _files(tmp_path, b"\0")
    with pytest.raises(RecordingError, match="1 bytes hold no sample of 2 bytes"):
        read(path, layout=described)
    path, described = _files(tmp_path, bytes(9), 'order = "channels"\n' + LAYOUT)
    with pytest.raises(RecordingError, match="no whole number of samples"):
        read(path, layout=described)


@pytest.mark.parametrize(
    ("layout", "says"),
    [
        ("rate = = 5", "no TOML"),
        ("rate = 0\n" + LAYOUT.partition("\n")[2], "line 1: rate must be a number above 0, got 0"),
        (LAYOUT.replace("int16", "int17"), "line 4: type must be one of int8"),
        (LAYOUT + "colour = 1\n", "line 6: a channel has no entry 'colour'"),
        ("bite_order = 'big'\n" + LAYOUT, "line 1: there is no entry 'bite_order'"),
        ("header = -1\n" + LAYOUT, "line 1: header must be a number of bytes"),
        ("byte_order = 'middle'\n" + LAYOUT, "line 1: byte_order must be 'little' or 'big'"),
        ("rate = 5\n", "at least one [[channels]] is needed"),
        ("rate = 5\n[[channels]]\nskip = 2\n", "with a name is needed"),
        (LAYOUT + LAYOUT.partition("\n")[2], "line 3: the name 'force' stands twice"),
        (LAYOUT + "factor = true\n", "line 6: factor must be a number"),
    ],
)
def test_bad_layout_names_its_line(tmp_path: Path, layout: str, says: str) -> None:
    path, described = _files(tmp_path, bytes(8), layout)
    with pytest.raises(UsageError) as caught:
        read(path, layout=described)
    assert says in str(caught.value)
    assert str(described) in str(caught.value)


def test_layout_is_asked_for(tmp_path: Path) -> None:
    path, _ = _files(tmp_path, bytes(8))
    with pytest.raises(UsageError, match="State it with layout="):
        read(path, reader="raw")
    with pytest.raises(UsageError, match="the layout cannot be read"):
        read(path, layout=tmp_path / "none.toml")
