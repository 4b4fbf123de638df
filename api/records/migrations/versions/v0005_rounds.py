"""Fifth form: who joined a group when, and which members a message about it has named."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the rounds of groups; what was gathered before is all of the first."""
    first = sa.Column("round", sa.Integer, nullable=False, server_default="1")
    op.add_column("alarm_group_members", first)
    op.add_column("outbox", sa.Column("group_round", sa.Integer))


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
