"""A real message that says it is a test, so that each way is known to work before the night."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from api.records.outbox import Cause, MessageKind, owe

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from rules.model.people import Person

log = logging.getLogger(__name__)


def owe_test(db: Connection, person: Person, *, at: datetime) -> int:
    """Owe a test message by every way of a person, once a minute at most; return how many."""
    key = f"test.{person.id}.{at:%Y%m%d%H%M}"
    owed = owe(db, Cause(key, MessageKind.TEST, "", at), person=person, at=at)
    log.info("test_asked person=%s messages=%d", person.id, owed)
    return owed
