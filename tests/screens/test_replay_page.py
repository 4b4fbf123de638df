"""A replay in a real browser: a file dropped, corrected, watched, stopped and looked at."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

pytestmark = [pytest.mark.screen, pytest.mark.slow]

HEAD = "time,Temp (°C),RH (%)\n"
MOST_AT_NIGHT = {"green": 0x8A, "blue": 0x7A}
LARGEST_BYTES = 200_000


def a_file(name: str, lines: list[str]) -> dict[str, object]:
    text = HEAD + "\n".join(lines) + "\n"
    return {"name": name, "mimeType": "text/csv", "buffer": text.encode()}


def rows(first_hour: int, minutes: int) -> list[str]:
    return [
        f"2026-11-14 {first_hour + m // 60:02d}:{m % 60:02d},{25 + m % 30},{95 - m % 40}"
        for m in range(minutes)
    ]


def looked_over(screen, name: str) -> list[str]:
    """Return what is wrong with the page as it stands, by day and by night."""
    wrong = []
    for view in ("paper", "night"):
        screen.put_cookies(view=view)
        weight = screen.weigh()
        screen.page.reload()
        expect(screen.page.locator("html")).to_have_attribute("data-view", view)
        screen.picture(f"{name}-{view}")
        screen.open_details()
        wrong += [f"{view}: {one}" for one in screen.barriers()]
        if screen.sticks_out_px():
            wrong.append(f"{view}: sticks out by {screen.sticks_out_px()} px")
        if weight.total > LARGEST_BYTES:
            wrong.append(f"{view}: weighs {weight.total} bytes")
    brightest = screen.brightest()
    wrong += [
        f"{one} up to {brightest[one]}"
        for one, most in MOST_AT_NIGHT.items()
        if brightest[one] > most
    ]
    return wrong + screen.complaints()


def test_a_file_is_sent_corrected_replayed_and_looked_at(screen):
    page = screen.page
    screen.put_cookies(lang="en")
    screen.open("/replay")
    page.set_input_files("input[type=file]", a_file("export.csv", [*rows(14, 60), *rows(17, 60)]))
    page.locator("#of-files button.main").press("Enter")
    expect(screen.heading()).to_have_text("Is each column in its place?")
    expect(page.locator(".said-no")).to_contain_text("nothing in the file says which sensor")
    assert looked_over(screen, "replay-refused") == []
    page.select_option("select[name=f0c2]", "bag-07/air")
    page.select_option("select[name=f0c3]", "bag-07/humidity")
    page.locator("button[value=look]").click()
    expect(page.locator(".said-no")).to_have_count(0)
    assert looked_over(screen, "replay-shown") == []
    page.locator("button[value=run]").click()
    expect(screen.heading()).to_have_text(re.compile(r"\d+ alarms from"))
    screen.expect_live("Could not be seen for")
    expect(page.locator("svg.ribbon .gap-end").first).to_be_attached()
    assert looked_over(screen, "replay-told") == []


def test_a_long_replay_tells_how_far_it_is_and_stops(screen):
    page = screen.page
    screen.put_cookies(lang="es", view="night")
    screen.open("/replay")
    hours = [
        f"2026-{month:02d}-{day:02d} {hour:02d}:00,25.0,95.{hour % 10}"
        for month in range(2, 11)
        for day in range(1, 29)
        for hour in range(24)
    ]
    page.set_input_files("input[type=file]", a_file("bag-07.csv", hours))
    page.locator("#of-files button.main").click()
    page.locator("button[value=run]").click()
    far = page.locator("#how-far")
    expect(far).to_have_text(re.compile(r"\d+ % hecho"))
    before = int(far.inner_text().split()[0])
    page.wait_for_function(
        f"() => parseInt(document.getElementById('how-far')?.textContent ?? '0') > {before}"
    )
    screen.picture("replay-running")
    assert screen.sticks_out_px() == 0
    assert screen.barriers() == []
    page.locator("#running button").click()
    screen.expect_live("La repetición se paró. No se cambió nada.")
