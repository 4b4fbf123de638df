"""Who is signed in where, and who tried to. Tokens are kept as hashes alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import delete, insert, select, update

from api.records.account_tables import known_devices, sign_in_attempts, sign_in_sessions
from api.records.tables import as_ms, instant

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import ColumnElement, Connection, Row

ATTEMPTS_KEPT = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class SignInSession:
    """One browser that is signed in, since when, when last seen, and from where."""

    id: int
    person: str
    made_at: datetime
    seen_at: datetime
    expires_at: datetime
    address: str
    browser: str


@dataclass(frozen=True, slots=True)
class Failures:
    """How many attempts failed in a row, and when the last of them was; None: none did."""

    count: int
    last_at: datetime | None


def begin_session(
    db: Connection,
    person: str,
    hashed: str,
    *,
    at: datetime,
    until: datetime,
    address: str,
    browser: str,
) -> None:
    """Keep a new session; those that are over are thrown away."""
    db.execute(delete(sign_in_sessions).where(sign_in_sessions.c.expires_ms <= as_ms(at)))
    fresh = insert(sign_in_sessions).values(
        hash=hashed,
        person=person,
        made_ms=as_ms(at),
        seen_ms=as_ms(at),
        expires_ms=as_ms(until),
        address=address,
        browser=browser,
    )
    db.execute(fresh)


def session_of(db: Connection, hashed: str) -> SignInSession | None:
    """Return the session with this hash, over or not; None if there is none."""
    found = select(sign_in_sessions).where(sign_in_sessions.c.hash == hashed)
    row = db.execute(found).first()
    return None if row is None else _session(row)


def session_stands(db: Connection, number: int, *, at: datetime) -> bool:
    """Return whether a session was neither ended nor is over."""
    mine = (sign_in_sessions.c.id == number, sign_in_sessions.c.expires_ms > as_ms(at))
    return db.execute(select(sign_in_sessions.c.id).where(*mine)).first() is not None


def sessions_of(db: Connection, person: str) -> tuple[SignInSession, ...]:
    """Return the sessions of a person, the one last seen first."""
    mine = select(sign_in_sessions).where(sign_in_sessions.c.person == person)
    newest = sign_in_sessions.c.seen_ms.desc()
    return tuple(_session(row) for row in db.execute(mine.order_by(newest)))


def session_seen(db: Connection, number: int, *, at: datetime) -> None:
    """Keep when a session was last seen."""
    mine = update(sign_in_sessions).where(sign_in_sessions.c.id == number)
    db.execute(mine.values(seen_ms=as_ms(at)))


def end_session(db: Connection, number: int, *, person: str) -> bool:
    """End a person's session at once; return whether there was one."""
    mine = (sign_in_sessions.c.id == number, sign_in_sessions.c.person == person)
    ended = delete(sign_in_sessions).where(*mine).returning(sign_in_sessions.c.id)
    return db.execute(ended).first() is not None


def end_sessions(db: Connection, person: str) -> int:
    """End every session of a person at once; return how many there were."""
    mine = delete(sign_in_sessions).where(sign_in_sessions.c.person == person)
    return len(db.execute(mine.returning(sign_in_sessions.c.id)).all())


def note_attempt(
    db: Connection, name: str, *, address: str, device: str | None, at: datetime
) -> int:
    """Keep an attempt as failed, before it is tried; return its number.

    So attempts made at the same moment count one another, and one that is cut off counts too.
    """
    old = as_ms(at - ATTEMPTS_KEPT)
    db.execute(delete(sign_in_attempts).where(sign_in_attempts.c.at_ms < old))
    fresh = insert(sign_in_attempts).values(
        at_ms=as_ms(at), name=name, address=address, device=device, good=False
    )
    number: int = db.execute(fresh.returning(sign_in_attempts.c.id)).scalar_one()
    return number


def attempt_was_good(db: Connection, number: int) -> None:
    """Keep that an attempt succeeded."""
    mine = update(sign_in_attempts).where(sign_in_attempts.c.id == number)
    db.execute(mine.values(good=True))


def failures_of_name(db: Connection, name: str, *, since: datetime) -> Failures:
    """Return the failures in a row under a name, from devices that it never signed in on."""
    stranger = sign_in_attempts.c.device.is_(None)
    return _failures(db, (sign_in_attempts.c.name == name) & stranger, since=since)


def failures_from(db: Connection, address: str, *, since: datetime) -> Failures:
    """Return the failures in a row from an address, from devices that nobody signed in on."""
    stranger = sign_in_attempts.c.device.is_(None)
    return _failures(db, (sign_in_attempts.c.address == address) & stranger, since=since)


def failures_on(db: Connection, device: str, *, since: datetime) -> Failures:
    """Return the failures in a row on a known device."""
    return _failures(db, sign_in_attempts.c.device == device, since=since)


def forget_attempts(db: Connection, name: str) -> None:
    """Forget the failures under a name."""
    db.execute(delete(sign_in_attempts).where(sign_in_attempts.c.name == name))


def keep_device(db: Connection, hashed: str, *, person: str, at: datetime) -> None:
    """Keep that a person signed in on a device."""
    db.execute(insert(known_devices).values(hash=hashed, person=person, made_ms=as_ms(at)))


def is_known_device(db: Connection, hashed: str, *, person: str) -> bool:
    """Return whether a person has signed in on a device before."""
    mine = (known_devices.c.hash == hashed, known_devices.c.person == person)
    return db.execute(select(known_devices.c.hash).where(*mine)).first() is not None


def forget_devices(db: Connection, person: str) -> None:
    """Forget on which devices a person has signed in."""
    db.execute(delete(known_devices).where(known_devices.c.person == person))


def _failures(db: Connection, which: ColumnElement[bool], *, since: datetime) -> Failures:
    query = select(sign_in_attempts.c.at_ms, sign_in_attempts.c.good)
    recent = sign_in_attempts.c.at_ms >= as_ms(since)
    newest_first = sign_in_attempts.c.id.desc()
    count, last = 0, None
    for at_ms, good in db.execute(query.where(which, recent).order_by(newest_first).limit(200)):
        if good:
            break
        count += 1
        last = last or instant(at_ms)
    return Failures(count, last)


def _session(row: Row[tuple[object, ...]]) -> SignInSession:
    return SignInSession(
        row.id,
        row.person,
        instant(row.made_ms),
        instant(row.seen_ms),
        instant(row.expires_ms),
        row.address,
        row.browser,
    )
