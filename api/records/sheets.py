"""Night sheets as records: that one was made, until when it is of use, and what it foretold.

The row is written in the transaction that owes the messages: a sheet that has its row has been
owed to everybody, one that has none to nobody.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from sqlalchemy import insert, select

from api.records.tables import as_ms, instant, night_sheets

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy import Connection, Row


@dataclass(frozen=True, slots=True)
class Foretold:
    """What an evening's sheet said of one batch: the lowest of a quantity, when, with its band.

    `as_now` is what it was in that evening, which is what saying "as now" would have foretold. In
    the quantity's unit.
    """

    batch: str
    quantity: str
    minute: int
    low: float
    central: float
    high: float
    as_now: float


@dataclass(frozen=True, slots=True)
class SheetRecord:
    """A sheet that was made. `due_at` and `until` are as it fell due, in UTC."""

    key: str
    due_at: datetime
    until: datetime
    made_at: datetime
    foretold: tuple[Foretold, ...]


def keep_sheet(
    db: Connection,
    key: str,
    *,
    due_at: datetime,
    until: datetime,
    at: datetime,
    foretold: Sequence[Foretold],
) -> bool:
    """Keep that a sheet is made now; return whether it is new. Must run in `writing`."""
    if sheet_of(db, key) is not None:
        return False
    db.execute(
        insert(night_sheets).values(
            key=key,
            due_ms=as_ms(due_at),
            until_ms=as_ms(until),
            made_ms=as_ms(at),
            foretold=json.dumps([asdict(one) for one in foretold]),
        )
    )
    return True


def sheet_of(db: Connection, key: str) -> SheetRecord | None:
    """Return the sheet of a key; None where none was made."""
    row = db.execute(select(night_sheets).where(night_sheets.c.key == key)).one_or_none()
    return None if row is None else _record(row)


def last_sheet(db: Connection, kind: str, *, before: datetime) -> SheetRecord | None:
    """Return the newest sheet of a kind that was due before an instant; None: there is none."""
    found = (
        select(night_sheets)
        .where(
            night_sheets.c.key.startswith(f"sheet:{kind}:", autoescape=True),
            night_sheets.c.due_ms < as_ms(before),
        )
        .order_by(night_sheets.c.due_ms.desc())
        .limit(1)
    )
    row = db.execute(found).one_or_none()
    return None if row is None else _record(row)


def _record(row: Row[tuple[object, ...]]) -> SheetRecord:
    return SheetRecord(
        key=row.key,
        due_at=instant(row.due_ms),
        until=instant(row.until_ms),
        made_at=instant(row.made_ms),
        foretold=tuple(Foretold(**one) for one in json.loads(row.foretold)),
    )
