"""A package goes from one kind of database to the other and the tables keep their bytes."""

from __future__ import annotations

from invented_lab import invent_lab
from quintain.store.queries import count_strikes
from quintain.store.schema import Person
from quintain.tasks.package import lab_from_package, write_package


def test_a_lab_moves_between_databases(tmp_path, url):
    with invent_lab(tmp_path / "first", n_sessions=1, n_people=2) as lab:
        write_package(lab, tmp_path / "one")
    with lab_from_package(tmp_path / "one", tmp_path / "second", url=url) as lab:
        assert count_strikes(lab) == 24
        write_package(lab, tmp_path / "two")
        with lab.writing("tester") as writer:
            new = Person(code="next")
            writer.database.add(new)
            writer.database.flush()
            assert new.id == 3, "counting goes on after the numbers that came in"
    for path in (tmp_path / "one" / "tables").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / "tables" / path.name).read_bytes(), path.name
