"""What is stated of a recording may change: a counter, so that two who state at once notice each other."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["down_revision", "revision", "upgrade"]

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the counter; nothing was changed so far."""
    op.add_column("recording", sa.Column("changes", sa.Integer(), nullable=False, server_default="0"))
