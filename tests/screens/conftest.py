"""A real browser at the pages of Tern Hollow, on a desk and on a phone.

One browser serves the whole run; each test gets a fresh window of it, with nothing kept. Tests that
change something get a nursery of their own (`screen`); tests that only look share one (`look`,
`hot_look`), and whoever writes there all the same is told so at the end.
"""

from __future__ import annotations

import io
import os
import sqlite3
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from axe_core_python.base import AXE_SCRIPT
from PIL import Image
from playwright.sync_api import expect, sync_playwright

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import Browser, ConsoleMessage, Page, Response

    from api.parts import Parts

SIZES = {"desk": (1280, 900), "phone": (360, 780)}
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
AXE_COLOURS = ["color-contrast", "link-in-text-block"]
PICTURES = "GRAFTVIGIL_SCREENSHOTS"
PATIENCE_S = 20

# Counts what the page hears of changes, once it has dealt with it, and what it then asks for.
EARS = """
window.moves = 0; window.asked = 0;
const ask = window.fetch;
window.fetch = (...what) => { window.asked += 1; return ask(...what); };
window.EventSource = class extends EventSource {
  constructor(...how) {
    super(...how);
    this.addEventListener('moved', () => setTimeout(() => { window.moves += 1; }));
  }
};"""
OPEN_ALL = "document.querySelectorAll('details').forEach((one) => { one.open = true; })"


@dataclass
class Weight:
    """What the open page has fetched since it was put on the scales."""

    total: int = 0  # bytes, as they came over the wire
    places: set[str] = field(default_factory=set)
    paths: list[str] = field(default_factory=list)


@dataclass
class Screen:
    """A window of one size, and where the pages are."""

    name: str
    page: Page
    address: str
    said: list[str] = field(default_factory=list)

    @property
    def width(self) -> int:
        return SIZES[self.name][0]

    def open(self, path: str) -> Response | None:
        return self.page.goto(self.address + path)

    def heading(self):
        return self.page.locator("#live h1")

    def live(self):
        return self.page.locator("#live")

    def expect_live(self, text: str, *, within_s: float = PATIENCE_S) -> None:
        """Wait until the page says this, however often it swaps its parts meanwhile."""
        expect(self.live()).to_contain_text(text, timeout=within_s * 1000)

    def choose(self, name: str, value: str) -> None:
        """Press a button of the page's foot, and wait until the page has taken it up."""
        button = self.page.locator(f"button[name={name}][value={value}]")
        button.click()
        expect(button).to_have_attribute("aria-pressed", "true")
        if name == "view":
            expect(self.page.locator("html")).to_have_attribute("data-view", value)

    def put_cookies(self, **cookies: str) -> None:
        """Keep choices, as the page's foot would."""
        self.page.context.add_cookies(
            [{"name": name, "value": value, "url": self.address} for name, value in cookies.items()]
        )

    def open_details(self) -> None:
        self.page.evaluate(OPEN_ALL)

    def picture(self, name: str) -> None:
        """Keep a picture, if the environment names a folder for it."""
        folder = os.environ.get(PICTURES)
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            self.page.screenshot(path=Path(folder) / f"{self.name}-{name}.png")

    def sticks_out_px(self) -> int:
        """Return by how much the page is wider than the window, in CSS pixels; none is 0.

        Asked of the size we gave, not of the window: a phone's window grows with its page.
        Asked of a page that has its style sheets: without them nothing fits.
        """
        self.page.wait_for_load_state("load")
        return max(0, self.page.evaluate("document.documentElement.scrollWidth") - self.width)

    def barriers(self, *, colours_alone: bool = False) -> list[str]:
        """Return the serious and critical findings of axe-core (WCAG 2.2 A and AA), with where."""
        if not self.page.evaluate("'axe' in window"):
            self.page.evaluate(AXE_SCRIPT)
        kind, values = ("rule", AXE_COLOURS) if colours_alone else ("tag", AXE_TAGS)
        found = self.page.evaluate(
            "(only) => axe.run({runOnly: only, resultTypes: ['violations']})",
            {"type": kind, "values": values},
        )
        return [
            f"{one['id']}: {one['help']}: "
            f"{', '.join(str(node['target']) for node in one['nodes'][:3])}"
            for one in found["violations"]
            if one["impact"] in {"serious", "critical"}
        ]

    def brightest(self) -> dict[str, int]:
        """Return the most of each colour that any point of the whole page shows, 0 to 255."""
        shot = self.page.screenshot(full_page=True, scale="css")
        points = np.asarray(Image.open(io.BytesIO(shot)).convert("RGB"))
        most = points.reshape(-1, 3).max(axis=0)
        return dict(zip(("red", "green", "blue"), map(int, most), strict=True))

    def complaints(self) -> list[str]:
        """Return what the browser's console complained of since the last call."""
        self.page.evaluate("0")  # what was said before this answer has arrived before it
        told, self.said[:] = list(self.said), []
        return told

    def weigh(self) -> Weight:
        """Put all that the page fetches from now on on the scales, with nothing kept before."""
        scales = Weight()
        wire = self.page.context.new_cdp_session(self.page)
        wire.send("Network.enable")
        wire.send("Network.setCacheDisabled", {"cacheDisabled": True})

        def came(event: dict[str, float]) -> None:
            scales.total += int(event["encodedDataLength"])

        wire.on("Network.loadingFinished", came)

        def asked(request) -> None:
            _, _, place, *path = request.url.split("/", 3)
            scales.places.add(place)
            scales.paths.append("/" + "".join(path))

        self.page.on("request", asked)
        return scales

    def until(self, what: Callable[[], bool], within_s: float = PATIENCE_S) -> None:
        """Wait until something is so that no locator can tell, as what is written down."""
        give_up = time.monotonic() + within_s
        while not what():
            if time.monotonic() > give_up:
                pytest.fail(f"still not so after {within_s} s")
            self.page.wait_for_timeout(20)  # the page goes on meanwhile

    def hears(self) -> None:
        """From the next page on, count what is heard of changes; see `heard_a_move`."""
        self.page.add_init_script(EARS)

    def heard_a_move(self) -> int:
        """Wait until the page has heard that something moved; return how often it asked since."""
        self.page.wait_for_function("() => window.moves > 0", timeout=PATIENCE_S * 1000)
        return self.page.evaluate("window.asked")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's own Chromium, driven from here: nothing is downloaded."""
    expect.set_options(timeout=PATIENCE_S * 1000)
    with sync_playwright() as started:
        one = started.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-quic",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
            ],
        )
        yield one
        one.close()


@pytest.fixture(params=sorted(SIZES))
def size(request: pytest.FixtureRequest) -> str:
    return request.param


@pytest.fixture
def window(chromium: Browser, size: str) -> Iterator[Callable[[str], Screen]]:
    """What opens a fresh window at an address; it is gone before the server is."""
    width, height = SIZES[size]
    context = chromium.new_context(
        viewport={"width": width, "height": height},
        device_scale_factor=1,
        is_mobile=size == "phone",
    )

    def opened(address: str) -> Screen:
        seen = Screen(size, context.new_page(), address)

        def said(message: ConsoleMessage) -> None:
            seen.said.append(f"{message.type}: {message.text}")

        seen.page.on("console", said)
        seen.page.on("pageerror", lambda trouble: seen.said.append(f"error: {trouble}"))
        return seen

    yield opened
    context.close()


@pytest.fixture
def address(serving, tern_hollow) -> Iterator[str]:
    """Where Tern Hollow is served to this test alone."""
    with serving(tern_hollow.parts) as at:
        yield at


@pytest.fixture
def screen(address, window) -> Screen:
    """A window at a nursery of the test's own."""
    return window(address)


@dataclass(frozen=True)
class Served:
    """A nursery that tests share and only look at, and where it is served."""

    address: str
    parts: Parts


@contextmanager
def _only_looked_at(nursery, records: Path, serving: Callable[..., object]) -> Iterator[Served]:
    kept = sqlite3.connect(records)
    changed = lambda: kept.execute("PRAGMA data_version").fetchone()  # noqa: E731
    with serving(nursery.parts) as address:
        before = changed()
        yield Served(address, nursery.parts)
    assert changed() == before, "a test that should only look has written"
    kept.close()
    nursery.close()


@pytest.fixture(scope="session")
def night(pages_nursery, filled, tmp_path_factory) -> Iterator[Served]:
    """Tern Hollow on its recorded night, with a sensor that nobody adopted yet."""
    folder = pages_nursery.copied(filled, tmp_path_factory.mktemp("night"))
    nursery = pages_nursery.nursery(folder)
    nursery.hear("new/b9", {"temp": 21.5, "rh": 90}, nursery.clock.now())
    with _only_looked_at(nursery, folder / "records.db", pages_nursery.serving) as served:
        yield served


@pytest.fixture(scope="session")
def hot_days(pages_nursery, cover_days, four_days, tmp_path_factory) -> Iterator[Served]:
    """Tern Hollow after four hot days."""
    folder = pages_nursery.copied(four_days, tmp_path_factory.mktemp("hot-days"))
    nursery = cover_days.opened(folder)
    with _only_looked_at(nursery, folder / "records.db", pages_nursery.serving) as served:
        yield served


@pytest.fixture
def look(night, window) -> Screen:
    """A window for a test that only looks."""
    return window(night.address)


@pytest.fixture
def hot_look(hot_days, window) -> Screen:
    """A window at the four hot days, for a test that only looks."""
    return window(hot_days.address)
