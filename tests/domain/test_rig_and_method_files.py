"""Rig and method files: what is right is read, what is wrong is named with its line."""

from __future__ import annotations

import pytest

from quintain.domain.method import Method
from quintain.domain.rig import Rig
from quintain.errors import MethodFileError, RigFileError

GOOD = """\
name = "wall pad (invented)"

[cell]
capacity = 10000
direction = "negative"

[[modes]]
natural_frequency = 212.4
damping_ratio = 0.019
share = 0.8

[[modes]]
natural_frequency = 390.0
damping_ratio = 0.03
share = 0.2

[calibration]
date = 2026-10-31
gain = 1.001
u_gain = 0.003
"""


def test_a_whole_rig_file_is_read():
    rig = Rig.from_toml(GOOD)
    assert rig.cell.capacity == 10000.0
    assert rig.cell.direction == "negative"
    assert [mode.natural_frequency for mode in rig.modes] == [212.4, 390.0]
    assert rig.calibration.date.isoformat() == "2026-10-31"


def test_version_follows_content_not_layout():
    spaced = GOOD.replace(" = ", "   =   ")
    assert Rig.from_toml(spaced).version == Rig.from_toml(GOOD).version
    assert Rig.from_toml(GOOD.replace("212.4", "212.5")).version != Rig.from_toml(GOOD).version


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("capacity = 10000", "capacty = 10000", 4, "did you mean 'capacity'?"),
        ("capacity = 10000", 'capacity = "10 kN"', 4, "expected a number in N"),
        ("capacity = 10000", "capacity = -1", 4, "must be above 0 N"),
        ('direction = "negative"', 'direction = "down"', 5, "choose one of: positive, negative"),
        ("damping_ratio = 0.03", "damping_ratio = 3.0", 14, "must be at most 0.99"),
        ("natural_frequency = 390.0\n", "", 12, "is missing"),
        ("date = 2026-10-31", 'date = "Halloween"', 18, "expected a date"),
        ("u_gain = 0.003", "u_gain = nan", 20, "expected a number, got nan"),
        ("share = 0.2", "share = 0.3", 1, "shares of the modes must sum to 1"),
        ("[cell]", "[cell", 3, "not valid TOML"),
    ],
)
def test_wrong_rig_files_are_named_with_their_line(old, new, line, words):
    assert old in GOOD
    with pytest.raises(RigFileError) as caught:
        Rig.from_toml(GOOD.replace(old, new, 1), origin="rig.toml")
    message = str(caught.value)
    assert "rig.toml" in message
    assert f"line {line}" in message
    assert words in message


def test_a_missing_rig_file_is_one_line(tmp_path):
    with pytest.raises(RigFileError, match="cannot read the rig file: No such file"):
        Rig.load(tmp_path / "none.toml")


def test_a_rig_file_of_rubbish_is_refused(tmp_path):
    (tmp_path / "rig.toml").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(RigFileError, match="not UTF-8"):
        Rig.load(tmp_path / "rig.toml")


def test_method_hash_names_every_setting():
    plain = Method()
    assert Method.from_toml("").sha256 == plain.sha256
    assert Method.from_toml("[detection]\nmerge_gap = 0.03").sha256 != plain.sha256


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[correction]\nkind = "magic"', "line 2: correction.kind: got 'magic'"),
        ("[correction]\ngrid = 8.5", "line 2: correction.grid: expected a whole number"),
        ("[correction]\ncfc = 100", "line 2: correction.cfc: got 100; choose one of: 0, 60, 180, 600, 1000"),
        ("[pulse]\nrise_from = 0.8\nrise_to = 0.5", "must be below rise_to"),
        ("[detection]\nminimum_force = true", "expected a number in N, got True"),
    ],
)
def test_wrong_method_files(text, words):
    with pytest.raises(MethodFileError, match=words.replace("(", r"\(")):
        Method.from_toml(text, origin="method.toml")
