"""What is set right in restored records, since the world went on after they were backed up.

Nothing here guesses what happened since. What may have been done already is not done again by
itself, and people are told so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import delete, func, select, update

from api.records.account_tables import invitations, personal_tokens, sign_in_sessions
from api.records.alarms import raise_alarm
from api.records.guarded import NO_BATCH, condition_of
from api.records.session import writing
from api.records.tables import as_ms, outbox
from rules.model.alarm import Priority
from rules.vital_signs import Sign

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Engine

MAY_HAVE_GONE = "owed when the backup was made; it may have been sent since, so not sent again"
"""Why a message is given up by a restore."""


@dataclass(frozen=True, slots=True)
class SetRight:
    """How many messages were given up, and how many of what lets people in.

    Sessions and open invitations are ended; `tokens` count again as they did at the backup.
    """

    given_up: int
    sessions: int
    invitations: int
    tokens: int


def set_right(records: Engine, *, made_at: datetime, now: datetime, send_owed: bool) -> SetRight:
    """Set right restored records of the newest form, in one transaction.

    `send_owed`: messages that were owed are sent after all, since nobody can have sent them.
    """
    with writing(records) as db:
        given_up = 0
        if not send_owed:
            waiting = (outbox.c.sent_ms.is_(None), outbox.c.gave_up_ms.is_(None))
            given_up = db.execute(
                update(outbox)
                .where(*waiting)
                .values(gave_up_ms=as_ms(now), leased_until_ms=None, last_error=MAY_HAVE_GONE)
            ).rowcount
        # Whoever was signed out, or used an invitation, after the backup must not be let in by it.
        sessions = db.execute(delete(sign_in_sessions)).rowcount
        unused = db.execute(delete(invitations).where(invitations.c.used_ms.is_(None))).rowcount
        counting = select(func.count()).select_from(personal_tokens)
        tokens = db.execute(counting.where(personal_tokens.c.revoked_ms.is_(None))).scalar_one()
        raise_alarm(
            db,
            batch=NO_BATCH,
            condition=condition_of(Sign.RESTORED.value),
            priority=Priority.MEDIUM,
            opened_at=now,
            since=made_at,
            value=float(given_up),
        )
    return SetRight(given_up, sessions, unused, tokens)
