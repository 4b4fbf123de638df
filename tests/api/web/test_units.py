"""Whoever reads °F gets it on every page: values, differences, rates and axes, and nothing else."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from html import unescape
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import httpx
import numpy as np
import pytest

from api.accounts.roles import ACCESS
from api.measures import measure_in, measure_of_raw, measure_of_sum_in
from api.web.plan_changes import asked_in_words
from api.web.reader import reads_fahrenheit, telling_to
from api.web.telling import Telling
from api.web.troubles import Scene
from api.web.troubles import _moving as moving
from api.web.words.languages import LANGUAGES
from rules.model.dose import DoseKind
from rules.model.quantities import Felt, Quantity

NBSP = "\N{NO-BREAK SPACE}"
PAGES = {
    "/": "/",
    "/batches/{code}": "/batches/MG-07",
    "/batches/{code}/review": "/batches/MG-07/review",
    "/batches/{code}/charts": "/batches/MG-07/charts?from=2026-11-13T09:00&to=2026-11-15T09:00",
    "/alarms": "/alarms",
    "/alarms/{alarm_id}": "/alarms/{alarm}",
    "/sensors": "/sensors",
    "/tonight": "/tonight?sheet=evening",
    "/todo": "/todo",
    "/house": "/house",
    "/works": "/works",
    "/staff": "/staff",
    "/rings": "/rings",
    "/replay": "/replay",
    "/labels": "/labels",
    "/plans": "/plans",
    "/plans/{name}": "/plans/bag",
    "/settings": "/settings",
    "/bench/{code}": "/bench/MG-07",
}
NOT_TRIED = {
    "/adopt": "asks for a sender that waits; names the units that a sensor may declare",
    "/answer/{token}": "in the person's own unit, see below",
    "/answer/all/{token}": "as the one before",
    **dict.fromkeys(("/sign-in", "/set-up", "/invited/{token}"), "about signing in"),
    **dict.fromkeys(("/account", "/accounts"), "about accounts"),
    "/plans/{name}/edit": "takes figures as the plan holds them, see below",
    "/plans/{name}/versions/{version}": "the plan's own text",
    "/cautions": "tells nothing that was measured",
    "/b/{code}": "leads on to a bench",
    **dict.fromkeys(("/healthz", "/metrics", "/events"), "not read by people"),
}
NO_TEMPERATURE = {
    *("/todo", "/works", "/staff", "/labels", "/settings", "/alarms", "/bench/{code}", "/plans"),
    "/replay",
}
"""Pages that had no temperature to tell when this was written: nothing to be missed there."""


@pytest.fixture(scope="module")
def hot(pages_nursery, cover_days, four_days: Path, tmp_path_factory):
    """Tern Hollow after four hot days, once for all that only read."""
    folder = tmp_path_factory.mktemp("units")
    opened = cover_days.opened(pages_nursery.copied(four_days, folder))
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def reader(pages_nursery, hot):
    with (
        pages_nursery.serving(hot.parts) as address,
        httpx.Client(base_url=address, timeout=60) as one,
    ):
        yield one


def body_of(answer: httpx.Response) -> str:
    """Return what a page says, without the buttons that choose the unit; messages are quoted."""
    assert answer.status_code == 200, answer.text
    return unescape(re.sub(r'(?s)<form method="post" action="/choose".*?</form>', "", answer.text))


def told(measure, value: float) -> str:
    return f"{measure.of(value):.1f} {measure.unit}"


def spoken(hot, code: str = "en", *, fahrenheit: bool) -> Telling:
    return Telling(LANGUAGES[code], hot.parts.site, hot.clock.now(), fahrenheit=fahrenheit)


@pytest.mark.published("NIST SP 811 (2008), appendix B.9: t/°F = 1.8 t/°C + 32; from memory")
@pytest.mark.parametrize(
    ("celsius", "fahrenheit"),
    [(0.0, "32.0 °F"), (100.0, "212.0 °F"), (-40.0, "-40.0 °F"), (25.0, "77.0 °F")],
)
def test_a_temperature_is_brought_to_fahrenheit(celsius, fahrenheit):
    for felt in (Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE, Felt.EXPECTED_PEAK):
        assert told(measure_in(felt, fahrenheit=True), celsius) == fahrenheit
        assert told(measure_in(felt, fahrenheit=False), celsius) == f"{celsius:.1f} °C"


@pytest.mark.published(
    "NIST SP 811 (2008), appendix B.9: 1 °C of difference is 1.8 °F; from memory"
)
def test_a_difference_a_rate_and_a_sum_of_degrees_have_nothing_added(hot):
    telling = spoken(hot, fahrenheit=True)
    assert telling.apart(Felt.AIR_TEMPERATURE, 2.0) == f"3.6{NBSP}°F"
    assert telling.apart(Felt.LEAF_TEMPERATURE, 0.0) == f"0.0{NBSP}°F"
    assert telling.total(DoseKind.HEAT_DOSE, 10.0) == f"18.0{NBSP}°F·h"
    in_celsius = spoken(hot, fahrenheit=False)
    assert in_celsius.apart(Felt.AIR_TEMPERATURE, 2.0) == f"2.0{NBSP}°C"
    assert in_celsius.total(DoseKind.HEAT_DOSE, 10.0) == f"10.0{NBSP}°C·h"


def test_spanish_writes_both_units_with_a_comma(hot):
    telling = spoken(hot, "es", fahrenheit=True)
    assert telling.value(Felt.AIR_TEMPERATURE, 37.75) == f"100,0{NBSP}°F"
    assert telling.band(Felt.AIR_TEMPERATURE, 10.0, 20.0) == f"de 50,0 a 68,0{NBSP}°F"
    assert telling.apart(Felt.AIR_TEMPERATURE, 0.5) == f"0,9{NBSP}°F"


def test_what_is_no_temperature_stays_as_it_is():
    temperatures = {Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE, Felt.EXPECTED_PEAK}
    for felt in set(Felt) - temperatures:
        assert measure_in(felt, fahrenheit=True) == measure_in(felt, fahrenheit=False)
        assert measure_in(felt, fahrenheit=True).of(37.0) == 37.0
    for kind in set(DoseKind) - {DoseKind.HEAT_DOSE}:
        assert measure_of_sum_in(kind, fahrenheit=True).of(37.0) == 37.0


@pytest.mark.parametrize(
    ("unit", "raw"), [("degC", 25.0), ("degF", 77.0), ("K", 298.15)], ids=["C", "F", "K"]
)
def test_a_probe_is_read_in_the_reader_s_unit_whatever_it_sends(unit, raw):
    for fahrenheit, shown in ((False, "25.0 °C"), (True, "77.0 °F")):
        measure = measure_of_raw(Quantity.AIR_TEMPERATURE, unit, fahrenheit=fahrenheit)
        assert told(measure, raw) == shown
    klx = measure_of_raw(Quantity.ILLUMINANCE, "klx", fahrenheit=True)
    assert told(klx, 32.0) == "32.0 klx"


@pytest.fixture(scope="module")
def pages(reader) -> dict[tuple[str, str, str], str]:
    """Every page in both units, and in Spanish too."""
    of_heat = [one for one in reader.get("/api/v1/alarms").json() if one["condition"] == "peak"]
    alarm = of_heat[0]["id"]
    return {
        (path, unit, code): body_of(
            reader.get(
                httpx.URL(address.format(alarm=alarm)).copy_merge_params(
                    {"unit": unit, "lang": code}
                )
            )
        )
        for path, address in PAGES.items()
        for unit, code in (("degC", "en"), ("degF", "en"), ("degF", "es"))
    }


def test_no_page_is_forgotten_here():
    # ACCESS holds every address there is: a test of accounts compares it with the application.
    shown = {
        path
        for method, path in ACCESS
        if method == "GET"
        and not path.startswith(("/api/", "/static/"))
        and not path.endswith((".png", ".pdf", ".js"))
    }
    assert shown == set(PAGES) | set(NOT_TRIED)


@pytest.mark.parametrize("path", PAGES)
def test_a_page_in_one_unit_holds_nothing_in_the_other(pages, path):
    for code in ("en", "es"):
        assert "°C" not in pages[path, "degF", code], path
    assert "°F" not in pages[path, "degC", "en"], path
    counts = [
        pages[path, unit, code].count(shown)
        for unit, code, shown in (("degC", "en", "°C"), ("degF", "en", "°F"), ("degF", "es", "°F"))
    ]
    assert counts[0] == counts[1] == counts[2], "a temperature is lost, or said twice"
    assert (counts[0] == 0) == (path in NO_TEMPERATURE)


def figures(text: str, unit: str) -> list[float]:
    return [float(one) for one in re.findall(rf"(-?\d+\.\d){NBSP}{unit}(?!·)", text)]


def test_what_the_batch_feels_is_the_same_warmth_in_both(pages):
    celsius = figures(pages["/house", "degC", "en"], "°C")
    fahrenheit = figures(pages["/house", "degF", "en"], "°F")
    assert len(celsius) > 1
    for c, f in zip(celsius, fahrenheit, strict=True):
        assert f == pytest.approx(c * 1.8 + 32, abs=0.05 * 1.8 + 0.05 + 1e-9)


def test_a_plan_s_sheet_has_its_bounds_in_the_reader_s_unit(pages, hot):
    limits = [
        one
        for stage in hot.parts.plans["bag"][-1].stage.values()
        for one in stage.limit
        if one.quantity is Felt.AIR_TEMPERATURE
    ]
    assert limits
    text = pages["/plans/{name}", "degF", "en"]
    for one in limits:
        assert f"{one.bound * 1.8 + 32:.1f}{NBSP}°F" in text


def test_a_limit_says_its_bound_as_a_value_and_its_ways_back_as_differences(hot):
    limit = next(
        one
        for stage in hot.parts.plans["bag"][-1].stage.values()
        for one in stage.limit
        if one.quantity is Felt.AIR_TEMPERATURE
    ).model_copy(update={"bound": 35.0, "deadband": 1.5, "full_margin": 4.0})
    figures_said = {
        fahrenheit: [
            float(one)
            for one in re.findall(
                rf"([\d.]+)[ {NBSP}]°{'F' if fahrenheit else 'C'}",
                asked_in_words(limit, spoken(hot, fahrenheit=fahrenheit)),
            )
        ]
        for fahrenheit in (False, True)
    }
    assert figures_said == {False: [35.0, 1.5, 4.0], True: [95.0, 2.7, 7.2]}


def plots(page: str) -> dict[str, str]:
    """Return each chart of a page by its title."""
    _, *drawn = page.split('<svg class="chart"')
    return {re.search("<title>(.*?)</title>", one)[1]: one for one in drawn}


def ticks(drawn: str) -> list[tuple[float, float]]:
    return [
        (float(value), float(y))
        for y, value in re.findall(r'<text x="4" y="([\d.]+)" class="tick">([-\d.]+)</text>', drawn)
    ]


def bounds(drawn: str) -> list[float]:
    return [float(y) for y in re.findall(r'<line [^>]*y1="([\d.]+)"[^>]*class="bound', drawn)]


@pytest.mark.parametrize("path", ["/batches/{code}", "/batches/{code}/charts"])
def test_axes_have_round_figures_in_the_unit_shown_and_lines_stay_where_they_were(pages, path):
    celsius, fahrenheit = (plots(pages[path, unit, "en"]) for unit in ("degC", "degF"))
    warmth, other = "air temperature", "dryness at the leaf"
    c, f = ticks(celsius[warmth]), ticks(fahrenheit[warmth])
    # Two figures fix the line from values to places; the other unit's must lie on the same one.
    (low, at_low), (high, at_high) = c[0], c[-1]
    for value, y in f:
        share = ((value - 32) / 1.8 - low) / (high - low)
        assert y == pytest.approx(at_low + share * (at_high - at_low), abs=0.3)
    for found in (c, f):
        steps = {round(b - a, 6) for (a, _), (b, _) in pairwise(found)}
        assert len(steps) == 1
        step = steps.pop()
        assert step in {1.0, 2.0, 5.0, 10.0, 20.0}
        assert all(value % step == 0 for value, _ in found)
    assert {value for value, _ in c} != {value for value, _ in f}
    assert bounds(celsius[warmth])
    assert bounds(celsius[warmth]) == pytest.approx(bounds(fahrenheit[warmth]), abs=0.02)
    assert ticks(celsius[other]) == ticks(fahrenheit[other])


def test_the_form_of_a_plan_takes_celsius_from_everybody_and_says_so(client):
    page = body_of(client.get("/plans/leafy-bag/edit?unit=degF"))
    form = page.split("<form")[1:]
    labels = [one for part in form for one in re.findall(r"<label[^>]*>([^<]*)", part)]
    named = [one for one in labels if "°C" in one]
    assert len(named) > 5
    assert not [one for one in labels if "°F" in one]


def test_the_picture_of_a_chart_is_drawn_in_the_unit_kept_on_the_device(reader):
    address = "/batches/MG-07/charts/air_temperature.png?from=2026-11-13T09:00&to=2026-11-15T09:00"
    celsius = reader.get(address)
    fahrenheit = reader.get(address, headers={"cookie": "unit=degF"})
    assert celsius.headers["content-type"] == fahrenheit.headers["content-type"] == "image/png"
    assert celsius.content != fahrenheit.content


def test_the_api_goes_on_in_celsius(reader):
    plain = reader.get("/api/v1/batches/MG-07")
    asked = reader.get("/api/v1/batches/MG-07?unit=degF", headers={"cookie": "unit=degF"})
    assert "°C" in plain.text
    assert asked.json() == plain.json()


def pressed(page: str) -> str:
    found = re.findall(r'name="unit" value="(\w+)" aria-pressed="true"', page)
    assert len(found) == 1
    return found[0]


def test_the_choice_is_kept_on_the_device_without_an_account(reader):
    assert pressed(reader.get("/sensors").text) == "degC"
    answer = reader.post("/choose", data={"unit": "degF", "back": "/house"})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/house"
    cookie = answer.headers["set-cookie"]
    assert "unit=degF" in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    reader.cookies.clear()
    chosen = reader.get("/sensors", headers={"cookie": "unit=degF"}).text
    assert pressed(chosen) == "degF"
    assert "°F" in body_of(reader.get("/sensors", headers={"cookie": "unit=degF"}))
    for nonsense in ("degK", "", "degC;degF"):
        assert "set-cookie" not in reader.post("/choose", data={"unit": nonsense}).headers
    assert pressed(reader.get("/", headers={"cookie": "unit=kelvin"}).text) == "degC"


def test_asked_for_beats_kept_beats_own(hot):
    person = hot.parts.site.person[0].model_copy(update={"temperature_unit": "degF"})
    assert reads_fahrenheit(asked=None, kept=None, own=person)
    assert not reads_fahrenheit(asked=None, kept="degC", own=person)
    assert reads_fahrenheit(asked="degF", kept="degC", own=None)
    assert not reads_fahrenheit(asked="rankine", kept="", own=None)


@pytest.mark.parametrize(("unit", "shown"), [("degF", "77.0"), ("degC", "25.0")])
def test_after_a_link_in_a_message_the_person_s_own_unit_counts(hot, unit, shown):
    person = hot.parts.site.person[0].model_copy(update={"temperature_unit": unit})
    telling = telling_to(person, hot.parts.site, datetime(2026, 11, 14, tzinfo=UTC))
    assert telling.number(Felt.AIR_TEMPERATURE, 25.0) == shown


@pytest.mark.parametrize(
    ("unit", "said"),
    [(False, f"rising 1.5{NBSP}°C an hour"), (True, f"rising 2.7{NBSP}°F an hour")],
)
def test_a_rate_is_told_in_the_reader_s_degrees_an_hour(hot, unit, said):
    minutes = np.arange(60)
    felt = {Felt.AIR_TEMPERATURE: 20.0 + 1.5 * minutes / 60}
    picture = SimpleNamespace(
        batches={"MG-07": SimpleNamespace(felt=felt)},
        judged_to=60,
        day=SimpleNamespace(first_minute=0),
    )
    batch = SimpleNamespace(code="MG-07")
    telling = spoken(hot, fahrenheit=unit)
    scene = Scene(hot.parts, batch, None, None, picture, telling)
    assert moving(Felt.AIR_TEMPERATURE, scene) == said
