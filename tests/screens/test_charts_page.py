"""The charts in a real browser: looked into by mouse and by keys, finer the closer one looks."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

pytestmark = [pytest.mark.screen, pytest.mark.slow]

PAGE = "/batches/MG-07/charts"
WEEK_MIN = 7 * 24 * 60


def span(look) -> tuple[int, int]:
    """The first minute that the page shows, and the one it ends before."""
    at = look.page.locator("#span")
    return int(at.get_attribute("data-first")), int(at.get_attribute("data-end"))


def length(look) -> int:
    first, end = span(look)
    return end - first


def points_a_day(look) -> float:
    """How closely the first chart tells its time: points of its line for each day shown."""
    lines = look.page.locator(".zoomable").first.locator(".record").all()
    drawn = sum(len(re.findall(r"[-\d.]+[ ,][-\d.]+", line.get_attribute("d"))) for line in lines)
    assert drawn > 10
    return drawn / (length(look) / (24 * 60))


@pytest.fixture
def week(hot_look):
    """The charts of the last week, of which four days and a half were seen."""
    hot_look.open(PAGE)
    hot_look.page.evaluate("window.sameDocument = true")
    assert length(hot_look) == WEEK_MIN
    return hot_look


def shows_another(week, before: tuple[int, int]) -> None:
    """Wait until the page shows another span, without having been loaded as a whole."""
    changed = f"#span:not([data-first='{before[0]}'][data-end='{before[1]}'])"
    expect(week.page.locator(changed)).to_have_count(1)
    assert week.page.evaluate("window.sameDocument") is True


def test_a_stretch_drawn_with_the_mouse_fills_the_chart_and_is_told_more_finely(week):
    chart = week.page.locator(".zoomable").first
    chart.scroll_into_view_if_needed()
    before, coarse = span(week), points_a_day(week)
    box, mouse = chart.bounding_box(), week.page.mouse
    at = lambda share: box["x"] + share * box["width"]  # noqa: E731
    height = box["y"] + box["height"] / 2
    mouse.move(at(0.75), height)
    mouse.down()
    mouse.move(at(0.8), height)
    expect(week.page.locator(".zoomable .chosen")).to_have_count(1)
    mouse.move(at(0.9), height)
    week.picture("charts-drawn")
    mouse.up()
    shows_another(week, before)
    first, end = span(week)
    assert first == pytest.approx(before[0] + 0.75 * WEEK_MIN, abs=WEEK_MIN / 100)
    assert end == pytest.approx(before[0] + 0.9 * WEEK_MIN, abs=WEEK_MIN / 100)
    assert points_a_day(week) > 3 * coarse
    assert "from=" in week.page.url
    week.page.go_back()
    expect(week.page.locator(f"#span[data-first='{before[0]}']")).to_have_count(1)
    assert span(week) == before
    assert week.complaints() == []


def test_a_mere_click_on_a_chart_changes_nothing(week):
    before = span(week)
    week.page.locator(".zoomable").first.click()
    expect(week.page.locator(".zoomable .chosen")).to_have_count(0)
    assert span(week) == before
    assert "from=" not in week.page.url


def test_charts_are_looked_into_by_keyboard_alone(week):
    at, press = week.page.locator(":focus"), week.page.keyboard.press
    for _ in range(40):
        press("Tab")
        if week.page.evaluate("document.activeElement.className") == "zoomable":
            break
    expect(at).to_have_accessible_name("Air temperature")
    expect(at).to_have_css("outline-style", "solid")
    whole, coarse = span(week), points_a_day(week)
    press("+")
    shows_another(week, whole)
    narrow = span(week)
    assert length(week) < WEEK_MIN
    assert points_a_day(week) > coarse
    expect(at).to_have_accessible_name("Air temperature")
    press("ArrowLeft")
    shows_another(week, narrow)
    earlier = span(week)
    assert earlier[0] < narrow[0]
    assert length(week) == narrow[1] - narrow[0]
    press("ArrowRight")
    shows_another(week, earlier)
    assert span(week) == narrow
    press("-")
    shows_another(week, narrow)
    assert length(week) == WEEK_MIN
    assert week.complaints() == []


def test_links_of_the_page_do_the_same_and_a_day_is_one_press_away(week):
    before = span(week)
    week.page.get_by_role("link", name="A day", exact=True).focus()
    week.page.keyboard.press("Enter")
    shows_another(week, before)
    assert length(week) == 24 * 60


def test_nothing_that_one_does_on_the_charts_dazzles_by_night(hot_look):
    hot_look.put_cookies(view="night")
    hot_look.open(PAGE)
    hot_look.page.locator("input[name=from]").focus()  # a part of a field, which browsers make blue
    assert dim(hot_look.brightest())
    hot_look.page.locator("h1").select_text()
    assert dim(hot_look.brightest())
    chart = hot_look.page.locator(".zoomable").first
    chart.scroll_into_view_if_needed()
    box, mouse = chart.bounding_box(), hot_look.page.mouse
    mouse.move(box["x"] + 20, box["y"] + 20)
    mouse.down()
    mouse.move(box["x"] + 200, box["y"] + 20)
    expect(hot_look.page.locator(".zoomable .chosen")).to_have_count(1)
    assert dim(hot_look.brightest())
    mouse.up()


def dim(brightest: dict[str, int]) -> bool:
    return brightest["green"] <= 0x8A and brightest["blue"] <= 0x7A
