"""Rig files and their logs: changed without losing what was there."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from quintain.domain.measured import Measured
from quintain.domain.rig import Rig
from quintain.domain.rig_log import LogEntry
from quintain.errors import RigFileError
from quintain.tasks.rig_file import append_log, earlier_versions, log_path, read_log, update_rig

TEXT = """\
# our wall pad, invented
name = "wall pad"   # painted on the plate

[calibration]
gain = 1.0  # from the maker
"""


@pytest.fixture
def rig(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(TEXT)
    return path


def test_changes_keep_comments_and_the_earlier_version(rig):
    before = Rig.load(rig)
    after = update_rig(
        rig,
        {
            "modes": [{"natural_frequency": 212.0, "damping_ratio": 0.02, "u_natural_frequency": None}],
            "calibration": {"u_gain": 0.002, "date": date(2026, 11, 25)},
        },
    )
    text = rig.read_text()
    assert "# painted on the plate" in text
    assert "# from the maker" in text
    assert Rig.load(rig) == after
    assert after.modes[0].natural_frequency == 212.0
    assert after.calibration.date == date(2026, 11, 25)
    (kept,) = earlier_versions(rig)
    assert kept.stem == before.version
    assert kept.read_text() == TEXT


def test_every_earlier_version_is_kept(rig):
    for gain in (1.01, 1.02, 1.03):
        update_rig(rig, {"calibration": {"gain": gain}})
    assert [Rig.load(p).calibration.gain for p in earlier_versions(rig)] == [1.0, 1.01, 1.02]


def test_a_change_that_would_break_the_file_is_refused_and_leaves_it(rig):
    with pytest.raises(RigFileError, match="must be above 0"):
        update_rig(rig, {"calibration": {"gain": -1.0}})
    assert rig.read_text() == TEXT
    assert earlier_versions(rig) == []


def entry(day, value=212.0):
    return LogEntry(
        datetime(2026, 11, day, 9, tzinfo=UTC), "tap", "abc", ("00" * 32,),
        {"natural_frequency": Measured("natural_frequency", value, 0.1)}, "pass", "0.1.0",
    )  # fmt: skip


def test_the_log_gives_back_what_was_written_in_order(rig):
    append_log(rig, entry(20))
    append_log(rig, entry(3, 213.0))
    got = read_log(rig)
    assert [e.when.day for e in got] == [3, 20]
    assert got[0] == entry(3, 213.0)


def test_a_last_line_cut_off_by_a_crash_is_passed_over_any_other_is_named(rig):
    append_log(rig, entry(20))
    with log_path(rig).open("a") as file:
        file.write('{"when": "2026-11-2')
    assert len(read_log(rig)) == 1
    log_path(rig).write_text("rubbish\n" + log_path(rig).read_text())
    with pytest.raises(RigFileError, match="line 1: not an entry"):
        read_log(rig)


def test_a_rig_without_a_log_has_an_empty_one(rig):
    assert read_log(rig) == []
