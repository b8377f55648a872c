"""Motion that belongs to a recording of the lab is joined as on the plain command line."""

from __future__ import annotations

import numpy as np
import pytest
from sqlalchemy import select

import quintain as q
from quintain.domain.as_json import strike_as_json
from quintain.domain.motion import ImuSetup
from quintain.store.lab import Lab
from quintain.store.results import load_analysis
from quintain.store.schema import Recording, Rig, Strike
from quintain.tasks.add_motion import add_motion
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.compare_analyses import compare_analyses
from quintain.tasks.replay import curves_of, history_of, replay
from simulated_lab import add_recording, set_rig, write_force_and_motion

RIG = """name = "invented rig"
[[modes]]
natural_frequency = 220.0
damping_ratio = 0.02
u_natural_frequency = 0.5
u_damping_ratio = 0.001
[calibration]
u_gain = 0.003
"""
SENSOR = 'name = "wrist (invented)"\nnormal = [1.0, 0.0, 0.0]\n'


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    return write_force_and_motion(tmp_path_factory.mktemp("files"))


@pytest.fixture(scope="module")
def alone(files):
    """The same without a lab."""
    force, motion = files
    rig = q.Rig.from_toml(f"{RIG}[sensor]\n{SENSOR}")
    analysis = q.analyse(q.read(force), rig=rig)
    return add_motion(analysis, motion=motion, setup=ImuSetup.of(rig.sensor), kind="punch")


@pytest.fixture
def lab(files, tmp_path):
    force, motion = files
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        set_rig(lab, f"{RIG}[sensor]\n{SENSOR}")
        with lab.writing("tester") as writer:
            rig_id = writer.database.scalars(select(Rig.id)).one()
        sha256 = add_recording(lab, motion, reading={}, kind="motion")
        add_recording(lab, force, reading={}, rig_id=rig_id, motion_sha256=sha256, type="jab")
        yield lab


def test_a_lab_gives_the_numbers_of_the_command_line(lab, alone):
    (done,) = analyse_lab(lab, who="tester").analysed
    found = load_analysis(lab, done.saved.analysis_id)
    assert [strike_as_json(s) for s in found.strikes] == [strike_as_json(s) for s in alone.strikes]
    # the simulated hands meet the pad at 6 m/s
    for strike in found.strikes:
        speed = strike.quantities["approach_speed"]
        assert abs(speed.value - 6.0) < 3 * speed.u
    curves = curves_of(lab, done.saved.strike_ids[2])
    limb = alone.strikes[2].limb
    np.testing.assert_array_equal(curves.limb.speed, limb.speed)
    np.testing.assert_array_equal(curves.limb.power, limb.power)
    assert (curves.limb.touch, curves.limb.stop, curves.limb.source) == (limb.touch, limb.stop, limb.source)
    again = replay(lab, done.saved.analysis_id)
    assert again.same, again.changed
    (result,) = history_of(lab, done.saved.strike_ids[0]).results
    assert result.told["kind"] == "punch"
    assert len(result.motion_sha256) == 64


def test_motion_that_came_later_is_joined_and_is_the_reason(lab):
    with lab.writing("tester") as writer:
        force = writer.database.scalars(select(Recording).where(Recording.kind == "strikes")).one()
        motion, force.motion_sha256 = force.motion_sha256, None
    (first,) = analyse_lab(lab, who="tester").analysed
    with lab.writing("tester") as writer:
        writer.database.get_one(Recording, first.recording).motion_sha256 = motion
    (second,) = analyse_lab(lab, who="tester").analysed
    assert second.saved.strike_ids == first.saved.strike_ids
    found = compare_analyses(lab, first.saved.analysis_id, second.saved.analysis_id)
    assert found.why[0].startswith("motion of the limb: none → motion.csv")
    changes = {change.quantity: change for change in found.quantities}
    assert changes["approach_speed"].n_stated_now == 4
    with lab.reading() as database:
        assert all(s.result.effective_mass for s in database.scalars(select(Strike)))


def test_an_altered_motion_is_told(lab):
    (done,) = analyse_lab(lab, who="tester").analysed
    with lab.reading() as database:
        place = lab.originals.path(
            database.scalars(select(Recording.sha256).where(Recording.kind == "motion")).one()
        )
    place.chmod(0o644)
    place.write_text(place.read_text() + "112.000000,0,0,9.8,0,0,0\n")
    again = replay(lab, done.saved.analysis_id)
    assert not again.same
    assert "the motion's recording: the lab's copy is not what was imported" in again.changed[-1]
