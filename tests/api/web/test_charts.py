"""Charts over any span say what was, by the limits of that time, and hide neither gap nor peak."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import datetime, timedelta
from html import unescape

import pytest

from api.drawing.times import Written, marks_along
from api.web.asked_span import AskedSpan, asked_span

SERIES = "/api/v1/batches/MG-07/series"
PAGE = "/batches/MG-07/charts"
SEASON = {"from": "2026-06-20T00:00:00Z", "to": "2026-10-20T02:00:00Z"}


def when(text):
    return datetime.fromisoformat(text)


def series(client, **asked):
    answer = client.get(SERIES, params={"quantity": "air_temperature", **SEASON, **asked})
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_season_has_at_most_two_thousand_points_and_its_one_hot_word(season_client):
    told = series(season_client)
    assert (told["told"], told["step_min"]) == ("cells", 10)
    assert told["of_points"] > 16_000
    points = sum(len(run["at"]) for run in told["runs"])
    assert points == told["points"] <= 2000
    highest = max(value for run in told["runs"] for value in run["high"])
    assert highest == 43.0
    assert not told["joined"]


def test_three_lost_days_are_a_gap_and_no_run_reaches_over_it(season_client):
    told = series(season_client)
    start, end = when("2026-07-06T00:00:00Z"), when("2026-07-09T00:00:00Z")
    assert any(when(g["start"]) <= start and when(g["end"]) >= end for g in told["gaps"])
    for run in told["runs"]:
        times = [when(at) for at in run["at"]]
        assert times == sorted(times)
        assert not (times[0] < start and times[-1] >= end)
    assert len(told["gaps"]) > 5


def test_limits_are_those_of_that_stage_and_that_version(season_client):
    told = series(season_client)
    hot = {
        (one["stage"], one["version"]): one
        for one in told["limits"]
        if one["limit"] == "heat-danger"
    }
    first, second = hot["healing", 1], hot["new_growth", 2]
    assert (first["bound"], second["bound"]) == (38.0, 40.0)
    assert when(second["start"]) == when("2026-08-01T00:00:00Z")
    stages = [one["stage"] for one in told["stood"]]
    assert stages.index("healing") < stages.index("easing") < stages.index("hardening")
    off = [one["since"] for one in told["stood"] if one["stage"] == "easing" and not one["covered"]]
    assert [when(at) for at in off] == [when("2026-09-05T21:30:00Z")]


def test_what_was_seen_and_what_alarmed_stands_beside_the_line(season_client):
    told = series(season_client)
    assert [one["seen"] for one in told["observations"]] == ["grafted", "new_growth", "cover_off"]
    assert [one["condition"] for one in told["alarms"]] == ["heat-danger"]
    assert series(season_client, **{"from": "2026-10-01T00:00:00Z"})["alarms"] == []


def test_a_day_is_told_minute_by_minute_with_its_night(season_client):
    told = series(season_client, **{"from": "2026-10-03T02:00:00Z", "to": "2026-10-04T01:00:00Z"})
    assert (told["told"], told["step_min"]) == ("minutes", 1)
    assert len(told["dark"]) == 1
    assert all(run["low"] is None for run in told["runs"])


def test_light_of_a_day_is_its_readings_added_up(season_client, at_season_end):
    told = series(season_client, quantity="ppfd")
    by_day = {one["day"]: one for one in told["light"]}
    day = by_day["2026-08-20"]
    start = int(when("2026-08-20T00:00:00+10:00").timestamp() * 1000)
    key = "light-4/light"
    kept = at_season_end.store.series([key], start, start + 86_400_000)[key]
    # Each word speaks on until the next, five minutes later.
    by_hand = float(kept.value.sum()) * 300 / 1e6
    assert day["light_sum_mol_m2"] == pytest.approx(by_hand, rel=0.01)
    assert day["seen_min"] == day["minutes"] == 1440
    assert by_day["2026-10-04"]["minutes"] == 1380  # the clock went forward


def test_nothing_still_to_come_is_called_a_gap(season_client):
    told = series(season_client, **{"from": "2026-10-20T00:00:00Z", "to": "2026-10-21T00:00:00Z"})
    assert all(when(gap["end"]) <= when("2026-10-20T02:00:00Z") for gap in told["gaps"])


def test_what_is_reckoned_is_refused_over_a_season(season_client):
    asked = {"quantity": "moisture_reserve", **SEASON}
    answer = season_client.get(SERIES, params=asked)
    assert answer.status_code == 422
    assert "minute by minute" in answer.json()["detail"]
    backwards = {"quantity": "ppfd", "from": SEASON["to"], "to": SEASON["from"]}
    assert season_client.get(SERIES, params=backwards).status_code == 422


@pytest.mark.parametrize("language", ["en", "es"])
def test_page_of_a_season_is_light_and_says_what_it_is_made_of(season_client, language):
    answer = season_client.get(PAGE, params={**SEASON, "lang": language})
    assert answer.status_code == 200
    assert len(answer.content) < 200_000
    text = unescape(answer.text)
    assert ("Each point is 10 minutes" in text) == (language == "en")
    assert ("Cada punto son 10 minutos" in text) == (language == "es")
    assert "<noscript><meta" not in text  # what is past does not change
    for drawn in re.findall(r'<svg class="chart".*?</svg>(?=</div>)', answer.text, re.DOTALL):
        ET.fromstring(drawn.replace('class="chart"', "", 1))


def test_the_line_is_broken_at_the_gap(season_client):
    page = season_client.get(PAGE, params=SEASON).text
    record = re.search(r'<path d="([^"]*)" class="record"/>', page)
    assert record is not None
    assert record.group(1).count("M") > 5
    assert 'class="extent"' in page


def test_links_go_earlier_later_wider_and_narrower(season_client):
    asked = {"from": "2026-10-03T12:00", "to": "2026-10-04T12:00"}
    page = season_client.get(PAGE, params=asked).text
    found = dict(re.findall(r'<a id="(\w+)" href="([^"]*)"', page))
    assert set(found) >= {"earlier", "later", "wider", "narrower"}
    narrower = unescape(found["narrower"])
    assert "from=2026-10-03T17%3A45%2B10%3A00" in narrower  # 23 hours: the clock goes forward
    assert "to=2026-10-04T06%3A15%2B11%3A00" in narrower
    assert season_client.get(narrower).status_code == 200


def test_a_span_that_is_none_gets_the_last_week_and_says_so(season_client):
    text = season_client.get(PAGE, params={"from": "soon", "to": "later"}).text
    assert "These are the last seven days" in text


def test_picture_is_the_same_chart_as_png(season_client):
    answer = season_client.get(f"{PAGE}/air_temperature.png", params=SEASON)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "image/png"
    assert answer.content.startswith(b"\x89PNG")
    assert len(answer.content) < 200_000
    gone = season_client.get(f"{PAGE}/moisture_reserve.png", params=SEASON)
    assert gone.status_code == 404
    assert season_client.get("/batches/none/charts").status_code == 404


def test_page_of_a_batch_leads_to_its_charts(looking):
    assert f'href="{PAGE}"' in looking.get("/batches/MG-07").text
    assert looking.get(PAGE).status_code == 200


def test_times_written_follow_the_wall_over_a_change_of_the_clock(at_season_end):
    place = at_season_end.parts.site.site
    first = int(when("2026-10-03T12:00:00+10:00").timestamp()) // 60
    marks = marks_along(first, first + 24 * 60, place)
    said = [f"{one.local:%d %H:%M}" for one in marks]
    assert said == ["03 12:00", "03 18:00", "04 00:00", "04 06:00", "04 12:00"]
    days = marks_along(first, first + 130 * 1440, place)
    assert {one.written for one in days} == {Written.MONTH}
    assert all(one.local.day == 1 for one in days)
    for minutes in (60, 600, 3000, 20_000, 100_000, 1_000_000):
        assert len(marks_along(first, first + minutes, place)) <= 8


def test_spans_beside_stay_within_an_hour_and_years(at_season_end):
    place, now = at_season_end.parts.site.site, at_season_end.clock.now()
    hour = AskedSpan(1000, 1060)
    assert hour.narrower() is None
    assert hour.wider() == AskedSpan(970, 1090)
    assert hour.moved(-0.5) == AskedSpan(970, 1030)
    short = asked_span("2026-10-01T00:00", "2026-10-01T00:10", now, place)
    assert short.minutes == 60
    assert asked_span("9999-12-31", None, now, place).misread
    week = asked_span(None, None, now, place)
    assert timedelta(minutes=week.minutes) == timedelta(days=7)
