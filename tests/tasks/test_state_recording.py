"""What is learned of a recording after its import: stated, taken back, refused where it makes no sense."""

from __future__ import annotations

import numpy as np
import pytest
from sqlalchemy import select

import quintain as q
from quintain.domain.as_json import strike_as_json
from quintain.errors import (
    AnalysisError,
    ChannelError,
    ConflictError,
    LabError,
    MissingError,
    RecordingError,
    UsageError,
)
from quintain.store.lab import Lab
from quintain.store.results import load_analysis
from quintain.store.schema import Audit, Person, Recording, Rig, Session, Strike
from quintain.tasks.add_motion import add_motion, motion_setup, parse_clock_offset
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.bring_motion import bring_motion
from quintain.tasks.compare_analyses import compare_analyses
from quintain.tasks.doctor import doctor
from quintain.tasks.erase_person import erase_person
from quintain.tasks.export_person import export_person
from quintain.tasks.lab_inputs import stale
from quintain.tasks.lab_views import recording_view
from quintain.tasks.package import lab_from_package, write_package
from quintain.tasks.replay import replay
from quintain.tasks.review import accept, retag, undo
from quintain.tasks.state_recording import state_recording
from simulated_lab import RIG_OF_LIMB, SENSOR_AHEAD, add_recording, set_rig, write_force_and_motion

SENSOR = '[sensor]\nname = "wrist (invented)"\nnormal = [1.0, 0.0, 0.0]\n'
STARTS = (1.5, 3.5, 5.5, 7.5)
GATES = "# gym of Ada\nfirst [s];second [s];spacing [m];to pad [m];who\n" + "".join(
    f"{start - 0.025:.4f};{start - 0.015:.4f};0,06;0,09;Ada\n".replace(".", ",") for start in STARTS
)
"""Light gates 0.06 m apart, broken by hands that go through them at 6 m/s; invented."""


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Strikes in an even rhythm, which no clock tells apart; a motion, a track, and one of another day."""
    folder = tmp_path_factory.mktemp("even")
    _, motion = write_force_and_motion(folder, STARTS, pulse=0.5)
    t = np.arange(6_000) / 500.0
    since = (t[:, None] - list(STARTS)).clip(-0.2, 0.2)
    hand = 6.0 * since[np.arange(t.size), np.abs(since).argmin(1)]
    tracks = np.c_[t + SENSOR_AHEAD, hand, 0 * t, 0 * t, 0.5 * hand]
    header = "time_s,hx_m,hy_m,hz_m,mark_m"
    np.savetxt(folder / "track.csv", tracks, delimiter=",", header=header, comments="", fmt="%.6f")
    lines = motion.read_text().splitlines(keepends=True)
    (folder / "short.csv").write_text("".join(lines[:2000]))
    return folder


@pytest.fixture
def lab(files, tmp_path):
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        set_rig(lab, RIG_OF_LIMB + SENSOR)
        with lab.writing("tester") as writer:
            database = writer.database
            database.add_all(
                [Person(id=1, code="P01"), Person(id=2, code="P02"), Rig(id=7, name="other rig")]
            )
            database.add_all([Session(id=1, code="S1", rig_id=1), Session(id=2, code="S2", rig_id=7)])
        add_recording(
            lab, files / "force.csv", reading={}, rig_id=1, session_id=1, person_id=1, type="jab", side="left"
        )
        yield lab


def say(lab, **facts):
    return state_recording(lab, "force.csv", facts, who="Ann")


def bring(lab, path, **facts):
    return bring_motion(lab, "force.csv", path, facts, who="Ann")


def analysed(lab):
    (done,) = analyse_lab(lab, who="tester").analysed
    return done


def plain(lab, done):
    return [strike_as_json(s) for s in load_analysis(lab, done.saved.analysis_id).strikes]


# -- stated late, and the same as stated at once


def test_a_motion_that_was_found_a_day_later(lab, files):
    first = analysed(lab)
    with lab.reading() as database:
        before = database.get_one(Recording, first.recording).changes
    done = bring(lab, files / "motion.csv", offset="100+-0.2")
    assert done.changed == ("motion", "offset")
    assert done.changes == before + 1
    motion = done.facts["motion"]
    with lab.reading() as database:
        row = database.get_one(Recording, motion)
        assert (row.name, row.kind, row.person_id, row.type, row.side) == (
            "motion.csv",
            "motion",
            1,
            "jab",
            "left",
        )
        (noted,) = database.scalars(
            select(Audit).where(Audit.action == "state", Audit.subject_id == first.recording)
        )
    assert (noted.who, noted.before, noted.after) == (
        "Ann", {"motion": "", "offset": ""}, {"motion": motion, "offset": "100+-0.2"},
    )  # fmt: skip
    # what was analysed before keeps its result, and is out of date
    (wanted,) = stale(lab)
    assert list(wanted.because) == ["told"]
    assert recording_view(lab, "force.csv").out_of_date == tuple(wanted.because.values())
    assert plain(lab, first)[0]["approach_speed"] is None
    second = analysed(lab)
    assert stale(lab) == []
    assert recording_view(lab, "force.csv").out_of_date == ()
    rig = q.Rig.from_toml(RIG_OF_LIMB + SENSOR)
    alone = add_motion(
        q.analyse(q.read(files / "force.csv"), rig=rig), motion=files / "motion.csv", kind="punch",
        setup=motion_setup(rig), clock_offset=parse_clock_offset("100+-0.2"),
    )  # fmt: skip
    assert plain(lab, second) == [strike_as_json(s) for s in alone.strikes]
    assert second.output == alone.history[-1].output
    why = compare_analyses(lab, first.saved.analysis_id, second.saved.analysis_id).why
    assert why[0] == f"motion of the limb: none → motion.csv ({motion[:12]})"
    assert "stated: alignment none → {'offset': '100+-0.2'}" in why
    assert replay(lab, first.saved.analysis_id).same
    assert replay(lab, second.saved.analysis_id).same
    # a newer rig is no statement, and makes nothing wrong
    set_rig(lab, RIG_OF_LIMB.replace("220.0", "221.0") + SENSOR)
    assert [list(wanted.because) for wanted in stale(lab)] == [["rig"]]
    assert recording_view(lab, "force.csv").out_of_date == ()


def test_light_gates_whose_times_came_on_paper(lab, files, tmp_path):
    first = analysed(lab)
    done = say(lab, speeds=GATES)
    kept = done.facts["speeds"]
    assert "Ada" not in kept  # neither the remark nor a column that says nothing of a speed
    assert kept.splitlines()[1] == "1,4750;1,4850;0,06;0,09"
    second = analysed(lab)
    table = tmp_path / "gates.csv"
    table.write_text(GATES)
    alone = add_motion(
        q.analyse(q.read(files / "force.csv"), rig=q.Rig.from_toml(RIG_OF_LIMB + SENSOR)),
        speeds=str(table),
        kind="punch",
    )
    assert plain(lab, second) == [strike_as_json(s) for s in alone.strikes]
    for strike in load_analysis(lab, second.saved.analysis_id).strikes:
        speed = strike.quantities["approach_speed"]
        assert abs(speed.value - 6.0) < 3 * speed.u  # as invented
    (why,) = compare_analyses(lab, first.saved.analysis_id, second.saved.analysis_id).why
    words = "a table of 4 passes through two light gates 0.06 m apart, 0.09 m before the pad"
    assert why == f"stated: speeds none → {words}"
    assert replay(lab, second.saved.analysis_id).same
    write_package(lab, tmp_path / "lab.zip")
    with lab_from_package(tmp_path / "lab.zip", tmp_path / "copy") as copy:
        assert stale(copy) == []
        assert replay(copy, second.saved.analysis_id).same
        with copy.reading() as database:
            assert database.get_one(Recording, done.sha256).changes == done.changes


def test_a_table_of_speeds_and_typed_ones(lab):
    say(lab, speeds="strike,speed [km/h],± [km/h]\n1,21.6,0.7056\n3,21.6,\n")
    strikes = load_analysis(lab, analysed(lab).saved.analysis_id).strikes
    assert [("approach_speed" in s.quantities) for s in strikes] == [True, False, True, False]
    assert strikes[0].quantities["approach_speed"].value == pytest.approx(6.0)
    assert strikes[0].quantities["approach_speed"].u == pytest.approx(0.1)
    say(lab, speeds=" 6.1+-0.2 ")
    done = analysed(lab)
    assert {
        s.quantities["approach_speed"].value for s in load_analysis(lab, done.saved.analysis_id).strikes
    } == {6.1}
    assert say(lab, speeds="").facts["speeds"] == ""
    assert plain(lab, analysed(lab))[0]["approach_speed"] is None
    with lab.reading() as database:
        noted = list(database.scalars(select(Audit).where(Audit.action == "state").order_by(Audit.id)))
    # values of a person are in no audit, since they may have to be erased
    assert [(n.before["speeds"], n.after["speeds"]) for n in noted] == [
        ("", "a table of 2 stated"), ("a table of 2 stated", "1 stated"), ("1 stated", ""),
    ]  # fmt: skip


def test_a_track_and_its_normal(lab, files):
    bring(lab, files / "track.csv", track="hx,hy,hz", offset="100+-0.002")
    flags = {f.code for s in load_analysis(lab, analysed(lab).saved.analysis_id).strikes for f in s.flags}
    assert "resultant-speed" in flags
    say(lab, normal="1,0,0")
    found = load_analysis(lab, analysed(lab).saved.analysis_id)
    assert "resultant-speed" not in {f.code for s in found.strikes for f in s.flags}
    assert all(abs(s.quantities["approach_speed"].value - 6.0) < 0.1 for s in found.strikes)
    say(lab, track="mark", normal="")
    found = load_analysis(lab, analysed(lab).saved.analysis_id)
    assert all(abs(s.quantities["approach_speed"].value - 3.0) < 0.1 for s in found.strikes)


def test_a_pulse_in_both(lab, files):
    bring(lab, files / "motion.csv", sync="sync,trigger")
    assert load_analysis(lab, analysed(lab).saved.analysis_id).clock.offset == pytest.approx(
        SENSOR_AHEAD, abs=0.002
    )


def test_force_and_track_in_one_file(tmp_path, files):
    """Clocks are one then; nothing is assumed of them."""
    t = np.arange(24_000) / 2000.0
    force = np.genfromtxt(files / "force.csv", delimiter=",", skip_header=1)[:, 1]
    since = (t[:, None] - list(STARTS)).clip(-0.2, 0.2)
    hand = 6.0 * since[np.arange(t.size), np.abs(since).argmin(1)]
    both = tmp_path / "both.csv"
    table = np.c_[t, force, hand]
    np.savetxt(both, table, delimiter=",", header="time_s,force_N,hand_m", comments="", fmt="%.6f")
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        add_recording(lab, both, reading={})
        state_recording(lab, "both.csv", {"motion": "both.csv", "track": "hand"}, who="Ann")
        done = analysed(lab)
        found = load_analysis(lab, done.saved.analysis_id)
        assert len(found.strikes) == 4
        assert all(abs(s.quantities["approach_speed"].value - 6.0) < 0.1 for s in found.strikes)
        assert "clock-assumed" not in {f.code for s in found.strikes for f in s.flags}
        assert replay(lab, done.saved.analysis_id).same
        write_package(lab, tmp_path / "lab.zip")
        with lab_from_package(tmp_path / "lab.zip", tmp_path / "copy") as copy:
            assert replay(copy, done.saved.analysis_id).same


def test_another_motion_takes_what_was_said_of_the_first_with_it(lab, files):
    bring(lab, files / "motion.csv", offset="100+-0.2")
    done = bring(lab, files / "track.csv", offset="100+-0.002", track="hx")
    assert done.facts["track"] == "hx"
    done = say(lab, motion="motion.csv")
    assert (done.facts["offset"], done.facts["track"]) == ("", "")
    say(lab, offset="100+-0.2")
    done = say(lab, motion="", speeds="6+-0.2")
    assert done.changed == ("motion", "speeds", "offset")
    assert stale(lab) == []  # nothing was analysed


def test_it_goes_with_the_data_of_a_person(lab, files, tmp_path):
    motion = bring(lab, files / "motion.csv", offset="100+-0.2").facts["motion"]
    say(lab, motion="", speeds="6.25+-0.2")
    say(lab, motion=motion, speeds="", offset="100+-0.2")
    say(lab, motion="", speeds="6.25+-0.2")
    analysed(lab)
    export_person(lab, "P01", tmp_path / "P01")
    assert "6.25+-0.2" in (tmp_path / "P01" / "recordings.csv").read_text()
    erase_person(lab, "P01", data=True, who="Ann")
    with lab.reading() as database:
        rows = {row.sha256: row for row in database.scalars(select(Recording))}
        assert [(row.speeds, row.alignment, row.gone is None) for row in rows.values()] == [
            ("", {}, False)
        ] * 2
        assert "6.25" not in str([(a.before, a.after) for a in database.scalars(select(Audit))])
    with pytest.raises(UsageError, match=r"the bytes of erased are gone"):
        state_recording(lab, motion, {"side": ""}, who="Ann")
    assert doctor(lab.folder).sound


# -- what makes no sense


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({}, "nothing is stated; name at least one of: motion, speeds"),
        ({"colour": "red"}, "there is no fact 'colour'; there are: motion"),
        ({"offset": "1+-0.1"}, "offset says something of a recording of the motion; state"),
        ({"normal": "1,0,0"}, "normal says something of a recording of the motion"),
        ({"motion": "motion.csv", "offset": "1+-0.1", "sync": "sync"}, "offset and sync both tell"),
        ({"motion": "motion.csv", "speeds": "6"}, "both a motion and speeds .a motion stated before."),
        ({"motion": "motion.csv", "offset": "soon"}, "expected an offset in s"),
        ({"motion": "motion.csv", "normal": "0,0,0"}, "the normal needs a length"),
        ({"motion": "motion.csv", "normal": "nan,0,1"}, "the normal needs a length"),
        ({"motion": "motion.csv", "track": "a,b"}, "one or three channels"),
        ({"speeds": "fast"}, "expected a speed in m/s"),
        ({"speeds": "6;6;6;6;6"}, "a speed is stated for strike 5, but 4 were found"),
        ({"speeds": "strike,speed [m/s]\n9,6\n"}, "a speed is stated for strike 9, but 4 were found"),
        ({"side": "up"}, "a side is 'left', 'right' or empty"),
        ({"type": "jabb"}, "no type of strike 'jabb'; did you mean 'jab'"),
        ({"motion": "motion.csv", "offset": "-100+-0.2"}, "motion.csv covers nothing of force.csv: "),
        ({"motion": "track.csv", "track": "hx"}, "with an offset of 0 s it runs from 100"),
        ({"motion": "short.csv"}, "short.csv lasts 1.999 s, the strikes of force.csv 6 s"),
        ({"motion": "drops.csv"}, "drops.csv holds drops, not the motion of a limb"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_in_words(lab, files, facts, words):
    for name in ("motion.csv", "track.csv", "short.csv"):
        add_recording(lab, files / name, reading={}, kind="motion")
    drops = files / "drops.csv"
    drops.write_text("force [N]\n" + "1\n2\n" * 50)
    add_recording(lab, drops, kind="drops")
    analysed(lab)
    with pytest.raises(UsageError, match=words):
        say(lab, **facts)
    assert recording_view(lab, "force.csv").changes == 0
    assert stale(lab) == []


def test_channels_and_rows_that_are_not_there(lab, files):
    add_recording(lab, files / "motion.csv", reading={}, kind="motion")
    for facts, error, words in (
        ({"motion": "motion.csv", "sync": "pulse"}, ChannelError, "^force.csv: there is no channel 'pulse'"),
        (
            {"motion": "motion.csv", "sync": "sync,pulse"},
            ChannelError,
            "^motion.csv: there is no channel 'pulse'",
        ),
        ({"motion": "motion.csv", "track": "hx"}, ChannelError, "^motion.csv: there is no channel 'hx'"),
        ({"motion": "motion.csv", "sync": "force,az"}, AnalysisError, "pulse"),
        ({"channel": "Fz"}, ChannelError, "^force.csv: there is no channel 'Fz'"),
        ({"motion": "0123abc"}, MissingError, "there is no recording '0123abc' in the lab"),
        ({"person": "P1"}, MissingError, "no person 'P1'"),
        ({"session": "S9"}, MissingError, "no session 'S9'"),
        ({"rig": "rig"}, MissingError, "no rig 'rig'"),
    ):
        with pytest.raises(error, match=words):
            say(lab, **facts)
    with pytest.raises(MissingError, match=r"no recording 'none.csv'"):
        state_recording(lab, "none.csv", {"side": ""}, who="Ann")


def test_gates_on_another_clock(lab):
    analysed(lab)
    late = "first [s],second [s],spacing [m]\n31.475,31.485,0.06\n"
    with pytest.raises(
        UsageError, match=r"no strike begins within 0.5 s after the second gate: .* 31.485 to 31.485"
    ):
        say(lab, speeds=late)


def test_a_new_motion_that_is_refused_does_not_come_in(lab, files):
    analysed(lab)
    with pytest.raises(UsageError, match=r"^the motion short.csv lasts 1.999 s"):
        bring(lab, files / "short.csv")
    with pytest.raises(UsageError, match="both a motion and speeds"):
        bring(lab, files / "motion.csv", speeds="6")
    with lab.reading() as database:
        assert [row.name for row in database.scalars(select(Recording))] == ["force.csv"]
    # the offset says which it is
    bring(lab, files / "short.csv", offset="100+-0.2")


def test_a_file_that_the_lab_has_already(lab, files, tmp_path):
    copy = tmp_path / "copy.csv"
    copy.write_bytes((files / "motion.csv").read_bytes())
    add_recording(lab, files / "motion.csv", reading={}, kind="motion")
    with pytest.raises(
        UsageError, match=r"the lab has the bytes of copy.csv already, and reads them otherwise"
    ):
        bring_motion(lab, "force.csv", copy, {}, reading={"units": "ax=g"}, who="Ann")
    bring(lab, copy)
    with lab.reading() as database:
        assert sorted(row.name for row in database.scalars(select(Recording))) == ["force.csv", "motion.csv"]
    with pytest.raises(RecordingError, match=r"none.csv"):
        bring(lab, tmp_path / "none.csv")


def test_what_did_not_change_is_not_asked_again(lab):
    erase_person(lab, "P01", who="Ann")
    assert say(lab, person="P01", side="right").changed == ("side",)
    with pytest.raises(LabError, match=r"'P01' was erased"):
        state_recording(lab, bring_other(lab), {"person": "P01"}, who="Ann")


def bring_other(lab):
    path = lab.folder.parent / "other.csv"
    path.write_text("force [N]\n" + "1\n2\n" * 50)
    return add_recording(lab, path)


def test_a_motion_has_no_motion(lab, files):
    sha256 = bring(lab, files / "motion.csv").facts["motion"]
    with pytest.raises(
        UsageError, match=r"motion.csv holds motion; speeds is stated of the recording of the strikes"
    ):
        state_recording(lab, sha256, {"speeds": "6"}, who="Ann")
    assert state_recording(lab, sha256, {"person": "P02"}, who="Ann").facts["person"] == "P02"


def test_of_two_who_state_at_once_one_is_told(lab):
    seen = recording_view(lab, "force.csv").changes
    state_recording(lab, "force.csv", {"side": "right"}, changes=seen, who="Ann")
    with pytest.raises(
        ConflictError, match=r"force.csv was changed by Ann since you looked at it. Nothing was"
    ):
        state_recording(lab, "force.csv", {"side": ""}, changes=seen, who="Ben")
    # the same said again is no change
    assert state_recording(lab, "force.csv", {"side": "right"}, who="Ben").changed == ()
    assert recording_view(lab, "force.csv").changes == seen + 1


# -- who, what and where


def strikes(lab):
    with lab.reading() as database:
        return [
            (
                s.person.code if s.person else "",
                s.type,
                s.side,
                s.session.code if s.session else "",
                s.position,
            )
            for s in database.scalars(select(Strike).order_by(Strike.start))
        ]


def test_strikes_follow_unless_somebody_told_them_otherwise(lab):
    done = analysed(lab)
    retag(lab, done.saved.strike_ids[1], person="P02", who="Ben")
    accept(lab, done.saved.strike_ids[0], who="Ben")
    assert say(lab, person="P02", type="cross").n_strikes == 4
    assert [s[:3] for s in strikes(lab)] == [("P02", "cross", "left")] * 4
    say(lab, person="P01", side="")
    assert [s[:3] for s in strikes(lab)] == [("P01", "cross", "")] * 4
    assert undo(lab, who="Ben").action == "accept"  # of review alone


def test_a_strike_that_was_retagged_stays(lab):
    done = analysed(lab)
    retag(lab, done.saved.strike_ids[1], type="hook", who="Ben")
    assert say(lab, type="cross").n_strikes == 3
    assert [s[1] for s in strikes(lab)] == ["cross", "hook", "cross", "cross"]


def test_another_rig_is_a_statement(lab):
    first = analysed(lab)
    version = set_rig(lab, RIG_OF_LIMB.replace("invented rig", "other rig").replace("220.0", "221.0"))
    say(lab, rig="other rig")
    (wanted,) = stale(lab)
    assert wanted.because["told"] == "what is stated of it changed: the rig"
    assert recording_view(lab, "force.csv").out_of_date == (wanted.because["told"],)
    second = analysed(lab)
    why = compare_analyses(lab, first.saved.analysis_id, second.saved.analysis_id).why
    assert "stated: rig 'invented rig' → 'other rig'" in why
    assert any(line.startswith("rig: 'invented rig', version ") and version in line for line in why)
    # an analysis with another rig than is stated, which somebody asked for, stays
    analyse_lab(lab, who="tester", rig="invented rig")
    assert recording_view(lab, "force.csv").out_of_date == ()
    assert analyse_lab(lab, who="tester").analysed == ()


def test_into_another_session_with_its_rig(lab, files):
    analysed(lab)
    done = say(lab, session="S2")
    assert done.changed == ("rig", "session")
    assert done.facts["rig"] == "other rig"
    assert [s[3:] for s in strikes(lab)] == [("S2", n) for n in (1, 2, 3, 4)]
    say(lab, session="", rig="")
    assert [s[3:] for s in strikes(lab)] == [("", n) for n in (1, 2, 3, 4)]
    say(lab, session="S1", rig="other rig")
    say(lab, session="S2", rig="invented rig")
    assert say(lab, session="S1").changed == ("session",)  # a rig of its own stays
