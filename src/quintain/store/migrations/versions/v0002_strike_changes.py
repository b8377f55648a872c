"""What changed among the strikes, so that copies of them in memory are never stale."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["down_revision", "revision", "upgrade"]

revision = "0002"
down_revision = "0001"

_LOCK = 0x7175696E
"""The lock that writers of a PostgreSQL lab take one after the other."""

_TRIGGERS = (
    # table, event, the strikes it concerns
    ("strike", "insert", "select new.id as id"),
    ("strike", "update", "select new.id as id"),
    ("strike", "delete", "select old.id as id"),
    ("result", "update", "select new.strike_id as id"),
    (
        "recording",
        'update of "when", rig_id',
        "select id from strike where recording_sha256 = new.sha256",
    ),
    ("session", "update of rig_id", "select id from strike where session_id = new.id"),
    ("session", "insert", "select cast(null as integer) as id"),
    ("session", 'update of code, "when"', "select cast(null as integer) as id"),
    ("session", "delete", "select cast(null as integer) as id"),
    ("person", "insert", "select cast(null as integer) as id"),
    ("person", "update of code", "select cast(null as integer) as id"),
    ("person", "delete", "select cast(null as integer) as id"),
    ("rig", "insert", "select cast(null as integer) as id"),
    ("rig", "update of name", "select cast(null as integer) as id"),
    ("rig", "delete", "select cast(null as integer) as id"),
)


def upgrade() -> None:
    """Make the table and the triggers that fill it."""
    op.create_table(
        "strike_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("strike_id", sa.Integer(), nullable=True),
        sa.Column("token", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_strike_change")),
        sqlite_autoincrement=True,
    )
    lite = op.get_bind().dialect.name == "sqlite"
    token = "abs(random() % 2000000000)" if lite else "floor(random() * 2000000000)::int"
    for number, (table, event, strikes) in enumerate(_TRIGGERS):
        name = f"strike_change_{number:02d}"
        enter = f"insert into strike_change(strike_id, token) select id, {token} from ({strikes}) as changed"
        if lite:
            op.execute(f"create trigger {name} after {event} on {table} begin {enter}; end")
        else:
            # Numbers must become visible in their order, so writers go one after the other.
            op.execute(
                f"create function {name}() returns trigger language plpgsql as "
                f"$$ begin perform pg_advisory_xact_lock({_LOCK}); {enter}; return null; end $$"
            )
            op.execute(
                f"create trigger {name} after {event} on {table} for each row execute function {name}()"
            )
