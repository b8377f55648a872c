"""Every command that reads a recording can be told what its file does not say, in the same way."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from quintain.cli.app import app

COMMANDS = (("analyse",), ("tap",), ("zero",), ("drops", "--mass", "5", "--height", "0.5"))


@pytest.fixture
def sound(tmp_path: Path) -> Path:
    from scipy.io import wavfile

    path = tmp_path / "quiet.wav"
    wavfile.write(path, 8000, np.random.default_rng(0).normal(0, 1e-4, 24_000).astype(np.float32))
    return path


@pytest.mark.parametrize("command", COMMANDS, ids=lambda c: c[0])
def test_settings_reach_the_reader(command: tuple[str, ...], sound: Path) -> None:
    def stderr(*more: str) -> str:
        return CliRunner().invoke(app, [command[0], str(sound), *command[1:], *more]).stderr

    assert "channel 1" in stderr()
    assert "does not take 'colour'; it takes full_scale" in stderr("--setting", "colour=red")
    # Now the file is understood: whatever is still said is not about its unit.
    assert "unit" not in stderr("--setting", "full_scale=5000 N")


@pytest.mark.parametrize(
    ("setting", "says"),
    [("units", "name=value"), ("rate=fast", "a number"), ("first_row=2.5", "a number")],
)
def test_wrong_settings_are_refused(setting: str, says: str, sound: Path) -> None:
    result = CliRunner().invoke(app, ["zero", str(sound), "--setting", setting])
    assert result.exit_code == 2
    assert says in result.stderr
    assert "\n" not in result.stderr.strip()


def test_a_setting_given_twice_is_refused(sound: Path) -> None:
    result = CliRunner().invoke(app, ["zero", str(sound), "--rate", "100", "--setting", "rate=200"])
    assert result.exit_code == 2
    assert "twice" in result.stderr
