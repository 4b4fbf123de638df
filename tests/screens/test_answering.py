"""An alarm answered in a real browser with one thumb, and the page of staff beside it."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

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
    with screen.page.expect_navigation():
        screen.page.locator(f"#{name}").click()


def test_the_two_first_answers_need_no_scrolling_and_fit_a_thumb(at_the_link):
    room = at_the_link.page.evaluate("window.innerHeight")
    for name in ("going", "seen"):
        box = at_the_link.page.locator(f"#{name}").bounding_box()
        assert box["height"] >= 44
        assert box["y"] + box["height"] <= room
    small = at_the_link.page.evaluate(
        """[...document.querySelectorAll('button, .choice, #note')]
             .map((one) => one.getBoundingClientRect()).filter((box) => box.height < 44).length"""
    )
    assert small == 0
    assert at_the_link.sticks_out_px() == 0
    at_the_link.picture("answer")
    assert at_the_link.complaints() == []


def test_one_tap_says_that_pilar_goes(at_the_link, tern_hollow, link):
    tap(at_the_link, "going")
    expect(at_the_link.page.locator("body")).to_contain_text(
        "Pilar Ondarreta se encarga desde 02:10."
    )
    with reading(tern_hollow.parts.records) as db:
        assert alarm(db, link.alarm_id).acknowledged_by == "pilar"
        assert [one.observation.note for one in entered(db)] == ["voy"]


def test_what_was_done_is_chosen_and_written_down(at_the_link, tern_hollow):
    at_the_link.page.locator("input[value=watered]").click()
    at_the_link.page.locator("#note").fill("suelo mojado")
    tap(at_the_link, "done")
    expect(at_the_link.page.locator("body")).to_contain_text("regado · suelo mojado")
    with reading(tern_hollow.parts.records) as db:
        (one,) = entered(db)
    assert (one.observation.seen.value, one.observation.by) == ("watered", "pilar")


def test_a_test_is_asked_for_on_the_page_of_staff(screen, tern_hollow):
    screen.open("/staff")
    screen.picture("staff")
    tap(screen, "test-tobin")
    assert screen.page.url.endswith("/staff")
    assert screen.complaints() == []
