"""Eleventh form: plants counted, the bench moved to, and what the lead overrode."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add what an observation may say beside its word; of those kept before, nothing is known."""
    op.add_column("observations", sa.Column("alive", sa.Integer))
    op.add_column("observations", sa.Column("dead", sa.Integer))
    op.add_column("observations", sa.Column("bench", sa.String(40)))
    op.add_column("observations", sa.Column("despite", sa.String(40)))


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
