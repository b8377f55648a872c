"""Recordings on their way into a lab: understood or refused, once and whole."""

from __future__ import annotations

import os
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from quintain.errors import LabError, UsageError
from quintain.readers.registry import read
from quintain.store.lab import Lab
from quintain.store.schema import Audit, Person, Recording, Rig, Session, Source, StrikeType
from quintain.tasks.doctor import doctor
from quintain.tasks.import_recordings import ImportedFile, import_recordings
from reader_samples import SAMPLES, mme_files
from shared_data import shared


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[Lab]:
    with Lab.create(tmp_path / "lab", name="invented", invented=True) as lab:
        with lab.writing("me") as writer:
            rig = Rig(name="wall")
            writer.database.add_all([Person(code="P-01"), Person(code="P-02"), rig])
            writer.database.flush()
            writer.database.add(Session(code="monday", rig_id=rig.id))
        yield lab


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "files").mkdir()
    return tmp_path / "files"


def _write(path: Path, peak: float = 1000.0, *, n: int = 200, text: str = "time_s,force_N") -> Path:
    rows = "".join(f"{i / 1000:.3f},{peak * (i == n // 2):g}\n" for i in range(n))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"{text}\n{rows}")
    return path


def _rows(lab: Lab) -> dict[str, Recording]:
    with lab.reading() as database:
        return {row.name: row for row in database.scalars(select(Recording))}


def _count(lab: Lab, table: Any) -> int:
    with lab.reading() as database:
        return database.scalar(select(func.count()).select_from(table)) or 0


def _only(files: tuple[ImportedFile, ...]) -> ImportedFile:
    assert len(files) == 1
    return files[0]


def test_by_name(lab: Lab, folder: Path) -> None:
    _write(folder / "P-01_front-kick_l_3.csv")
    report = import_recordings(
        lab, [folder], pattern="{person}_{type}_{side}_{trial}", session="monday", who="Ann"
    )
    file = _only(report.files)
    assert (file.state, file.reason) == ("new", "")
    assert (file.person, file.type, file.side, file.trial) == ("P-01", "front kick", "left", 3)
    row = _rows(lab)["P-01_front-kick_l_3.csv"]
    assert row.sha256 == file.sha256
    assert row.n_bytes == file.path.stat().st_size
    assert (row.type, row.side, row.trial, row.kind) == ("front kick", "left", 3, "strikes")
    assert (row.format, row.rate) == ("columns", 1000.0)
    assert row.duration == pytest.approx(0.2, rel=1e-9)  # 200 samples at 1 kHz; rounding of times
    assert row.rig_id is not None  # that of its session
    assert lab.originals.path(row.sha256).read_bytes() == file.path.read_bytes()
    with lab.reading() as database:
        source = database.scalars(select(Source)).one()
        noted = database.scalars(select(Audit).where(Audit.action == "import")).one()
    assert (source.path, source.who) == (str(file.path), "Ann")
    assert (noted.who, noted.subject_id) == ("Ann", file.sha256)
    assert noted.after is not None
    assert noted.after["person"] == "P-01"


def test_the_same_again(lab: Lab, folder: Path) -> None:
    first = _write(folder / "P-01_jab_1.csv")
    copy = folder / "P-02_jab_1.csv"
    copy.write_bytes(first.read_bytes())
    report = import_recordings(lab, [folder], pattern="{person}_{type}_{trial}")
    assert [file.state for file in report.files] == ["new", "known"]
    assert "same bytes came in as P-01_jab_1.csv" in report.files[1].reason
    assert "there it says person 'P-01', not 'P-02'" in report.files[1].reason
    again = import_recordings(lab, [folder], pattern="{person}_{type}_{trial}")
    assert [file.state for file in again.files] == ["known", "known"]
    assert _count(lab, Recording) == 1
    assert _count(lab, Source) == 2
    assert len(list(lab.originals.entries())) == 1


def test_what_cannot_be_read_is_refused_while_others_go_on(lab: Lab, folder: Path) -> None:
    _write(folder / "a.csv")
    _write(folder / "b.csv", 5.0, n=5000)
    with open(folder / "b.csv", "a") as file:  # damaged at its very end
        file.write("5.000,oops\n")
    (folder / "c.bin").write_bytes(b"\x00\x01\x02")
    _write(folder / "d.csv", text="time_s,strength")
    (folder / "e.csv").write_bytes(b"")
    _write(folder / "f.csv", 900.0)
    (folder / ".hidden.csv").write_text("x")
    told: list[str] = []
    report = import_recordings(lab, [folder, folder / "none"], done=lambda file: told.append(file.state))
    states = {file.path.name: (file.state, file.reason) for file in report.files}
    assert [states[name][0] for name in ["a.csv", "f.csv"]] == ["new", "new"]
    assert "5002" in states["b.csv"][1]
    assert "no rows of numbers follow" in states["c.bin"][1]
    assert "no known unit" in states["d.csv"][1]
    assert "is empty" in states["e.csv"][1]
    assert "there is no such file" in states["none"][1]
    assert ".hidden.csv" not in states
    assert sorted(told) == ["new"] * 2 + ["refused"] * 5
    assert _count(lab, Recording) == 2
    assert len(list(lab.originals.entries())) == 2


def test_unknown_codes_are_refused_with_what_was_meant(lab: Lab, folder: Path) -> None:
    _write(folder / "P-1_jab_1.csv")
    _write(folder / "P-01_jabb_1.csv", 2.0)
    files = import_recordings(lab, [folder], pattern="{person}_{type}_{trial}", session="munday").files
    by_name = {file.path.name: file.reason for file in files}
    assert "no person 'P-1'; did you mean 'P-01'? Else to add it: --add-people" in by_name["P-1_jab_1.csv"]
    assert "no type 'jabb'; did you mean 'jab'? Else to add it: --add-types" in by_name["P-01_jabb_1.csv"]
    assert "no session 'munday'; did you mean 'monday'?" in by_name["P-01_jabb_1.csv"]
    assert _count(lab, Recording) == 0
    report = import_recordings(
        lab, [folder], pattern="{person}_{type}_{trial}", session="munday",
        add_people=True, add_types=True, add_sessions=True,
    )  # fmt: skip
    assert len(report.of("new")) == 2
    with lab.reading() as database:
        own = list(database.scalars(select(StrikeType.name).where(StrikeType.own)))
        actions = set(database.scalars(select(Audit.action)))
    assert own == ["jabb"]
    assert {"add person", "add strike type", "add session", "import"} <= actions
    rig = import_recordings(lab, [folder], rig="walk").files[0]
    assert "no rig 'walk'; did you mean 'wall'? Else add the rig to the lab first" in rig.reason


@pytest.mark.parametrize(
    ("column", "name"), [("session", "mon/day"), ("session", ".."), ("person", "=P1"), ("type", "=flick")]
)
def test_a_name_that_could_do_harm_is_not_added(lab: Lab, folder: Path, column: str, name: str) -> None:
    """A code stands in addresses and tables: no path, and nothing a spreadsheet takes for a formula."""
    _write(folder / "a.csv")
    table = folder.parent / "who.csv"
    table.write_text(f"file,{column}\na.csv,{name}\n")
    report = import_recordings(
        lab, [folder], sidecar=table, add_people=True, add_types=True, add_sessions=True
    )
    assert f"the {column} {name!r} cannot be added" in report.files[0].reason
    assert _count(lab, Recording) == 0


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux keeps names that are no text")
def test_a_name_that_is_no_text(lab: Lab, folder: Path) -> None:
    odd = _write(folder / "plain.csv").rename(os.fsdecode(os.fsencode(folder) + b"/P-01_\xff_jab.csv"))
    assert import_recordings(lab, [odd], pattern="{person}_{any}_{type}").files[0].state == "new"
    assert list(_rows(lab)) == ["P-01_\\udcff_jab.csv"]
    _write(folder / "plain.csv", 5.0).rename(os.fsdecode(os.fsencode(folder) + b"/\xff_jab.csv"))
    report = import_recordings(
        lab, [folder], pattern=["{person}_{type}", "{any}_{any}_{any}"], add_people=True
    )
    assert "holds marks that cannot be shown" in report.of("refused")[0].reason


def test_dry_run_writes_nothing(lab: Lab, folder: Path) -> None:
    first = _write(folder / "P-09_jab_1.csv")
    (folder / "P-09_jab_2.csv").write_bytes(first.read_bytes())
    (folder / "P-09_jab_3.csv").write_text("nothing")
    with lab.reading() as database:
        before = database.scalar(select(func.count()).select_from(Audit))
    report = import_recordings(
        lab, [folder], pattern="{person}_{type}_{trial}", add_people=True, dry_run=True
    )
    assert report.dry_run
    assert [file.state for file in report.files] == ["new", "known", "refused"]
    assert report.files[0].duration == pytest.approx(0.2, rel=1e-9)
    assert (_count(lab, Recording), _count(lab, Audit), _count(lab, Person)) == (0, before, 2)
    assert list(lab.originals.entries()) == []


def test_a_table_says_who_and_when(lab: Lab, folder: Path) -> None:
    _write(folder / "one.csv")
    _write(folder / "deep" / "two.csv", 500.0)
    _write(folder / "imu.csv", 3.0, text="time_s,acc_x_g")
    _write(folder / "left out.csv", 7.0)
    table = folder / "table.csv"
    table.write_text(
        "file,person,type,side,session,when,motion,speed\n"
        "one.csv,P-01,jab,L,monday,2026-11-25T09:30:00+02:00,imu.csv,\n"
        "two.csv,P-02,Front Kick,right,,2026-11-25,,8.2+-0.2\n"
        "three.csv,P-02,jab,,,,,\n"
    )
    report = import_recordings(lab, [folder], sidecar=table)
    by_name = {file.path.name: file for file in report.files}
    one, two, imu = by_name["one.csv"], by_name["two.csv"], by_name["imu.csv"]
    assert (one.person, one.side, one.session) == ("P-01", "left", "monday")
    assert one.when == datetime(2026, 11, 25, 7, 30, tzinfo=UTC)
    assert (imu.kind, imu.state, one.motion) == ("motion", "new", imu.sha256)
    assert (two.type, two.speeds) == ("front kick", "8.2+-0.2")
    assert two.when == datetime(2026, 11, 25).astimezone()  # midnight of this machine's clock
    assert "nothing says what it is" in by_name["left out.csv"].reason
    assert "line 4: three.csv is not among the files to import" in by_name["three.csv"].reason
    assert "table.csv" not in by_name
    rows = _rows(lab)
    assert rows["one.csv"].motion_sha256 == rows["imu.csv"].sha256
    assert rows["two.csv"].speeds == "8.2+-0.2"


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("one.csv,up,,,,", "line 2: expected left or right as the side, got 'up'"),
        ("one.csv,,yesterday,,,", "the start cannot be understood"),
        ("one.csv,,,none.csv,,", "its motion none.csv is not among the files"),
        ("one.csv,,,,fast,", "expected a speed in m/s such as '8.2.-0.2', got 'fast'"),
        ("one.csv,,,bad.csv,,", "its motion bad.csv was refused"),
        ("one.csv,,,,,x", "expected a whole number as the trial, got 'x'"),
        ("one.csv,,,imu.csv,,,soon", "expected an offset in s and how far off it may be, as in '28.9.-0.05'"),
        ("one.csv,,,imu.csv,,,1+-0.1,sync", "offset and sync both tell the offset between the clocks"),
        ("one.csv,,,,,,1+-0.1", "line 2: offset says something of a recording of the motion; name it under"),
        ("one.csv,,,,,,,sync", "line 2: sync says something of a recording of the motion"),
        ('one.csv,,,,,,,,,"1,0,0"', "line 2: normal says something of a recording of the motion"),
        ('one.csv,,,imu.csv,,,,,,"0,0,0"', "the normal needs a length"),
        ("one.csv,,,,,,,,hx", "line 2: track says something of a recording of the motion"),
        ('one.csv,,,imu.csv,,,,"a,b,c"', "expected the name of a channel, or two as in 'sync,trigger'"),
        ('one.csv,,,imu.csv,,,,,"hx,hy"', "a tracked point has one or three channels"),
        ("one.csv,,,imu.csv,,,,pulse", "one.csv: there is no channel 'pulse'; there are: 'force' (force, N)"),
        ('one.csv,,,imu.csv,,,,"force,pulse"', "imu.csv: there is no channel 'pulse'; there are: 'acc_x'"),
        ("one.csv,,,imu.csv,,,,,hx", "imu.csv: there is no channel 'hx'; there are: 'acc_x'"),
    ],
)
def test_rows_that_cannot_be_understood(lab: Lab, folder: Path, row: str, words: str) -> None:
    _write(folder / "one.csv")
    _write(folder / "imu.csv", 3.0, text="time_s,acc_x_g")
    (folder / "bad.csv").write_text("x")
    (folder / "t.csv").write_text(f"file,side,when,motion,speed,trial,offset,sync,track,normal\n{row}\n")
    report = import_recordings(lab, [folder], sidecar=folder / "t.csv")
    assert any(words.replace(".-", "+-") in file.reason for file in report.of("refused"))
    assert [file.path.name for file in report.of("new")] in ([], ["imu.csv"])
    again = import_recordings(lab, [folder], sidecar=folder / "t.csv", dry_run=True)
    assert len(again.of("refused")) == len(report.of("refused"))


def test_motions_belong_to_strikes_of_the_same_name(lab: Lab, folder: Path) -> None:
    for n in (1, 2):
        _write(folder / f"P-01_jab_{n}_force.csv", 100.0 * n)
    _write(folder / "P-01_jab_1_motion.csv", 3.0, text="t,ax")
    report = import_recordings(
        lab, [folder], pattern="{person}_{type}_{trial}_{kind}",
        motion_reading={"units": "ax=g", "rate": 1000.0},
    )  # fmt: skip
    assert [(file.kind, file.state) for file in report.files] == [
        ("strikes", "new"), ("motion", "new"), ("strikes", "new"),
    ]  # fmt: skip
    rows = _rows(lab)
    assert rows["P-01_jab_1_force.csv"].motion_sha256 == rows["P-01_jab_1_motion.csv"].sha256
    assert rows["P-01_jab_2_force.csv"].motion_sha256 is None
    assert rows["P-01_jab_1_motion.csv"].reading == {"units": "ax=g", "rate": 1000.0}
    assert rows["P-01_jab_1_force.csv"].reading == {}


def test_a_test_of_several_files_is_one_recording(lab: Lab, folder: Path) -> None:
    mme_files(folder / "T1.mme")
    given = read(folder / "T1.mme")
    report = import_recordings(lab, [folder], kind="motion")
    file = _only(report.files)
    assert (file.state, file.format) == ("new", "mme")
    stored = read(lab.originals.path(file.sha256))
    assert [trace.name for trace in stored.traces] == [trace.name for trace in given.traces]
    assert [file.state for file in import_recordings(lab, [folder], kind="motion").files] == ["known"]
    assert doctor(lab.folder).findings == ()


def test_a_layout_is_kept_with_what_it_describes(lab: Lab, folder: Path, tmp_path: Path) -> None:
    sample = next(sample for sample in SAMPLES if sample.reader == "raw")
    sample.write(folder / "a.bin")
    layout = tmp_path / "layout.toml"
    layout.write_bytes(Path(sample.settings["layout"]).read_bytes())
    file = _only(import_recordings(lab, [folder], reading={"layout": layout}).files)
    assert (file.state, file.reason) == ("new", "")
    layout.unlink()
    row = _rows(lab)["a.bin"]
    again = read(lab.originals.path(row.sha256), **lab.originals.settings(row.reading))
    name, _, _, samples = sample.traces[0]
    assert again.trace(name).read() == pytest.approx(samples)
    assert doctor(lab.folder).findings == ()


def test_of_several_forces_one_is_named(lab: Lab, folder: Path) -> None:
    (folder / "a.csv").write_text("time_s,Fy_N,Fz_N\n" + "".join(f"{i / 1000},1,2\n" for i in range(50)))
    assert "2 channels of force; name one with --channel" in import_recordings(lab, [folder]).files[0].reason
    assert import_recordings(lab, [folder], channel="Fz").files[0].state == "new"
    assert _rows(lab)["a.csv"].channel == "Fz"


def test_lost_bytes_come_back_with_their_file(lab: Lab, folder: Path) -> None:
    path = _write(folder / "P-01_jab_1.csv")
    sha256 = import_recordings(lab, [path], pattern="{person}_{type}_{trial}").files[0].sha256
    lab.originals.path(sha256).unlink()
    assert [f.code for f in doctor(lab.folder, repair=True).findings] == ["original-missing"]
    assert _rows(lab)[path.name].gone is not None
    file = import_recordings(lab, [path]).files[0]
    assert (file.state, file.sha256) == ("new", sha256)
    row = _rows(lab)[path.name]
    assert row.gone is None
    assert row.type == "jab"
    assert doctor(lab.folder).findings == ()


def test_a_full_disk_ends_it_and_the_same_call_goes_on(
    lab: Lab, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for n in range(4):
        _write(folder / f"{n}.csv", 100.0 + n)
    put, calls = lab.originals.put, []

    def full(source: Path, parts: Any = (), **aside: Any) -> tuple[str, bool]:
        calls.append(source)
        if len(calls) == 3:
            raise LabError(f"{source}: cannot be stored in the lab: the disk of the lab is full")
        return put(source, parts, **aside)

    monkeypatch.setattr(lab.originals, "put", full)
    with pytest.raises(LabError, match="Before that 2 of 4 files were imported; repeat it to go on"):
        import_recordings(lab, [folder])
    assert _count(lab, Recording) == 2
    assert [file.state for file in import_recordings(lab, [folder]).files] == ["known"] * 2 + ["new"] * 2


def test_usage_is_refused_before_anything_is_done(lab: Lab, folder: Path) -> None:
    _write(folder / "a.csv")
    with pytest.raises(UsageError, match="there is no kind of recording 'strike'"):
        import_recordings(lab, [folder], kind="strike")
    with pytest.raises(UsageError, match="needs placeholders"):
        import_recordings(lab, [folder], pattern="person")
    assert _count(lab, Recording) == 0
    (folder / "nothing").mkdir()
    assert "no file in this folder" in import_recordings(lab, [folder / "nothing"]).files[0].reason


def test_the_labs_own_folder_is_not_imported_into_it(lab: Lab, folder: Path) -> None:
    _write(folder / "a.csv")
    import_recordings(lab, [folder])
    report = import_recordings(lab, [lab.folder.parent])
    assert [file.path.name for file in report.files] == ["a.csv"]


def test_all_landings_in_one_go(lab: Lab) -> None:
    """
    48 landings of 4 people: github.com/jmablog/common-parkour-vault-techniques @3ad041d, CC BY-SA 4.0.

    Each name tells person, task and trial; each file says 8000 samples at 1 kHz in its header.
    """
    folder = shared("landings")
    report = import_recordings(
        lab, [folder], pattern="{person}_{type}_{trial}", channel="Fz", add_people=True, add_types=True
    )
    assert Counter(file.state for file in report.files) == {"new": 48, "refused": 2}
    assert {file.path.name for file in report.of("refused")} == {"LICENSE.txt", "noise.txt"}
    with lab.reading() as database:
        rows = database.execute(
            select(Person.code, Recording.type, Recording.trial, Recording.rate, Recording.duration).join(
                Person, Recording.person_id == Person.id
            )
        ).all()
    assert Counter(row.code for row in rows) == dict.fromkeys(["A01", "A02", "A03", "A04"], 12)
    assert Counter(row.type for row in rows) == dict.fromkeys(["dashS", "dropD", "dropS", "kongD"], 12)
    assert {row.trial for row in rows} == {1, 2, 3}
    assert {round(row.rate, 6) for row in rows} == {1000.0}
    assert {round(row.duration, 6) for row in rows} == {8.0}
    assert doctor(lab.folder).findings == ()


def test_tables_of_speeds_and_gates_come_along(lab: Lab, folder: Path) -> None:
    for n in (1, 2, 3):
        _write(folder / f"{n}.csv", 100.0 * n)
    (folder / "gates.csv").write_text("first [ms];second [ms];spacing [mm];name\n100;110,5;60;Ada\n")
    (folder / "bad.txt").write_text("strike,speed\n1,8\n")
    table = folder / "table.csv"
    table.write_text("file,speed\n1.csv,gates.csv\n2.csv,none.csv\n3.csv,bad.txt\n")
    files = {file.path.name: file for file in import_recordings(lab, [folder], sidecar=table).files}
    assert set(files) == {"1.csv", "2.csv", "3.csv"}  # tables are no recordings
    assert files["1.csv"].speeds == "first [ms];second [ms];spacing [mm]\n100;110,5;60\n"
    assert _rows(lab)["1.csv"].speeds == files["1.csv"].speeds
    assert "table.csv, line 3: its table of speeds none.csv is not among the files" in files["2.csv"].reason
    assert "table.csv, line 4: bad.txt: column 'speed' needs a unit" in files["3.csv"].reason
    # what the computer holds besides is not opened, whatever a table names
    table.write_text(f"file,speed\n2.csv,{folder.parent / 'elsewhere.csv'}\n")
    (folder.parent / "elsewhere.csv").write_text("strike,speed [m/s]\n1,8\n")
    again = import_recordings(lab, [folder / "2.csv"], sidecar=table)
    assert "elsewhere.csv is not among the files to import" in _only(again.files).reason


def test_typed_speeds_do_not_give_way_to_a_motion_by_its_name(lab: Lab, folder: Path) -> None:
    _write(folder / "P-01_jab_1_force.csv")
    _write(folder / "P-01_jab_1_motion.csv", 3.0, text="time_s,acc_x_g")
    table = folder / "table.csv"
    table.write_text("file,speed,person,type,trial\nP-01_jab_1_force.csv,8.2+-0.2,P-01,jab,1\n")
    report = import_recordings(lab, [folder], sidecar=table, pattern="{person}_{type}_{trial}_{kind}")
    refused = _only(report.of("refused"))
    assert "there are both speeds and a motion by its name, P-01_jab_1_motion.csv; take the" in refused.reason
    assert list(_rows(lab)) == ["P-01_jab_1_motion.csv"]


def test_known_ones_are_stated_anew_when_asked(lab: Lab, folder: Path) -> None:
    _write(folder / "one.csv")
    imu = "time_s,acc_x_g\n" + "".join(f"{i / 1000},{i % 7}\n" for i in range(200))
    import_recordings(lab, [folder / "one.csv"])
    (folder / "imu.csv").write_text(imu)
    table = folder / "table.csv"
    table.write_text('file,person,motion,offset,normal\none.csv,P-03,imu.csv,0.01+-0.2,"1,0,0"\n')
    told = import_recordings(lab, [folder], sidecar=table, add_people=True).files
    known = next(file for file in told if file.path.name == "one.csv")
    assert known.state == "known"
    for words in (
        "person 'not stated', not 'P-03'",
        "normal 'not stated', not '1,0,0'",
        "Nothing was changed",
    ):
        assert words in known.reason
    assert f"to state it: --restate, or quintain state {known.sha256[:12]}" in known.reason
    assert _rows(lab)["one.csv"].motion_sha256 is None
    for dry_run in (True, False):
        report = import_recordings(
            lab, [folder], sidecar=table, add_people=True, restate=True, dry_run=dry_run
        )
        (file,) = report.of("restated")
        assert file.reason.endswith("stated now: motion, offset, normal, person")
        assert (_rows(lab)["one.csv"].motion_sha256 is None) == dry_run
    row = _rows(lab)["one.csv"]
    assert row.alignment == {"offset": "0.01+-0.2", "normal": "1,0,0"}
    assert row.person_id is not None
    assert row.changes == 1
    assert import_recordings(lab, [folder], sidecar=table, restate=True, add_people=True).of("restated") == []
    # what makes no sense is refused here as well, and the others go on
    table.write_text("file,motion,offset\none.csv,imu.csv,99+-0.2\n")
    report = import_recordings(lab, [folder], sidecar=table, restate=True)
    assert "imu.csv covers nothing of one.csv" in _only(report.of("refused")).reason
    assert _rows(lab)["one.csv"].changes == 1


def test_a_motion_that_is_new_with_known_strikes(lab: Lab, folder: Path) -> None:
    _write(folder / "one.csv")
    import_recordings(lab, [folder])
    _write(folder / "imu.csv", 3.0, text="time_s,acc_x_g")
    (folder / "t.csv").write_text("file,motion\none.csv,imu.csv\n")
    looked = import_recordings(lab, [folder], sidecar=folder / "t.csv", restate=True, dry_run=True)
    assert {f.path.name: f.state for f in looked.files} == {"one.csv": "restated", "imu.csv": "new"}
    report = import_recordings(lab, [folder], sidecar=folder / "t.csv", restate=True)
    assert {f.path.name: f.state for f in report.files} == {"one.csv": "restated", "imu.csv": "new"}
    rows = _rows(lab)
    assert rows["one.csv"].motion_sha256 == rows["imu.csv"].sha256
