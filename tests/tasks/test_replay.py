"""A number of the lab goes back to its bytes, and comes from them again bit for bit."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import select

import quintain as q
from quintain.errors import LabError
from quintain.store.curves import read_curves
from quintain.store.results import load_strike, load_strikes
from quintain.store.schema import Analysis, Method, Recording, RigVersion, Strike
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.replay import curves_of, curves_of_each, history_of, replay
from simulated_lab import RIG, make_lab, set_rig


@pytest.fixture
def lab(tmp_path):
    with make_lab(tmp_path, n=2) as lab:
        yield lab


@pytest.fixture
def run(lab):
    return analyse_lab(lab, who="tester")


def test_history_leads_to_the_bytes(lab, run, tmp_path):
    second = run.analysed[1]
    set_rig(lab, RIG.replace("150.0", "151.0"))
    analyse_lab(lab, who="another", again=True, method=q.Method(name="ours", version=2))
    found = history_of(lab, second.saved.strike_ids[1])
    assert found.recording_sha256 == second.recording
    assert Path(found.kept_at).read_bytes() == (tmp_path / "blow_001.csv").read_bytes()
    assert [(o.path, o.who) for o in found.origins] == [(str(tmp_path / "blow_001.csv"), "tester")]
    old, new = found.results
    assert (old.in_force, new.in_force) == (False, True)
    assert (old.who, new.who) == ("tester", "another")
    assert (old.method_name, new.method_name, new.method_version) == ("standard", "ours", 2)
    assert new.settings["detection"]["minimum_force"] == 40.0
    assert old.rig_version == q.Rig.from_toml(RIG).version != new.rig_version
    assert old.rig_name == "wall (invented)"
    assert old.quintain == q.__version__
    assert old.told["reading"] == {"rate": 2000.0}
    assert old.libraries["numpy"] == np.__version__
    assert old.output == second.output != new.output
    assert old.quantities["impulse"][0] != new.quantities["impulse"][0]
    assert [step["function"] for step in old.steps] == [
        "quintain.read", "quintain.analyse", "quintain.analyse_lab",
    ]  # fmt: skip


def test_replay_gives_the_same_bits_without_the_cache(lab, run):
    shutil.rmtree(lab.cache)
    for one in run.analysed:
        again = replay(lab, one.saved.analysis_id)
        assert (again.same, again.output_now, again.changed) == (True, one.output, ())


def test_replay_keeps_to_what_was_stated_then(lab, run):
    with lab.writing("tester") as writer:
        row = writer.database.get_one(Strike, run.analysed[0].saved.strike_ids[0]).recording
        row.speeds, row.reading = "8.0+-0.2", {"rate": 4000.0}
    set_rig(lab, RIG.replace("150.0", "151.0"))
    assert replay(lab, run.analysed[0].saved.analysis_id).same


def alter_rig(database):
    database.scalars(select(RigVersion)).one().toml = RIG.replace("150.0", "151.0")


def alter_method(database):
    row = database.scalars(select(Method)).one()
    row.settings = {**row.settings, "correction": {**row.settings["correction"], "kind": "none"}}


def alter_software(database):
    for row in database.scalars(select(Analysis)):
        row.quintain, row.output = "0.0.1", "0" * 64


def alter_output(database):
    for row in database.scalars(select(Analysis)):
        row.output = "0" * 64


@pytest.mark.parametrize(
    ("alter", "words"),
    [
        (alter_rig, "text of the rig's version"),
        (alter_method, "settings of the method"),
        (alter_software, "made by quintain 0.0.1"),
        (alter_output, "row of the lab that was altered"),
    ],
)
def test_replay_says_which_input_is_another(lab, run, alter, words):
    with lab.writing("somebody") as writer:
        alter(writer.database)
    again = replay(lab, run.analysed[0].saved.analysis_id)
    assert not again.same
    assert any(words in line for line in again.changed), again.changed


def test_replay_tells_altered_and_missing_bytes(lab, run):
    one, two = (lab.originals.path(done.recording) for done in run.analysed)
    one.chmod(0o644)
    one.write_text(one.read_text() + "0\n")
    two.unlink()
    for done, words in zip(run.analysed, ("not what was imported", "missing"), strict=True):
        again = replay(lab, done.saved.analysis_id)
        assert (again.same, again.output_now) == (False, "")
        assert words in again.changed[-1]


def test_curves_come_from_the_cache_or_the_original(lab, run, tmp_path):
    done = run.analysed[1]
    strike_id = done.saved.strike_ids[1]
    kept = curves_of(lab, strike_id)
    assert not kept.remade
    # what the same file gives without a lab
    alone = q.analyse(q.read(tmp_path / "blow_001.csv", rate=2000.0), rig=q.Rig.from_toml(RIG))
    for name in ("raw_time", "raw", "time", "corrected", "u_corrected"):
        np.testing.assert_array_equal(getattr(kept.force, name), getattr(alone.strikes[1].curve, name))
    shutil.rmtree(lab.cache)
    again = curves_of(lab, strike_id)
    assert (again.remade, again.note) == (True, "made again from the original")
    np.testing.assert_array_equal(again.force.corrected, kept.force.corrected)
    assert not curves_of(lab, strike_id).remade


def test_many_strikes_at_once_are_those_one_by_one(lab, run):
    ids = [id for done in reversed(run.analysed) for id in done.saved.strike_ids]
    (lab.cache / "curves" / f"{run.analysed[0].output}.arrow").unlink()
    each = dict(curves_of_each(lab, [*ids, 99]))
    assert list(each) == [*ids, 99]
    assert {id for id in ids if each[id].remade} == {run.analysed[0].saved.strike_ids[0]}  # once, then kept
    assert "no strike 99" in str(each.pop(99))
    for id, curves in each.items():
        np.testing.assert_array_equal(curves.force.corrected, curves_of(lab, id).force.corrected)
        assert curves.rate == 2000.0
    together = load_strikes(lab, [*ids, 99])
    assert {id: strike.quantities for id, strike in together.items()} == {
        id: load_strike(lab, id).quantities for id in ids
    }


def test_a_damaged_cache_is_noticed(lab, run):
    done = run.analysed[1]
    place = lab.cache / "curves" / f"{done.output}.arrow"
    whole = place.read_bytes()
    true = read_curves(lab.cache, done.output, 1)
    rng = np.random.default_rng(3)
    for _ in range(60):
        damaged = bytearray(whole)
        at = int(rng.integers(len(whole)))
        damaged[at] ^= int(rng.integers(1, 256))
        place.write_bytes(bytes(damaged[: rng.integers(1, len(whole))] if rng.random() < 0.3 else damaged))
        found = read_curves(lab.cache, done.output, 1)
        # either the damage lies elsewhere, or it is noticed
        assert found is None or np.array_equal(found.force.corrected, true.force.corrected)
    place.write_bytes(whole[:-9])
    assert curves_of(lab, done.saved.strike_ids[0]).remade


def test_typed_speeds_are_replayed(lab):
    with lab.writing("tester") as writer:
        for row in writer.database.scalars(select(Recording)):
            row.speeds = "8.0+-0.2"
    done = analyse_lab(lab, who="tester").analysed[0]
    assert replay(lab, done.saved.analysis_id).same
    (found,) = history_of(lab, done.saved.strike_ids[0]).results
    assert found.quantities["approach_speed"][0] == 8.0
    assert found.told["speeds"] == "8.0+-0.2"


def test_unknown_numbers_are_refused(lab, run):
    with pytest.raises(LabError, match="no strike 99"):
        history_of(lab, 99)
    with pytest.raises(LabError, match="no analysis 99"):
        replay(lab, 99)
    with pytest.raises(LabError, match="no such result"):
        curves_of(lab, run.analysed[0].saved.strike_ids[0], result_id=99)
