"""A drop test enters the log always, the rig file only after a pass."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime

import numpy as np
import pytest

from quintain.domain.drop import DropSettings
from quintain.domain.rig import Rig
from quintain.errors import AnalysisError
from quintain.numerics.acquisition import acquire
from quintain.numerics.bodies import Cell, Target, simulate_drop
from quintain.numerics.free_fall import normal_gravity
from quintain.numerics.pad_law import INVENTED_PADS
from quintain.tasks.drop_record import record_drops
from quintain.tasks.drops import analyse_drops_file
from quintain.tasks.rig_file import earlier_versions, read_log

FINE = 20_000.0


@pytest.fixture(scope="module")
def drops(tmp_path_factory):
    """Two invented drops of 5 kg from 0.4 m and 0.6 m; the chain shows 1 % too little."""
    folder = tmp_path_factory.mktemp("drops")
    target = Target(INVENTED_PADS["soft"], cell=Cell(2.6, 212.0, 0.019))
    signal = np.zeros(round(14.0 * FINE))
    for i, height in enumerate((0.4, 0.6)):
        motion = simulate_drop(
            5.0, target, height=height, duration=4.0, gravity=normal_gravity(52.5, 40.0), rate=FINE
        )
        first = round((1.5 + 7.0 * i) * FINE)
        signal[first : first + motion.cell_output.size] += motion.cell_output
    got = acquire(
        signal, FINE, rate=2000.0, rng=np.random.default_rng(2), gain=0.99, noise=2.0, limit=10_000.0, bits=16
    )
    path = folder / "drops.csv"
    rows = [f"{t:.5f},{f:.3f}" for t, f in zip(got.time, got.force, strict=True)]
    path.write_text("time_s,force_N\n" + "\n".join(rows))
    return path


@pytest.fixture
def rig(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(
        'name = "invented"\n[[modes]]\nnatural_frequency = 212.0\ndamping_ratio = 0.019\n'
        "[place]\nlatitude = 52.5\naltitude = 40\n[calibration]\nu_gain = 0.01\n"
    )
    return path


def dropped(drops, rig):
    settings = DropSettings(mass=5.0, heights=(0.4, 0.6), u_mass=0.002)
    return analyse_drops_file(drops, settings, rig=Rig.load(rig))


def test_a_pass_writes_gain_range_and_pad_and_keeps_what_was(drops, rig):
    test = dropped(drops, rig)
    assert test.verdict == "pass", test.reasons
    after = record_drops(test, rig, pad="soft foam")
    # a chain that shows 0.99 of the force needs the gain 1/0.99
    assert after.calibration.gain == pytest.approx(1 / 0.99, abs=3 * after.calibration.u_gain)
    assert after.pad == "soft foam"
    assert after.pads[0].proved_to == pytest.approx(0.025, abs=0.005)
    assert len(earlier_versions(rig)) == 1
    (entry,) = read_log(rig)
    assert entry.verdict == "pass"
    assert entry.inputs == (test.sha256,)
    assert {"gain", "restitution", "pad_stiffness"} <= set(entry.values)
    again = dropped(drops, rig)
    # with the new gain the same drops find nothing left to correct
    assert again.quantities["gain"].value == pytest.approx(1.0, abs=3 * again.quantities["gain"].u)


def test_anything_else_goes_into_the_log_alone(drops, rig):
    before = rig.read_text()
    test = dataclasses.replace(dropped(drops, rig), verdict="undecided")
    record_drops(test, rig)
    assert rig.read_text() == before
    assert read_log(rig)[0].verdict == "undecided"


def test_a_drop_test_older_than_another_goes_into_the_log_alone(drops, rig):
    may, june = datetime(2026, 5, 4, tzinfo=UTC), datetime(2026, 6, 1, tzinfo=UTC)
    record_drops(dropped(drops, rig), rig, when=june)
    text = rig.read_text()
    assert "date = 2026-06-01" in text, "the law of the pad is of the day of the test"
    record_drops(dropped(drops, rig), rig, when=may)
    assert rig.read_text() == text
    assert [entry.when for entry in read_log(rig)] == [may, june]


def test_drops_made_with_another_rig_file_are_not_entered(drops, rig):
    test = dropped(drops, rig)
    rig.write_text(rig.read_text().replace("212.0", "213.0"))
    with pytest.raises(AnalysisError, match="another rig file"):
        record_drops(test, rig)
    assert read_log(rig) == []
