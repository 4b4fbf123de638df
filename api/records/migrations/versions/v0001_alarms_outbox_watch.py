"""First form: alarms and their changes, the outbox, and what the watch keeps."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create the tables."""
    stands = sa.text("state != 'normal'")
    op.create_table(
        "alarms",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("batch", sa.String(40), nullable=False),
        sa.Column("condition", sa.String(80), nullable=False),
        sa.Column("priority", sa.String(10), nullable=False),
        sa.Column("state", sa.String(40), nullable=False),
        sa.Column("opened_ms", sa.BigInteger, nullable=False),
        sa.Column("since_ms", sa.BigInteger, nullable=False),
        sa.Column("ended_ms", sa.BigInteger),
        sa.Column("value", sa.Float),
        sa.Column("acknowledged_ms", sa.BigInteger),
        sa.Column("acknowledged_by", sa.String(40)),
    )
    op.create_index("ix_alarms_batch_opened_ms", "alarms", ["batch", "opened_ms"])
    op.create_index(
        "ix_alarms_standing",
        "alarms",
        ["batch", "condition"],
        unique=True,
        sqlite_where=stands,
        postgresql_where=stands,
    )
    op.create_table(
        "alarm_changes",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column(
            "alarm_id",
            sa.Integer,
            sa.ForeignKey("alarms.id", name="fk_alarm_changes_alarm_id"),
            nullable=False,
        ),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("before", sa.String(40), nullable=False),
        sa.Column("after", sa.String(40), nullable=False),
        sa.Column("cue", sa.String(20), nullable=False),
        sa.Column("by", sa.String(40)),
        sa.Column("note", sa.Text),
    )
    op.create_index("ix_alarm_changes_alarm_id", "alarm_changes", ["alarm_id"])
    op.create_index("ix_alarm_changes_at_ms", "alarm_changes", ["at_ms"])
    op.create_table(
        "watch_gaps",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("from_minute", sa.BigInteger, nullable=False),
        sa.Column("to_minute", sa.BigInteger, nullable=False),
        sa.Column("noted_ms", sa.BigInteger, nullable=False),
        sa.UniqueConstraint("from_minute", name="uq_watch_gaps_from_minute"),
    )
    _create_outbox()
    _create_watch()


def _create_outbox() -> None:
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("cause", sa.String(80), nullable=False),
        sa.Column("batch", sa.String(40), nullable=False),
        sa.Column("about_ms", sa.BigInteger, nullable=False),
        sa.Column("alarm_id", sa.Integer, sa.ForeignKey("alarms.id", name="fk_outbox_alarm_id")),
        sa.Column("gap_id", sa.Integer, sa.ForeignKey("watch_gaps.id", name="fk_outbox_gap_id")),
        sa.Column("person", sa.String(40), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("language", sa.String(5), nullable=False),
        sa.Column("channel", sa.String(40), nullable=False),
        sa.Column("instead_of", sa.String(40)),
        sa.Column("line", sa.Text),
        sa.Column("body", sa.Text),
        sa.Column("owed_ms", sa.BigInteger, nullable=False),
        sa.Column("due_ms", sa.BigInteger, nullable=False),
        sa.Column("leased_until_ms", sa.BigInteger),
        sa.Column("attempts", sa.Integer, nullable=False),
        sa.Column("sent_ms", sa.BigInteger),
        sa.Column("last_error", sa.Text),
        sa.Column("gave_up_ms", sa.BigInteger),
        sa.UniqueConstraint("cause", "person", "channel", name="uq_outbox_cause_person_channel"),
    )
    op.create_index("ix_outbox_alarm_id", "outbox", ["alarm_id"])
    op.create_index(
        "ix_outbox_sent_ms_gave_up_ms_due_ms", "outbox", ["sent_ms", "gave_up_ms", "due_ms"]
    )


def _create_watch() -> None:
    op.create_table(
        "watch_position",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("began_minute", sa.BigInteger, nullable=False),
        sa.Column("next_minute", sa.BigInteger, nullable=False),
        sa.Column("sequence", sa.BigInteger, nullable=False),
        sa.Column("revision", sa.String(64), nullable=False),
        sa.Column("state_json", sa.Text, nullable=False),
    )
    op.create_table(
        "late_marks",
        sa.Column("channel", sa.String(81), primary_key=True),
        sa.Column("at_ms", sa.BigInteger, primary_key=True),
        sa.Column("minute", sa.BigInteger, nullable=False),
        sa.Column("noted_ms", sa.BigInteger, nullable=False),
    )
    op.create_index("ix_late_marks_minute", "late_marks", ["minute"])
    op.create_table(
        "standing_changes",
        sa.Column("batch", sa.String(40), primary_key=True),
        sa.Column("minute", sa.BigInteger, primary_key=True),
        sa.Column("before", sa.String(20)),
        sa.Column("after", sa.String(20)),
    )


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
