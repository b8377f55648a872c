"""What a lab promises, whichever database holds its tables."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy import func, select, text

from quintain.errors import ConflictError, LabError
from quintain.store.lab import Lab
from quintain.store.migration import known_revisions, revision_of
from quintain.store.schema import Audit, Person, Recording, StrikeType
from quintain.store.strike_types import OF_THE_TRADE


def _people(lab: Lab) -> list[str]:
    with lab.reading() as database:
        return list(database.scalars(select(Person.code).order_by(Person.code)))


def _add_person(lab: Lab, code: str) -> None:
    with lab.writing("me") as writer:
        writer.database.add(Person(code=code))


def test_new_lab(lab: Lab) -> None:
    assert (lab.facts.name, lab.facts.invented) == ("invented", True)
    with lab.reading() as database:
        assert set(database.scalars(select(StrikeType.name))) == set(OF_THE_TRADE)
        assert revision_of(database.connection()) == known_revisions()[-1]
        first = database.scalars(select(Audit)).one()
    assert (first.who, first.action) == ("quintain", "make lab")


def test_opened_again_it_is_the_same(lab: Lab) -> None:
    with Lab.open(lab.folder) as again:
        assert again.facts.uuid == lab.facts.uuid
        assert not again.read_only


def test_a_change_is_whole_or_not_at_all(lab: Lab) -> None:
    with lab.writing("me") as writer:
        writer.database.add(Person(code="P-01"))
        writer.note("add person", "person", "P-01", after={"code": "P-01"})
    with suppress(ZeroDivisionError), lab.writing("me") as writer:
        writer.database.add(Person(code="P-02"))
        writer.note("add person", "person", "P-02")
        writer.database.flush()
        raise ZeroDivisionError
    assert _people(lab) == ["P-01"]
    with lab.reading() as database:
        entry = database.scalars(select(Audit).where(Audit.action == "add person")).one()
    assert (entry.who, entry.subject_id, entry.after) == ("me", "P-01", {"code": "P-01"})


def test_nothing_is_written_while_reading(lab: Lab) -> None:
    with lab.reading() as database:
        database.add(Person(code="P-01"))
    assert _people(lab) == []


def test_a_reader_sees_one_state(lab: Lab) -> None:
    with lab.reading() as database:
        before = database.scalar(select(func.count()).select_from(Person))
        with lab.writing("me") as writer:
            writer.database.add(Person(code="P-01"))
        assert database.scalar(select(func.count()).select_from(Person)) == before == 0
    assert _people(lab) == ["P-01"]


def test_one_state_for_all_that_a_thread_reads(lab: Lab) -> None:
    with lab.one_state():
        assert _people(lab) == []
        with ThreadPoolExecutor(1) as other:
            other.submit(_add_person, lab, "P-01").result()
            assert other.submit(_people, lab).result() == ["P-01"]
        assert _people(lab) == []
        with lab.one_state():
            assert _people(lab) == []
        with pytest.raises(RuntimeError, match="one state"):
            _add_person(lab, "P-02")
    assert _people(lab) == ["P-01"]


def test_one_state_ends_with_its_error(lab: Lab) -> None:
    with pytest.raises(KeyError), lab.one_state():
        raise KeyError
    _add_person(lab, "P-01")
    assert _people(lab) == ["P-01"]


@pytest.mark.parametrize("change", ["update audit set who = 'nobody'", "delete from audit"])
def test_the_audit_cannot_be_changed(lab: Lab, change: str) -> None:
    with pytest.raises(LabError, match="append-only"), lab.writing("me") as writer:
        writer.database.execute(text(change))
    with lab.reading() as database:
        assert database.scalars(select(Audit.who)).all() == ["quintain"]


def test_the_same_code_twice_is_a_conflict(lab: Lab) -> None:
    with lab.writing("me") as writer:
        writer.database.add(Person(code="P-01"))
    with pytest.raises(ConflictError, match="nothing was written"), lab.writing("me") as writer:
        writer.database.add_all([Person(code="P-02"), Person(code="P-01")])
    assert _people(lab) == ["P-01"]


def test_a_row_that_points_nowhere_is_refused(lab: Lab) -> None:
    with pytest.raises(LabError, match="does not allow"), lab.writing("me") as writer:
        writer.database.add(Recording(sha256="0" * 64, name="x", n_bytes=1, person_id=77))


def test_times_keep_their_moment(lab: Lab) -> None:
    east = datetime(2026, 11, 25, 9, 30, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    with lab.writing("me") as writer:
        writer.database.add(Recording(sha256="0" * 64, name="x", n_bytes=1, when=east))
    with lab.reading() as database:
        when = database.scalars(select(Recording.when)).one()
    assert when == east
    assert when is not None
    assert when.tzinfo is UTC


def test_sizes_beyond_two_gigabytes(lab: Lab) -> None:
    with lab.writing("me") as writer:
        writer.database.add(Recording(sha256="0" * 64, name="x", n_bytes=5 << 40))
    with lab.reading() as database:
        assert database.scalars(select(Recording.n_bytes)).one() == 5 << 40


def test_writers_take_turns(lab: Lab) -> None:
    """Each looks and then writes; without the lock at the beginning, two would see the same number."""
    with lab.writing("me") as writer:
        writer.database.add(Person(code="P-01", changes=0))
    failures: list[BaseException] = []

    def count() -> None:
        try:
            with Lab.open(lab.folder) as own:
                for _ in range(10):
                    with own.writing("me") as writer:
                        person = writer.database.scalars(select(Person)).one()
                        person.changes = person.changes + 1
        except BaseException as problem:
            failures.append(problem)

    threads = [threading.Thread(target=count) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    with lab.reading() as database:
        assert database.scalars(select(Person.changes)).one() == 40


def test_waits_for_a_writer_and_then_says_so(lab: Lab, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("quintain.store.engine.WAIT", 1.0)  # 1 s is the least a server's client can wait
    with Lab.open(lab.folder) as other, lab.writing("me"):
        with pytest.raises(LabError, match="another process is writing"), other.writing("you"):
            pass
        assert _people(other) == []  # readers do not wait


def test_a_folder_that_is_not_empty_is_refused(lab: Lab) -> None:
    with pytest.raises(LabError, match="not empty"):
        Lab.create(lab.folder, name="again")


def test_a_database_that_holds_a_lab_is_refused(lab: Lab, url: str, tmp_path: Path) -> None:
    if not url:
        pytest.skip("a file belongs to one folder")
    with pytest.raises(LabError, match="holds a lab already"):
        Lab.create(tmp_path / "second", name="again", url=url)
    assert list((tmp_path / "second").iterdir()) == []
    assert lab.facts.name == "invented"
