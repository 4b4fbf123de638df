"""Ninth form: which night sheets were made, and what the evening's one foretold."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table of night sheets."""
    op.create_table(
        "night_sheets",
        sa.Column("key", sa.String(40), nullable=False),
        sa.Column("due_ms", sa.BigInteger, nullable=False),
        sa.Column("until_ms", sa.BigInteger, nullable=False),
        sa.Column("made_ms", sa.BigInteger, nullable=False),
        sa.Column("foretold", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_night_sheets"),
    )
    op.create_index("ix_night_sheets_due_ms", "night_sheets", ["due_ms"])


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
