"""A lead changes a figure of a plan at the desk and on a phone: looks at it, says why, keeps it."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.screen


def test_a_figure_is_looked_at_with_the_enter_key_and_kept_with_a_button(screen):
    screen.put_cookies(view="night" if screen.name == "phone" else "paper")
    screen.open("/plans/leafy-bag")
    screen.page.locator("#change").click()
    bound = screen.page.locator("[name='stage/healing/limit/0/bound']")
    expect(bound).to_have_value("90")
    assert screen.sticks_out_px() == 0
    bound.fill("damp")
    bound.press("Enter")
    expect(screen.page.locator("#faults")).to_contain_text('"damp" is not a number')
    expect(bound).to_have_attribute("aria-invalid", "true")
    bound.fill("82.5")
    bound.press("Enter")
    changes = screen.page.locator("#changes")
    expect(changes).to_contain_text("at least 90 % became humidity at least 82.5 %")
    assert screen.page.url.endswith("/plans/leafy-bag/edit")
    keep = screen.page.locator("#keep")
    keep.click()  # without a reason: the browser itself asks for one
    expect(screen.page.locator("#note:invalid")).to_be_focused()
    screen.open_details()
    assert screen.sticks_out_px() == 0
    assert screen.barriers() == []
    screen.picture("plan-looked-at")
    screen.page.locator("#note").fill("hot week")
    keep.click()
    expect(screen.page.locator("#versions")).to_contain_text("Version 2 from 02:11")
    expect(screen.page.locator("#versions")).to_contain_text("hot week")
    assert screen.sticks_out_px() == 0
    screen.picture("plan-kept")
    # The browser tells of the answer 422 to the word that was no number, and of nothing else.
    assert [line for line in screen.complaints() if "422" not in line] == []
