"""Motion that belongs to a recording of the lab is joined as on the plain command line."""

from __future__ import annotations

import numpy as np
import pytest
from sqlalchemy import select

import quintain as q
from quintain.domain.as_json import strike_as_json
from quintain.domain.motion import ImuSetup
from quintain.report.page import render
from quintain.report.strikes_content import strikes_content
from quintain.store.lab import Lab
from quintain.store.results import load_analysis
from quintain.store.schema import Analysis, Person, Recording, Rig, Strike
from quintain.tasks.add_motion import add_motion, clock_offset_of_pulses, motion_setup, parse_clock_offset
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.compare_analyses import compare_analyses
from quintain.tasks.current_analysis import current_analysis
from quintain.tasks.erase_person import erase_person
from quintain.tasks.export import export_tables
from quintain.tasks.import_recordings import import_recordings
from quintain.tasks.lab_inputs import stale
from quintain.tasks.package import lab_from_package, write_package
from quintain.tasks.replay import curves_of, history_of, replay
from simulated_lab import RIG_OF_LIMB, SENSOR_AHEAD, add_recording, set_rig, write_force_and_motion

SENSOR = 'name = "wrist (invented)"\nnormal = [1.0, 0.0, 0.0]\n'


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    return write_force_and_motion(tmp_path_factory.mktemp("files"))


@pytest.fixture(scope="module")
def alone(files):
    """The same without a lab."""
    force, motion = files
    rig = q.Rig.from_toml(f"{RIG_OF_LIMB}[sensor]\n{SENSOR}")
    analysis = q.analyse(q.read(force), rig=rig)
    return add_motion(analysis, motion=motion, setup=ImuSetup.of(rig.sensor), kind="punch")


@pytest.fixture
def lab(files, tmp_path):
    force, motion = files
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        set_rig(lab, f"{RIG_OF_LIMB}[sensor]\n{SENSOR}")
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
    # how the clocks were tied stays with it, and is drawn in its report
    assert found.clock == alone.clock
    assert found.clock.tie == "impacts alone"
    content = strikes_content(current_analysis(lab, "force.csv"), invented=True)
    assert "Clocks of force and motion" in render("strikes.html", content)
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


# -- what is stated of how motion and force belong together


@pytest.fixture(scope="module")
def even(tmp_path_factory):
    """Strikes in an even rhythm do not tell by themselves which is which; a pulse is in both files."""
    folder = tmp_path_factory.mktemp("even")
    force, motion = write_force_and_motion(folder, (1.5, 3.5, 5.5, 7.5), pulse=0.5)
    t = np.arange(6_000) / 500.0
    # a hand that meets the pad at 6 m/s every time, and a mark that nothing moves
    since = (t[:, None] - [1.5, 3.5, 5.5, 7.5]).clip(-0.2, 0.2)
    hand = 6.0 * since[np.arange(t.size), np.abs(since).argmin(1)]
    header = "time_s,hand_m,mark_m"
    table = np.c_[t + SENSOR_AHEAD, hand, 0 * t]
    np.savetxt(folder / "track.csv", table, delimiter=",", header=header, comments="", fmt="%.6f")
    return force, motion, folder / "track.csv"


def imported(folder, force, motion, **said):
    """A lab into which both came with a table that says this of them."""
    lab = Lab.create(folder / "lab", name="invented", invented=True)
    set_rig(lab, f"{RIG_OF_LIMB}[sensor]\n{SENSOR}")
    entry = {
        "file": force.name,
        "motion": motion.name,
        "type": "jab",
        "rig": "invented rig",
        "person": "P-01",
    }
    table = folder / "table.toml"
    table.write_text(
        "[[recording]]\n" + "".join(f'{key} = "{text}"\n' for key, text in (entry | said).items())
    )
    report = import_recordings(lab, [force, motion], sidecar=table, add_people=True)
    assert [file.state for file in report.files] == ["new", "new"], report.files
    return lab


CASES = {
    "offset": ("motion", {"offset": "100+-0.2"}),
    "sync": ("motion", {"sync": "sync,trigger"}),
    "track": ("track", {"offset": "100+-0.002", "track": "hand"}),
}


@pytest.mark.parametrize("case", CASES)
def test_what_a_table_says_gives_the_numbers_of_the_command_line(even, tmp_path, case):
    force, imu, track = even
    which, said = CASES[case]
    motion = track if which == "track" else imu
    rig = q.Rig.from_toml(f"{RIG_OF_LIMB}[sensor]\n{SENSOR}")
    if case == "sync":
        offset = clock_offset_of_pulses(force, motion, said["sync"])
    else:
        offset = parse_clock_offset(said["offset"])
    alone = add_motion(
        q.analyse(q.read(force), rig=rig), motion=motion, kind="punch", clock_offset=offset,
        setup=motion_setup(rig, track=said.get("track")),
    )  # fmt: skip
    with imported(tmp_path, force, motion, **said) as lab:
        (done,) = analyse_lab(lab, who="tester").analysed
        found = load_analysis(lab, done.saved.analysis_id)
        assert [strike_as_json(s) for s in found.strikes] == [strike_as_json(s) for s in alone.strikes]
        assert found.clock == alone.clock
        assert done.output == alone.history[-1].output
        for strike in found.strikes:
            speed = strike.quantities["approach_speed"]
            assert abs(speed.value - 6.0) < 3 * speed.u  # as invented
        if which == "motion":
            # edges within 1 ms on either side
            assert abs(found.clock.offset - SENSOR_AHEAD) < 0.002
            assert found.clock.tie == "impacts near the stated offset"
        again = replay(lab, done.saved.analysis_id)
        assert again.same, again.changed
        (result,) = history_of(lab, done.saved.strike_ids[0]).results
        assert result.told["alignment"] == said


def test_another_statement_makes_the_analysis_stale(even, tmp_path):
    force, motion, _ = even
    with imported(tmp_path, force, motion) as lab:
        table = tmp_path / "more.csv"
        table.write_text(f"file,motion,offset\n{force.name},{motion.name},100+-0.2\n")
        again = import_recordings(lab, [force, motion], sidecar=table).files[0]
        assert again.state == "known"
        assert (
            "it says offset 'not stated', not '100+-0.2'. Nothing was changed; to state it: " in again.reason
        )
        assert again.reason.endswith(f"--restate, or quintain state {again.sha256[:12]}")
        (first,) = analyse_lab(lab, who="tester").analysed
        lost = load_analysis(lab, first.saved.analysis_id)
        assert lost.clock is None
        assert "clock-ambiguous" in {f.code for f in lost.flags}
        with lab.writing("tester") as writer:
            row = writer.database.get_one(Recording, first.recording)
            row.alignment = {"offset": "100+-0.2"}
        (wanted,) = stale(lab)
        assert wanted.because == {
            "told": "what is stated of it changed: how motion and force belong together"
        }
        (second,) = analyse_lab(lab, who="tester").analysed
        assert load_analysis(lab, second.saved.analysis_id).clock is not None
        found = compare_analyses(lab, first.saved.analysis_id, second.saved.analysis_id)
        assert found.why == ("stated: alignment none → {'offset': '100+-0.2'}",)
        assert replay(lab, first.saved.analysis_id).same
        with lab.writing("tester") as writer:
            writer.database.get_one(Recording, first.recording).alignment = {}
        assert [list(wanted.because) for wanted in stale(lab)] == [["told"]]


def test_an_analysis_of_a_version_that_knew_of_none_is_in_force_and_replays(lab):
    (done,) = analyse_lab(lab, who="tester").analysed
    with lab.writing("an earlier version") as writer:
        row = writer.database.get_one(Analysis, done.saved.analysis_id)
        *earlier, last = row.history
        settings = {**last["settings"], "told": dict(last["settings"]["told"])}
        del settings["told"]["alignment"]
        row.history, row.clock = [*earlier, {**last, "settings": settings}], None
    assert stale(lab) == []
    assert replay(lab, done.saved.analysis_id).same
    assert load_analysis(lab, done.saved.analysis_id).clock is None
    newer = q.Method(name="ours")
    (again,) = analyse_lab(lab, who="tester", method=newer).analysed
    why = compare_analyses(lab, done.saved.analysis_id, again.saved.analysis_id).why
    assert not any("alignment" in line for line in why)


def test_it_leaves_with_the_lab_and_goes_with_the_data(even, tmp_path):
    force, motion, _ = even
    with imported(tmp_path, force, motion, offset="100+-0.2") as lab:
        (done,) = analyse_lab(lab, who="tester").analysed
        clock = load_analysis(lab, done.saved.analysis_id).clock
        export_tables(lab, tmp_path / "tables")
        table = (tmp_path / "tables" / "recordings.csv").read_text()
        assert '{""offset"": ""100+-0.2""}' in table
        write_package(lab, tmp_path / "lab.zip")
        with lab_from_package(tmp_path / "lab.zip", tmp_path / "copy") as copy:
            assert load_analysis(copy, done.saved.analysis_id).clock == clock
            assert stale(copy) == []
            assert replay(copy, done.saved.analysis_id).same
        with lab.reading() as database:
            code = database.scalars(select(Person.code)).one()
        erase_person(lab, code, data=True, who="tester")
        with lab.reading() as database:
            assert [row.alignment for row in database.scalars(select(Recording))] == [{}, {}]
