"""The pages in a real browser: readable, reachable, alive, and honest when out of touch."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import expect

from api.settings import Settings

pytestmark = [pytest.mark.screen, pytest.mark.slow]

TAPPED = {
    "now": "/",
    "alarms": "/alarms",
    "works": "/works",
    "house": "/house",
    "todo": "/todo",
    "bench": "/bench/MG-07",
}
LARGEST_BYTES = 200_000
ENDS_WITH_A_STOP = re.compile(r"\.$")


def test_a_page_that_sticks_out_or_complains_would_be_noticed(look):
    look.open("/works")
    assert look.sticks_out_px() == 0
    assert look.complaints() == []
    look.page.evaluate(
        """() => {
           const wide = document.createElement('div');
           wide.textContent = 'wide';
           wide.style.width = '2000px';
           document.querySelector('main').append(wide);
           const script = document.createElement('script');
           script.textContent = 'document.title = "not ours"';
           document.body.append(script);
        }"""
    )
    assert look.sticks_out_px() > 100
    (refused,) = look.complaints()
    assert "Content Security Policy" in refused


def test_answer_stands_at_the_top_and_the_first_thing_to_do_needs_no_scrolling(look):
    look.open("/")
    expect(look.heading()).to_have_text(
        "One of 12 batches is in danger. One can't be seen. The rest are steady.",
        use_inner_text=True,
    )
    todo = look.page.locator(".entry .todo").first
    expect(todo).to_have_text("Do Mist inside and retie the bag.", use_inner_text=True)
    box = todo.bounding_box()
    assert box["y"] + box["height"] <= look.page.evaluate("window.innerHeight")


@pytest.mark.parametrize("value", ["paper", "night"])
def test_a_view_is_chosen_at_the_foot_of_the_page(look, value):
    look.open("/")
    look.choose("view", value)
    look.open("/alarms")
    expect(look.page.locator("html")).to_have_attribute("data-view", value)
    assert look.complaints() == []


@pytest.mark.published("WCAG 2.2, success criterion 2.5.5 (enhanced): targets of 44 by 44")
@pytest.mark.parametrize("page", TAPPED)
def test_everything_to_tap_is_large_enough_for_a_thumb(look, page):
    look.open(TAPPED[page])
    small = look.page.evaluate(
        """[...document.querySelectorAll('button, select, nav a, .bands a, summary')]
             .map((one) => [one.textContent.trim().slice(0, 20), one.getBoundingClientRect()])
             .filter(([, box]) => box.height > 0 && (box.height < 44 || box.width < 44))
             .map(([name, box]) => `${name} ${box.width} ${box.height}`)"""
    )
    assert small == []


def test_acknowledging_takes_one_tap_and_says_who_is_on_it(screen):
    screen.open("/")
    screen.page.locator(".entry button.main").first.click()
    screen.expect_live("Tobin Quillfeather is on it (02:10).")
    screen.picture("acknowledged")
    first = screen.page.locator(".entry").first
    expect(first.locator("button")).to_have_count(0)
    assert screen.complaints() == []


def test_acknowledge_can_be_reached_and_pressed_from_the_keyboard(screen):
    screen.open("/")
    at = screen.page.locator(":focus")
    screen.page.keyboard.press("Tab")
    expect(at).to_have_class("skip")
    for _ in range(25):
        if "main" in (at.get_attribute("class") or ""):
            break
        screen.page.keyboard.press("Tab")
    expect(at).to_have_accessible_name("Acknowledge: MG-07")
    expect(at).to_have_css("outline-style", "solid")
    screen.page.keyboard.press("Enter")
    screen.expect_live("is on it")


def test_open_page_follows_the_night_without_being_loaded_again(screen, tern_hollow):
    screen.open("/")
    screen.page.evaluate("window.sameDocument = true")
    screen.expect_live("Judged up to 02:08.")
    tern_hollow.go_on(4)
    screen.expect_live("Judged up to 02:12.")
    assert screen.page.evaluate("window.sameDocument") is True
    assert screen.complaints() == []


def test_choosing_a_name_is_not_taken_from_under_the_thumb(screen, tern_hollow):
    screen.hears()
    screen.open("/")
    chosen = screen.page.locator(".entry select").first
    chosen.focus()
    chosen.evaluate("(one) => { one.value = 'odell' }")
    tern_hollow.go_on(1)
    assert screen.heard_a_move() == 0, "the page asks for nothing new meanwhile"
    expect(chosen).to_have_value("odell")
    chosen.blur()
    screen.expect_live("Judged up to 02:09.")


def test_whoever_goes_by_keyboard_keeps_the_place_when_the_page_is_made_new(screen, tern_hollow):
    screen.hears()
    screen.open("/")
    link = screen.page.locator(".bands a:not([id])").nth(2)
    where = link.get_attribute("href")
    link.focus()
    link.evaluate("(one) => { window.before = one }")
    tern_hollow.go_on(1)
    screen.expect_live("Judged up to 02:09.")
    assert screen.page.evaluate("window.before.isConnected") is False
    expect(screen.page.locator(":focus")).to_have_attribute("href", where)


def test_work_is_begun_and_ended_with_a_few_taps(screen):
    screen.open("/works")
    screen.page.locator("#begin-washing summary").click()
    screen.page.locator("#note-washing").fill("benches")
    screen.picture("works-begin")
    screen.page.locator("#do-washing").click()
    expect(screen.heading()).to_contain_text("One piece of work is in hand")
    screen.expect_live("(benches)")
    assert screen.sticks_out_px() == 0
    screen.picture("works-in-hand")
    screen.page.locator("#end-work-1").click()
    expect(screen.heading()).to_contain_text("No work is in hand")
    assert screen.complaints() == []


def test_an_alarm_is_set_aside_with_a_reason_that_is_not_taken_while_it_is_written(
    screen, tern_hollow
):
    screen.hears()
    screen.open("/alarms/1")
    screen.page.locator("#hold summary").click()
    reason = screen.page.locator("#why-shelve")
    reason.fill("bag open")
    reason.blur()
    tern_hollow.go_on(1)
    assert screen.heard_a_move() == 0, "the page asks for nothing new meanwhile"
    expect(reason).to_have_value("bag open")
    small = screen.page.evaluate(
        """[...document.querySelectorAll('#hold button, #hold select, #hold input')]
             .filter((one) => one.type !== 'hidden' && one.getBoundingClientRect().height < 44)
             .length"""
    )
    assert small == 0
    screen.picture("alarm-hold")
    screen.page.locator("#shelve").click()
    screen.expect_live("(bag open)")
    screen.picture("alarm-held")
    expect(screen.page.locator("#let-go")).to_have_text("Take it up again")
    assert screen.complaints() == []


def test_the_rest_of_the_pages_is_one_tap_away_and_stays_on_the_screen(look):
    look.open("/")
    look.page.locator(".more summary").click()
    boxes = look.page.evaluate(
        """[...document.querySelectorAll('.more li a')].map((one) => {
             const box = one.getBoundingClientRect();
             return [box.left, window.innerWidth - box.right, box.height];
           })"""
    )
    assert len(boxes) == 8
    assert all(left >= 0 and right >= 0 and high >= 44 for left, right, high in boxes)
    look.picture("more")
    look.page.get_by_role("link", name="Staff", exact=True).click()
    look.page.wait_for_url("**/staff")
    expect(look.page.locator(".more summary")).to_have_text("Staff")


def test_a_batch_is_opened_from_the_plan_of_the_house_and_from_the_keyboard(look):
    look.open("/house")
    link = look.page.locator('.house-plan a[href="/bench/MG-09"]')
    expect(link).to_have_accessible_name("MG-09, mango late red, under a tied bag: steady")
    link.focus()
    look.page.keyboard.press("Enter")
    look.page.wait_for_url("**/bench/MG-09")


def test_page_that_has_lost_touch_says_so_and_since_when(window, tern_hollow, serving):
    with serving(tern_hollow.parts) as address:
        screen = window(address)
        screen.open("/")
        lost = screen.page.locator("#lost")
        expect(lost).to_be_hidden()
    expect(lost).to_be_visible()
    expect(lost).to_contain_text("This page has lost touch since 02:10. What you see is old.")


def test_first_page_weighs_little_and_asks_only_this_machine(look):
    weight = look.weigh()
    look.open("/")
    look.until(lambda: "/events" in weight.paths)  # the last that the page asks for
    assert "/static/style.css" in weight.paths
    assert 5_000 < weight.total < LARGEST_BYTES
    assert weight.places == {look.address.removeprefix("http://")}


def test_pictures_say_in_words_what_they_show(look):
    look.open("/batches/MG-07")
    pictures = look.page.locator("svg[role=img]")
    expect(pictures).to_have_count(12)
    for one in pictures.all():
        expect(one).to_have_accessible_name(ENDS_WITH_A_STOP)
        assert one.bounding_box()["width"] > 300


def test_the_band_of_an_estimate_is_seen_and_its_figures_are_one_tap_away(hot_look):
    hot_look.open("/batches/MG-07")
    assert hot_look.page.locator("#water .band").first.bounding_box()["height"] > 40
    figures = hot_look.page.locator("#figures tbody").first
    expect(figures).to_be_hidden()
    hot_look.page.locator("#figures summary").first.click()
    expect(figures).to_be_visible()
    expect(figures).to_contain_text("common practice, no source")


def test_night_view_shows_no_white(look):
    look.open("/")
    look.choose("view", "night")
    expect(look.page.locator("html")).to_have_css("background-color", "rgb(0, 0, 0)")


def test_rows_tell_their_standing_without_colour(look):
    look.open("/")
    marks = look.page.evaluate(
        """[...document.querySelectorAll('.entry')].map((one) => {
             const mark = getComputedStyle(one, '::before');
             return [one.querySelector('.tag').textContent, mark.backgroundColor,
                     mark.borderTopStyle];
           })"""
    )
    words = [mark[0] for mark in marks]
    assert words == ["in danger", "blind"]
    assert marks[0][1] != "rgba(0, 0, 0, 0)"
    assert marks[1][1] == "rgba(0, 0, 0, 0)"
    assert marks[1][2] == "dotted"


def test_a_stranger_is_adopted_in_two_clicks(window, tern_hollow, serving, tmp_path):
    for part in ("plans", "site.toml"):
        source = pages_demo() / part
        copy = shutil.copytree if source.is_dir() else shutil.copy
        copy(source, tmp_path / part)
    settings = Settings(site=tmp_path / "site.toml", plans=tmp_path / "plans", push_token=None)
    tern_hollow.hear("new/b9", {"temp": 21.5, "rh": 90}, tern_hollow.clock.now())
    with serving(replace(tern_hollow.parts, settings=settings)) as address:
        screen = window(address)
        screen.open("/sensors")
        screen.page.locator("a.button").first.click()
        expect(screen.page.locator("form.adopt")).to_be_visible()
        assert screen.sticks_out_px() == 0
        screen.picture("adopt")
        screen.page.locator("form.adopt button").click()
        screen.page.wait_for_url("**/sensors#strangers")
        expect(screen.page.locator("body")).to_contain_text("It counts from the next minute.")
        assert screen.complaints() == []
        screen.page.close()
    written = (tmp_path / "site.toml").read_text(encoding="utf-8")
    assert written.startswith((pages_demo() / "site.toml").read_text(encoding="utf-8"))
    assert 'topic = "new/b9"' in written


def pages_demo() -> Path:
    return Path(__file__).parents[2] / "demo_data"
