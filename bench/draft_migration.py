"""
Draft the next migration, from what tables and migrations do not agree on.

``python -m bench.draft_migration WORD`` writes a file; read it before it is committed.
"""

from __future__ import annotations

import sys

from alembic.autogenerate import produce_migrations, render_python_code
from alembic.runtime.migration import MigrationContext
from sqlalchemy import create_engine

from quintain.store.migration import VERSIONS, known_revisions, migrate
from quintain.store.schema import Base, Utc

_FILE = '''"""{word}."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["down_revision", "revision", "upgrade"]

revision = {revision!r}
down_revision = {before!r}


def upgrade() -> None:
    """Make the change."""
    {body}
'''


def _render(kind: str, thing: object, _context: object) -> str | bool:
    return "sa.DateTime(timezone=True)" if kind == "type" and isinstance(thing, Utc) else False


def main(word: str) -> None:
    """Write the draft."""
    known = known_revisions()
    with create_engine("sqlite://").begin() as connection:
        if known:
            migrate(connection)
        options = {"render_item": _render, "target_metadata": Base.metadata}
        context = MigrationContext.configure(connection, opts=options)
        steps = produce_migrations(context, Base.metadata).upgrade_ops
        body = render_python_code(steps, render_item=_render, migration_context=context)
    revision = f"{len(known) + 1:04d}"
    text = _FILE.format(word=word, revision=revision, before=known[-1] if known else None, body=body)
    path = VERSIONS / f"v{revision}_{word}.py"
    path.write_text(text, encoding="utf-8")
    print(path)


if __name__ == "__main__":
    main(sys.argv[1])
