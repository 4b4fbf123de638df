"""A batch's page tells water, heat and sums as estimates; Now names them when they are worst."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from datetime import timedelta
from html import unescape

import httpx
import pytest

from api.book import Book, in_force_of
from api.web.plan_figures import measure_of_figure, plainly
from api.web.telling import Telling
from api.web.words.en import English
from api.web.words.languages import LANGUAGES
from rules.model.batch import Observation
from rules.model.drying import Drying, Leaves, Ranged, Stick

NBSP = "\N{NO-BREAK SPACE}"


def text_of(page: str) -> str:
    inside = re.sub(r"(?s)<(script|style|svg).*?</\1>", " ", page)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", inside)).replace(NBSP, " ").split())


def section(page: str, name: str) -> str:
    found = re.search(rf'<section id="{name}">(.*?)</section>', page, re.DOTALL)
    assert found is not None, name
    return found[1]


def charts(page: str) -> list[str]:
    return [unescape(one) for one in re.findall(r'class="chart"[^>]*aria-label="([^"]+)"', page)]


def test_water_is_told_with_band_pace_and_the_night_ahead(hot_client):
    page = hot_client.get("/batches/MG-07").text
    drying = hot_client.get("/api/v1/batches/MG-07").json()["drying"]
    said = text_of(section(page, "water"))
    reserve, hours = drying["reserve_pct"], drying["hours_to_critical"]
    assert said.startswith(
        f"The scion's water About {reserve['likely']:.0f} % of the water it can spare is left "
        f"({reserve['low']:.0f} to {reserve['high']:.0f} %). At this minute's pace that lasts "
        f"about {hours['likely']:.0f} h ({hours['low']:.0f} to {hours['high']:.0f} h)."
    )
    ahead = drying["ahead"]["reserve_pct"]
    assert (
        f"If it dries as in the same hours a day ago, about {ahead['likely']:.0f} % will be left "
        f"at Mon 05:26 ({ahead['low']:.0f} to {ahead['high']:.0f} %)."
    ) in said
    assert "Reckoned minute by minute since Wed 06:00, as if the scion had been fresh" in said
    assert "25 min of it nobody could see: guessed." in said
    assert "An estimate, not a measurement" in said


def test_water_of_which_nothing_was_ever_seen_is_not_called_full(pages_nursery, tmp_path, serving):
    deaf = pages_nursery.nursery(tmp_path)
    deaf.watch.turn()
    span = {"from": "2026-11-14T03:00:00Z", "to": "2026-11-14T15:00:00Z"}
    with serving(deaf.parts) as address, httpx.Client(base_url=address, timeout=30) as client:
        for code, says in (("en", "can't be told"), ("es", "no se puede decir")):
            page = client.get("/batches/MG-07", params={"lang": code}).text
            assert says in text_of(section(page, "water"))
            assert "100 %" not in text_of(page)
        assert client.get("/api/v1/batches/MG-07").json()["drying"] is None
        assert "100 %" not in text_of(client.get("/tonight").text)
        asked = {"quantity": "moisture_reserve", **span}
        told = client.get("/api/v1/batches/MG-07/series", params=asked).json()
        assert told["runs"] == []
        assert len(told["gaps"]) == 1
    deaf.close()


def test_the_reserve_is_drawn_as_a_band_with_its_limit(hot_client):
    drawn = section(hot_client.get("/batches/MG-07").text, "water")
    pictures = re.findall(r'<svg class="chart".*?class="hour"', drawn, re.DOTALL)
    assert len(pictures) == 2  # the reserve, and the hours that a limit speaks of
    for picture in pictures:
        band = re.search(r'd="(M[^"]+z)" class="band"', picture)
        assert band is not None
        assert len(band[1]) > 500
        assert picture.index('class="band"') < picture.index('class="record"')
    assert "at least 30" in drawn
    assert "at least 36" in drawn


def test_water_of_another_day_is_drawn_from_that_day(hot_client):
    today, before = (
        section(hot_client.get(f"/batches/MG-07{day}").text, "water")
        for day in ("", "?day=2026-11-12")
    )
    assert "noon Thu 12 November" in text_of(before)
    lines = [re.search(r'd="(M[^"]+)" class="record"', one)[1] for one in (today, before)]
    assert lines[0] != lines[1]
    # What stands now is said whatever day is looked at.
    assert text_of(today)[:90] == text_of(before)[:90]


def test_figures_stand_with_range_and_source(hot_client):
    said = text_of(section(hot_client.get("/batches/MG-07").text, "water"))
    figures = said.split("The figures it is reckoned with")[1]
    assert (
        "how easily water leaves leaf or bark 4.9 mmol m⁻² s⁻¹ 4.6 to 5.3 mmol m⁻² s⁻¹ "
        "common practice, no source"
    ) in figures
    assert "past saving below this share of its fresh water 60 % 55 to 65 %" in figures
    assert "humidity sensor may be off by 0 % −0.5 to 0.5 %" in figures
    stick = text_of(section(hot_client.get("/batches/WL-03").text, "water"))
    assert "thickness of the stick 8 mm 6 to 10 mm" in stick


def test_the_thickness_measured_on_a_batch_stands_before_the_plans(hot_bags, serving):
    parts = hot_bags.parts
    batches = tuple(
        one.model_copy(update={"scion_diameter_mm": 6.5}) if one.code == "WL-03" else one
        for one in parts.site.batch
    )
    measured = parts.site.model_copy(update={"batch": batches})
    with serving(replace(parts, book=Book(in_force_of(measured, parts.plans)))) as address:
        said = text_of(section(httpx.get(f"{address}/batches/WL-03").text, "water"))
    assert "thickness of the stick 6.5 mm 6.5 to 6.5 mm measured on this batch" in said


def test_night_that_no_day_has_shown_yet_is_not_told(hot_client):
    said = text_of(section(hot_client.get("/batches/AV-09").text, "water"))
    assert "What the night will do can't be told yet" in said
    assert "will be left" not in said


def test_a_batch_whose_air_is_not_seen_is_not_given_a_pace(hot_client, hot_bags):
    hot_bags.stand_still(60)
    said = text_of(section(hot_client.get("/batches/MG-07").text, "water"))
    assert "How long that lasts can't be told: nobody sees the air around it now." in said


def test_heat_is_told_with_hour_band_and_the_shade_it_takes(hot_client):
    page = hot_client.get("/batches/MG-07").text
    heat = hot_client.get("/api/v1/batches/MG-07").json()["cover_heat"]
    said = text_of(section(page, "heat"))
    peak = heat["peak"]["temperature_c"]
    assert (
        f"About {peak['likely']:.1f} °C is the hottest to expect, 13:27 ({peak['low']:.1f} to "
        f"{peak['high']:.1f} °C), if the sky stays clear."
    ) in said
    warm, danger = heat["shadings"]
    assert (
        "To stay below 38.0 °C (“bag far too hot”), add shade before 10:02 that stops "
        f"{danger['share_to_stop'] * 100:.0f} % more of the light."
    ) in said
    assert f"add shade now that stops {warm['share_to_stop'] * 100:.0f} % more" in said
    assert danger["shade_before"].startswith("2026-11-14T23:02")
    assert "Learnt from 58.5 h of light on five days under this very cover." in said
    assert "At dusk (Sat 18:42) it was told as 40.8 °C about 13:22 (38.4 to 43.3 °C)" in said
    assert charts(section(page, "heat"))[0].startswith("About")
    assert 'class="band"' in section(page, "heat")


def test_shade_that_is_due_within_the_quarter_is_due_now(hot_client, hot_bags):
    said = text_of(section(hot_client.get("/batches/MG-07").text, "heat"))
    assert "To stay below 33.0 °C (“bag is warm”), add shade now that stops" in said
    hot_bags.clock.turn_by(timedelta(minutes=40))
    later = text_of(section(hot_client.get("/batches/MG-07").text, "heat"))
    assert "To stay below 38.0 °C (“bag far too hot”), add shade now that stops" in later


def test_a_thin_record_says_what_it_needs_and_draws_nothing(hot_client):
    drawn = section(hot_client.get("/batches/AV-09").text, "heat")
    assert text_of(drawn) == (
        "Heat under the cover Nothing can be told yet: the record under this cover needs 11 more "
        "hours of light, light on one more day and light that varies by 37 µmol m⁻² s⁻¹ more."
    )
    assert "<svg" not in drawn


@pytest.mark.parametrize(
    ("sensor", "says"),
    [
        ("house", "Nothing can be told: no sensor tells the air in the house."),
        ("bag-7", "Nothing can be told: no sensor is under this cover."),
    ],
)
def test_a_missing_sensor_is_named(hot_bags, serving, sensor: str, says: str):
    parts = hot_bags.parts
    fewer = tuple(one for one in parts.site.sensor if one.id != sensor)
    site = parts.site.model_copy(update={"sensor": fewer})
    with serving(replace(parts, book=Book(in_force_of(site, parts.plans)))) as address:
        page = httpx.get(f"{address}/batches/MG-07").text
    assert says in text_of(section(page, "heat"))


def test_a_batch_without_a_cover_or_a_plan_for_drying_has_no_such_sections(
    hot_client, hot_bags, serving
):
    assert 'id="heat"' not in hot_client.get("/batches/WL-03").text
    parts = hot_bags.parts
    dry = {name: (one[0].model_copy(update={"drying": None}),) for name, one in parts.plans.items()}
    with serving(replace(parts, book=Book(in_force_of(parts.site, dry)))) as address:
        assert 'id="water"' not in httpx.get(f"{address}/batches/MG-07").text


def test_sums_stand_in_rows_with_bound_since_when_and_what_was_not_seen(hot_client):
    page = hot_client.get("/batches/MG-07").text
    doses = {one["dose"]: one for one in hot_client.get("/api/v1/batches/MG-07").json()["doses"]}
    said = text_of(section(page, "sums"))
    light = f"{doses['light-sum']['total']:.1f} mol m⁻² since midnight"
    assert f"light at most 2.5 mol m⁻² a day {light}" in said
    assert f"light at least 1.0 mol m⁻² a day {light}" in said
    assert (
        f"air temperature above 33.0 °C at most 90.0 °C·h in this stage "
        f"{doses['heat-sum']['total']:.1f} °C·h since Wed 06:00; 25 min not seen"
    ) in said
    assert section(page, "sums").count('class="again"') == 1
    assert section(page, "sums").count('class="wrong high"') == 2
    late = text_of(section(hot_client.get("/batches/AV-09").text, "sums"))
    assert "since 08:10; counting began after the day had" in late


def test_each_sum_has_one_chart_with_all_its_bounds(hot_client):
    page = hot_client.get("/batches/MG-07").text
    named = [one.split(",")[0] for one in charts(page)]
    assert named[3:] == [
        "Air temperature",
        "Dryness at the leaf",
        "Leaf temperature",
        "Light",
        f"Air temperature above 33.0{NBSP}°C",
        "Direct sun",
    ]
    light = re.search(r'<svg class="chart"[^>]*aria-label="Light, .*?</figure>', page, re.DOTALL)
    assert light is not None
    assert light[0].count('class="bound-words"') == 2


def test_a_leaf_without_a_sensor_is_marked_wherever_it_is_shown(hot_client):
    page = hot_client.get("/batches/MG-07").text
    said = text_of(page)
    shown = re.findall(r"\d+\.\d °C \(reckoned\)", said)
    assert len(shown) == 3  # what it feels, its row, its chart
    assert "Leaf temperature (reckoned)" in said
    assert "Dryness at the leaf (reckoned)" in said
    assert "air temperature above 33.0 °C (reckoned)" not in said


def test_a_limit_that_waits_for_open_film_says_so_and_is_drawn_only_there(hot_client):
    page = hot_client.get("/batches/WL-03").text
    # The film split at seven: of the night before there is nothing that this limit could judge,
    # and its worst since grafting is of the two hours since.
    row = (
        r"at most 0\.50 kPa while the film is open 0\.\d\d kPa not seen 0\.\d\d kPa, \d\d:\d\d "
        "read this minute"
    )
    assert re.search(row, text_of(page))
    chart = re.search(r'aria-label="Dryness of the air.*?</figure>', page, re.DOTALL)
    assert chart is not None
    out = re.search(r'x="([\d.]+)%" width="([\d.]+)%"[^>]*class="out', chart[0])
    assert out is not None
    split, noon_to_noon = 19 * 60, 24 * 60
    assert float(out[1]) == pytest.approx(100 * split / noon_to_noon, abs=0.1)
    assert float(out[2]) == pytest.approx(100 * (1 - split / noon_to_noon), abs=0.1)


def test_a_limit_on_film_that_holds_says_that_it_is_silent(hot_bags, serving):
    parts = hot_bags.parts
    split, mended = (
        Observation.model_validate({"at": at, "by": "isaura", "seen": seen})
        for at, seen in (
            ("2026-11-12T15:00:00+11:00", "film_split"),
            ("2026-11-14T15:00:00+11:00", "rewrapped"),
        )
    )
    batches = tuple(
        one.model_copy(update={"observation": (split, mended)}) for one in parts.site.batch
    )
    site = parts.site.model_copy(update={"batch": batches})
    with serving(replace(parts, book=Book(in_force_of(site, parts.plans)))) as address:
        for day in ("", "?day=2026-11-12"):
            said = text_of(httpx.get(f"{address}/batches/WL-03{day}").text)
            assert re.search(r"0\.\d\d kPa \(not while the film holds\)", said), day


def test_now_tells_hours_of_water_left_with_their_band(hot_client):
    said = text_of(hot_client.get("/").text)
    assert re.search(
        r"Little water left: 2\d h \(0 to \d+ h\); should be at least 36 h\. Since 0\d:\d\d", said
    )
    assert re.search(r"Also: Too hot tomorrow: 40\.8 °C about 13:22 \(38\.4 to 43\.3 °C\)", said)
    assert "should be at most 20 min a day; Too much light today" in said


def only(parts, kept: str):
    """Return the parts with one plan's limits and doses cut down to those named."""
    plan = parts.plans["bag"][0]
    ((stage, needs),) = plan.stage.items()
    fewer = needs.model_copy(
        update={
            "limit": tuple(one for one in needs.limit if one.id == kept),
            "dose": tuple(one for one in needs.dose if one.id == kept),
        }
    )
    plans = {**parts.plans, "bag": (plan.model_copy(update={"stage": {stage: fewer}}),)}
    return replace(parts, book=Book(in_force_of(parts.site, plans)))


def raised_alone(hot_bags, serving, kept: str) -> str:
    """Return the text of Now when one limit or dose alone is judged, and has been for a while."""
    parts = only(hot_bags.parts, kept)
    sys.modules["cover_days"].watch_on(parts, minutes=10)
    with serving(parts) as address:
        return text_of(httpx.get(address).text)


def test_a_sum_alone_is_the_reason_with_its_bound_and_since_when_it_is_broken(hot_bags, serving):
    said = raised_alone(hot_bags, serving, "light-sum")
    assert re.search(
        r"MG-07 .*? strained Too much light today: \d\.\d mol m⁻² since midnight; should be at "
        r"most 2\.5 mol m⁻² a day\. Since \d\d:\d\d \(\d+ min\)\. Do Add a layer of shade\.",
        said,
    )
    assert "on its way out" not in said


def test_heat_to_expect_alone_says_by_when_to_shade(hot_bags, serving):
    said = raised_alone(hot_bags, serving, "peak")
    assert re.search(
        r"Too hot tomorrow: 40\.8 °C about 13:22 \(38\.4 to 43\.3 °C\); should be at most "
        r"38\.0 °C\.",
        said,
    )
    assert "Do Shade before 1" in said
    assert "an hour" not in said.split("Do Shade")[0].split("Too hot")[1]


def test_the_page_of_an_alarm_says_what_was_known_when_it_was_raised(hot_client):
    alarms = {
        (one["batch"], one["condition"]): one["id"]
        for one in hot_client.get("/api/v1/alarms").json()
    }
    hours = text_of(hot_client.get(f"/alarms/{alarms['MG-07', 'hours']}").text)
    assert re.search(r"\d\d h \(\d+ to \d+ h\); should be at least 36 h\.", hours)
    peak = text_of(hot_client.get(f"/alarms/{alarms['MG-07', 'peak']}").text)
    assert "40.8 °C about 13:22 (38.4 to 43.3 °C); should be at most 38.0 °C." in peak
    assert re.search(r"Shade before 10:26\. Add shade and mist inside\.", peak)
    light = text_of(hot_client.get(f"/alarms/{alarms['MG-07', 'light-sum']}").text)
    assert re.search(
        r"Light: 2\.5 mol m⁻², since 00:00; should be at most 2\.5 mol m⁻² a day", light
    )
    assert "MG-07: too much light today; nobody has answered." in light


def test_spanish_says_all_of_it(hot_client):
    page = hot_client.get("/batches/MG-07?lang=es").text
    said = text_of(page)
    assert re.search(r"Le queda un \d+ % del agua que puede perder \(de \d+ a \d+ %\)\.", said)
    assert "Se espera un máximo de 41,5 °C, 13:27 (de 38,3 a 44,8 °C)" in said
    assert "dé antes de 10:02 sombra que corte un" in said
    assert "temperatura del aire por encima de 33,0 °C como mucho 90,0 °C·h en esta etapa" in said
    thin = text_of(section(hot_client.get("/batches/AV-09?lang=es").text, "heat"))
    assert "le faltan 11 h más de luz, luz en un día más y luz que varíe 37" in thin


def test_every_figure_of_a_drying_plan_has_its_name_and_unit(hot_bags):
    names = {
        name
        for model in (Drying, Leaves, Stick)
        for name, field in model.model_fields.items()
        if field.annotation is Ranged
    }
    for words in LANGUAGES.values():
        assert set(words.figure_names) == names
        for name in names:
            telling = Telling(words, hot_bags.parts.site, hot_bags.clock.now(), fahrenheit=False)
            assert measure_of_figure(name, telling).unit, name


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.02, "0.02"), (4.9, "4.9"), (300.0, "300"), (-0.5, "−0.5"), (1e-5, "0.00001")],
)
def test_figures_have_no_more_places_than_they_need(hot_bags, value, shown):
    telling = Telling(English(), hot_bags.parts.site, hot_bags.clock.now(), fahrenheit=False)
    assert plainly(value, telling) == shown
