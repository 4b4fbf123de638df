"""What is done to accounts, by their owners, by a lead, or from the machine itself.

Each deed is one transaction together with its line in the trail: killed in between, nothing of it
is kept.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from api.accounts.passwords import Weak, hashed_password, weakness
from api.accounts.roles import Role
from api.accounts.signing import TOKEN_MARK, fresh_secret, grantable, name_key, secret_hash
from api.records.accounts import (
    Deed,
    account_of,
    any_password,
    end_invitations,
    invited,
    keep_account,
    keep_disabled,
    keep_hash,
    keep_invitation,
    keep_token,
    note,
    others_with_password,
    revoke_token,
)
from api.records.session import reading, writing
from api.records.sign_ins import (
    end_session,
    end_sessions,
    forget_attempts,
    forget_devices,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from sqlalchemy import Connection, Engine

    from api.accounts.signing import Place, SignedIn, Signing
    from api.records.accounts import Account
    from api.watch.clock import Clock
    from rules.model.site import Site

INVITATION_LASTS = timedelta(days=3)
_DEVICE_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}", re.ASCII)
MACHINE = "machine"
"""Who stands in the trail for the command line."""


class Why(StrEnum):
    """Why something can't be done to an account."""

    NOT_IN_BOOK = "not_in_book"
    NO_ACCOUNT = "no_account"
    NAME_TAKEN = "name_taken"
    LAST_LEAD = "last_lead"
    SET_UP_BEFORE = "set_up_before"
    LINK_OVER = "link_over"
    TOO_MUCH = "too_much"
    SHARED_LEADS = "shared_leads"
    NO_NAME = "no_name"


class NotDone(Exception):
    """Nothing was changed; `why` says what is in the way."""

    def __init__(self, why: Why) -> None:
        self.why = why
        super().__init__(why.value)


class TooWeak(Exception):
    """A password was not taken; `why` says what is wrong with it."""

    def __init__(self, why: Weak) -> None:
        self.why = why
        super().__init__(why.value)


@dataclass(frozen=True, slots=True)
class Granted:
    """What someone is to be able to do. `acts_for` None: in the own name alone."""

    role: Role
    acts_for: tuple[str, ...] | None = None


class AccountKeeping:
    """Makes and changes accounts."""

    def __init__(
        self, records: Engine, clock: Clock, site: Callable[[], Site], signing: Signing
    ) -> None:
        self._records = records
        self._clock = clock
        self._site = site
        self._signing = signing

    def set_up(self, person: str, password: str, place: Place) -> SignedIn:
        """Make the first account, which leads, and sign it in. Raises NotDone and TooWeak."""
        self._demand_person(person)
        hashed = self._hashed(person, password)
        now = self._clock.now()
        with writing(self._records) as db:
            if any_password(db):
                raise NotDone(Why.SET_UP_BEFORE)
            keep_account(db, person, role=Role.LEAD.value, acts_for=None, at=now)
            keep_hash(db, person, hashed, at=now)
            note(db, Deed.SET_UP, person, by=person, at=now, details=f"from {place.address}")
            return self._signing.begin(db, person, place, known_device=None)

    def invite(self, person: str, granted: Granted, *, by: str) -> str:
        """Make or change an account; return the secret of a one-time link to its password.

        Raises NotDone.
        """
        self._demand_possible(person, granted)
        now, secret = self._clock.now(), fresh_secret()
        with writing(self._records) as db:
            before = account_of(db, person)
            if before is not None and granted.role is not Role.LEAD:
                self._demand_other_lead(db, before)
            keep_account(db, person, role=granted.role.value, acts_for=granted.acts_for, at=now)
            until = now + INVITATION_LASTS
            keep_invitation(db, person, secret_hash(secret), at=now, until=until)
            note(db, Deed.INVITED, person, by=by, at=now, details=_told(granted))
        return secret

    def new_link(self, person: str, *, by: str) -> str:
        """Return the secret of a one-time link for someone who forgot the password. NotDone."""
        now, secret = self._clock.now(), fresh_secret()
        with writing(self._records) as db:
            if account_of(db, person) is None:
                raise NotDone(Why.NO_ACCOUNT)
            until = now + INVITATION_LASTS
            keep_invitation(db, person, secret_hash(secret), at=now, until=until)
            note(db, Deed.INVITED, person, by=by, at=now, details="link to a new password")
        return secret

    def invited(self, secret: str) -> str | None:
        """Return whom a one-time link is for; None when it is over."""
        with reading(self._records) as db:
            person = invited(db, secret_hash(secret), at=self._clock.now())
            account = None if person is None else account_of(db, person)
        return None if account is None or account.disabled_at is not None else person

    def take_up(self, secret: str, password: str, place: Place) -> SignedIn:
        """Set the password by a one-time link, end every session, sign in. NotDone, TooWeak."""
        person = self.invited(secret)
        if person is None:
            raise NotDone(Why.LINK_OVER)
        hashed = self._hashed(person, password)
        now = self._clock.now()
        with writing(self._records) as db:
            account = account_of(db, person)
            if (
                account is None
                or account.disabled_at is not None
                or invited(db, secret_hash(secret), at=now) != person
            ):
                raise NotDone(Why.LINK_OVER)
            self._put_hash(db, person, hashed, by=person, details="by a link")
            return self._signing.begin(db, person, place, known_device=None)

    def change_password(self, person: str, password: str, place: Place | None) -> SignedIn | None:
        """Set a new password; every session ends. Signed in anew at `place`; None: nowhere.

        Raises TooWeak and NotDone.
        """
        hashed = self._hashed(person, password)
        with writing(self._records) as db:
            if account_of(db, person) is None:
                raise NotDone(Why.NO_ACCOUNT)
            by = MACHINE if place is None else person
            self._put_hash(db, person, hashed, by=by, details="")
            if place is None:
                return None
            return self._signing.begin(db, person, place, known_device=None)

    def change_role(self, person: str, granted: Granted, *, by: str) -> None:
        """Change what someone may do, from the next request on. Raises NotDone."""
        now = self._clock.now()
        with writing(self._records) as db:
            account = account_of(db, person)
            if account is None:
                raise NotDone(Why.NO_ACCOUNT)
            self._demand_possible(person, granted)
            if granted.role is not Role.LEAD:
                self._demand_other_lead(db, account)
            keep_account(db, person, role=granted.role.value, acts_for=granted.acts_for, at=now)
            details = f"{account.role} to {_told(granted)}"
            note(db, Deed.ROLE, person, by=by, at=now, details=details)

    def disable(self, person: str, *, by: str) -> None:
        """Let someone in no more: sessions and links end at once. Raises NotDone."""
        now = self._clock.now()
        with writing(self._records) as db:
            account = account_of(db, person)
            if account is None:
                raise NotDone(Why.NO_ACCOUNT)
            self._demand_other_lead(db, account)
            keep_disabled(db, person, disabled=True, at=now)
            end_sessions(db, person)
            end_invitations(db, person, at=now)
            note(db, Deed.DISABLED, person, by=by, at=now)

    def enable(self, person: str, *, by: str) -> None:
        """Let someone in again. Raises NotDone."""
        now = self._clock.now()
        with writing(self._records) as db:
            if account_of(db, person) is None:
                raise NotDone(Why.NO_ACCOUNT)
            keep_disabled(db, person, disabled=False, at=now)
            note(db, Deed.ENABLED, person, by=by, at=now)

    def sign_out_everywhere(self, person: str, *, by: str) -> int:
        """End every session of someone and forget their devices; return how many there were."""
        now = self._clock.now()
        with writing(self._records) as db:
            ended = end_sessions(db, person)
            forget_devices(db, person)
            note(db, Deed.SIGNED_OUT, person, by=by, at=now, details=f"{ended} sessions")
        return ended

    def end_session(self, person: str, number: int) -> bool:
        """End one session of one's own; return whether there was one."""
        with writing(self._records) as db:
            return end_session(db, number, person=person)

    def unlock(self, person: str, *, by: str) -> None:
        """Forget the attempts that failed under someone's name."""
        with writing(self._records) as db:
            forget_attempts(db, name_key(person))
            note(db, Deed.UNLOCKED, person, by=by, at=self._clock.now())

    def make_token(
        self, person: str, *, name: str, role: Role, lasts: timedelta | None, by: str
    ) -> str:
        """Make a personal token and return it; it can't be had again. Raises NotDone."""
        now, token = self._clock.now(), TOKEN_MARK + fresh_secret()
        said = " ".join(name.split())
        if not said or not said.isprintable():
            raise NotDone(Why.NO_NAME)
        until = None if lasts is None else now + lasts
        with writing(self._records) as db:
            account = account_of(db, person)
            if account is None:
                raise NotDone(Why.NO_ACCOUNT)
            if role not in grantable(Role(account.role)):
                raise NotDone(Why.TOO_MUCH)
            hashed = secret_hash(token)
            keep_token(db, person, hashed, name=said[:60], role=role.value, at=now, until=until)
            note(db, Deed.TOKEN, person, by=by, at=now, details=f"{said[:60]} ({role.value})")
        return token

    def revoke_token(self, person: str, number: int, *, by: str) -> None:
        """End a personal token at once. Raises NotDone."""
        now = self._clock.now()
        with writing(self._records) as db:
            name = revoke_token(db, person, number, at=now)
            if name is None:
                raise NotDone(Why.NO_NAME)
            note(db, Deed.TOKEN_REVOKED, person, by=by, at=now, details=name)

    def _put_hash(self, db: Connection, person: str, hashed: str, *, by: str, details: str) -> None:
        now = self._clock.now()
        keep_hash(db, person, hashed, at=now)
        end_invitations(db, person, at=now)
        end_sessions(db, person)
        forget_devices(db, person)
        forget_attempts(db, name_key(person))
        note(db, Deed.PASSWORD, person, by=by, at=now, details=details)

    def _hashed(self, person: str, password: str) -> str:
        site = self._site()
        names = [one.name for one in site.person if one.id == person]
        why = weakness(password, (person, *names, site.site.title))
        if why is not None:
            raise TooWeak(why)
        return hashed_password(password)

    def _people(self) -> Sequence[str]:
        return [person.id for person in self._site().person if person.answers]

    def _demand_person(self, person: str) -> None:
        if person not in self._people():
            raise NotDone(Why.NOT_IN_BOOK)

    def _demand_possible(self, person: str, granted: Granted) -> None:
        if granted.acts_for is None:
            self._demand_person(person)
            return
        known = {one.id for one in self._site().person}
        if person in known:
            raise NotDone(Why.NAME_TAKEN)
        if not _DEVICE_NAME.fullmatch(person):
            raise NotDone(Why.NO_NAME)
        if granted.role is Role.LEAD:
            raise NotDone(Why.SHARED_LEADS)
        if not granted.acts_for or not set(granted.acts_for) <= set(self._people()):
            raise NotDone(Why.NOT_IN_BOOK)

    def _demand_other_lead(self, db: Connection, account: Account) -> None:
        """Raise NotDone if nobody else could lead; who never signed in does not count as one."""
        if account.role != Role.LEAD or not account.has_password or account.disabled_at:
            return
        if others_with_password(db, Role.LEAD.value, besides=account.person) == 0:
            raise NotDone(Why.LAST_LEAD)


def _told(granted: Granted) -> str:
    if granted.acts_for is None:
        return granted.role.value
    return f"{granted.role.value}, for {json.dumps(list(granted.acts_for))}"
