"""A sensor laid on its six sides gets its calibration, and speeds become better for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

import invented_session as invented
from quintain.domain.motion import ImuSetup
from quintain.domain.rig import Rig
from quintain.domain.sensor import Sensor
from quintain.errors import AnalysisError, RigFileError
from quintain.tasks.calibrate_imu import calibrate_imu, record_sensor
from quintain.tasks.motion import join_motion
from quintain.tasks.rig_file import earlier_versions, read_log

G = 9.80665
SENSOR = Sensor("wrist (invented)", lever_arm=invented.ARM, u_lever_arm=0.002)
WRONG = np.array([[1.02, 0.01, 0.0], [0.0, 0.985, -0.012], [0.008, 0.0, 1.01]])
BIAS = np.array([0.3, -0.25, 0.2])


def laid(sides=6):
    generator = np.random.default_rng(1)
    parts = []
    for side in (np.vstack([np.eye(3), -np.eye(3)]) * G)[:sides]:
        still = np.tile(WRONG @ side + BIAS, (2000, 1))
        parts += [still, np.linspace(still[-1], still[-1] * 0.3, 300) + generator.normal(0, 2.0, (300, 3))]
    samples = np.hstack([np.vstack(parts), np.zeros((sides * 2300, 3))])
    samples[:, :3] += generator.normal(0, 0.03, samples[:, :3].shape)
    return invented.imu_recording(samples, 1000.0)


def test_what_was_wrong_is_found():
    fit = calibrate_imu(laid(), SENSOR, day=date(2026, 1, 5)).calibration
    # level sides, 0.03 m/s² of noise over 1800 samples: 0.7 mm/s² a side
    assert np.array(fit.bias) == pytest.approx(BIAS, abs=0.003)
    assert np.array(fit.matrix).reshape(3, 3) @ WRONG == pytest.approx(np.eye(3), abs=5e-4)
    assert fit.date == date(2026, 1, 5)


def test_speeds_become_better():
    session = invented.session(3, errors=None)
    shown = session.samples.copy()
    shown[:, :3] = shown[:, :3] @ WRONG.T + BIAS
    recording = invented.imu_recording(shown, session.rate)
    analysis = invented.analysis_of(session.starts)
    calibrated = calibrate_imu(laid(), SENSOR)
    off, u = {}, {}
    for name, sensor in (("before", SENSOR), ("after", calibrated)):
        motions = join_motion(analysis, recording, setup=ImuSetup.of(sensor)).motions
        values = np.array([m.approach_speed.value for m in motions])
        off[name] = np.abs(values / session.speeds - 1).max()
        u[name] = max(m.approach_speed.u for m in motions)
    assert off["after"] < 0.006  # as a perfect sensor
    assert off["after"] < off["before"]
    assert u["after"] < 0.6 * u["before"]


def test_the_rig_holds_it_and_its_log_says_when(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text('name = "wall pad (invented)"  # kept\n[sensor]\nname = "old"\n')
    sensor = replace(
        calibrate_imu(laid(), SENSOR, day=date(2026, 1, 5)), note='strap "B"', normal=(1.0, 0.0, 0.0)
    )
    before = Rig.load(path)
    rig = record_sensor(sensor, path, "a" * 64)
    assert rig.sensor == sensor
    assert Rig.load(path) == rig
    assert "# kept" in path.read_text()
    assert [p.stem for p in earlier_versions(path)] == [before.version]
    (entry,) = read_log(path)
    assert (entry.kind, entry.rig_version, entry.inputs) == ("sensor", rig.version, ("a" * 64,))
    # again: the second calibration takes the first one's place
    assert record_sensor(replace(sensor, calibration=None), path, "b" * 64).sensor.note == 'strap "B"'
    assert len(read_log(path)) == 2


def test_a_missing_side_is_named():
    with pytest.raises(AnalysisError, match="at least six"):
        calibrate_imu(laid(5), SENSOR)


def test_a_moving_sensor_is_refused():
    session = invented.session(1)
    moving = session.samples[600:900]
    with pytest.raises(AnalysisError, match="lay it on each side"):
        calibrate_imu(invented.imu_recording(moving, session.rate), SENSOR)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("lever = [0, 0, 0]", "line 4.*lever_arm"),
        ("lever_arm = [0.0, 0.1]", "three entries"),
        ("normal = [0.0, 0.0, 0.0]", "direction"),
        (
            "[sensor.calibration]\nbias = [0.0]\nmatrix = []\nu_bias = 0\nu_scale = 0\nu_misalignment = 0",
            "9",
        ),
    ],
)
def test_entries_that_cannot_be_used(text, words):
    with pytest.raises(RigFileError, match=words):
        Rig.from_toml(f'name = "x"\n[sensor]\nname = "wrist"\n{text}')
