"""The pages of accounts in a real browser: set up by keyboard, read on a phone, signed out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from api.accounts.keeping import Granted
from api.accounts.roles import Role
from api.accounts.set_up import offer_code
from api.settings import Settings
from api.web.app import accounts_in

if TYPE_CHECKING:
    from collections.abc import Iterator

    from selenium import webdriver

    from api.accounts.keeping import AccountKeeping

pytestmark = [pytest.mark.screen, pytest.mark.slow]

PASSWORD = "moss bucket under third table"
SIZES = "return [document.documentElement.scrollWidth, window.innerWidth]"
SMALL = """
const tapped = `main button, main select, main input:not([type=hidden]), main summary,
  .who-is-in a, .who-is-in button`;
return [...document.querySelectorAll(tapped)]
  .map((one) => [one, (one.closest('label.tick') || one).getBoundingClientRect()])
  .filter(([, box]) => box.height > 0 && (box.height < 44 || box.width < 44))
  .map(([one, box]) => `${one.outerHTML.slice(0, 60)} ${box.width} ${box.height}`)"""


@dataclass
class Gate:
    """A browser in front of a nursery where nobody has an account yet."""

    screen: object
    driver: webdriver.Chrome
    keeping: AccountKeeping
    code: str

    def open(self, path: str) -> None:
        self.screen.open(path)  # type: ignore[attr-defined]

    def title(self) -> str:
        return self.driver.find_element(By.CSS_SELECTOR, "#live h1").text

    def type(self, *texts: str) -> None:
        """Type into what has the focus, going on by the tab key, and press Enter at the end."""
        # A page gives its first field the focus a moment after it is there.
        WebDriverWait(self.driver, 15).until(
            lambda d: d.switch_to.active_element.tag_name == "input"
        )
        for number, text in enumerate(texts):
            at = self.driver.switch_to.active_element
            at.send_keys(text)
            if number < len(texts) - 1:
                at.send_keys(Keys.TAB)
        self.driver.switch_to.active_element.send_keys(Keys.ENTER)

    def until(self, path: str) -> None:
        WebDriverWait(self.driver, 15).until(lambda d: d.current_url.endswith(path))

    def fits(self, name: str) -> None:
        wide, room = self.driver.execute_script(SIZES)
        self.screen.picture(name)  # type: ignore[attr-defined]
        assert wide <= room, name
        assert self.driver.execute_script(SMALL) == [], name
        assert self.screen.complaints() == [], name  # type: ignore[attr-defined]


@pytest.fixture
def gate(screen, tern_hollow, serving, tmp_path) -> Iterator[Gate]:
    data = tmp_path / "data"
    parts = replace(tern_hollow.parts, settings=Settings(accounts="on", data=data))
    _, keeping = accounts_in(parts)
    with serving(parts) as address:
        screen.address = address
        screen.driver.get(f"{address}/static/mark.svg")  # cookies are of a host alone
        screen.driver.delete_all_cookies()
        screen.complaints()
        yield Gate(screen, screen.driver, keeping, offer_code(data))
        screen.driver.get("about:blank")


def choose(gate: Gate, name: str, value: str) -> None:
    gate.driver.find_element(By.CSS_SELECTOR, f"button[name={name}][value={value}]").click()
    pressed = f"button[name={name}][value={value}][aria-pressed=true]"
    WebDriverWait(gate.driver, 15).until(lambda d: d.find_elements(By.CSS_SELECTOR, pressed))


@pytest.mark.parametrize("view", ["paper", "night"])
@pytest.mark.parametrize("language", ["en", "es"])
def test_from_the_code_to_a_new_lead_by_keyboard_alone(gate, view, language):
    gate.open("/")
    gate.until("/set-up")
    choose(gate, "view", view)
    choose(gate, "lang", language)
    gate.fits(f"set-up-{view}-{language}")
    gate.open("/set-up")
    gate.type(gate.code, "", PASSWORD, PASSWORD)
    WebDriverWait(gate.driver, 15).until(lambda d: not d.current_url.endswith("/set-up"))
    assert "12" in gate.title()
    assert "Wren Castellow" in gate.driver.find_element(By.CSS_SELECTOR, ".who-is-in").text
    gate.keeping.invite("tobin", Granted(Role.TEND), by="wren")
    gate.keeping.invite("bench-tablet", Granted(Role.TEND, ("tobin", "pilar")), by="wren")
    gate.open("/account")
    gate.fits(f"account-{view}-{language}")
    gate.open("/accounts")
    for one in gate.driver.find_elements(By.CSS_SELECTOR, "main summary"):
        one.click()
    gate.fits(f"accounts-{view}-{language}")
    gate.driver.find_element(By.ID, "invite").click()
    WebDriverWait(gate.driver, 15).until(lambda d: d.find_elements(By.ID, "link"))
    gate.fits(f"link-{view}-{language}")
    gate.driver.find_element(By.ID, "sign-out").click()
    gate.until("/sign-in")
    gate.fits(f"sign-in-{view}-{language}")
    gate.open("/alarms")
    gate.type("wren", "not this one at all")
    WebDriverWait(gate.driver, 15).until(lambda d: d.find_elements(By.CSS_SELECTOR, ".said-no"))
    gate.screen.complaints()  # the browser tells of a 401 by itself
    gate.fits(f"wrong-{view}-{language}")
    gate.type(PASSWORD)
    gate.until("/alarms")
    assert gate.screen.complaints() == []


def test_an_open_page_leads_to_sign_in_when_its_session_ends_and_calls_nothing_fine(gate):
    gate.open("/set-up")
    gate.type(gate.code, "", PASSWORD, PASSWORD)
    WebDriverWait(gate.driver, 15).until(lambda d: not d.current_url.endswith("/set-up"))
    gate.keeping.sign_out_everywhere("wren", by="machine")
    gate.driver.execute_script("document.dispatchEvent(new Event('visibilitychange'))")
    gate.until("/sign-in")
    assert gate.title() == "Sign in to see the plants"
