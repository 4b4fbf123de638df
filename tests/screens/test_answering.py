"""An alarm answered in a real browser with one thumb, and the page of staff beside it."""

from __future__ import annotations

import pytest
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from api.alerts.links import LASTS, Link
from api.records.alarms import alarm, standing_alarms
from api.records.courses import raised_by
from api.records.observations import entered
from api.records.session import reading
from rules.model.alarm import AlarmState

pytestmark = [pytest.mark.screen, pytest.mark.slow]


@pytest.fixture
def link(tern_hollow) -> Link:
    parts = tern_hollow.parts
    with reading(parts.records) as db:
        one = next(a for a in standing_alarms(db) if a.state is AlarmState.UNACKNOWLEDGED)
        change_id = raised_by(db, (one.id,))[one.id]
    return Link(one.id, change_id, "pilar", parts.clock.now() + LASTS)


@pytest.fixture
def at_the_link(screen, tern_hollow, link):
    screen.open(f"/answer/{tern_hollow.parts.links.token(link)}")
    return screen


def tap(screen, name: str) -> None:
    before = screen.driver.find_element(By.TAG_NAME, "h1")
    screen.driver.find_element(By.ID, name).click()
    WebDriverWait(screen.driver, 10).until(lambda _: gone(before))


def gone(element) -> bool:
    try:
        element.is_enabled()
    except StaleElementReferenceException:
        return True
    return False


def test_the_two_first_answers_need_no_scrolling_and_fit_a_thumb(at_the_link):
    room = at_the_link.driver.execute_script("return window.innerHeight")
    for name in ("going", "seen"):
        box = at_the_link.driver.find_element(By.ID, name).rect
        assert box["height"] >= 44
        assert box["y"] + box["height"] <= room
    small = at_the_link.driver.execute_script(
        """return [...document.querySelectorAll('button, .choice, #note')]
             .map((one) => one.getBoundingClientRect()).filter((box) => box.height < 44).length"""
    )
    assert small == 0
    wide, window = at_the_link.driver.execute_script(
        "return [document.documentElement.scrollWidth, window.innerWidth]"
    )
    assert wide <= window
    at_the_link.picture("answer")
    assert at_the_link.complaints() == []


def test_one_tap_says_that_pilar_goes(at_the_link, tern_hollow, link):
    tap(at_the_link, "going")
    assert "Pilar Ondarreta se encarga desde 02:10." in at_the_link.driver.page_source
    with reading(tern_hollow.parts.records) as db:
        assert alarm(db, link.alarm_id).acknowledged_by == "pilar"
        assert [one.observation.note for one in entered(db)] == ["voy"]


def test_what_was_done_is_chosen_and_written_down(at_the_link, tern_hollow):
    choice = at_the_link.driver.find_element(By.CSS_SELECTOR, "input[value=watered]")
    at_the_link.driver.execute_script("arguments[0].scrollIntoView()", choice)
    choice.click()
    at_the_link.driver.find_element(By.ID, "note").send_keys("suelo mojado")
    tap(at_the_link, "done")
    assert "regado · suelo mojado" in at_the_link.driver.page_source
    with reading(tern_hollow.parts.records) as db:
        (one,) = entered(db)
    assert (one.observation.seen.value, one.observation.by) == ("watered", "pilar")


def test_a_test_is_asked_for_on_the_page_of_staff(screen, tern_hollow):
    screen.open("/staff")
    screen.picture("staff")
    tap(screen, "test-tobin")
    assert screen.driver.current_url.endswith("/staff")
    assert screen.complaints() == []
