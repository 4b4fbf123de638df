"""Tonight is foretold from recent nights, only where that beat "stays as now", and never beyond."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.cells import MICRO, CellBlock
from rules.evaluator import watchlist
from rules.model.quantities import Felt
from rules.tonight import (
    BOUNDS,
    LEAST_SCORED,
    MOST_HOURS,
    RECORD_MIN,
    SLOT_MIN,
    Expected,
    NotShown,
    Score,
    Slots,
    Why,
    forecasts,
    lowest,
    recent_slots,
    scores,
    slots_of,
    tonight,
)

A_DAY = 1440 // SLOT_MIN
END = 29_700_000
AIR, DAMP = Felt.AIR_TEMPERATURE, Felt.RELATIVE_HUMIDITY
FELTS = (AIR, DAMP)


def record(means) -> Slots:
    return Slots(END, np.asarray(means, dtype=np.float64))


def course(days: float, *, middle=80.0, swing=10.0, warming=0.0, noise=0.0, seed=0):
    """Quarter hours whose lowest stands 8 hours after the record's end."""
    slots = int(days * A_DAY)
    hours_after = (np.arange(slots) - slots + 1) / 4
    chance = np.random.default_rng(seed)
    return (
        middle
        - swing * np.cos((hours_after - 8.0) / 24 * 2 * np.pi)
        + warming * hours_after / 24
        + noise * chance.standard_normal(slots)
    )


def shown(forecast) -> list[int]:
    return [one.hours for one in forecast if isinstance(one, Expected)]


@pytest.mark.parametrize("felt", FELTS)
def test_after_constant_nights_the_forecast_is_persistence_and_is_not_shown(felt):
    steady = record(np.full(11 * A_DAY, 93.0))
    assert forecasts(steady, felt) == pytest.approx(np.full(MOST_HOURS, 93.0))
    assert {one.reason for one in tonight(steady, felt)} == {Why.NO_BETTER}
    assert {(one.persistence_error, one.skill) for one in scores(steady, felt)} == {(0.0, 0.0)}


@pytest.mark.parametrize("felt", FELTS)
def test_the_same_course_every_day_is_foretold_and_beats_persistence(felt):
    same = course(12)
    foretold = tonight(record(same[: 11 * A_DAY]), felt)
    came = same[11 * A_DAY + 3 : 11 * A_DAY + 4 * MOST_HOURS : 4]
    assert shown(foretold) == list(range(1, 13))
    assert [one.central for one in foretold] == pytest.approx(came.tolist(), abs=1e-9)
    assert all(one.score.skill == pytest.approx(1.0) for one in foretold)


@pytest.mark.parametrize("felt", FELTS)
def test_a_noisy_course_is_foretold_better_than_by_persistence(felt):
    foretold = tonight(record(course(11, noise=0.5)), felt)
    assert set(range(3, 11)) <= set(shown(foretold))
    for one in foretold:
        if isinstance(one, Expected):
            assert one.score.forecast_error < one.score.persistence_error
            assert one.low <= one.central <= one.high
            assert one.high - one.low < 8.0


def test_where_only_chance_moves_the_air_nearly_nothing_is_shown():
    told = 0
    for seed in range(40):
        walk = 20.0 + np.cumsum(np.random.default_rng(seed).normal(0.0, 0.2, 11 * A_DAY))
        told += len(shown(tonight(record(walk), AIR)))
    assert told / (40 * MOST_HOURS) < 0.05


def test_a_course_that_turned_round_is_not_foretold_for_long():
    turned = course(11)
    flipped = np.where(np.arange(len(turned)) // A_DAY % 2 == 0, turned, 160.0 - turned)
    assert shown(tonight(record(flipped), DAMP)) == []


def test_no_forecast_looks_at_what_came_after_its_moment():
    whole = course(12, noise=0.5)
    end = 10 * A_DAY
    changed = whole.copy()
    changed[end:] = 5.0
    assert forecasts(record(whole[:end]), DAMP).tolist() == (
        forecasts(record(changed[:end]), DAMP).tolist()
    )
    # A night that went wrong at its end spoils the score of that night, and of no other.
    spoiled = whole[: 11 * A_DAY].copy()
    spoiled[-1] += 0.01
    was, now = scores(record(whole[: 11 * A_DAY]), DAMP), scores(record(spoiled), DAMP)
    assert [one.nights for one in was] == [one.nights for one in now]
    assert [one.forecast_error for one in was] == [one.forecast_error for one in now]


def test_what_came_before_the_record_in_use_changes_nothing():
    long = course(20, noise=0.5)
    assert tonight(record(long), AIR) == tonight(record(long[-(RECORD_MIN // SLOT_MIN) :]), AIR)


@pytest.mark.parametrize(("days", "lacking"), [(1.0, 3), (2.5, 3), (3.5, 2), (4.5, 1)])
def test_too_few_nights_say_how_many_more(days, lacking):
    foretold = tonight(record(course(days)), DAMP)
    assert {(one.reason, one.more_nights) for one in foretold} == {(Why.TOO_FEW_NIGHTS, lacking)}


def test_the_nights_asked_for_are_enough():
    assert shown(tonight(record(course(5.5)), DAMP)) == list(range(1, 13))
    assert {one.score.nights for one in tonight(record(course(5.5)), DAMP)} == {LEAST_SCORED}


@pytest.mark.parametrize("felt", FELTS)
def test_without_a_reading_now_or_ever_nothing_is_told(felt):
    silent = course(11)
    silent[-1] = np.nan
    for one in (record(silent), record([]), record([np.nan])):
        assert {told.reason for told in tonight(one, felt)} == {Why.NO_READING}


def test_a_missing_night_is_looked_past():
    holed = course(11)
    holed[8 * A_DAY : 9 * A_DAY] = np.nan
    foretold = tonight(record(holed), DAMP)
    assert shown(foretold) == list(range(1, 13))
    assert max(one.score.nights for one in foretold) <= 4
    assert [one.central for one in foretold] == pytest.approx(
        [one.central for one in tonight(record(course(11)), DAMP)]
    )


def test_one_odd_night_does_not_pull_the_forecast():
    odd = course(11)
    odd[9 * A_DAY : 10 * A_DAY] -= np.linspace(0.0, 60.0, A_DAY)
    assert forecasts(record(odd), DAMP) == pytest.approx(forecasts(record(course(11)), DAMP))


def test_a_night_begun_drier_than_others_stays_drier_and_comes_slowly_back():
    drier = course(11)
    drier[-A_DAY // 2 :] -= 5.0
    less = forecasts(record(course(11)), DAMP) - forecasts(record(drier), DAMP)
    assert less == pytest.approx(5.0 * np.exp(-np.arange(1, 13) / 48.0))


def test_an_odd_trend_goes_on_a_little_in_temperature_and_not_in_humidity():
    falling = course(11)
    falling[-9:] -= np.linspace(0.0, 2.0, 9)  # one degree an hour over the last two hours
    late = np.arange(1, 13)
    back = 2.0 * np.exp(-late / 48.0)
    less = forecasts(record(course(11)), AIR) - forecasts(record(falling), AIR)
    assert less == pytest.approx(back + 0.3 * (1.0 - np.exp(-late)))
    assert forecasts(record(course(11)), DAMP) - forecasts(record(falling), DAMP) == (
        pytest.approx(back)
    )


def test_of_two_nights_before_the_course_lies_in_the_middle():
    two = np.concatenate([np.full(A_DAY, 80.0), np.full(A_DAY, 80.0), [80.0]])
    two[-1 - 2 * A_DAY + 4] = 86.0
    two[-1 - A_DAY + 4] = 82.0
    assert forecasts(record(two), DAMP)[:2] == pytest.approx([84.0, 80.0])
    assert np.isnan(forecasts(record(two[1:]), DAMP)).all()


def test_errors_all_to_one_side_leave_the_forecast_on_the_edge_of_its_band():
    for one in tonight(record(course(11, warming=1.0)), AIR):
        assert isinstance(one, Expected)
        assert one.low == one.central < one.high


@st.composite
def records(draw):
    days = draw(st.integers(1, 12))
    means = course(
        days,
        middle=draw(st.sampled_from([0.0, 20.0, 50.0, 99.0, 100.0])),
        swing=draw(st.sampled_from([0.0, 0.5, 10.0])),
        noise=draw(st.sampled_from([0.0, 0.3, 5.0])),
        seed=draw(st.integers(0, 5)),
    )
    for start in draw(st.lists(st.integers(0, len(means) - 1), max_size=4)):
        means[start : start + draw(st.sampled_from([1, 8, 96, 200]))] = np.nan
    return record(means)


@settings(deadline=None, max_examples=60)
@given(records(), st.sampled_from(FELTS))
def test_bands_are_in_order_and_within_range_and_every_hour_has_its_say(given_record, felt):
    low, high = BOUNDS[felt]
    foretold = tonight(given_record, felt)
    assert [one.hours for one in foretold] == list(range(1, 13))
    for one in foretold:
        assert one.minute == END + 60 * one.hours
        if isinstance(one, Expected):
            assert low <= one.low <= one.central <= one.high <= high
            assert one.score.skill >= 0.1
            assert one.score.nights >= LEAST_SCORED
            assert one.score.nights_won / one.score.nights >= 0.75
        else:
            assert (one.more_nights > 0) == (one.reason is Why.TOO_FEW_NIGHTS)


@settings(deadline=None, max_examples=40)
@given(records(), st.integers(-30, 30))
def test_a_warmer_place_with_the_same_course_is_foretold_as_much_warmer(given_record, warmer):
    before = forecasts(given_record, AIR)
    after = forecasts(record(given_record.means + warmer), AIR)
    assert after == pytest.approx(before + warmer, nan_ok=True)


def test_the_skill_of_a_perfect_a_useless_and_a_harmful_forecast():
    one = Score(hours=1, nights=5, nights_won=5, forecast_error=0.0, persistence_error=2.0)
    assert one.skill == 1.0
    assert replace(one, forecast_error=2.0).skill == 0.0
    assert replace(one, forecast_error=3.0).skill == -0.5
    assert replace(one, forecast_error=np.nan, persistence_error=np.nan).skill == 0.0


def expected(hours, central):
    return Expected(hours, END + 60 * hours, central - 1, central, central + 1, scored)


def hidden(hours, why=Why.NO_BETTER):
    return NotShown(hours, END + 60 * hours, why, 0)


scored = Score(hours=1, nights=5, nights_won=5, forecast_error=1.0, persistence_error=2.0)


def lowest_of(*forecast, as_now=90.0, start=0, until=12):
    found = lowest(
        forecast, as_now, from_minute=END + 60 * start, until_minute=END + 60 * until + 1
    )
    return found.hours if found else None


def test_the_lowest_hour_is_told_where_it_is_sure():
    assert lowest_of(expected(1, 88), expected(2, 85), expected(3, 86)) == 2
    assert lowest_of(expected(1, 88), expected(2, 85), until=1) == 1
    assert lowest_of(expected(1, 84), expected(2, 85), start=2) == 2
    # Hours not shown count as now: they hide no lower one while the forecast goes below now.
    assert lowest_of(hidden(1), expected(2, 85)) == 2
    assert lowest_of(hidden(1), expected(2, 95)) is None
    assert lowest_of(hidden(1), hidden(2)) is None
    assert lowest_of(expected(1, 85), hidden(2, Why.TOO_FEW_NIGHTS)) is None
    assert lowest_of() is None
    first = expected(1, 85)
    assert lowest([first], 90.0, from_minute=END, until_minute=first.minute) is None
    assert lowest([first], 90.0, from_minute=first.minute, until_minute=END + 61) == first


@given(st.integers(0, 200), st.lists(st.one_of(st.none(), st.integers(0, 100)), max_size=80))
def test_quarter_hours_are_those_of_the_clock_and_need_five_minutes(first, said):
    values = np.array([np.nan if one is None else one for one in said], dtype=np.float64)
    slots = slots_of(first, values)
    start = slots.end_minute - SLOT_MIN * len(slots.means)
    assert start % SLOT_MIN == 0
    assert first <= start < first + SLOT_MIN
    assert len(slots.means) == max(0, (first + len(said) - start) // SLOT_MIN)
    for place, mean in enumerate(slots.means.tolist()):
        begin = start - first + place * SLOT_MIN
        seen = [one for one in said[begin : begin + SLOT_MIN] if one is not None]
        if len(seen) < 5:
            assert np.isnan(mean)
        else:
            assert mean == pytest.approx(sum(seen) / len(seen))


@pytest.mark.parametrize(("seen", "told"), [(4, False), (5, True)])
def test_five_minutes_make_a_quarter_hour(seen, told):
    values = np.full(SLOT_MIN, np.nan)
    values[:seen] = 20.0
    assert np.isfinite(slots_of(0, values).means).tolist() == [told]


def test_a_sensor_that_stood_near_but_did_not_speak_yet_does_not_count(make):
    nearer = {
        "since": "2026-05-01T00:00:00Z",
        "until": "2026-05-04T13:00:00Z",
        "cover_of": "MG-07",
    }
    sensors = [
        make.sensor("bag-07", position=[nearer]),
        make.sensor("bench", position=[{"since": "2026-05-01T00:00:00Z", "bench": "bench-2"}]),
    ]
    site = make.site(sensor=sensors, batch=[make.batch(cover="none")])
    watched = watchlist(site, make.plan(healing={"vital": []}))
    first = int(make.evening.timestamp()) // 60 - 60
    block = CellBlock(
        first_minute=first,
        channels=("bench/air_temperature",),
        means=np.full((120, 1), 21 * MICRO, dtype=np.int64),
        present=np.ones((120, 1), dtype=np.bool_),
    )
    assert np.isfinite(recent_slots(watched.batches[0], block, AIR).means).tolist() == (
        [False] * 4 + [True] * 4
    )


def test_only_what_the_speaking_sensor_said_since_it_stood_there_counts(make):
    moved = make.sensor(
        position=[
            {
                "since": "2026-05-01T00:00:00Z",
                "until": "2026-05-04T13:00:00Z",
                "bench": "bench-3",
            },
            {"since": "2026-05-04T13:00:00Z", "cover_of": "MG-07"},
        ]
    )
    watched = watchlist(make.site(sensor=[moved]), make.plan(healing={"vital": []}))
    first = int(make.evening.timestamp()) // 60 - 60
    block = CellBlock(
        first_minute=first,
        channels=("bag-07/air_temperature",),
        means=np.full((120, 1), 21 * MICRO, dtype=np.int64),
        present=np.ones((120, 1), dtype=np.bool_),
    )
    slots = recent_slots(watched.batches[0], block, AIR)
    assert slots.means[-4:].tolist() == [21.0] * 4
    assert np.isnan(slots.means[:4]).all()
    assert np.isnan(recent_slots(watched.batches[0], block, DAMP).means).all()
