"""Fourth form: messages know their step and how long they wait; people's own observations."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add what escalation needs to the outbox, and the table of observations."""
    op.add_column("outbox", sa.Column("step", sa.String(60)))
    op.add_column("outbox", sa.Column("held_until_ms", sa.BigInteger))
    op.create_table(
        "observations",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("batch", sa.String(40), nullable=False),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("seen", sa.String(20), nullable=False),
        sa.Column("share", sa.Float),
        sa.Column("check", sa.String(40)),
        sa.Column("by", sa.String(40), nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("origin", sa.String(160)),
        sa.Column("entered_ms", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_observations"),
        sa.UniqueConstraint("origin", name="uq_observations_origin"),
    )
    op.create_index("ix_observations_batch_at_ms", "observations", ["batch", "at_ms"])


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
