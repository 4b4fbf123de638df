"""Second form: packed states, milestones of them, and what was known beside an alarm's value."""

from __future__ import annotations

import json
import zlib

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Pack the text of the state, and keep it as the first milestone."""
    op.create_table(
        "watch_milestones",
        sa.Column("next_minute", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("state", sa.LargeBinary, nullable=False),
    )
    op.add_column("alarms", sa.Column("particulars", sa.Text))
    op.add_column("watch_position", sa.Column("state", sa.LargeBinary))
    db = op.get_bind()
    position = sa.table(
        "watch_position",
        sa.column("id", sa.Integer),
        sa.column("next_minute", sa.BigInteger),
        sa.column("state_json", sa.Text),
        sa.column("state", sa.LargeBinary),
    )
    milestones = sa.table(
        "watch_milestones",
        sa.column("next_minute", sa.BigInteger),
        sa.column("state", sa.LargeBinary),
    )
    for row in db.execute(sa.select(position)).all():
        state = zlib.compress(_with_what_is_new(row.state_json).encode())
        db.execute(sa.update(position).where(position.c.id == row.id).values(state=state))
        db.execute(sa.insert(milestones).values(next_minute=row.next_minute, state=state))
    with op.batch_alter_table("watch_position") as table:
        table.alter_column("state", existing_type=sa.LargeBinary, nullable=False)
        table.drop_column("state_json")


def _with_what_is_new(text: str) -> str:
    """Return the state with the sums that batches carry now, none of them begun.

    Text that is no state is handed on as it is: the watch says so and begins afresh.
    """
    try:
        state = json.loads(text)
        for batch in state["batches"].values():
            batch.setdefault("doses", {})
            batch.setdefault("reckoned", {})
    except (ValueError, TypeError, KeyError, AttributeError):
        return text
    return json.dumps(state)


def downgrade() -> None:
    """Refuse: the records are never thrown away by a step backwards."""
    msg = "restore a copy of the records instead of stepping back"
    raise RuntimeError(msg)
