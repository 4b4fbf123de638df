"""Eighth form: when the program ran, so that a stop that was asked for can be told from another."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table of runs; of the time before it nothing is known."""
    op.create_table(
        "runs",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("began_ms", sa.BigInteger, nullable=False),
        sa.Column("alive_ms", sa.BigInteger, nullable=False),
        sa.Column("ended_ms", sa.BigInteger),
        sa.PrimaryKeyConstraint("id", name="pk_runs"),
    )


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
