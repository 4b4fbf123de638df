"""Nobody is kept out of a page: axe-core finds nothing serious on any of them, in either view."""

from __future__ import annotations

import pytest
from selenium.webdriver.common.by import By

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
def test_axe_finds_nothing_serious(screen, path, view):
    screen.open(path)
    screen.driver.add_cookie({"name": "view", "value": view})
    screen.open(path)
    screen.driver.execute_script(
        "document.querySelectorAll('details').forEach((one) => { one.open = true })"
    )
    assert screen.barriers() == []


def test_axe_would_find_a_barrier(screen):
    screen.open("/labels")
    screen.driver.execute_script(
        "document.querySelector('main').insertAdjacentHTML('beforeend', '<input id=\"bare\">')"
    )
    found = screen.barriers()
    assert any(one.startswith("label:") for one in found), found
    assert screen.driver.find_element(By.ID, "bare")
