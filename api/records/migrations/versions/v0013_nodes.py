"""Thirteenth form: several processes over one set of records, each watching some of the houses."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make room for nodes, their leases, and a position a house; nothing is moved yet.

    The first node that watches takes the houses' positions out of the whole site's.
    """
    op.create_table(
        "nodes",
        sa.Column("name", sa.String(40), nullable=False),
        sa.Column("folder", sa.String(40), nullable=False),
        sa.Column("began_ms", sa.BigInteger, nullable=False),
        sa.Column("seen_ms", sa.BigInteger, nullable=False),
        sa.Column("ended_ms", sa.BigInteger),
        sa.Column("watches", sa.Boolean, nullable=False),
        sa.Column("unfit", sa.String(20), nullable=False),
        sa.Column("base", sa.String(64), nullable=False),
        sa.Column("base_since_ms", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_nodes"),
    )
    op.create_table(
        "house_leases",
        sa.Column("house", sa.String(40), nullable=False),
        sa.Column("holder", sa.String(40), nullable=False),
        sa.Column("term", sa.BigInteger, nullable=False),
        sa.Column("since_ms", sa.BigInteger, nullable=False),
        sa.Column("until_ms", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("house", name="pk_house_leases"),
    )
    op.create_table(
        "house_positions",
        sa.Column("house", sa.String(40), nullable=False),
        sa.Column("began_minute", sa.BigInteger, nullable=False),
        sa.Column("next_minute", sa.BigInteger, nullable=False),
        sa.Column("revision", sa.String(64), nullable=False),
        sa.Column("state", sa.LargeBinary, nullable=False),
        sa.Column("folder", sa.String(40), nullable=False),
        sa.Column("sequence", sa.BigInteger, nullable=False),
        sa.Column("saved_ms", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("house", name="pk_house_positions"),
    )
    op.create_table(
        "house_milestones",
        sa.Column("next_minute", sa.BigInteger, nullable=False),
        sa.Column("house", sa.String(40), nullable=False),
        sa.Column("state", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("next_minute", "house", name="pk_house_milestones"),
    )
    op.create_table(
        "shared_keys",
        sa.Column("name", sa.String(40), nullable=False),
        sa.Column("key", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_shared_keys"),
    )


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
