"""Beside each limit stands the worst since grafting, of what sensors told in the limit's hours."""

from __future__ import annotations

import re
from html import unescape

import numpy as np
import pytest

from api.drawing.day import day_of
from api.v1.far_back import FarBack
from api.v1.sight import Sight
from rules.model.plan import Limit, Side, When
from rules.model.quantities import Felt
from rules.model.reading import MINUTE_MS, Reading
from rules.sun import sun_is_up


def rows_of(page: str) -> list[dict[str, str]]:
    """Every row of the table of limits, each cell by its head."""
    table = re.search(r'(?s)<table class="table cards">\s*<thead><tr><th>what.*?</table>', page)
    assert table is not None
    heads, *rows = (
        [unescape(re.sub(r"<[^>]+>", "", one)) for one in re.findall(r"(?s)<t[hd].*?</t[hd]>", row)]
        for row in re.findall(r"(?s)<tr>(.*?)</tr>", table[0])
    )
    return [dict(zip(heads, row, strict=True)) for row in rows]


def ever(page: str, what: str) -> set[str]:
    spaced = "\N{NO-BREAK SPACE}"
    return {
        row["worst since grafting"].replace(spaced, " ")
        for row in rows_of(page)
        if row["what"] == what
    }


def test_the_one_hot_word_of_a_season_stands_beside_the_limit_with_its_day(season_client):
    page = season_client.get("/batches/MG-07").text
    assert "43.0 °C, Wed 9 September 14:00" in ever(page, "air temperature")
    assert ever(page, "leaf temperature") == {"not kept so long"}
    spanish = season_client.get("/batches/MG-07?lang=es").text
    assert "lo peor desde el injerto" in spanish
    assert "no se guarda tanto tiempo" in spanish


def test_a_night_that_is_the_worst_so_far_is_told_by_the_minute(looking):
    page = looking.get("/batches/MG-07").text
    assert ever(page, "humidity") == {"72 %, 02:06"}
    assert ever(page, "moisture reserve") == {"not kept so long"}


@pytest.fixture
def asked(at_season_end):
    """What the season says of a limit on the air, and all that its probe told, by the minute."""
    parts = at_season_end.parts
    (batch,) = parts.site.batch
    (watched,) = parts.watchlist.batches
    day = day_of(parts.clock.now(), parts.site.site)
    today = Sight(parts).span(day.first_minute, day.minutes)
    far = FarBack(parts)
    like = next(
        one
        for one in parts.plans["leafy-bag"][0].stage["healing"].limit
        if one.quantity is Felt.AIR_TEMPERATURE
    )

    def worst(**changes: object):
        limit = Limit.model_validate({**like.model_dump(exclude_none=True), **changes})
        return far.worst(batch, watched, limit, today)

    key = "bag-07/air"
    series = parts.store.series([key], 0, day.first_minute * MINUTE_MS)[key]
    return worst, series.at_ms // MINUTE_MS, series.value, parts.site.site


def test_the_worst_is_the_worst_of_all_readings_of_the_hours_in_which_the_limit_speaks(asked):
    worst, at, value, place = asked
    lit, cell = sun_is_up(place, at), at // 10 * 10
    # A cell that the sun rises or sets in is of no part of the day.
    whole = sun_is_up(place, cell) == sun_is_up(place, cell + 9)
    told = set()
    for when, of in (
        (When.ALWAYS, lit | ~lit),
        (When.DAY, lit & whole),
        (When.NIGHT, ~lit & whole),
    ):
        for side, extreme in ((Side.LOW, value[of].min()), (Side.HIGH, value[of].max())):
            found = worst(side=side, when=when)
            assert found.value == pytest.approx(extreme, abs=1e-6), (side, when)
            inside = of & (at >= found.minute) & (at < found.minute + 10)
            assert np.isclose(value[inside], extreme).any(), (side, when)
            told.add(found.value)
    assert len(told) > 2


def test_what_was_felt_while_the_sun_rose_is_neither_of_the_day_nor_of_the_night(
    at_season_end, asked
):
    worst, at, _, place = asked
    rises = next(
        int(cell)
        for cell in np.unique(at // 10 * 10)[2000:]
        if list(sun_is_up(place, np.array([cell, cell + 9]))) == [False, True]
    )
    at_season_end.store.keep([Reading("bag-07/air", rises * MINUTE_MS, 44.5)])
    assert worst(side=Side.HIGH, when=When.ALWAYS).value == 44.5
    for when in (When.DAY, When.NIGHT):
        assert worst(side=Side.HIGH, when=when).value < 44.0


def test_what_is_only_reckoned_is_refused(asked):
    worst, *_ = asked
    with pytest.raises(ValueError, match="not kept since grafting"):
        worst(quantity=Felt.RESERVE, side=Side.LOW, bound=35.0)
