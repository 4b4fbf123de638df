"""Tenth form: accounts, sessions, attempts, known devices, tokens, invitations and their trail."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables; nobody has an account yet."""
    op.create_table(
        "accounts",
        sa.Column("person", sa.String(40), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("acts_for", sa.Text),
        sa.Column("password_hash", sa.Text),
        sa.Column("made_ms", sa.BigInteger, nullable=False),
        sa.Column("changed_ms", sa.BigInteger, nullable=False),
        sa.Column("disabled_ms", sa.BigInteger),
        sa.PrimaryKeyConstraint("person", name="pk_accounts"),
    )
    op.create_table(
        "account_trail",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("by", sa.String(40), nullable=False),
        sa.Column("person", sa.String(40), nullable=False),
        sa.Column("done", sa.String(20), nullable=False),
        sa.Column("details", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_account_trail"),
    )
    op.create_index("ix_account_trail_person", "account_trail", ["person"])
    _sessions()
    op.create_table(
        "personal_tokens",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.Column("person", sa.String(40), nullable=False),
        sa.Column("name", sa.String(60), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("made_ms", sa.BigInteger, nullable=False),
        sa.Column("expires_ms", sa.BigInteger),
        sa.Column("used_ms", sa.BigInteger),
        sa.Column("revoked_ms", sa.BigInteger),
        sa.PrimaryKeyConstraint("id", name="pk_personal_tokens"),
        sa.UniqueConstraint("hash", name="uq_personal_tokens_hash"),
    )
    op.create_index("ix_personal_tokens_person", "personal_tokens", ["person"])
    op.create_table(
        "invitations",
        sa.Column("hash", sa.String(64), nullable=False),
        sa.Column("person", sa.String(40), nullable=False),
        sa.Column("made_ms", sa.BigInteger, nullable=False),
        sa.Column("expires_ms", sa.BigInteger, nullable=False),
        sa.Column("used_ms", sa.BigInteger),
        sa.PrimaryKeyConstraint("hash", name="pk_invitations"),
    )
    op.create_index("ix_invitations_person", "invitations", ["person"])


def _sessions() -> None:
    op.create_table(
        "sign_in_sessions",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.Column("person", sa.String(40), nullable=False),
        sa.Column("made_ms", sa.BigInteger, nullable=False),
        sa.Column("seen_ms", sa.BigInteger, nullable=False),
        sa.Column("expires_ms", sa.BigInteger, nullable=False),
        sa.Column("address", sa.String(64), nullable=False),
        sa.Column("browser", sa.String(200), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sign_in_sessions"),
        sa.UniqueConstraint("hash", name="uq_sign_in_sessions_hash"),
    )
    op.create_index("ix_sign_in_sessions_person", "sign_in_sessions", ["person"])
    op.create_table(
        "sign_in_attempts",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("name", sa.String(64), nullable=False),
        sa.Column("address", sa.String(64), nullable=False),
        sa.Column("device", sa.String(64)),
        sa.Column("good", sa.Boolean, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sign_in_attempts"),
    )
    op.create_index("ix_sign_in_attempts_at_ms", "sign_in_attempts", ["at_ms"])
    op.create_index("ix_sign_in_attempts_name_at_ms", "sign_in_attempts", ["name", "at_ms"])
    op.create_index("ix_sign_in_attempts_address_at_ms", "sign_in_attempts", ["address", "at_ms"])
    op.create_table(
        "known_devices",
        sa.Column("hash", sa.String(64), nullable=False),
        sa.Column("person", sa.String(40), nullable=False),
        sa.Column("made_ms", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("hash", name="pk_known_devices"),
    )


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
