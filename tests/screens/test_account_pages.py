"""The pages of accounts in a real browser: set up by keyboard, read on a phone, signed out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from api.accounts.keeping import Granted
from api.accounts.roles import Role
from api.accounts.set_up import offer_code
from api.settings import Settings
from api.web.app import accounts_in

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Page

    from api.accounts.keeping import AccountKeeping

pytestmark = [pytest.mark.screen, pytest.mark.slow]

PASSWORD = "moss bucket under third table"
SMALL = """() => {
const tapped = `main button, main select, main input:not([type=hidden]), main summary,
  .who-is-in a, .who-is-in button`;
return [...document.querySelectorAll(tapped)]
  .map((one) => [one, (one.closest('label.tick') || one).getBoundingClientRect()])
  .filter(([, box]) => box.height > 0 && (box.height < 44 || box.width < 44))
  .map(([one, box]) => `${one.outerHTML.slice(0, 60)} ${box.width} ${box.height}`)
}"""


@dataclass
class Gate:
    """A browser in front of a nursery where nobody has an account yet."""

    screen: object
    page: Page
    keeping: AccountKeeping
    code: str

    def open(self, path: str) -> None:
        self.screen.open(path)  # type: ignore[attr-defined]

    def title(self) -> str:
        return self.page.locator("#live h1").inner_text()

    def type(self, *texts: str) -> None:
        """Type into what has the focus, going on by the tab key, and press Enter at the end."""
        # A page gives its first field the focus a moment after it is there.
        expect(self.page.locator("input:focus")).to_have_count(1)
        for number, text in enumerate(texts):
            self.page.keyboard.type(text)
            if number < len(texts) - 1:
                self.page.keyboard.press("Tab")
        self.page.keyboard.press("Enter")

    def until(self, path: str) -> None:
        self.page.wait_for_url(lambda url: url.endswith(path))

    def let_in(self) -> None:
        self.page.wait_for_url(lambda url: not url.endswith("/set-up"))

    def fits(self, name: str) -> None:
        self.screen.picture(name)  # type: ignore[attr-defined]
        assert self.screen.sticks_out_px() == 0, name  # type: ignore[attr-defined]
        assert self.page.evaluate(SMALL) == [], name
        assert self.screen.complaints() == [], name  # type: ignore[attr-defined]


@pytest.fixture
def gate(window, tern_hollow, serving, tmp_path) -> Iterator[Gate]:
    data = tmp_path / "data"
    parts = replace(tern_hollow.parts, settings=Settings(accounts="on", data=data))
    _, keeping = accounts_in(parts)
    with serving(parts) as address:
        screen = window(address)
        yield Gate(screen, screen.page, keeping, offer_code(data))
        screen.page.close()


@pytest.mark.parametrize(("view", "language"), [("paper", "en"), ("night", "es")])
def test_from_the_code_to_a_new_lead_by_keyboard_alone(gate, view, language):
    gate.open("/")
    gate.until("/set-up")
    gate.screen.choose("view", view)
    gate.screen.choose("lang", language)
    gate.fits(f"set-up-{view}-{language}")
    gate.open("/set-up")
    gate.type(gate.code, "", PASSWORD, PASSWORD)
    gate.let_in()
    assert "12" in gate.title()
    expect(gate.page.locator(".who-is-in")).to_contain_text("Wren Castellow")
    gate.keeping.invite("tobin", Granted(Role.TEND), by="wren")
    gate.keeping.invite("bench-tablet", Granted(Role.TEND, ("tobin", "pilar")), by="wren")
    gate.open("/account")
    gate.fits(f"account-{view}-{language}")
    gate.open("/accounts")
    for one in gate.page.locator("main summary").all():
        one.click()
    gate.fits(f"accounts-{view}-{language}")
    gate.page.locator("#invite").click()
    expect(gate.page.locator("#link")).to_be_attached()
    gate.fits(f"link-{view}-{language}")
    gate.page.locator("#sign-out").click()
    gate.until("/sign-in")
    gate.fits(f"sign-in-{view}-{language}")
    gate.open("/alarms")
    gate.type("wren", "not this one at all")
    expect(gate.page.locator(".said-no")).to_be_visible()
    gate.screen.complaints()  # the browser tells of a 401 by itself
    gate.fits(f"wrong-{view}-{language}")
    gate.type(PASSWORD)
    gate.until("/alarms")
    assert gate.screen.complaints() == []


KEPT = """() => caches.open('bench-1').then((kept) => kept.keys())
  .then((all) => all.map((one) => new URL(one.url).pathname))
  .then((all) => all.filter((one) => one.startsWith('/bench/')))"""


@pytest.mark.parametrize("by", ["hand", "machine"])
def test_what_the_device_keeps_of_the_bench_is_gone_once_nobody_is_signed_in(gate, by):
    gate.open("/set-up")
    gate.type(gate.code, "", PASSWORD, PASSWORD)
    gate.let_in()
    gate.open("/bench/MG-07")
    gate.screen.until(lambda: gate.page.evaluate(KEPT) == ["/bench/MG-07"])
    if by == "hand":
        gate.open("/alarms")
        gate.page.locator("#sign-out").click()
        gate.until("/sign-in")
    else:
        gate.keeping.sign_out_everywhere("wren", by="machine")
        gate.open("/bench/MG-07")
        gate.page.wait_for_url(lambda url: "/sign-in" in url)
    gate.screen.until(lambda: gate.page.evaluate(KEPT) == [])


def test_an_open_page_leads_to_sign_in_when_its_session_ends_and_calls_nothing_fine(gate):
    gate.open("/set-up")
    gate.type(gate.code, "", PASSWORD, PASSWORD)
    gate.let_in()
    gate.keeping.sign_out_everywhere("wren", by="machine")
    gate.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    gate.until("/sign-in")
    assert gate.title() == "Sign in to see the plants"
