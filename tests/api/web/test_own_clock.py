"""Every page says by which clock its times are told, however far away whoever reads it is."""

from __future__ import annotations

from datetime import UTC, datetime
from html import unescape

import pytest

from api.web.telling import Telling
from api.web.words.languages import LANGUAGES

PAGES = ["/", "/house", "/tonight", "/bench/MG-07", "/batches/MG-07", "/batches/MG-07/charts",
         "/alarms/1", "/staff", "/settings", "/batches/MG-07/review"]  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_a_page_says_by_which_clock_its_times_are(looking, path):
    said = unescape(looking.get(path).text)
    assert "Times are by the nursery's clock: UTC+11." in said
    spanish = unescape(looking.get(f"{path}?lang=es").text)
    assert "Las horas son las del vivero: UTC+11." in spanish


@pytest.mark.published("IANA time zone database: offsets of these zones on these days")
@pytest.mark.parametrize(
    ("zone", "at", "said"),
    [
        ("America/St_Johns", datetime(2026, 1, 5, tzinfo=UTC), "America/St Johns (UTC-3:30)"),
        ("America/St_Johns", datetime(2026, 7, 5, tzinfo=UTC), "America/St Johns (UTC-2:30)"),
        ("Asia/Kathmandu", datetime(2026, 7, 5, tzinfo=UTC), "Asia/Kathmandu (UTC+5:45)"),
        ("Africa/Abidjan", datetime(2026, 7, 5, tzinfo=UTC), "Africa/Abidjan (UTC+0)"),
    ],
)
def test_the_distance_from_utc_is_that_of_the_day(tern_hollow, zone, at, said):
    site = tern_hollow.parts.site
    there = site.model_copy(update={"site": site.site.model_copy(update={"time_zone": zone})})
    told = Telling(LANGUAGES["en"], there, at, fahrenheit=False).own_clock()
    assert told == f"Times are by the nursery's clock: {said}."
