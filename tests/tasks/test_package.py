"""A lab leaves as a package and comes back the same; what is damaged or hostile is refused."""

from __future__ import annotations

import hashlib
import json
import shutil
import zipfile
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select, update

import quintain as q
from invented_lab import invent_lab
from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.errors import LabError, OutputError
from quintain.store.lab import Lab
from quintain.store.queries import strike_page
from quintain.store.results import save_analysis
from quintain.store.schema import (
    Analysis,
    Audit,
    Evidence,
    Identity,
    Person,
    Planned,
    Recording,
    Result,
    Session,
    Source,
    Strike,
    Study,
)
from quintain.tasks.package import lab_from_package, write_package
from quintain.tasks.progress import Cancelled
from ringing_rig import record

SECRETS = (
    "Somebody Known",
    "known@example.org",
    "/home/somebody",
    "0-0.csv",
    "by hand",
    "night porter",
    "mimi",
)


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Two recordings lie under their hashes for real; one of them was analysed for real."""
    folder = tmp_path_factory.mktemp("labs")
    with invent_lab(folder / "lab", n_sessions=2, n_people=3) as lab:
        lines = "\n".join(
            f"{i / 2000:.4f},{f:.6f}" for i, f in enumerate(record([(1.0, 900.0, 0.02)], seconds=3.0))
        )
        (folder / "one.csv").write_text(f"time_s,force_N\n{lines}\n")
        (folder / "two.dat").write_bytes(bytes(range(256)))
        real, _ = lab.originals.put(folder / "one.csv")
        other, _ = lab.originals.put(folder / "two.dat")
        analysis = q.analyse(q.read(folder / "one.csv"), curves=False)
        with lab.writing("mimi") as writer:
            add = writer.database
            add.add(Identity(person_id=1, name="Somebody Known", contact="known@example.org"))
            add.add(Recording(sha256=other, name="0-0.dat", n_bytes=256, kind="motion", session_id=1))
            add.flush()
            add.add(Recording(sha256=real, name="one.csv", n_bytes=1, session_id=1, motion_sha256=other))
            add.add(Source(recording_sha256=f"{0:064x}", path="/home/somebody/0-0.csv", who="mimi"))
            add.add(Planned(id=1, session_id=1, position=1, person_id=1, type="jab", side="left", rest=20.0))
            add.add(Study(code="repeat", plan="code = 'repeat'\n"))
            add.add(
                Evidence(rig_id=1, kind="drops", when=datetime(2026, 1, 1, tzinfo=UTC), inputs=[other],
                         values={"gain": {"value": 1.001, "u": 0.004, "unit": "1"}},
                         answer={"inputs": [{"path": "/home/somebody/drops.csv", "sha256": other}]})
            )  # fmt: skip
            add.flush()
            add.execute(
                update(Strike).where(Strike.id == 2).values(planned_id=1, note="by hand", reason='=1+1, "x"')
            )
            writer.note("accept", "strike", 2, before={"state": "waiting", "note": "night porter"},
                        after={"state": "accepted"})  # fmt: skip
            save_analysis(writer, real, replace(analysis, sha256=real))
        yield lab


def tables(folder):
    return {path.name: path.read_bytes() for path in (folder / "tables").iterdir()}


def test_a_lab_comes_back_the_same(lab, tmp_path):
    told = write_package(lab, tmp_path / "out.zip")
    assert told.n_recordings == 2
    with lab_from_package(tmp_path / "out.zip", tmp_path / "lab") as copy:
        assert copy.facts.uuid == lab.facts.uuid
        ours = strike_page(lab, limit=1000, quantities=STRIKE_QUANTITIES)
        theirs = strike_page(copy, limit=1000, quantities=STRIKE_QUANTITIES)
        assert [replace(row, recording="", note="") for row in theirs.rows] == [
            replace(row, recording="", note="") for row in ours.rows
        ]
        with lab.reading() as one, copy.reading() as two:
            for table in (Result, Planned, Study):
                rows = [d.connection().execute(select(table.__table__)).all() for d in (one, two)]
                assert rows[0] == rows[1]
            assert two.scalars(select(Identity)).all() == two.scalars(select(Source)).all() == []
            real = two.scalar(select(Recording).where(Recording.motion_sha256.is_not(None)))
            assert (
                copy.originals.path(real.sha256).read_bytes() == lab.originals.path(real.sha256).read_bytes()
            )
        again = q.analyse(q.read(copy.originals.path(real.sha256)), curves=False)
        with copy.reading() as database:
            kept = database.scalar(select(Analysis).where(Analysis.recording_sha256 == real.sha256))
            assert again.history[-1].output == kept.output
        with copy.writing("next") as writer:
            writer.note("go on", "strike", 1)
        write_package(copy, tmp_path / "again")
    write_package(lab, tmp_path / "once")
    once, again = tables(tmp_path / "once"), tables(tmp_path / "again")
    audit = once.pop("audit.csv"), again.pop("audit.csv")
    assert once == again
    assert audit[1].startswith(audit[0]), "and what happened since"
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        assert {name: archive.read(f"tables/{name}") for name in once} == once


@pytest.mark.parametrize("name", ["out.zip", "out"])
def test_both_ways_tell_how_far_they_are_and_can_be_stopped(lab, tmp_path, name):
    told = []
    done = write_package(lab, tmp_path / name, progress=lambda *seen: told.append(seen))
    assert done.n_recordings == 2
    n_bytes = sum(file.stat().st_size for file in lab.originals.folder.rglob("*") if file.is_file())
    assert told[-1] == ("package", n_bytes, n_bytes)
    told.clear()
    lab_from_package(tmp_path / name, tmp_path / "again", progress=lambda *seen: told.append(seen)).close()
    assert [what for what, *_ in told] == sorted((what for what, *_ in told), key=["check", "import"].index)
    assert all(before <= total for _, before, total in told)

    def stop(what, done, total):
        if what in ("package", "import"):
            raise Cancelled

    with pytest.raises(Cancelled):
        write_package(lab, tmp_path / f"no-{name}", progress=stop)
    with pytest.raises(Cancelled):
        lab_from_package(tmp_path / name, tmp_path / "no-lab", progress=stop)
    assert {place.name for place in tmp_path.iterdir()} == {name, "again"}


def test_nothing_in_a_package_identifies(lab, tmp_path):
    write_package(lab, tmp_path / "out")
    for path in tmp_path.rglob("*"):
        if path.is_file():
            content = path.read_bytes().decode("utf-8", "replace")
            for secret in SECRETS:
                assert secret not in content, f"{secret!r} in {path.name}"


def test_one_session_with_what_it_needs(lab, tmp_path):
    write_package(lab, tmp_path / "out", sessions=("S2",), recordings=False)
    assert not (tmp_path / "out" / "recordings").exists()
    with lab_from_package(tmp_path / "out", tmp_path / "lab") as copy, copy.reading() as database:
        assert database.scalars(select(Session.code)).all() == ["S2"]
        assert database.query(Strike).count() == 36
        assert {s.session_id for s in database.scalars(select(Strike))} == {2}
        assert database.query(Result).count() == 36
        assert database.query(Person).count() == 3
        assert database.query(Study).count() == 0
    with pytest.raises(LabError, match="no session 'S9'"):
        write_package(lab, tmp_path / "other", sessions=("S9",))
    assert not (tmp_path / "other").exists()


def test_a_zip_has_the_same_bytes_for_the_same_lab(lab, tmp_path):
    for name in ("a.zip", "b.zip"):
        write_package(lab, tmp_path / name)
    with zipfile.ZipFile(tmp_path / "a.zip") as a, zipfile.ZipFile(tmp_path / "b.zip") as b:
        assert [(i.filename, i.CRC) for i in a.infolist() if i.filename != "datapackage.json"] == [
            (i.filename, i.CRC) for i in b.infolist() if i.filename != "datapackage.json"
        ]


def edit(folder, change):
    told = json.loads((folder / "datapackage.json").read_text("utf-8"))
    change(told)
    (folder / "datapackage.json").write_text(json.dumps(told), "utf-8")


def first_original(folder):
    return next(path for path in sorted((folder / "recordings").rglob("*")) if path.is_file())


def flip(path):
    path.chmod(0o644)
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


DAMAGES = [
    (lambda f: flip(f / "tables" / "strike.csv"), "strike.csv is not what the package tells"),
    (lambda f: flip(first_original(f)), "is not what the package tells"),
    (lambda f: (f / "tables" / "result.csv").write_text(""), "has 0 bytes"),
    (lambda f: (f / "tables" / "result.csv").unlink(), "is not in it"),
    (lambda f: (f / "datapackage.json").unlink(), "no package"),
    (lambda f: (f / "datapackage.json").write_text("{"), "not that of a Quintain lab"),
    (lambda f: (f / "datapackage.json").write_text("{}"), "not that of a Quintain lab"),
    (lambda f: (f / "extra.txt").write_text("x"), "of which datapackage.json does not tell"),
    (lambda f: (f / "link").symlink_to("/etc/passwd"), "is a link"),
    (lambda f: edit(f, lambda d: d["quintain"].update(form=99)), "newer Quintain"),
    (lambda f: edit(f, lambda d: d["quintain"].update(revision="9999")), "newer Quintain"),
    (lambda f: edit(f, lambda d: d["resources"].append({"path": "../evil", "bytes": 1, "hash": "sha256:0"})),
     "no part of a lab"),
    (lambda f: edit(f, lambda d: d["resources"].pop(0)), "does not tell"),
    (lambda f: edit(f, lambda d: d["quintain"]["lab"].pop("uuid")), "not that of a Quintain lab"),
]  # fmt: skip


@pytest.mark.parametrize(("damage", "words"), DAMAGES)
def test_a_damaged_package_is_refused_before_anything_is_written(lab, tmp_path, damage, words):
    write_package(lab, tmp_path / "out")
    damage(tmp_path / "out")
    with pytest.raises(LabError, match=words):
        lab_from_package(tmp_path / "out", tmp_path / "lab")
    assert not (tmp_path / "lab").exists()


def resealed(folder, table, change):
    """A table changed by somebody who also wrote its new hash down."""
    path = folder / "tables" / f"{table}.csv"
    path.write_text(change(path.read_text("utf-8")), "utf-8")
    content = path.read_bytes()

    def seal(told):
        (resource,) = [r for r in told["resources"] if r["path"] == f"tables/{table}.csv"]
        resource.update(bytes=len(content), hash=f"sha256:{hashlib.sha256(content).hexdigest()}")

    edit(folder, seal)


@pytest.mark.parametrize(
    ("table", "change", "words"),
    [
        ("strike", lambda text: text.replace(",accepted,", ",fine,"), "nothing was written"),
        ("person", lambda text: text.splitlines()[0] + "\n", "nothing was written"),
        ("person", lambda text: text.replace("body_mass", "charm", 1), "'charm' of a newer version"),
        ("person", lambda text: text.replace("60.0", "sixty"), "cannot be read"),
        ("person", lambda text: text + "1,2\n", "2 cells"),
    ],
)
def test_tables_that_do_not_fit_leave_no_lab(lab, tmp_path, table, change, words):
    write_package(lab, tmp_path / "out")
    resealed(tmp_path / "out", table, change)
    with pytest.raises(LabError, match=words):
        lab_from_package(tmp_path / "out", tmp_path / "lab")
    assert not (tmp_path / "lab").exists()


@pytest.mark.parametrize(
    "name", ["../evil", "/evil", "a/../../evil", "C:evil", "a\\..\\evil", "a//b", "con. "]
)
def test_a_path_that_leads_outside_is_refused(lab, tmp_path, name):
    write_package(lab, tmp_path / "out.zip")
    with zipfile.ZipFile(tmp_path / "out.zip", "a") as archive:
        archive.writestr(zipfile.ZipInfo(name), b"evil")
    with pytest.raises(LabError, match="may not hold"):
        lab_from_package(tmp_path / "out.zip", tmp_path / "lab")
    assert not (tmp_path / "lab").exists()


def test_a_zip_bomb_is_not_unpacked(lab, tmp_path):
    write_package(lab, tmp_path / "out")
    (tmp_path / "out" / "tables" / "study.csv").write_bytes(b"0" * 50_000_000)
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for path in (tmp_path / "out").rglob("*"):
            if path.is_file():
                archive.write(path, path.relative_to(tmp_path / "out").as_posix())
    with pytest.raises(LabError, match="has 50000000 bytes"):
        lab_from_package(tmp_path / "bomb.zip", tmp_path / "lab")


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 no zip", b"no zip at all"])
def test_what_is_no_package_is_refused(tmp_path, content):
    (tmp_path / "x.zip").write_bytes(content)
    with pytest.raises(LabError, match="no package"):
        lab_from_package(tmp_path / "x.zip", tmp_path / "lab")
    with pytest.raises(LabError, match="no package"):
        lab_from_package(tmp_path / "nothing.zip", tmp_path / "lab")


def test_neither_a_package_nor_a_lab_is_written_over(lab, tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("keep")
    with pytest.raises(OutputError, match="already"):
        write_package(lab, tmp_path / "full")
    write_package(lab, tmp_path / "out")
    with pytest.raises(LabError, match="not empty"):
        lab_from_package(tmp_path / "out", tmp_path / "full")
    assert (tmp_path / "full" / "mine.txt").read_text() == "keep"


WORDS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30)
STARTS = st.sampled_from(["", "=1+1", "+", "-x", "@a", "\t", "\r", "\n", "'", '"', ",", "\u202e", "ß"])
TEXTS = st.builds(str.__add__, STARTS, WORDS)


@settings(deadline=None, max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(TEXTS, min_size=6, max_size=6), value=st.floats(allow_nan=False, allow_infinity=False),
       told=st.dictionaries(WORDS, TEXTS | st.floats(allow_nan=False), max_size=4))  # fmt: skip
def test_any_words_come_back(lab_of_words, tmp_path_factory, texts, value, told):
    lab, folder = lab_of_words, tmp_path_factory.mktemp("words")
    with lab.writing("tester") as writer:
        add = writer.database
        add.execute(update(Person).values(note=texts[0]))
        add.execute(update(Session).values(title=texts[1], note=texts[2], plan=told))
        add.execute(update(Strike).values(reason=texts[3], note=texts[4], start=value))
        add.execute(update(Result).values(impulse=value, codes=texts[5], detail=told))
    write_package(lab, folder / "out", notes=True, file_names=True)
    with lab_from_package(folder / "out", folder / "lab") as copy:
        with copy.reading() as database:
            person, session = database.scalar(select(Person)), database.scalar(select(Session))
            strike, result = database.scalar(select(Strike)), database.scalar(select(Result))
            assert [
                person.note,
                session.title,
                session.note,
                strike.reason,
                strike.note,
                result.codes,
            ] == texts
            assert (strike.start, result.impulse, result.detail, session.plan) == (value, value, told, told)
        write_package(copy, folder / "again", notes=True, file_names=True)
    assert tables(folder / "out") == tables(folder / "again")
    shutil.rmtree(folder)


@pytest.fixture
def lab_of_words(tmp_path):
    with invent_lab(tmp_path / "lab", n_sessions=1, n_people=1, per_recording=1) as lab:
        yield lab


def test_a_copy_opens_like_any_lab(lab, tmp_path):
    write_package(lab, tmp_path / "out.zip")
    lab_from_package(tmp_path / "out.zip", tmp_path / "lab").close()
    with Lab.open(tmp_path / "lab") as copy, copy.reading() as database:
        assert database.scalar(select(Audit.action).order_by(Audit.id.desc()).limit(1)) == "import package"
