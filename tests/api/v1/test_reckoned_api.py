"""What is reckoned comes over the API with its band, its doubt and what is missing for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import httpx
import pytest

from api.book import Book, in_force_of
from rules.cover import TooThin
from rules.reckoning import ahead_under_cover
from rules.reserve import through_last_hours

V1 = "/api/v1"
NOW_MIN = int(datetime.fromisoformat("2026-11-14T22:07:00+00:00").timestamp()) // 60


def minute_of(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp()) // 60


def carried(hot_bags, code: str):
    from api.v1.sight import Sight

    batch = next(one for one in hot_bags.parts.watchlist.batches if one.code == code)
    state = Sight(hot_bags.parts).present().state
    assert state.minute == NOW_MIN
    return batch.kit_in(batch.span_at(NOW_MIN)), state.batches[code].reckoned


def test_water_left_comes_as_a_band_since_when_and_with_what_was_guessed(hot_client):
    drying = hot_client.get(f"{V1}/batches/MG-07").json()["drying"]
    reserve, hours = drying["reserve_pct"], drying["hours_to_critical"]
    assert reserve["low"] < reserve["likely"] < reserve["high"]
    assert hours["low"] < hours["likely"] < hours["high"]
    assert drying["since"] == "2026-11-10T19:00:00Z"
    assert drying["guessed_min"] == 25  # forty silent minutes, less the fifteen that a word lasts


def test_water_ahead_is_that_of_the_hours_until_sunrise(hot_client, hot_bags):
    ahead = hot_client.get(f"{V1}/batches/MG-07").json()["drying"]["ahead"]
    kit, reckoned = carried(hot_bags, "MG-07")
    until = minute_of(ahead["until"])
    expected = through_last_hours(kit.figures, reckoned.account, NOW_MIN, until_minute=until)
    assert minute_of(ahead["soonest"]) == expected.soonest
    assert (ahead["likely"], expected.likely) == (None, None)
    assert ahead["reserve_pct"]["likely"] == float(expected.reserve_pct.central[0])
    assert ahead["until"].startswith("2026-11-15T18:")  # five in the morning there


def test_water_ahead_is_null_before_a_whole_day_was_seen(hot_client):
    drying = hot_client.get(f"{V1}/batches/AV-09").json()["drying"]
    assert drying["ahead"] is None
    assert drying["hours_to_critical"]["likely"] > 1


def test_heat_to_expect_comes_with_time_band_and_the_shade_it_takes(hot_client, hot_bags):
    body = hot_client.get(f"{V1}/batches/MG-07").json()
    told, heat = body["peak"], body["cover_heat"]
    felt = {one["quantity"]: one["value"] for one in body["felt"]}
    assert told["temperature_c"]["likely"] == felt["expected_peak"]
    assert told["told_at"] < heat["peak"]["told_at"] == "2026-11-14T22:07:00Z"
    ahead = ahead_under_cover(*carried(hot_bags, "MG-07"), NOW_MIN)
    assert heat["peak"]["temperature_c"]["likely"] == ahead.peak.central_c
    assert minute_of(heat["peak"]["at"]) == ahead.peak.at_minute
    assert len(heat["low_c"]) == len(heat["likely_c"]) == len(heat["high_c"]) == 144
    assert max(heat["likely_c"]) == pytest.approx(ahead.peak.central_c, abs=1e-3)
    assert heat["start"] == "2026-11-14T22:17:00Z"
    # The limit on the air and that on what is expected share a bound: it stands once.
    assert [one["limit"] for one in heat["shadings"]] == ["warm", "heat-danger"]
    warm, danger = heat["shadings"]
    assert warm["shade_before"] < danger["shade_before"] < heat["peak"]["at"]
    assert 0.0 < danger["share_to_stop"] < warm["share_to_stop"] < 1.0


def test_a_record_that_is_too_thin_says_what_it_needs(hot_client, hot_bags):
    body = hot_client.get(f"{V1}/batches/AV-09").json()
    heat = body["cover_heat"]
    thin = ahead_under_cover(*carried(hot_bags, "AV-09"), NOW_MIN)
    assert isinstance(thin, TooThin)
    assert heat["needs"] == {
        "more_hours_of_light": thin.more_spans / 2,
        "more_days": thin.more_days,
        "more_range_umol_m2_s": thin.more_range_umol,
    }
    assert thin.more_spans > 0
    assert (heat["peak"], heat["likely_c"], body["peak"]) == (None, [], None)
    assert (heat["sensor_inside"], heat["sensor_outside"]) == (True, True)


def test_a_house_without_a_sensor_says_that_one_is_missing(hot_bags, serving):
    parts = hot_bags.parts
    fewer = tuple(sensor for sensor in parts.site.sensor if sensor.id != "house")
    site = parts.site.model_copy(update={"sensor": fewer})
    without = replace(parts, book=Book(in_force_of(site, parts.plans)))
    with serving(without) as address:
        heat = httpx.get(f"{address}{V1}/batches/MG-07").json()["cover_heat"]
    assert (heat["sensor_inside"], heat["sensor_outside"]) == (True, False)
    assert (heat["needs"], heat["peak"]) == (None, None)


def test_a_batch_without_a_cover_has_no_heat_under_it(hot_client):
    body = hot_client.get(f"{V1}/batches/WL-03").json()
    assert body["cover_heat"] is None
    assert body["peak"] is None
    bare = next(one for one in body["judged"] if one["limit"] == "bare")
    assert (bare["film"], bare["speaks"]) == ("open", True)


def test_sums_stand_beside_their_bounds_with_what_was_not_seen(hot_client):
    doses = {one["dose"]: one for one in hot_client.get(f"{V1}/batches/MG-07").json()["doses"]}
    light, heat = doses["light-sum"], doses["heat-sum"]
    assert (light["unit"], light["bound"], light["per"]) == ("mol m⁻²", 2.5, "local_day")
    assert light["since"] == "2026-11-14T13:00:00Z"
    assert light["whole"]
    assert light["raised"] == (light["total"] > 2.5)
    assert (heat["unit"], heat["unseen_min"]) == ("°C·h", 25)
    assert heat["since"] == "2026-11-10T19:00:00Z"
    late = {one["dose"]: one for one in hot_client.get(f"{V1}/batches/AV-09").json()["doses"]}
    assert (late["light-sum"]["whole"], late["heat-sum"]["whole"]) == (False, True)


def test_record_carries_bands_and_sums_minute_by_minute(hot_client):
    span = {"from": "2026-11-14T01:00:00Z", "to": "2026-11-14T22:08:00Z"}
    body = hot_client.get(f"{V1}/batches/MG-07/record", params=span).json()
    now = hot_client.get(f"{V1}/batches/MG-07").json()
    count = 21 * 60 + 8
    for name in ("reserve_pct", "hours_to_critical"):
        band = body[name]
        assert len(band["low"]) == len(band["likely"]) == len(band["high"]) == count
        assert band["likely"][-1] == pytest.approx(now["drying"][name]["likely"], rel=1e-4)
        assert all(a <= b <= c for a, b, c in zip(*band.values(), strict=True))
    assert body["dose_units"]["heat-sum"] == "°C·h"
    totals = {one["dose"]: one["total"] for one in now["doses"]}
    assert {name: sums[-1] for name, sums in body["doses"].items()} == pytest.approx(totals)
    assert body["doses"]["light-sum"][0] > body["doses"]["light-sum"][-1] > 0  # since midnight


def test_record_of_a_batch_that_came_later_has_no_band_before(hot_client):
    span = {"from": "2026-11-14T20:00:00Z", "to": "2026-11-14T22:08:00Z"}
    body = hot_client.get(f"{V1}/batches/AV-09/record", params=span).json()
    assert body["reserve_pct"]["likely"][:70] == [None] * 70
    assert body["reserve_pct"]["likely"][70] is not None
