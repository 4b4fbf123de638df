"""A real browser at the pages of Tern Hollow, on a desk and on a phone."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from axe_core_python.selenium import Axe
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

if TYPE_CHECKING:
    from collections.abc import Iterator

SIZES = {"desk": (1280, 900), "phone": (360, 780)}
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PICTURES = "GRAFTVIGIL_SCREENSHOTS"


@dataclass
class Screen:
    """A browser of one size, and where the pages are."""

    name: str
    driver: webdriver.Chrome
    address: str

    def open(self, path: str) -> None:
        self.driver.get(self.address + path)

    def picture(self, name: str) -> None:
        """Keep a picture, if the environment names a folder for it."""
        folder = os.environ.get(PICTURES)
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            self.driver.save_screenshot(str(Path(folder) / f"{self.name}-{name}.png"))

    def barriers(self) -> list[str]:
        """Return what axe-core finds on the open page that would keep someone out."""
        return barriers(self.driver)

    def complaints(self) -> list[str]:
        """Return what the browser's console complained of since the last call."""
        return [one["message"] for one in self.driver.get_log("browser")]


def barriers(driver: webdriver.Chrome) -> list[str]:
    """Return the serious and critical findings of axe-core (WCAG 2.2 A and AA), with where."""
    rules = {"runOnly": {"type": "tag", "values": AXE_TAGS}}
    found = Axe().run(driver, options=rules)
    return [
        f"{one['id']}: {one['help']}: {', '.join(str(node['target']) for node in one['nodes'][:3])}"
        for one in found["violations"]
        if one["impact"] in {"serious", "critical"}
    ]


def browser(name: str, profile: str) -> webdriver.Chrome:
    width, height = SIZES[name]
    options = Options()
    options.binary_location = "/usr/bin/chromium"
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--no-first-run",
        f"--user-data-dir={profile}",
        f"--window-size={width},{height}",
    ):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
    # A window can't be made as narrow as a phone; the device's measures can.
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": name == "phone"},
    )
    return driver


@pytest.fixture(scope="module", params=sorted(SIZES))
def driver(request: pytest.FixtureRequest) -> Iterator[tuple[str, webdriver.Chrome]]:
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        one = browser(request.param, profile)
        yield request.param, one
        one.quit()


@pytest.fixture
def screen(driver, serving, tern_hollow) -> Iterator[Screen]:
    name, one = driver
    with serving(tern_hollow.parts) as address:
        seen = Screen(name, one, address)
        one.delete_all_cookies()
        seen.complaints()
        yield seen
        one.get("about:blank")


@pytest.fixture
def hot_screen(driver, serving, hot_bags) -> Iterator[Screen]:
    name, one = driver
    with serving(hot_bags.parts) as address:
        seen = Screen(name, one, address)
        one.delete_all_cookies()
        seen.complaints()
        yield seen
        one.get("about:blank")
