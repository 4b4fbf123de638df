"""A photo at the bench in a real browser: chosen, it goes; without a network, the page says so."""

from __future__ import annotations

import io

import pytest
from PIL import Image
from playwright.sync_api import expect

from api.records.observations import entered
from api.records.photos import photo_of
from api.records.session import reading

pytestmark = [pytest.mark.screen, pytest.mark.slow]


def a_file(colour: str, name: str = "IMG_0001.JPG") -> dict[str, object]:
    out = io.BytesIO()
    Image.new("RGB", (2400, 1800), colour).save(out, "JPEG")
    return {"name": name, "mimeType": "image/jpeg", "buffer": out.getvalue()}


def photos(parts) -> int:
    with reading(parts.records) as db:
        found = entered(db, batch="MG-07")
        return sum(photo_of(db, one.id) is not None for one in found)


def test_a_photo_goes_when_it_is_chosen_and_says_so_when_it_can_not(screen, tern_hollow):
    page, context = screen.page, screen.page.context
    screen.open("/bench/MG-07")
    page.locator('#fresh button[value="mould"]').first.click()
    chosen = page.locator("#written [data-photo] input[type=file]")
    expect(chosen).to_have_count(1)
    page.locator('#fresh button[value="watered"]').first.click()
    expect(chosen).to_have_count(2)
    assert screen.sticks_out_px() == 0
    assert screen.barriers() == []

    context.set_offline(True)
    chosen.first.set_input_files(a_file("green"))
    status = page.locator("#written [data-photo] [role=status]").first
    expect(status).to_contain_text("the photo was not sent")
    expect(page.locator("#offline")).to_be_visible()
    assert photos(tern_hollow.parts) == 0
    context.set_offline(False)
    page.locator("#written [data-photo] button").first.click()
    shown = page.locator("#written a.photo img")
    expect(shown).to_have_count(1)
    screen.until(lambda: shown.evaluate("(one) => one.naturalWidth") == 320)
    assert photos(tern_hollow.parts) == 1
    assert screen.sticks_out_px() == 0

    text = {"name": "leaf.jpg", "mimeType": "image/jpeg", "buffer": b"<svg>no photo</svg>"}
    chosen.set_input_files(text)
    expect(status).to_contain_text("Send a JPEG, PNG or WebP picture")
    assert photos(tern_hollow.parts) == 1
    screen.picture("photo-at-bench")
