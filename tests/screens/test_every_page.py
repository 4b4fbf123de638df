"""What holds for every page: nobody is kept out, it fits, it is light, and the night stays dark.

Each page is opened by day in English and by night in Spanish, on a desk and on a phone. A page that
the application has and this list has not fails a test.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import httpx
import pytest
from playwright.sync_api import expect

from api.accounts.keeping import Granted
from api.accounts.roles import Role
from api.accounts.set_up import offer_code
from api.alerts.links import LASTS, Link, ManyLink
from api.records.alarms import standing_alarms
from api.records.courses import raised_by
from api.records.session import reading
from api.settings import Settings
from api.v1.sight import Sight
from api.web.app import accounts_in, create_app

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = [pytest.mark.screen, pytest.mark.slow]

LARGEST_BYTES = 200_000
PASSWORD = "moss bucket under third table"
# The brightest that the night view names is its ring of focus, #ff8a7a.
MOST_AT_NIGHT = {"green": 0x8A, "blue": 0x7A}

NO_PAGES = {
    "/static/{path:path}": "what pages are drawn with",
    "/bench-worker.js": "a script",
    "/events": "a stream",
    "/healthz": "a word for machines",
    "/metrics": "figures for machines",
    "/labels.pdf": "a file to print",
    "/plans/{name}/versions/{version}": "a file",
    "/b/{code}": "leads to the page at the bench",
    "/batches/{code}/charts/{quantity}.png": "a picture",
    "/batches/{code}/review.pdf": "paper",
    "/alarms/{alarm_id}/picture.png": "a picture",
}


@dataclass(frozen=True)
class Page:
    """A page of the application: its route, and an address of it in one of the nurseries."""

    route: str
    path: str
    at: str = "night"
    status: int = 200

    def __str__(self) -> str:
        return f"{self.at}{self.path}"


PAGES = (
    Page("/", "/"),
    Page("/house", "/house"),
    Page("/todo", "/todo"),
    Page("/tonight", "/tonight"),
    Page("/bench/{code}", "/bench/MG-07"),
    Page("/bench/{code}", "/bench/AV-04"),
    Page("/batches/{code}", "/batches/MG-07"),
    Page("/batches/{code}/charts", "/batches/MG-07/charts"),
    Page("/batches/{code}/review", "/batches/MG-07/review"),
    Page("/alarms", "/alarms"),
    Page("/alarms/{alarm_id}", "/alarms/1"),
    Page("/works", "/works"),
    Page("/sensors", "/sensors"),
    Page("/adopt", "/adopt?topic=new/b9"),
    Page("/staff", "/staff"),
    Page("/rings", "/rings"),
    Page("/replay", "/replay"),
    Page("/labels", "/labels"),
    Page("/plans", "/plans"),
    Page("/plans/{name}", "/plans/leafy-bag"),
    Page("/plans/{name}/edit", "/plans/leafy-bag/edit"),
    Page("/settings", "/settings"),
    Page("/answer/{token}", "/answer/{one}"),
    Page("/answer/all/{token}", "/answer/all/{many}"),
    Page("/answer/{token}", "/answer/x", status=404),
    Page("", "/nowhere", status=404),
    Page("", "/batches/nobody", status=404),
    Page("/", "/", at="hot_days"),
    Page("/tonight", "/tonight", at="hot_days"),
    Page("/batches/{code}", "/batches/MG-07", at="hot_days"),
    Page("/batches/{code}", "/batches/AV-09", at="hot_days"),
    Page("/batches/{code}", "/batches/WL-03", at="hot_days"),
    Page("/batches/{code}/charts", "/batches/MG-07/charts", at="hot_days"),
    Page("/set-up", "/set-up", at="new_house"),
    Page("/cautions", "/cautions", at="stranger"),
    Page("/sign-in", "/sign-in", at="stranger"),
    Page("/invited/{token}", "/invited/{invited}", at="stranger"),
    Page("/invited/{token}", "/invited/x", at="stranger", status=410),
    Page("/", "/", at="lead"),
    Page("/account", "/account", at="lead"),
    Page("/accounts", "/accounts", at="lead"),
)


@dataclass(frozen=True)
class Place:
    """Where pages are served, what fills their addresses, and the cookies of who looks."""

    address: str
    fills: dict[str, str]
    cookies: dict[str, str]


def of_night(served) -> Place:
    parts = served.parts
    with reading(parts.records) as db:
        standing = standing_alarms(db)
        raised = raised_by(db, tuple(one.id for one in standing))
    until = parts.clock.now() + LASTS
    openings = tuple((one.id, raised[one.id]) for one in standing)
    one = parts.links.token(Link(*openings[0], "wren", until))
    many = parts.links.many_token(ManyLink(openings, "wren", until))
    return Place(served.address, {"one": one, "many": many}, {})


@pytest.fixture(scope="module")
def new_house(pages_nursery, filled, tmp_path_factory) -> Iterator[tuple[str, object]]:
    """Tern Hollow with accounts on, and nobody with one."""
    data = tmp_path_factory.mktemp("new-house")
    nursery = pages_nursery.nursery(pages_nursery.copied(filled, data))
    parts = replace(nursery.parts, settings=Settings(accounts="on", data=data))
    with pages_nursery.serving(parts) as address:
        yield address, parts
    nursery.close()


@pytest.fixture(scope="module")
def lived_in(pages_nursery, filled, tmp_path_factory) -> Iterator[tuple[Place, Place]]:
    """Tern Hollow with accounts on, as a stranger finds it, and as its lead does."""
    data = tmp_path_factory.mktemp("lived-in")
    nursery = pages_nursery.nursery(pages_nursery.copied(filled, data))
    parts = replace(nursery.parts, settings=Settings(accounts="on", data=data))
    _, keeping = accounts_in(parts)
    with pages_nursery.serving(parts) as address:
        code = offer_code(data)
        typed = {"code": code, "person": "wren", "password": PASSWORD, "again": PASSWORD}
        signed = httpx.post(f"{address}/set-up", data=typed, headers={"origin": address})
        assert signed.status_code == 303, signed.text
        keeping.invite("bench-tablet", Granted(Role.TEND, ("tobin", "pilar")), by="wren")
        secret = keeping.invite("tobin", Granted(Role.TEND), by="wren")
        stranger = Place(address, {"invited": secret}, {})
        yield stranger, Place(address, {}, dict(signed.cookies))
    nursery.close()


@pytest.fixture
def place(request, night) -> Place:
    """The nursery that a page of the list is looked at in."""
    asked = request.getfixturevalue("page").at
    if asked == "night":
        return of_night(night)
    if asked == "hot_days":
        return Place(request.getfixturevalue("hot_days").address, {}, {})
    if asked == "new_house":
        return Place(request.getfixturevalue("new_house")[0], {}, {})
    stranger, lead = request.getfixturevalue("lived_in")
    return lead if asked == "lead" else stranger


def looked_over(screen, page: Page, place: Place, view: str) -> list[str]:
    """Open a page and return all that is wrong with it, but its colours."""
    wrong = []
    weight = screen.weigh()
    answer = screen.open(page.path.format(**place.fills))
    assert answer.status == page.status, answer.status
    expect(screen.page.locator("html")).to_have_attribute("data-view", view)
    expect(screen.page.locator("h1").first).not_to_be_empty()
    screen.picture(f"{str(page).replace('/', '-')[:40]}-{view}")
    if screen.sticks_out_px():
        wrong.append(f"sticks out by {screen.sticks_out_px()} px")
    screen.open_details()
    if screen.sticks_out_px():
        wrong.append(f"sticks out by {screen.sticks_out_px()} px when all is unfolded")
    if not 1_000 < weight.total < LARGEST_BYTES:
        wrong.append(f"weighs {weight.total} bytes")
    # The browser tells of a 404 or a 410 by itself, once.
    of_itself = f"status of {page.status}"
    told = [one for one in screen.complaints() if page.status == 200 or of_itself not in one]
    return wrong + told


@pytest.mark.published("WCAG 2.2, levels A and AA, as far as axe-core can tell")
@pytest.mark.parametrize("page", PAGES, ids=str)
def test_by_day_and_by_lamp_nobody_is_kept_out_and_all_fits(window, place, page):
    screen = window(place.address)
    screen.put_cookies(view="paper", lang="en", **place.cookies)
    wrong = looked_over(screen, page, place, "paper")
    wrong += screen.barriers()
    screen.page.emulate_media(color_scheme="dark")
    wrong += [f"by lamp: {one}" for one in screen.barriers(colours_alone=True)]
    assert not wrong, wrong


@pytest.mark.published("WCAG 2.2, levels A and AA, as far as axe-core can tell")
@pytest.mark.parametrize("size", ["phone"])  # colours know no width
@pytest.mark.parametrize("page", PAGES, ids=str)
def test_by_night_nobody_is_kept_out_all_fits_and_nothing_dazzles(window, place, page):
    screen = window(place.address)
    screen.put_cookies(view="night", lang="es", **place.cookies)
    wrong = looked_over(screen, page, place, "night")
    brightest = screen.brightest()
    wrong += [
        f"{colour} up to {brightest[colour]}"
        for colour, most in MOST_AT_NIGHT.items()
        if brightest[colour] > most
    ]
    wrong += screen.barriers()
    assert not wrong, wrong


def test_the_list_has_every_page_of_the_application(new_house):
    _, parts = new_house
    routes = create_app(parts, Sight(parts)).router.routes
    there = {path for path in got_from(routes) if not path.startswith("/api/")}
    assert there == {page.route for page in PAGES if page.route} | set(NO_PAGES)


def got_from(routes, prefix="") -> Iterator[str]:
    """Every address that can be asked for, whichever router it came by."""
    for one in routes:
        inner = getattr(one, "original_router", None)
        if inner is not None:
            yield from got_from(inner.routes, prefix + (one.include_context.prefix or ""))
        elif type(one).__name__ == "Mount":
            yield f"{prefix}{one.path}/{{path:path}}"
        elif "GET" in one.methods:
            yield prefix + one.path


def test_axe_would_find_a_barrier(look):
    look.open("/labels")
    look.page.evaluate(
        "document.querySelector('main').insertAdjacentHTML('beforeend', '<input id=\"bare\">')"
    )
    found = look.barriers()
    assert any(one.startswith("label:") for one in found), found
    expect(look.page.locator("#bare")).to_be_attached()


def test_something_bright_in_the_night_would_be_seen(look):
    look.put_cookies(view="night")
    look.open("/works")
    assert look.brightest()["blue"] <= MOST_AT_NIGHT["blue"]
    look.page.evaluate("document.querySelector('h1').style.color = '#8fbcff'")
    assert look.brightest()["blue"] > MOST_AT_NIGHT["blue"]
