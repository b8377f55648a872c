"""The zero of an untouched rig."""

from __future__ import annotations

import numpy as np
import pytest

from quintain.errors import AnalysisError
from quintain.tasks.rig_file import read_log
from quintain.tasks.zero import check_zero, record_zero
from shared_data import shared


def write(path, force):
    path.write_text("force_N\n" + "\n".join(f"{f:.3f}" for f in force))
    return path


def test_zero_drift_and_noise_of_an_invented_quiet_rig(tmp_path):
    time = np.arange(20_000) / 2000
    force = 12.0 + 0.5 * (time - 5) + np.random.default_rng(1).normal(0, 3.0, time.size)
    check = check_zero(write(tmp_path / "quiet.csv", force), rate=2000.0)
    for name, true in (("zero", 12.0), ("zero_drift", 0.5), ("noise", 3.0)):
        measured = check.quantities[name]
        assert abs(measured.value - true) < 3 * measured.u, name


def test_a_real_empty_force_plate():
    """Thirty seconds of an empty plate; INDEX of the data states a noise of 3.5 N."""
    check = check_zero(shared("landings", "noise.txt"), channel="Fz")
    assert check.quantities["noise"].value == pytest.approx(3.5, rel=0.1)


def test_a_touched_rig_is_refused(tmp_path):
    force = np.random.default_rng(1).normal(0, 3.0, 8000)
    force[4000:4024] += 900 * np.sin(np.pi * np.arange(24) / 24)
    with pytest.raises(AnalysisError, match=r"something touched the rig at 2\.0"):
        check_zero(write(tmp_path / "touched.csv", force), rate=2000.0)


def test_too_short_is_refused(tmp_path):
    with pytest.raises(AnalysisError, match="too short"):
        check_zero(write(tmp_path / "short.csv", np.zeros(500)), rate=2000.0)


def test_it_goes_into_the_log(tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text('name = "invented"\n')
    force = np.random.default_rng(1).normal(0, 3.0, 8000)
    record_zero(check_zero(write(tmp_path / "quiet.csv", force), rate=2000.0), rig)
    (entry,) = read_log(rig)
    assert entry.kind == "zero"
    assert set(entry.values) == {"zero", "zero_drift", "noise"}
