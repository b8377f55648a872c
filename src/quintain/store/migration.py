"""From the tables of an older lab to those of this version, step by step, all of it or nothing."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

__all__ = ["VERSIONS", "known_revisions", "migrate", "revision_of"]

VERSIONS = Path(__file__).parent / "migrations" / "versions"
"""One file a step, ``v0001_word.py`` and so on; its four digits are the revision."""


def known_revisions() -> list[str]:
    """Every revision this version of Quintain knows, oldest first; the last is its own."""
    return sorted(file.stem[1:5] for file in VERSIONS.glob("v[0-9]*.py"))


def revision_of(connection: Connection) -> str | None:
    """Revision of the tables of a lab; None where there are none."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("select version_num from alembic_version")).scalar()


def migrate(connection: Connection) -> list[str]:
    """
    Bring tables to this version.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction, whose end makes the change visible.

    Returns
    -------
    list of str
        Revisions that were gone through, in order; empty if there was nothing to do.
    """
    # Alembic takes 0.1 s to load, which opening a lab that is up to date should not wait for.
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    script = ScriptDirectory(str(VERSIONS.parent), version_locations=[str(VERSIONS)])
    context = MigrationContext.configure(connection)
    steps = list(script.iterate_revisions("head", context.get_current_revision() or "base"))[::-1]
    with Operations.context(context):
        for step in steps:
            step.module.upgrade()
            context.stamp(script, step.revision)
    return [step.revision for step in steps]
