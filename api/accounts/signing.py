"""Signing in, and who a request is from. What is said to a stranger never tells who has an account.

Every request is looked up anew: a session that was ended, a token that was revoked, a person who
was disabled or taken out of the book counts no more from the next request on.
"""

from __future__ import annotations

import hashlib
import logging
import secrets
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from api.accounts.passwords import hashed_password, is_outdated, is_password
from api.accounts.roles import MAY, Demand, Role
from api.accounts.waiting import (
    COUNTED_FOR,
    FREE_FOR_A_NAME,
    FREE_FROM_AN_ADDRESS,
    FREE_ON_A_DEVICE,
    wait_after,
)
from api.records.accounts import (
    account_of,
    any_password,
    hash_of,
    keep_hash,
    token_of,
    token_stands,
    token_used,
)
from api.records.session import reading, writing
from api.records.sign_ins import (
    attempt_was_good,
    begin_session,
    end_session,
    failures_from,
    failures_of_name,
    failures_on,
    is_known_device,
    keep_device,
    note_attempt,
    session_of,
    session_seen,
    session_stands,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy import Connection, Engine

    from api.records.accounts import Account
    from api.watch.clock import Clock
    from rules.model.site import Site

log = logging.getLogger(__name__)

SESSION_LASTS = timedelta(days=30)
IDLE_LASTS = timedelta(days=7)
SEEN_EVERY = timedelta(minutes=1)
TOKEN_MARK = "gvp_"  # noqa: S105 (what every personal token begins with)
_RANDOM_BYTES = 32


def fresh_secret() -> str:
    """Return 256 random bits as text that fits in an address or a cookie."""
    return secrets.token_urlsafe(_RANDOM_BYTES)


def secret_hash(secret: str) -> str:
    """Return the hash a random secret is kept under. Nobody can try 256 bits: no slow one."""
    return hashlib.sha256(secret.encode("utf-8", errors="backslashreplace")).hexdigest()


@dataclass(frozen=True, slots=True)
class Place:
    """Where someone signs in from. `device` is what their browser kept from an earlier time."""

    address: str
    browser: str
    device: str | None = None


@dataclass(frozen=True, slots=True)
class Signed:
    """Whom a request is from. `session` and `token` are numbers; one of them is None."""

    account: str
    role: Role
    acts_for: tuple[str, ...] | None
    session: int | None
    token: int | None = None
    token_role: Role | None = None

    def may(self, asked: Demand) -> bool:
        """Return whether this may do all that is asked; a token may no more than its owner."""
        if asked.by_session_only and self.session is None:
            return False
        both = (self.role,) if self.token_role is None else (self.role, self.token_role)
        return asked.met_by(*both)

    def names(self, site: Site) -> tuple[str, ...]:
        """Return the people in whose names this may act, the most likely one first."""
        people = tuple(person.id for person in site.person if person.answers)
        if self.acts_for is not None:
            return tuple(name for name in people if name in self.acts_for)
        if self.role is Role.LEAD and self.token_role in (None, Role.LEAD):
            return (self.account, *(name for name in people if name != self.account))
        return (self.account,)


@dataclass(frozen=True, slots=True)
class SignedIn:
    """What the browser is to keep: the secret of its session, and of a device new to us."""

    account: str
    session: str
    device: str | None


@dataclass(frozen=True, slots=True)
class Wait:
    """Too many attempts failed; the next one counts after this time."""

    span: timedelta


@dataclass(frozen=True, slots=True)
class Attempt:
    """An attempt that may be tried, kept as failed until it is not."""

    number: int
    known_device: str | None


class Signing:
    """Signs people in and out, and says who a request is from."""

    def __init__(self, records: Engine, clock: Clock, site: Callable[[], Site]) -> None:
        self._records = records
        self._clock = clock
        self._site = site

    def nobody_yet(self) -> bool:
        """Return whether no account was ever set up."""
        with reading(self._records) as db:
            return not any_password(db)

    def by_session(self, secret: str) -> Signed | None:
        """Return whom the secret of a session stands for; None when it counts no more."""
        now = self._clock.now()
        with reading(self._records) as db:
            found = session_of(db, secret_hash(secret))
            if found is None or now >= found.expires_at or now - found.seen_at >= IDLE_LASTS:
                return None
            account = self._usable(account_of(db, found.person))
        if account is None:
            return None
        if now - found.seen_at >= SEEN_EVERY:
            with writing(self._records) as db:
                session_seen(db, found.id, at=now)
        return Signed(account.person, Role(account.role), account.acts_for, found.id)

    def by_token(self, secret: str) -> Signed | None:
        """Return whom a personal token stands for; None when it counts no more."""
        now = self._clock.now()
        with reading(self._records) as db:
            found = token_of(db, secret_hash(secret), at=now)
            account = None if found is None else self._usable(account_of(db, found.person))
        if found is None or account is None:
            return None
        if found.used_at is None or now - found.used_at >= SEEN_EVERY:
            with writing(self._records) as db:
                token_used(db, found.id, at=now)
        return Signed(
            account.person,
            Role(account.role),
            account.acts_for,
            None,
            token=found.id,
            token_role=Role(found.role),
        )

    def still(self, signed: Signed | None) -> bool:
        """Return whether someone who was let in would be let in again now."""
        if signed is None:
            return False
        now = self._clock.now()
        with reading(self._records) as db:
            if self._usable(account_of(db, signed.account)) is None:
                return False
            if signed.session is not None:
                return session_stands(db, signed.session, at=now)
            return signed.token is not None and token_stands(db, signed.token, at=now)

    def sign_in(self, name: str, password: str, place: Place) -> SignedIn | Wait | None:
        """Return what the browser is to keep, how long to wait, or None: name or password wrong.

        Whether the name has an account changes neither the answer nor the work done for it.
        """
        who = self.account_named(name)
        attempt = self.attempt(who or name.casefold(), place, person=who)
        if isinstance(attempt, Wait):
            return attempt
        with reading(self._records) as db:
            account = None if who is None else self._usable(account_of(db, who))
            hashed = None if account is None else hash_of(db, account.person)
        if not is_password(password, hashed) or account is None or hashed is None:
            log.info("sign_in.failed address=%s known=%s", place.address, who is not None)
            return None
        better = hashed_password(password) if is_outdated(hashed) else None
        with writing(self._records) as db:
            if self._usable(account_of(db, account.person)) is None:
                return None
            if hash_of(db, account.person) != hashed:  # changed while we looked
                return None
            if better is not None:
                keep_hash(db, account.person, better, at=self._clock.now())
            attempt_was_good(db, attempt.number)
            signed = self.begin(db, account.person, place, known_device=attempt.known_device)
        log.info("sign_in.good person=%s address=%s", account.person, place.address)
        return signed

    def begin(
        self, db: Connection, person: str, place: Place, *, known_device: str | None
    ) -> SignedIn:
        """Begin a new session of someone who has just proven who they are."""
        now, secret = self._clock.now(), fresh_secret()
        until = now + SESSION_LASTS
        browser = "".join(c if c.isprintable() else " " for c in place.browser)[:200]
        begin_session(
            db,
            person,
            secret_hash(secret),
            at=now,
            until=until,
            address=place.address,
            browser=browser,
        )
        device = None
        if known_device is None:
            device = fresh_secret()
            keep_device(db, secret_hash(device), person=person, at=now)
        return SignedIn(person, secret, device)

    def attempt(self, name: str, place: Place, *, person: str | None) -> Attempt | Wait:
        """Count an attempt under a name, before it is tried; Wait: it may not be tried yet."""
        now = self._clock.now()
        since = now - COUNTED_FOR
        key = name_key(name)
        with writing(self._records) as db:
            device = None if place.device is None else secret_hash(place.device)
            known = (
                device is not None
                and person is not None
                and is_known_device(db, device, person=person)
            )
            if known and device is not None:
                on_it = failures_on(db, device, since=since)
                wait = wait_after(on_it, free=FREE_ON_A_DEVICE, now=now)
            else:
                device = None
                named = failures_of_name(db, key, since=since)
                here = failures_from(db, place.address, since=since)
                wait = max(
                    wait_after(named, free=FREE_FOR_A_NAME, now=now),
                    wait_after(here, free=FREE_FROM_AN_ADDRESS, now=now),
                )
            if wait > timedelta(0):
                log.warning(
                    "sign_in.waits address=%s s=%d", place.address, int(wait.total_seconds())
                )
                return Wait(wait)
            number = note_attempt(db, key, address=place.address, device=device, at=now)
        return Attempt(number, device)

    def good(self, attempt: Attempt) -> None:
        """Keep that an attempt succeeded."""
        with writing(self._records) as db:
            attempt_was_good(db, attempt.number)

    def sign_out(self, secret: str) -> None:
        """End the session of a secret at once."""
        with writing(self._records) as db:
            found = session_of(db, secret_hash(secret))
            if found is not None:
                end_session(db, found.id, person=found.person)

    def account_named(self, name: str) -> str | None:
        """Return the account that someone means by an id or a whole name; None: none or several."""
        said = " ".join(name.split()).casefold()
        meant = {p.id for p in self._site().person if said in (p.id.casefold(), p.name.casefold())}
        if not meant:
            with reading(self._records) as db:
                found = account_of(db, said[:40])
            return None if found is None else found.person
        return meant.pop() if len(meant) == 1 else None

    def _usable(self, account: Account | None) -> Account | None:
        """Return the account if someone may sign in to it: enabled, and of someone in the book."""
        if account is None or account.disabled_at is not None:
            return None
        people = {person.id for person in self._site().person if person.answers}
        mine = {account.person} if account.acts_for is None else set(account.acts_for)
        shared_name_is_free = account.acts_for is None or account.person not in people
        return account if mine & people and shared_name_is_free else None


def name_key(name: str) -> str:
    """Return what attempts under a name are counted by: some type a password into that box."""
    return secret_hash(name)


def grantable(role: Role) -> tuple[Role, ...]:
    """Return the roles that a token of someone may have: no more than the person may."""
    return tuple(one for one in Role if MAY[one] <= MAY[role])
