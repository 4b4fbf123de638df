"""Tern Hollow with accounts on, the lead set up, and browsers that keep cookies as browsers do."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import ModuleType

import httpx
import pytest

from api.accounts.keeping import AccountKeeping, Granted
from api.accounts.roles import Role
from api.accounts.set_up import offer_code
from api.accounts.signing import Signing
from api.parts import Parts
from api.settings import Settings
from api.watch.clock import TurnedClock
from api.web.app import accounts_in

PASSWORD = "moss bucket under third table"


@dataclass
class House:
    """The running application, what keeps its accounts, and browsers to it."""

    parts: Parts
    clock: TurnedClock
    address: str
    signing: Signing
    keeping: AccountKeeping
    data: Path
    stack: ExitStack
    passwords: dict[str, str] = field(default_factory=dict)

    def browser(self, **headers: str) -> httpx.Client:
        """Open a browser: it says from which page a form comes, and keeps cookies."""
        ours = {"origin": self.address, "sec-fetch-site": "same-origin", **headers}
        one = httpx.Client(base_url=self.address, timeout=30, headers=ours)
        return self.stack.enter_context(one)

    def program(self, token: str | None) -> httpx.Client:
        """Open a program: no origin, no cookies, a token if it has one."""
        headers = {} if token is None else {"authorization": f"Bearer {token}"}
        return self.stack.enter_context(
            httpx.Client(base_url=self.address, timeout=30, headers=headers)
        )

    def invite(self, person: str, role: Role, acts_for: tuple[str, ...] | None = None) -> None:
        """Give someone an account with PASSWORD."""
        secret = self.keeping.invite(person, Granted(role, acts_for), by="machine")
        form = {"password": PASSWORD, "again": PASSWORD}
        assert self.browser().post(f"/invited/{secret}", data=form).status_code == 303

    def signed_in(self, person: str) -> httpx.Client:
        """Open a browser in which someone is signed in."""
        one = self.browser()
        form = {"name": person, "password": PASSWORD}
        answer = one.post("/sign-in", data=form)
        assert answer.status_code == 303, answer.text
        return one


@pytest.fixture
def opened(
    pages_nursery: ModuleType, filled: Path, tmp_path: Path
) -> Iterator[Callable[..., House]]:
    """Open Tern Hollow with accounts on; nobody has one yet."""
    with ExitStack() as stack:

        def opener(**settings: object) -> House:
            data = tmp_path / "data"
            nursery = pages_nursery.nursery(pages_nursery.copied(filled, data))
            stack.callback(nursery.close)
            given = {"accounts": "on", "data": data, **settings}
            parts = replace(nursery.parts, settings=Settings(**given))
            address = stack.enter_context(pages_nursery.serving(parts))
            signing, keeping = accounts_in(parts)
            return House(parts, nursery.clock, address, signing, keeping, data, stack)

        yield opener


@pytest.fixture
def empty(opened: Callable[..., House]) -> House:
    return opened()


def lead_set_up(house: House) -> House:
    """Set the lead up as a person would, with the code."""
    form = {
        "code": offer_code(house.data),
        "person": "wren",
        "password": PASSWORD,
        "again": PASSWORD,
    }
    answer = house.browser().post("/set-up", data=form)
    assert answer.status_code == 303, answer.text
    return house


@pytest.fixture
def house(empty: House) -> House:
    return lead_set_up(empty)


@pytest.fixture
def set_up_lead() -> Callable[[House], House]:
    return lead_set_up


@pytest.fixture
def password() -> str:
    return PASSWORD
