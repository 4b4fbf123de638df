"""Sixth form: what people change in the books, and which state of them the watch judged with."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the entries, and what the watch knew from which minute on."""
    op.create_table(
        "entries",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("key", sa.String(80), nullable=False),
        sa.Column("body", sa.Text),
        sa.Column("previous", sa.Integer, nullable=False),
        sa.Column("by", sa.String(40), nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("origin", sa.String(160)),
        sa.Column("entered_ms", sa.BigInteger, nullable=False),
        sa.UniqueConstraint("origin", name="uq_entries_origin"),
        sa.UniqueConstraint("kind", "key", "previous", name="uq_entries_kind_key_previous"),
    )
    op.create_table(
        "file_bases",
        sa.Column("revision", sa.String(64), primary_key=True),
        sa.Column("text", sa.LargeBinary, nullable=False),
        sa.Column("first_ms", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "watch_books",
        sa.Column("from_minute", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("revision", sa.String(64), nullable=False),
        sa.Column(
            "base",
            sa.String(64),
            sa.ForeignKey("file_bases.revision", name="fk_watch_books_base_file_bases"),
            nullable=False,
        ),
        sa.Column("observations", sa.Integer, nullable=False),
        sa.Column("entries", sa.Integer, nullable=False),
        sa.Column("taken_ms", sa.BigInteger, nullable=False),
    )


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
