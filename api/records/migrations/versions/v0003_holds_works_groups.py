"""Third form: alarms that are held or latch, their worst value, work in hand, and alarm groups."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add what is new; every alarm that was kept before latches, as they all did then."""
    for column in (
        sa.Column("latch", sa.Boolean, nullable=False, server_default=sa.true()),
        sa.Column("worst", sa.Float),
        sa.Column("held_until_ms", sa.BigInteger),
        sa.Column("held_by", sa.String(40)),
        sa.Column("held_why", sa.Text),
    ):
        op.add_column("alarms", column)
    op.add_column("alarm_changes", sa.Column("value", sa.Float))
    op.create_table(
        "work_in_hand",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("place", sa.String(40), nullable=False),
        sa.Column("began_ms", sa.BigInteger, nullable=False),
        sa.Column("until_ms", sa.BigInteger, nullable=False),
        sa.Column("ended_ms", sa.BigInteger),
        sa.Column("who", sa.String(40), nullable=False),
        sa.Column("ended_by", sa.String(40)),
        sa.Column("note", sa.Text),
    )
    op.create_index("ix_work_in_hand_until_ms", "work_in_hand", ["until_ms"])
    op.create_table(
        "alarm_groups",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("kind", sa.String(10), nullable=False),
        sa.Column("place", sa.String(40), nullable=False),
        sa.Column("common", sa.String(80), nullable=False),
        sa.Column("began_ms", sa.BigInteger, nullable=False),
        sa.Column("last_ms", sa.BigInteger, nullable=False),
    )
    op.create_index("ix_alarm_groups_last_ms", "alarm_groups", ["last_ms"])
    op.create_table(
        "alarm_group_members",
        sa.Column(
            "group_id",
            sa.Integer,
            sa.ForeignKey("alarm_groups.id", name="fk_alarm_group_members_group_id"),
            primary_key=True,
        ),
        sa.Column(
            "change_id",
            sa.Integer,
            sa.ForeignKey("alarm_changes.id", name="fk_alarm_group_members_change_id"),
            primary_key=True,
        ),
        sa.Column(
            "alarm_id",
            sa.Integer,
            sa.ForeignKey("alarms.id", name="fk_alarm_group_members_alarm_id"),
            nullable=False,
        ),
    )
    op.create_index("ix_alarm_group_members_alarm_id", "alarm_group_members", ["alarm_id"])
    with op.batch_alter_table("outbox") as table:
        table.add_column(
            sa.Column(
                "group_id",
                sa.Integer,
                sa.ForeignKey("alarm_groups.id", name="fk_outbox_group_id"),
            )
        )
    op.create_index("ix_outbox_group_id", "outbox", ["group_id"])


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
