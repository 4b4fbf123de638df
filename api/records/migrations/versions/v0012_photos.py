"""Twelfth form: photos that go with what was seen."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

_THERE = sa.text("removed_ms IS NULL")


def upgrade() -> None:
    """Make room for photos; of what was seen before there are none."""
    op.create_table(
        "photos",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("observation", sa.Integer, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("width", sa.Integer, nullable=False),
        sa.Column("height", sa.Integer, nullable=False),
        sa.Column("image", sa.LargeBinary),
        sa.Column("small", sa.LargeBinary),
        sa.Column("by", sa.String(40), nullable=False),
        sa.Column("added_ms", sa.BigInteger, nullable=False),
        sa.Column("removed_ms", sa.BigInteger),
        sa.Column("removed_by", sa.String(40)),
        sa.Column("removed_why", sa.Text),
        sa.PrimaryKeyConstraint("id", name="pk_photos"),
        sa.ForeignKeyConstraint(["observation"], ["observations.id"], name="fk_photos_observation"),
    )
    op.create_index("ix_photos_observation", "photos", ["observation"])
    op.create_index(
        "ix_photos_there",
        "photos",
        ["observation"],
        unique=True,
        sqlite_where=_THERE,
        postgresql_where=_THERE,
    )


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
