"""Pages say in words why a channel is not believed, suspect, or out of calibration."""

from __future__ import annotations

import dataclasses
import html
import re
from datetime import timedelta

import httpx
import pytest

from api.book import Book, in_force_of
from rules.doubt import QualityTest

MINUTE = timedelta(minutes=1)


def text_of(page: str) -> str:
    text = html.unescape(re.sub(r"<[^>]+>", " ", page))
    return re.sub(r"\s+", " ", text.replace("\N{NO-BREAK SPACE}", " ")).replace(" .", ".")


def say(nursery, minutes: int, **values: float) -> None:
    """Let the probe under MG-07 say the same for some minutes, and nobody else speak."""
    for _ in range(minutes):
        at = nursery.clock.now()
        said = {"t": int(at.timestamp()), "temperature": 21.0, "humidity": 72.0, "battery": 3.0}
        nursery.hear("tern-hollow/bag-07", said | values, at)
        nursery.clock.turn_by(MINUTE)
    nursery.clock.turn_by(2 * MINUTE)
    nursery.watch.turn()


def with_calibration(nursery, **written):
    """The parts of a nursery whose probe under MG-07 was checked."""
    site = nursery.parts.site
    probe = next(one for one in site.sensor if one.id == "bag-07")
    told = probe.model_dump(mode="json")
    damp = next(one for one in told["channel"] if one["quantity"] == "relative_humidity")
    damp["calibration"] = [{"since": "2026-10-01T08:00:00+11:00", "offset": 0.5, **written}]
    checked = type(probe).model_validate(told)
    sensors = tuple(checked if one.id == "bag-07" else one for one in site.sensor)
    changed = site.model_copy(update={"sensor": sensors})
    book = Book(in_force_of(changed, nursery.parts.plans))
    return dataclasses.replace(nursery.parts, book=book)


def test_a_probe_that_says_what_cannot_be_is_not_believed_and_stands_on_top(client, tern_hollow):
    say(tern_hollow, 2, humidity=108.0)
    page = client.get("/sensors").text
    text = text_of(page)
    assert "One is not believed." in text
    assert "Humidity: not believed: what it says lies outside what can be." in text
    assert text.index("Probe in the bag of MG-07") < text.index("Probe in the bag of AV-12")


def test_it_says_so_in_spanish_too(client, tern_hollow):
    say(tern_hollow, 2, humidity=108.0)
    text = text_of(client.get("/sensors", headers={"accept-language": "es"}).text)
    assert "A uno no se le cree." in text
    assert "Humedad: no se le cree: lo que dice no es posible." in text


def test_a_batch_that_is_blind_says_that_its_probe_speaks_but_is_not_believed(client, tern_hollow):
    say(tern_hollow, 20, humidity=108.0)
    text = text_of(client.get("/").text)
    assert "Not believed: what it says lies outside what can be." in text
    batch = text_of(client.get("/batches/MG-07").text)
    assert "not believed: what it says lies outside what can be" in batch


def test_a_leap_is_told_as_such_while_the_last_good_value_speaks_on(client, tern_hollow):
    say(tern_hollow, 2)
    say(tern_hollow, 1, temperature=48.0)
    text = text_of(client.get("/sensors").text)
    assert "Air temperature: not believed: it leapt" in text
    felt = client.get("/api/v1/batches/MG-07").json()["felt"]
    air = next(one for one in felt if one["quantity"] == "air_temperature")
    assert (air["value"], air["missing"], air["failed"]) == (21.0, None, "spike")


def test_a_suspect_word_is_told_on_both_pages_and_used(client, tern_hollow):
    say(tern_hollow, 2)
    say(tern_hollow, 1, humidity=20.0)
    assert "Humidity: suspect: it moved faster than is usual" in text_of(
        client.get("/sensors").text
    )
    assert "suspect: it moved faster than is usual" in text_of(client.get("/batches/MG-07").text)
    felt = client.get("/api/v1/batches/MG-07").json()["felt"]
    damp = next(one for one in felt if one["quantity"] == "relative_humidity")
    assert (damp["value"], damp["suspect"], damp["failed"]) == (20.0, "step", None)


def test_the_api_gives_flag_and_test_of_each_channel(client, tern_hollow):
    say(tern_hollow, 2, humidity=108.0)
    sensors = {one["id"]: one for one in client.get("/api/v1/sensors").json()}
    channels = {one["quantity"]: one for one in sensors["bag-07"]["channels"]}
    damp, air = channels["relative_humidity"], channels["air_temperature"]
    assert (damp["flag"], damp["test"]) == (4, "range")
    assert (air["flag"], air["test"]) == (1, None)
    assert damp["calibrated_until"] is None
    hand = sensors["hand-probe"]["channels"][0]
    assert (hand["flag"], hand["test"]) == (9, None)
    tern_hollow.stand_still(600)
    later = {one["id"]: one for one in client.get("/api/v1/sensors").json()}
    assert {one["flag"] for one in later["bag-07"]["channels"]} == {9}


@pytest.mark.parametrize(
    ("written", "says", "dice"),
    [
        ({}, "calibrated Thu 1 October", "calibrado jue 1 de octubre"),
        (
            {"expires": "2027-04-01T08:00:00+11:00"},
            "calibrated Thu 1 October, good until Thu 1 April 2027",
            "calibrado jue 1 de octubre, vale hasta jue 1 de abril 2027",
        ),
        (
            {"expires": "2026-11-01T08:00:00+11:00"},
            "out of calibration since Sun 1 November: check it; the old correction still applies",
            "calibración vencida desde dom 1 de noviembre: revíselo",
        ),
    ],
)
def test_a_check_is_told_with_its_days(tern_hollow, serving, written, says, dice):
    parts = with_calibration(tern_hollow, **written)
    with serving(parts) as address:
        assert f"Humidity: {says}" in text_of(httpx.get(f"{address}/sensors").text)
        spanish = httpx.get(f"{address}/sensors", headers={"accept-language": "es"}).text
        assert f"Humedad: {dice}" in text_of(spanish)
        sensors = {one["id"]: one for one in httpx.get(f"{address}/api/v1/sensors").json()}
    damp = next(
        one for one in sensors["bag-07"]["channels"] if one["quantity"] == "relative_humidity"
    )
    assert (damp["calibrated_until"] is None) == ("expires" not in written)
    assert damp["out_of_calibration"] == ("since Sun" in says)


def test_every_test_has_its_words():
    from api.web.words.en import English

    assert set(English.doubts) == set(QualityTest) - {QualityTest.NONE}
