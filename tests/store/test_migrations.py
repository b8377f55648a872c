"""Tables made step by step are those the code speaks of, and older labs come along."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import inspect, select, text

from quintain.errors import LabError
from quintain.store import migration
from quintain.store.lab import Lab
from quintain.store.schema import Analysis, Base, Recording

NEXT = """
import sqlalchemy as sa
from alembic import op

revision = "{revision}"
down_revision = "{before}"


def upgrade():
    op.add_column("person", sa.Column("reach", sa.Float()))
    {more}
"""


def test_migrations_and_tables_agree(lab: Lab) -> None:
    with lab.reading() as database:
        context = MigrationContext.configure(database.connection(), opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == [], (
            "python -m bench.draft_migration WORD drafts it"
        )


def test_names_follow_the_convention(lab: Lab) -> None:
    """What has no name cannot be changed by a later migration."""
    tables = inspect(lab.engine)
    for table, meant in Base.metadata.tables.items():
        if not meant.dialect_options["sqlite"]["autoincrement"]:  # that form of SQLite takes no name
            assert tables.get_pk_constraint(table)["name"] == f"pk_{table}"
        for key in tables.get_foreign_keys(table):
            assert key["name"] == f"fk_{table}_{'_'.join(key['constrained_columns'])}"
        for index in tables.get_indexes(table):
            assert index["name"].startswith((f"ix_{table}_", f"uq_{table}_"))


@pytest.fixture
def later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Go on as a later version with one more migration."""

    def go_on(more: str = "") -> None:
        steps = tmp_path / "migrations" / "versions"
        shutil.copytree(migration.VERSIONS, steps, ignore=shutil.ignore_patterns("__pycache__"))
        last = migration.known_revisions()[-1]
        after = f"{int(last) + 1:04d}"
        (steps / f"v{after}_reach.py").write_text(NEXT.format(revision=after, before=last, more=more))
        monkeypatch.setattr(migration, "VERSIONS", steps)

    return go_on


def test_an_older_lab_comes_along(lab: Lab, url: str, later: Callable[..., None]) -> None:
    last = migration.known_revisions()[-1]
    later()
    with Lab.open(lab.folder) as now:
        assert "reach" in {column["name"] for column in inspect(now.engine).get_columns("person")}
        assert now.facts.uuid == lab.facts.uuid
        with now.reading() as database:
            noted = database.execute(text("select action from audit order by id desc")).scalars().first()
    assert noted == "migrate lab"
    copies = [file.name for file in lab.folder.glob("lab.db.before-*")]
    assert copies == ([] if url else [f"lab.db.before-{int(last) + 1:04d}"])
    if copies:
        import sqlite3

        kept = sqlite3.connect(lab.folder / copies[0])
        assert kept.execute("select version_num from alembic_version").fetchone() == (last,)
        kept.close()


def test_a_lab_that_knew_nothing_of_clocks_comes_along(
    make_lab: Callable[[], Lab], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows of the second version get what stands for 'nothing was said'."""
    steps = tmp_path / "migrations" / "versions"
    steps.mkdir(parents=True)
    for step in ("v0001_lab.py", "v0002_strike_changes.py"):
        shutil.copy(migration.VERSIONS / step, steps)
    with monkeypatch.context() as then:
        then.setattr(migration, "VERSIONS", steps)
        lab = make_lab()
        with lab.writing("then") as writer:
            for statement in (
                "insert into recording(sha256, name, n_bytes, kind, format, reading, channel, side, speeds, "
                "imported) values ('ab', 'a.csv', 1, 'strikes', '', '{}', '', '', '', '2026-01-01')",
                "insert into method(sha256, name, version, settings, added) values ('cd', 'm', 1, '{}', "
                "'2026-01-01')",
                "insert into analysis(recording_sha256, method_sha256, quintain, output, n_strikes, flags, "
                "history, current, at) values ('ab', 'cd', '1', '', 0, '[]', '[]', true, '2026-01-01')",
            ):
                writer.database.execute(text(statement))
    with Lab.open(lab.folder) as now, now.reading() as database:
        assert database.get_one(Recording, "ab").alignment == {}
        assert database.get_one(Recording, "ab").changes == 0
        assert database.scalars(select(Analysis)).one().clock is None


def test_a_migration_that_fails_leaves_the_lab_as_it_was(lab: Lab, later: Callable[..., None]) -> None:
    later("op.execute('update no_such_table set x = 1')")
    with pytest.raises(LabError):
        Lab.open(lab.folder)
    assert "reach" not in {column["name"] for column in inspect(lab.engine).get_columns("person")}


def test_a_newer_lab_is_refused(lab: Lab) -> None:
    with lab.writing("a later version") as writer:
        writer.database.execute(text("update alembic_version set version_num = '9999'"))
    with pytest.raises(LabError, match=r"newer Quintain .*version 9999.*pip install --upgrade"):
        Lab.open(lab.folder)
