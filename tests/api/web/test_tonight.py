"""The page of a batch tells tonight's lowest where its own nights bear that out, else nothing."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from html import unescape

import numpy as np
import pytest

from rules.model.reading import Reading

RECORDED_FROM = datetime(2026, 11, 14, 1, 0, tzinfo=UTC)
LOWEST_AT = datetime(2026, 11, 14, 17, 0, tzinfo=UTC)  # 04:00 at the nursery
EVERY = timedelta(minutes=5)


def tell_nights(tern_hollow, *, nights: int, channel="bag-12/humidity", same=True) -> None:
    """Keep what the probe said on the nights before the recorded one, driest at 04:00."""
    chance = np.random.default_rng(7)
    said = []
    at = RECORDED_FROM - timedelta(days=nights)
    walk = 90.0
    while at < RECORDED_FROM:
        hours = (at - LOWEST_AT) / timedelta(hours=1)
        walk += chance.normal(0.0, 0.2)
        apart = (hours + 12.0) % 24.0 - 12.0
        dip = 96.0 - 9.0 * np.exp(-((apart / 2.0) ** 2)) + chance.normal(0.0, 0.5)
        value = dip if same else min(walk, 99.0)
        said.append(
            Reading(channel=channel, at_ms=int(at.timestamp() * 1000), value=round(float(value), 1))
        )
        at += EVERY
    tern_hollow.store.keep(said)


def tonight_section(client, path="/batches/AV-12") -> str | None:
    answer = client.get(path)
    assert answer.status_code == 200
    section = re.search(r'(?s)<section id="tonight">(.*?)</section>', answer.text)
    if section is None:
        return None
    plain = unescape(re.sub(r"<[^>]+>", " ", section[1])).replace("\N{NO-BREAK SPACE}", " ")
    return " ".join(plain.split())


def test_a_record_of_one_night_foretells_nothing(client):
    assert tonight_section(client) is None


@pytest.mark.parametrize("nights", [2, 10])
def test_nights_that_took_the_same_course_foretell_the_lowest(client, tern_hollow, nights):
    tell_nights(tern_hollow, nights=nights)
    text = tonight_section(client)
    if nights == 2:
        assert text is None
        return
    assert text is not None
    found = re.search(
        r"^Tonight Lowest humidity expected about 04:00: (\d+) % \((\d+) to (\d+)\)\.", text
    )
    assert found is not None, text
    value, low, high = map(int, found.groups())
    assert low <= value <= high
    assert low < high
    assert re.search(
        r"Looked ahead until 05:\d\d\. On five recent nights such a forecast was off by \d %; "
        r"“stays as now” by \d %\.$",
        text,
    )


def test_tonight_is_told_in_spanish(client, tern_hollow):
    tell_nights(tern_hollow, nights=10)
    text = tonight_section(client, "/batches/AV-12?lang=es")
    assert text is not None
    assert re.search(
        r"^Esta noche Humedad: lo más bajo se espera hacia las 04:00: \d+ % \(de \d+ a \d+\)\. "
        r"Se miró hasta las 05:\d\d\. En cinco noches recientes un pronóstico así erró \d %;",
        text,
    )


def test_nights_that_went_each_its_own_way_foretell_nothing(client, tern_hollow):
    tell_nights(tern_hollow, nights=10, same=False)
    assert tonight_section(client) is None


def test_by_day_and_in_silence_nothing_is_foretold(client, tern_hollow):
    tell_nights(tern_hollow, nights=10)
    tern_hollow.stand_still(60)
    assert tonight_section(client) is None
    tern_hollow.go_on(7 * 60)
    assert tonight_section(client) is None


def test_a_batch_without_a_cover_is_not_foretold(client, tern_hollow):
    tell_nights(tern_hollow, nights=10, channel="bench-5/humidity")
    assert tonight_section(client, "/batches/PE-03") is None
