"""Nobody is kept out of a page: axe-core finds nothing serious on any of them, in either view."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

pytestmark = [pytest.mark.screen, pytest.mark.slow]

PAGES = (
    "/",
    "/house",
    "/todo",
    "/bench/MG-07",
    "/bench/AV-04?lang=es",
    "/batches/MG-07",
    "/tonight",
    "/alarms",
    "/alarms/1",
    "/works",
    "/sensors",
    "/staff",
    "/rings",
    "/labels",
    "/nowhere",
)


@pytest.mark.published("WCAG 2.2, levels A and AA, as far as axe-core can tell")
@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("view", ["paper", "night"])
def test_axe_finds_nothing_serious(look, path, view):
    look.put_cookies(view=view)
    look.open(path)
    expect(look.page.locator("html")).to_have_attribute("data-view", view)
    look.open_details()
    assert look.barriers() == []


def test_axe_would_find_a_barrier(look):
    look.open("/labels")
    look.page.evaluate(
        "document.querySelector('main').insertAdjacentHTML('beforeend', '<input id=\"bare\">')"
    )
    found = look.barriers()
    assert any(one.startswith("label:") for one in found), found
    expect(look.page.locator("#bare")).to_be_attached()
