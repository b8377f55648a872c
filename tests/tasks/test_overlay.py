"""Drops of two rigs over each other: analysed again from the lab's own copies."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from dropped_mass import FOAM, LOSSY, drop, record, true_speed
from quintain.errors import UsageError
from quintain.store.lab import Lab
from quintain.store.schema import Evidence, Rig
from quintain.tasks.overlay import drop_evidence, overlay_drops, pick_drops
from simulated_lab import add_recording, set_rig

HEIGHTS = {"wall": FOAM, "post": LOSSY}


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Two rigs, one drop test each; the entry of the second does not tell its mass."""
    folder = tmp_path_factory.mktemp("drops")
    with Lab.create(folder / "lab", name="invented", invented=True) as lab:
        for name, pad in HEIGHTS.items():
            force, _ = record(drop(pad, 0.5), 2000.0)
            path = folder / f"{name}.csv"
            np.savetxt(path, force, header="force [N]", comments="", fmt="%.3f")
            sha256 = add_recording(lab, path, kind="drops", reading={"rate": 2000.0})
            text = f'name = "{name} (invented)"\n[[modes]]\nnatural_frequency = 200.0\ndamping_ratio = 0.02\n'
            version = set_rig(lab, text)
            with lab.writing("tester") as writer:
                rig = writer.database.query(Rig).filter_by(name=f"{name} (invented)").one()
                told = {"method": {"mass": 5.0, "heights": [0.5]}, "results": {"drops": [{}]}}
                writer.database.add(
                    Evidence(
                        rig_id=rig.id, rig_version=version, kind="drops", inputs=[sha256], verdict="pass",
                        when=datetime(2026, 11, 2, 9, tzinfo=UTC), answer=told if name == "wall" else {},
                    )
                )  # fmt: skip
        yield lab


def test_what_is_known_of_drop_tests(lab):
    by_rig = {one.rig: one for one in drop_evidence(lab)}
    wall, post = by_rig["wall (invented)"], by_rig["post (invented)"]
    assert (wall.mass, wall.heights, wall.n_drops, wall.kept) == (5.0, (0.5,), 1, True)
    assert (post.mass, post.heights, post.n_drops) == (None, (), None)


def test_the_same_mass_on_two_pads(lab):
    asked = pick_drops(lab, 1, 2, mass=5.0)
    assert asked == ((1, 1), (2, 1))
    (wall, post), troubles = overlay_drops(lab, asked, mass=5.0)
    assert troubles == ()
    # free fall from 0.5 m, known to the simulator exactly; three standard uncertainties hold 99.7 %
    for one, pad in ((wall, FOAM), (post, LOSSY)):
        speed = one.quantities["approach_speed"]
        assert abs(speed.value - true_speed(drop(pad, 0.5))) < 3 * speed.u
        assert one.curve.corrected.size > 1
        assert one.curve.time[0] <= 0 < one.curve.time[-1]
    assert wall.quantities["restitution"].value > post.quantities["restitution"].value


def test_a_mass_that_nobody_told_is_asked_for(lab):
    found, troubles = overlay_drops(lab, [(1, 1), (2, 1), (1, 9), (3, 1)])
    assert [one.id for one in found] == [1]
    assert "state it in kg" in troubles[0]
    assert "no drop 9" in troubles[1]
    assert "no drop test 3" in troubles[2]
    with pytest.raises(UsageError, match="state it in kg"):
        pick_drops(lab, 1, 2)
