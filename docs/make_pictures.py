"""Takes the pictures of pages anew: python docs/make_pictures.py [FOLDER].

Needs Chromium as /usr/bin/chromium. Tern Hollow's recorded night is played and served, as the tests
do, and photographed into docs/pictures. What is read on each page (title, heads, columns) goes into
pages.json beside them; a test holds it against the pages of today, so that no picture outlives its
page unnoticed.
"""

from __future__ import annotations

import html
import importlib
import io
import json
import re
import sys
import tempfile
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import httpx
from PIL import Image
from playwright.sync_api import sync_playwright

from api.settings import Settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SCREENS = Path(__file__).parents[1] / "tests" / "screens"
DESK, PHONE = (1280, 900), (390, 844)
MOST_COLOURS = 128
"""More than our pages have, but for the blurred edges of letters."""


@dataclass(frozen=True)
class Shot:
    """A picture: its name, the page it is of, how wide and high, in which view and language."""

    name: str
    path: str
    size: tuple[int, int] = DESK
    view: str = "paper"
    language: str = "en"


SHOTS = (
    Shot("now-desktop", "/"),
    Shot("now-phone", "/", size=PHONE),
    Shot("now-by-night", "/", size=PHONE, view="night"),
    Shot("house", "/house"),
    Shot("batch", "/batches/MG-07", size=(1280, 1250)),
    Shot("charts", "/batches/MG-07/charts?from=2026-11-14T12:00&to=2026-11-15T02:10"),
    Shot("bench", "/bench/AV-04", size=(390, 1200)),
    Shot("todo", "/todo", size=PHONE, language="es"),
    Shot("tonight", "/tonight"),
    Shot("alarms", "/alarms"),
    Shot("sensors", "/sensors"),
    Shot("plan", "/plans/leafy-bag"),
    Shot("staff", "/staff"),
    Shot("settings", "/settings"),
)


def read_on(page: str) -> list[str]:
    """Return what is read on a page: its title, its heads and the heads of columns, in order.

    >>> read_on("<h1>Two <b>wait</b>.</h1><p>x</p><h2>Now</h2>")
    ['Two wait.', 'Now']
    """
    found = re.findall(r"(?s)<(h1|h2|th|figcaption)\b[^>]*>(.*?)</\1>", page)
    told = (html.unescape(re.sub(r"<[^>]+>", " ", inside)) for _, inside in found)
    return [" ".join(one.split()) for one in told]


def taken(browser: Browser, address: str, shot: Shot) -> bytes:
    """Return a picture as PNG."""
    width, height = shot.size
    context = browser.new_context(viewport={"width": width, "height": height}, locale="en-GB")
    cookies = {"view": shot.view, "lang": shot.language}
    context.add_cookies([{"name": n, "value": v, "url": address} for n, v in cookies.items()])
    page = context.new_page()
    page.goto(address + shot.path)
    page.wait_for_load_state("load")
    kept = io.BytesIO()
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    picture.quantize(MOST_COLOURS, dither=Image.Dither.NONE).save(kept, "PNG", optimize=True)
    context.close()
    return kept.getvalue()


def main(folder: Path) -> None:
    """Take every picture into a folder."""
    sys.path.insert(0, str(SCREENS))
    night = importlib.import_module("nursery")
    folder.mkdir(parents=True, exist_ok=True)
    told = {}
    with ExitStack() as opened:
        data = Path(opened.enter_context(tempfile.TemporaryDirectory()))
        night.fill(data)
        nursery = night.nursery(data)
        opened.callback(nursery.close)
        # What the page of settings shows must be the same wherever it is taken.
        parts = replace(nursery.parts, settings=Settings(accounts="off"))
        address = opened.enter_context(night.serving(parts))
        browser = opened.enter_context(sync_playwright()).chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for shot in SHOTS:
            (folder / f"{shot.name}.png").write_bytes(taken(browser, address, shot))
            asked = httpx.URL(address + shot.path).copy_merge_params({"lang": shot.language})
            told[shot.name] = {
                "path": f"{asked.raw_path.decode()}",
                "read": read_on(httpx.get(asked, timeout=60).text),
            }
        browser.close()
    text = json.dumps(told, indent=1, ensure_ascii=False)
    (folder / "pages.json").write_text(f"{text}\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parent / "pictures")
