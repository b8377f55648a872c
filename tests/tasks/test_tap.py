"""Tap tests from files: modes, folding, added mass, what goes into the rig file."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from quintain.domain.rig import Rig
from quintain.errors import AnalysisError, UsageError
from quintain.tasks.rig_file import earlier_versions, read_log
from quintain.tasks.tap import record_taps, tap_files
from tap_recording import write_taps


def test_a_recording_of_taps_gives_the_mode(tmp_path):
    test = tap_files([write_taps(tmp_path / "taps.csv", 240)])
    (mode,) = test.modes
    assert len(test.taps) == 2
    assert abs(mode.natural_frequency.value - 240) < 4 * mode.natural_frequency.u
    assert abs(mode.damping_ratio.value - 0.02) < 4 * mode.damping_ratio.u
    assert mode.over_least == pytest.approx(1.0, abs=0.05)  # white noise: nothing lost against the bound
    assert mode.candidates[:2] == pytest.approx([240, 1760], rel=1e-3)
    assert [f.code for f in test.flags] == ["mode-may-be-folded"]
    longest = [pulse.duration for pulse in test.shortest_pulses]
    assert longest == sorted(longest, reverse=True)
    assert test.shortest_corrected_pulse == pytest.approx(1.5 / 240, rel=1e-3)


def test_two_rates_unfold_a_mode(tmp_path):
    slow = write_taps(tmp_path / "slow.csv", 1300, rate=2000, damping=0.01)
    fast = write_taps(tmp_path / "fast.csv", 1300, rate=2130, damping=0.01, seed=2)
    test = tap_files([slow, fast])
    assert test.main_mode.natural_frequency.value == pytest.approx(1300, abs=0.5)
    assert test.main_mode.damping_ratio.value == pytest.approx(0.01, rel=0.05)
    assert test.shortest_corrected_pulse is None
    assert "mode-may-be-folded" not in [f.code for f in test.flags]


def test_added_mass_weighs_the_rig(tmp_path):
    bare = write_taps(tmp_path / "bare.csv", 240)
    heavy = write_taps(tmp_path / "heavy.csv", 240 / np.sqrt(1.1), seed=2)
    test = tap_files([bare], loaded=heavy, added_mass=0.5, u_added_mass=0.001)
    assert abs(test.moving_mass.value - 5.0) < 4 * test.moving_mass.u
    assert test.moving_mass.u < 0.05
    assert test.moving_stiffness.value == pytest.approx(5.0 * (2 * np.pi * 240) ** 2, rel=0.02)


def test_a_filter_in_the_rig_file_rules_folding_out(tmp_path):
    rig = Rig.from_toml('name = "wall pad (invented)"\n[anti_alias]\ncutoff = 800.0\n')
    assert tap_files([write_taps(tmp_path / "taps.csv", 240)], rig=rig).flags == ()


def test_the_rig_file_gets_the_modes_and_keeps_what_was(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(
        'name = "wall pad (invented)"\n\n[[modes]]\nnatural_frequency = 212.0\ndamping_ratio = 0.03\n'
    )
    before = Rig.load(path)
    test = tap_files([write_taps(tmp_path / "taps.csv", 240)])
    after = record_taps(test, path)
    assert after.modes[0].natural_frequency == pytest.approx(240, abs=0.1)
    assert Rig.load(path) == after
    assert [p.stem for p in earlier_versions(path)] == [before.version]
    (entry,) = read_log(path)
    assert entry.kind == "tap"
    assert entry.values["natural_frequency"].value == pytest.approx(240, abs=0.1)
    assert entry.inputs == (test.inputs[0][1],)


def test_a_test_is_dated_and_an_older_one_leaves_the_rig_file_as_it_is(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text('name = "invented"\n')
    may, june = datetime(2026, 5, 4, 9, tzinfo=UTC), datetime(2026, 6, 1, tzinfo=UTC)
    after = record_taps(tap_files([write_taps(tmp_path / "june.csv", 240)]), path, when=june)
    text = path.read_text()
    older = write_taps(tmp_path / "may.csv", 243, seed=2)
    older.write_text(f"# date: {may:%Y-%m-%d %H:%M:%S}\n" + older.read_text())
    test = tap_files([older])
    assert test.started == may.replace(tzinfo=None).astimezone(), "a file without a zone is of this machine's"
    assert record_taps(test, path) == after
    assert path.read_text() == text
    first, second = read_log(path)
    assert (first.when, second.when) == (test.started, june)
    assert first.values["natural_frequency"].value == pytest.approx(243, abs=0.1)
    with pytest.raises(UsageError, match="ahead of now"):
        record_taps(test, path, when=datetime(2999, 1, 1, tzinfo=UTC))
    assert len(read_log(path)) == 2
    assert path.read_text() == text


@pytest.mark.parametrize(
    ("settings", "words"),
    [({"starts": ()}, "no tap was found"), ({"level": 3.0}, "no tap was found")],
)
def test_recordings_without_ringing_are_refused(tmp_path, settings, words):
    with pytest.raises(AnalysisError, match=words):
        tap_files([write_taps(tmp_path / "taps.csv", 240, **settings)])


def test_mass_that_lifts_the_frequency_is_refused_or_unfolded(tmp_path):
    bare = write_taps(tmp_path / "bare.csv", 240)
    heavy = write_taps(tmp_path / "heavy.csv", 250, seed=2)
    test = tap_files([bare], loaded=heavy, added_mass=0.5)
    assert test.moving_mass is None
    assert any("rose" in f.message for f in test.flags)


def test_half_a_request_is_refused(tmp_path):
    path = write_taps(tmp_path / "taps.csv", 240)
    with pytest.raises(UsageError, match="needs both"):
        tap_files([path], added_mass=0.5)
    with pytest.raises(UsageError, match="added mass"):
        tap_files([path], loaded=path, added_mass=-1.0)
    with pytest.raises(UsageError, match="number of modes"):
        tap_files([path], n_modes=0)
    with pytest.raises(AnalysisError, match="rose"):  # not at all, that is
        tap_files([path], loaded=path, added_mass=0.5)
