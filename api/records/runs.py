"""When the program ran: begun, alive, and ended if it was asked to end.

What was killed, or lost its power, has no end: the last time at which it was alive tells of it.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from sqlalchemy import insert, select, update

from api.records.tables import as_ms, runs

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from api.records.watch import WatchGap


class Stop(StrEnum):
    """Why nobody watched for a time.

    `asked`: the program was told to stop. `cut_off`: it was killed, crashed, or lost its power.
    `stood_still`: it ran, and did not watch. `unknown`: nothing was kept of that time.
    """

    ASKED = "asked"
    CUT_OFF = "cut_off"
    STOOD_STILL = "stood_still"
    UNKNOWN = "unknown"


def begin_run(db: Connection, *, at: datetime) -> int:
    """Keep that the program has begun; return the number of this run."""
    fresh = insert(runs).values(began_ms=as_ms(at), alive_ms=as_ms(at))
    number: int = db.execute(fresh.returning(runs.c.id)).scalar_one()
    return number


def still_alive(db: Connection, run: int, *, at: datetime) -> None:
    """Keep that this run is alive."""
    db.execute(update(runs).where(runs.c.id == run).values(alive_ms=as_ms(at)))


def end_run(db: Connection, run: int, *, at: datetime) -> None:
    """Keep that this run ends because it was asked to."""
    ended = {"alive_ms": as_ms(at), "ended_ms": as_ms(at)}
    db.execute(update(runs).where(runs.c.id == run).values(**ended))


def stop_behind(db: Connection, gap: WatchGap) -> Stop:
    """Return why nobody watched in a gap; of several stops in it the gravest counts."""
    noted, start = as_ms(gap.noted_at), as_ms(gap.start)
    found = select(runs).where(runs.c.began_ms <= noted).order_by(runs.c.id.desc())
    every = db.execute(found).all()
    if not every:
        return Stop.UNKNOWN
    newest, *earlier = every
    if newest.began_ms <= start:
        return Stop.STOOD_STILL
    # The run that the gap cut off, and each that began in it.
    concerned = []
    for run in earlier:
        concerned.append(run)
        if run.began_ms <= start:
            break
    if not concerned:
        return Stop.UNKNOWN
    if any(run.ended_ms is None for run in concerned):
        return Stop.CUT_OFF
    return Stop.ASKED
