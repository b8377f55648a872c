"""How a motion belongs to a force: what was said of it, and what the strikes said."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["down_revision", "revision", "upgrade"]

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the columns; of what stands nothing was said, and analyses did not keep their clocks."""
    op.add_column("recording", sa.Column("alignment", sa.JSON(), nullable=False, server_default="{}"))
    op.add_column("analysis", sa.Column("clock", sa.JSON(), nullable=True))
