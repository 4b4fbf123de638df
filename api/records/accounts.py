"""Accounts, invitations and personal tokens, and the trail of who changed what of them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from sqlalchemy import func, insert, or_, select, update

from api.records.account_tables import account_trail, accounts, invitations, personal_tokens
from api.records.tables import as_ms, instant, instant_or_none

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy import Connection, Row


@dataclass(frozen=True, slots=True)
class Account:
    """Who may sign in. `has_password` is false until an invitation was taken up.

    `acts_for` None: the account of a person of the book. Else that of a shared device, which acts
    in the names of these people, and in no other.
    """

    person: str
    role: str
    acts_for: tuple[str, ...] | None
    has_password: bool
    made_at: datetime
    disabled_at: datetime | None


class Deed(StrEnum):
    """What a line of the trail tells."""

    SET_UP = "set_up"
    INVITED = "invited"
    ROLE = "role"
    PASSWORD = "password"  # noqa: S105 (the name of a deed)
    DISABLED = "disabled"
    ENABLED = "enabled"
    TOKEN = "token"  # noqa: S105 (the name of a deed)
    TOKEN_REVOKED = "token_revoked"  # noqa: S105 (the name of a deed)
    SIGNED_OUT = "signed_out"
    UNLOCKED = "unlocked"


@dataclass(frozen=True, slots=True)
class TrailLine:
    """One thing done to an account. `by` is a person, or "machine" for the command line."""

    at: datetime
    by: str
    person: str
    done: Deed
    details: str


@dataclass(frozen=True, slots=True)
class PersonalToken:
    """What is known of a token; not the token. `expires_at` None: it does not expire."""

    id: int
    person: str
    name: str
    role: str
    made_at: datetime
    expires_at: datetime | None
    used_at: datetime | None
    revoked_at: datetime | None


def any_password(db: Connection) -> bool:
    """Return whether anyone was ever set up; until then the set-up page is open."""
    found = select(accounts.c.person).where(accounts.c.password_hash.is_not(None)).limit(1)
    return db.execute(found).first() is not None


def account_of(db: Connection, person: str) -> Account | None:
    """Return an account; None if there is none."""
    row = db.execute(select(accounts).where(accounts.c.person == person)).first()
    return None if row is None else _account(row)


def all_accounts(db: Connection) -> tuple[Account, ...]:
    """Return every account, the disabled ones too."""
    return tuple(_account(row) for row in db.execute(select(accounts).order_by("person")))


def hash_of(db: Connection, person: str) -> str | None:
    """Return the hash of a password for checking it; None if there is none."""
    found = select(accounts.c.password_hash).where(accounts.c.person == person)
    known: str | None = db.execute(found).scalar()
    return known


def keep_account(
    db: Connection, person: str, *, role: str, acts_for: Sequence[str] | None, at: datetime
) -> None:
    """Make an account without a password, or change the role and names of one."""
    names = None if acts_for is None else json.dumps(list(acts_for))
    fields = {"role": role, "acts_for": names, "changed_ms": as_ms(at)}
    if account_of(db, person) is None:
        db.execute(insert(accounts).values(person=person, made_ms=as_ms(at), **fields))
    else:
        db.execute(update(accounts).where(accounts.c.person == person).values(**fields))


def keep_hash(db: Connection, person: str, hashed: str, *, at: datetime) -> None:
    """Put the hash of a new password in the place of the old one."""
    fields = {"password_hash": hashed, "changed_ms": as_ms(at)}
    db.execute(update(accounts).where(accounts.c.person == person).values(**fields))


def keep_disabled(db: Connection, person: str, *, disabled: bool, at: datetime) -> None:
    """Keep that nobody can sign in to an account, or that its owner can again."""
    fields = {"disabled_ms": as_ms(at) if disabled else None, "changed_ms": as_ms(at)}
    db.execute(update(accounts).where(accounts.c.person == person).values(**fields))


def note(
    db: Connection, done: Deed, person: str, *, by: str, at: datetime, details: str = ""
) -> None:
    """Add a line to the trail. No line of it is ever changed or taken away."""
    line = {"at_ms": as_ms(at), "by": by, "person": person, "done": done.value}
    db.execute(insert(account_trail).values(details=details, **line))


def newest_trail(db: Connection, *, most: int) -> tuple[TrailLine, ...]:
    """Return the newest lines of the trail, the newest first."""
    found = db.execute(select(account_trail).order_by(account_trail.c.id.desc()).limit(most))
    return tuple(
        TrailLine(instant(row.at_ms), row.by, row.person, Deed(row.done), row.details)
        for row in found
    )


def keep_invitation(
    db: Connection, person: str, hashed: str, *, at: datetime, until: datetime
) -> None:
    """Keep a one-time link; an earlier one of the same person ends."""
    mine = invitations.c.person == person
    open_ones = update(invitations).where(mine, invitations.c.used_ms.is_(None))
    db.execute(open_ones.values(used_ms=as_ms(at)))
    fresh = {"hash": hashed, "person": person, "made_ms": as_ms(at), "expires_ms": as_ms(until)}
    db.execute(insert(invitations).values(**fresh))


def invited(db: Connection, hashed: str, *, at: datetime) -> str | None:
    """Return whom a one-time link is for; None when it is used up, too old, or no link."""
    found = select(invitations.c.person).where(
        invitations.c.hash == hashed,
        invitations.c.used_ms.is_(None),
        invitations.c.expires_ms > as_ms(at),
    )
    person: str | None = db.execute(found).scalar()
    return person


def end_invitations(db: Connection, person: str, *, at: datetime) -> None:
    """End every one-time link of a person."""
    mine = (invitations.c.person == person, invitations.c.used_ms.is_(None))
    db.execute(update(invitations).where(*mine).values(used_ms=as_ms(at)))


def keep_token(
    db: Connection,
    person: str,
    hashed: str,
    *,
    name: str,
    role: str,
    at: datetime,
    until: datetime | None,
) -> int:
    """Keep a new personal token by its hash; return its number."""
    fresh = insert(personal_tokens).values(
        hash=hashed,
        person=person,
        name=name,
        role=role,
        made_ms=as_ms(at),
        expires_ms=None if until is None else as_ms(until),
    )
    number: int = db.execute(fresh.returning(personal_tokens.c.id)).scalar_one()
    return number


def token_of(db: Connection, hashed: str, *, at: datetime) -> PersonalToken | None:
    """Return the token with this hash if it counts now; None otherwise."""
    found = select(personal_tokens).where(
        personal_tokens.c.hash == hashed,
        personal_tokens.c.revoked_ms.is_(None),
        or_(personal_tokens.c.expires_ms.is_(None), personal_tokens.c.expires_ms > as_ms(at)),
    )
    row = db.execute(found).first()
    return None if row is None else _token(row)


def token_stands(db: Connection, number: int, *, at: datetime) -> bool:
    """Return whether a token was neither revoked nor is over."""
    found = select(personal_tokens.c.hash).where(personal_tokens.c.id == number)
    hashed: str | None = db.execute(found).scalar()
    return hashed is not None and token_of(db, hashed, at=at) is not None


def tokens_of(db: Connection, person: str) -> tuple[PersonalToken, ...]:
    """Return every token a person ever had, the newest first."""
    mine = select(personal_tokens).where(personal_tokens.c.person == person)
    return tuple(_token(row) for row in db.execute(mine.order_by(personal_tokens.c.id.desc())))


def token_used(db: Connection, number: int, *, at: datetime) -> None:
    """Keep when a token was last used."""
    mine = update(personal_tokens).where(personal_tokens.c.id == number)
    db.execute(mine.values(used_ms=as_ms(at)))


def revoke_token(db: Connection, person: str, number: int, *, at: datetime) -> str | None:
    """End a person's token at once; return its name, None if there is none that counts."""
    mine = (
        personal_tokens.c.id == number,
        personal_tokens.c.person == person,
        personal_tokens.c.revoked_ms.is_(None),
    )
    ended = update(personal_tokens).where(*mine).values(revoked_ms=as_ms(at))
    name: str | None = db.execute(ended.returning(personal_tokens.c.name)).scalar()
    return name


def others_with_password(db: Connection, role: str, *, besides: str) -> int:
    """Return how many others of a role can sign in."""
    found = select(func.count()).where(
        accounts.c.role == role,
        accounts.c.person != besides,
        accounts.c.password_hash.is_not(None),
        accounts.c.disabled_ms.is_(None),
    )
    return int(db.execute(found).scalar_one())


def _account(row: Row[tuple[object, ...]]) -> Account:
    return Account(
        row.person,
        row.role,
        None if row.acts_for is None else tuple(json.loads(row.acts_for)),
        row.password_hash is not None,
        instant(row.made_ms),
        instant_or_none(row.disabled_ms),
    )


def _token(row: Row[tuple[object, ...]]) -> PersonalToken:
    return PersonalToken(
        row.id,
        row.person,
        row.name,
        row.role,
        instant(row.made_ms),
        instant_or_none(row.expires_ms),
        instant_or_none(row.used_ms),
        instant_or_none(row.revoked_ms),
    )
