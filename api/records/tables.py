"""The tables of the records. Instants are whole milliseconds since the epoch, UTC.

Whole milliseconds mean the same in every database, compare exactly, and never carry a zone that
a driver may drop. Functions in this package take and hand back aware datetimes.
"""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    text,
    true,
)

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

_STANDS = text("state != 'normal'")

alarms = Table(
    "alarms",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("batch", String(40), nullable=False),
    Column("condition", String(80), nullable=False),
    Column("priority", String(10), nullable=False),
    Column("state", String(40), nullable=False),
    Column("opened_ms", BigInteger, nullable=False),
    Column("since_ms", BigInteger, nullable=False),
    Column("ended_ms", BigInteger),
    Column("value", Float),
    Column("acknowledged_ms", BigInteger),
    Column("acknowledged_by", String(40)),
    Column("particulars", Text),
    Column("latch", Boolean, nullable=False, server_default=true()),
    Column("worst", Float),
    Column("held_until_ms", BigInteger),
    Column("held_by", String(40)),
    Column("held_why", Text),
    Index("ix_alarms_batch_opened_ms", "batch", "opened_ms"),
    Index(
        "ix_alarms_standing",
        "batch",
        "condition",
        unique=True,
        sqlite_where=_STANDS,
        postgresql_where=_STANDS,
    ),
)

alarm_changes = Table(
    "alarm_changes",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("alarm_id", ForeignKey("alarms.id"), nullable=False, index=True),
    Column("at_ms", BigInteger, nullable=False, index=True),
    Column("before", String(40), nullable=False),
    Column("after", String(40), nullable=False),
    Column("cue", String(20), nullable=False),
    Column("by", String(40)),
    Column("note", Text),
    Column("value", Float),
)

work_in_hand = Table(
    "work_in_hand",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("kind", String(20), nullable=False),
    Column("place", String(40), nullable=False),
    Column("began_ms", BigInteger, nullable=False),
    Column("until_ms", BigInteger, nullable=False, index=True),
    Column("ended_ms", BigInteger),
    Column("who", String(40), nullable=False),
    Column("ended_by", String(40)),
    Column("note", Text),
)

alarm_groups = Table(
    "alarm_groups",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("kind", String(10), nullable=False),
    Column("place", String(40), nullable=False),
    Column("common", String(80), nullable=False),
    Column("began_ms", BigInteger, nullable=False),
    Column("last_ms", BigInteger, nullable=False, index=True),
)

alarm_group_members = Table(
    "alarm_group_members",
    METADATA,
    Column("group_id", ForeignKey("alarm_groups.id"), primary_key=True),
    Column("change_id", ForeignKey("alarm_changes.id"), primary_key=True),
    Column("alarm_id", ForeignKey("alarms.id"), nullable=False, index=True),
    Column("round", Integer, nullable=False),
)

watch_gaps = Table(
    "watch_gaps",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("from_minute", BigInteger, nullable=False, unique=True),
    Column("to_minute", BigInteger, nullable=False),
    Column("noted_ms", BigInteger, nullable=False),
)

outbox = Table(
    "outbox",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("cause", String(80), nullable=False),
    Column("batch", String(40), nullable=False),
    Column("about_ms", BigInteger, nullable=False),
    Column("alarm_id", ForeignKey("alarms.id"), index=True),
    Column("gap_id", ForeignKey("watch_gaps.id")),
    Column("group_id", ForeignKey("alarm_groups.id"), index=True),
    Column("person", String(40), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("language", String(5), nullable=False),
    Column("channel", String(40), nullable=False),
    Column("instead_of", String(40)),
    Column("line", Text),
    Column("body", Text),
    Column("owed_ms", BigInteger, nullable=False),
    Column("due_ms", BigInteger, nullable=False),
    Column("leased_until_ms", BigInteger),
    Column("attempts", Integer, nullable=False),
    Column("sent_ms", BigInteger),
    Column("last_error", Text),
    Column("gave_up_ms", BigInteger),
    Column("step", String(60)),
    Column("held_until_ms", BigInteger),
    Column("group_round", Integer),
    UniqueConstraint("cause", "person", "channel"),
    Index("ix_outbox_sent_ms_gave_up_ms_due_ms", "sent_ms", "gave_up_ms", "due_ms"),
)

watch_position = Table(
    "watch_position",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("began_minute", BigInteger, nullable=False),
    Column("next_minute", BigInteger, nullable=False),
    Column("sequence", BigInteger, nullable=False),
    Column("revision", String(64), nullable=False),
    Column("state", LargeBinary, nullable=False),
)

watch_milestones = Table(
    "watch_milestones",
    METADATA,
    Column("next_minute", BigInteger, primary_key=True, autoincrement=False),
    Column("state", LargeBinary, nullable=False),
)

late_marks = Table(
    "late_marks",
    METADATA,
    Column("channel", String(81), primary_key=True),
    Column("at_ms", BigInteger, primary_key=True),
    Column("minute", BigInteger, nullable=False, index=True),
    Column("noted_ms", BigInteger, nullable=False),
)

standing_changes = Table(
    "standing_changes",
    METADATA,
    Column("batch", String(40), primary_key=True),
    Column("minute", BigInteger, primary_key=True),
    Column("before", String(20)),
    Column("after", String(20)),
)

observations = Table(
    "observations",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("batch", String(40), nullable=False),
    Column("at_ms", BigInteger, nullable=False),
    Column("seen", String(20), nullable=False),
    Column("share", Float),
    Column("check", String(40)),
    Column("by", String(40), nullable=False),
    Column("note", Text, nullable=False),
    Column("origin", String(160), unique=True),
    Column("entered_ms", BigInteger, nullable=False),
    Column("alive", Integer),
    Column("dead", Integer),
    Column("bench", String(40)),
    Column("despite", String(40)),
    Index("ix_observations_batch_at_ms", "batch", "at_ms"),
)

_THERE = text("removed_ms IS NULL")

photos = Table(
    "photos",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("observation", ForeignKey("observations.id"), nullable=False, index=True),
    Column("digest", String(64), nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("image", LargeBinary),
    Column("small", LargeBinary),
    Column("by", String(40), nullable=False),
    Column("added_ms", BigInteger, nullable=False),
    Column("removed_ms", BigInteger),
    Column("removed_by", String(40)),
    Column("removed_why", Text),
    Index(
        "ix_photos_there",
        "observation",
        unique=True,
        sqlite_where=_THERE,
        postgresql_where=_THERE,
    ),
)

entries = Table(
    "entries",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("kind", String(20), nullable=False),
    Column("key", String(80), nullable=False),
    Column("body", Text),
    Column("previous", Integer, nullable=False),
    Column("by", String(40), nullable=False),
    Column("note", Text, nullable=False),
    Column("origin", String(160), unique=True),
    Column("entered_ms", BigInteger, nullable=False),
    UniqueConstraint("kind", "key", "previous"),
)

file_bases = Table(
    "file_bases",
    METADATA,
    Column("revision", String(64), primary_key=True),
    Column("text", LargeBinary, nullable=False),
    Column("first_ms", BigInteger, nullable=False),
)

watch_books = Table(
    "watch_books",
    METADATA,
    Column("from_minute", BigInteger, primary_key=True, autoincrement=False),
    Column("revision", String(64), nullable=False),
    Column("base", ForeignKey("file_bases.revision"), nullable=False),
    Column("observations", Integer, nullable=False),
    Column("entries", Integer, nullable=False),
    Column("taken_ms", BigInteger, nullable=False),
)

night_sheets = Table(
    "night_sheets",
    METADATA,
    Column("key", String(40), primary_key=True),
    Column("due_ms", BigInteger, nullable=False, index=True),
    Column("until_ms", BigInteger, nullable=False),
    Column("made_ms", BigInteger, nullable=False),
    Column("foretold", Text, nullable=False),
)

runs = Table(
    "runs",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("began_ms", BigInteger, nullable=False),
    Column("alive_ms", BigInteger, nullable=False),
    Column("ended_ms", BigInteger),
)


def as_ms(at: datetime) -> int:
    """Return an aware instant as whole milliseconds since the epoch, cut down; ValueError if naive.

    >>> as_ms(datetime(1970, 1, 1, 0, 1, tzinfo=UTC))
    60000
    """
    if at.tzinfo is None:
        msg = "an instant in the records needs a time zone"
        raise ValueError(msg)
    since = at - datetime(1970, 1, 1, tzinfo=UTC)
    return (since.days * 86_400 + since.seconds) * 1000 + since.microseconds // 1000


def instant(ms: int) -> datetime:
    """Return whole milliseconds since the epoch as an aware instant in UTC.

    >>> instant(60_000).isoformat()
    '1970-01-01T00:01:00+00:00'
    """
    seconds, rest = divmod(ms, 1000)
    return datetime.fromtimestamp(seconds, UTC).replace(microsecond=rest * 1000)


def instant_or_none(ms: int | None) -> datetime | None:
    """Return `instant(ms)`, or None for None."""
    return None if ms is None else instant(ms)
