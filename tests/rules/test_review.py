"""Candidate causes of lives that are painted minute by minute, one thing at a time."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from rules.evidence import Fact, Siblings, worse_percentile
from rules.exposures import Exposure, Measured, exposures_of, hour_means, percentile_among
from rules.harm import HEAT_ENOUGH_C_H, NIGHT_ENOUGH_KPA_H, harms_of, night_part
from rules.hearsay import Doubts, Gainsaid, Shifted
from rules.life import Bounded, Life
from rules.model.batch import Batch
from rules.model.quantities import Felt, Quantity
from rules.review import (
    Cause,
    Untold,
    Weight,
    alone_of,
    doubt_of,
    review_of,
    share_of,
)
from rules.take import Outcome, Take

DAYS = 12
FIRST = 29_700_000
SIGN = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(minutes=FIRST + DAYS * 1440)
HOUR = np.arange(DAYS * 1440) / 60 % 24
NIGHT = (HOUR < 6) | (HOUR >= 18)
BOUND = {
    Bounded.DRY: 0.3,
    Bounded.DAMP: 90.0,
    Bounded.HOT: 38.0,
    Bounded.LEAF_HOT: 42.0,
    Bounded.COLD: 12.0,
    Bounded.BRIGHT: 600.0,
}
SURE = Doubts(240.0, 0.0, 0.0, (), (), ())
ALONE = Siblings((), ())
EVENT = slice(8 * 1440 + 11 * 60, 8 * 1440 + 15 * 60)


def nights(day: int, count: int):
    """So many whole nights from the evening of a day on."""
    at = np.arange(NIGHT.size) - 18 * 60
    return NIGHT & (at >= day * 1440) & (at < (day + count) * 1440)


def life(**felt) -> Life:
    """A calm life of twelve days: damp, mild, shaded; changed as told."""
    count = DAYS * 1440
    calm = {
        Felt.AIR_TEMPERATURE: np.full(count, 25.0),
        Felt.RELATIVE_HUMIDITY: np.full(count, 97.0),
        Felt.VAPOUR_PRESSURE_DEFICIT: np.full(count, 0.1),
        Felt.PPFD: np.where(NIGHT, 0.0, 100.0),
        Felt.LEAF_TEMPERATURE: np.full(count, 26.0),
    }
    for name, (rows, value) in felt.items():
        calm[Felt(name)][rows] = value
    return Life(
        code="MG-07",
        first_minute=FIRST,
        felt=calm,
        reserve=np.full((3, count), 90.0),
        watched=np.ones(count, dtype=np.bool_),
        blind=np.zeros(count, dtype=np.bool_),
        unbelieved=np.zeros(count, dtype=np.bool_),
        beyond=np.zeros(count, dtype=np.bool_),
        sun_up=~NIGHT,
        direct_from=np.where(NIGHT, np.nan, 400.0),
        bounds={one: np.full(count, value) for one, value in BOUND.items()},
    )


def batch(*observations: dict) -> Batch:
    return Batch.model_validate(
        {
            "code": "MG-07",
            "species": "mango",
            "cultivar": "early yellow",
            "rootstock": "local seedling",
            "method": "cleft",
            "scion": "leafy",
            "wrap": "tape",
            "cover": "tied_bag",
            "count": 24,
            "grafter": "TQ",
            "grafted_on": "2026-06-20",
            "bench": "b",
            "plan": "leafy-bag",
            "stage": [
                {"stage": "healing", "since": "2026-06-20T10:00:00+11:00", "because": "grafted"}
            ],
            "observation": list(observations),
        }
    )


def take(**changes) -> Take:
    return replace(Take("MG-07", (), True, 24, (), {}), **changes)


def reviewed(one: Life, *, seen=(), doubts=SURE, siblings=ALONE, sign=SIGN):
    return review_of(batch(*seen), take(), one, sign=sign, siblings=siblings, doubts=doubts)


def first(one: Life, **more) -> Cause:
    return reviewed(one, **more).first.cause


def facts(review, cause: Cause) -> dict[Fact, bool]:
    (candidate,) = (one for one in review.candidates if one.cause is cause)
    return {one.fact: one.speaks_for for one in candidate.evidence}


def late(day: float, seen: str) -> dict:
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(minutes=FIRST + round(day * 1440))
    return {"at": at.isoformat(), "seen": seen}


def test_a_calm_life_ends_in_air_that_was_fine_as_far_as_seen():
    review = reviewed(life())
    assert review.first.cause is Cause.AIR_FINE
    assert facts(review, Cause.AIR_FINE)[Fact.AIR_WITHIN]
    assert review.take.outcome is Outcome.FAILED


def test_three_dry_nights_are_drying_at_night():
    dry = life(vapour_pressure_deficit=(nights(7, 3), 1.5))
    assert first(dry) is Cause.DRIED_AT_NIGHT
    assert harms_of(dry).nights.total == pytest.approx(3 * 12 * 1.2, rel=0.01)


def test_a_little_dryness_all_day_long_is_slow_drying():
    assert first(life(vapour_pressure_deficit=(slice(None), 0.55))) is Cause.SLOW_DRYING


def test_heat_without_sun_cooks():
    review = reviewed(life(air_temperature=(EVENT, 43.0)))
    assert review.first.cause is Cause.COOKED
    assert review.harms.heat.total == pytest.approx(4 * 5.0)
    told = {one.fact: one for one in review.first.evidence}
    assert told[Fact.HOTTEST_HOUR].figures["value"] == pytest.approx(43.0)


def test_heat_that_the_sun_brought_is_the_suns_and_not_counted_twice():
    review = reviewed(life(air_temperature=(EVENT, 43.0), ppfd=(EVENT, 900.0)))
    assert review.first.cause is Cause.SUN_SCALD
    assert review.harms.heat.total == 0.0
    assert review.harms.sun_heat_c_h == pytest.approx(20.0)


def test_a_cold_night_is_cold():
    assert first(life(air_temperature=(nights(8, 1), 5.0))) is Cause.COLD


def test_mould_before_anything_failed_is_mould_and_after_it_is_not():
    assert first(life(), seen=[late(9, "mould")]) is Cause.MOULD
    after = reviewed(life(), seen=[late(13, "mould")])
    assert after.first.cause is Cause.AIR_FINE
    assert facts(after, Cause.MOULD) == {Fact.MOULD_AFTER: True}


def test_a_dry_bag_seen_while_its_air_read_damp_speaks_against_the_sensor():
    gainsaid = replace(SURE, gainsaid=(Gainsaid(SIGN, 97.0),))
    review = reviewed(life(), doubts=gainsaid)
    assert review.first.cause is Cause.COULD_NOT_KNOW
    assert facts(review, Cause.COULD_NOT_KNOW)[Fact.SEEN_OTHERWISE]


def test_a_later_check_that_moved_the_readings_far_speaks_against_the_sensor():
    shift = Shifted("bag/humidity", Quantity.RELATIVE_HUMIDITY, SIGN, -12.0)
    assert first(life(), doubts=replace(SURE, shifted=(shift,))) is Cause.COULD_NOT_KNOW


def test_hours_unseen_count_against_certainty():
    hot = life(air_temperature=(EVENT, 43.0))
    assert reviewed(hot).first.weight is Weight.MUCH
    blind = replace(SURE, blind_h=60.0)
    assert reviewed(hot, doubts=blind).first.weight is Weight.SOME
    assert Untold.BLIND in reviewed(hot, doubts=blind).untold
    assert doubt_of(blind) > doubt_of(SURE) == 0.0


def siblings_with(exposure: Exposure, values: list[float]) -> Siblings:
    names = tuple(f"S-{place}" for place in range(len(values)))
    return Siblings(names, tuple({exposure: Measured(value)} for value in values))


def test_what_many_siblings_stood_and_took_speaks_less():
    hot = life(air_temperature=(EVENT, 41.0))
    own = exposures_of(hot)[Exposure.HEAT].value
    less = reviewed(hot, siblings=siblings_with(Exposure.HEAT, [0.0] * 6))
    as_much = reviewed(hot, siblings=siblings_with(Exposure.HEAT, [own] * 6))
    scores = [
        next(one.score for one in review.candidates if one.cause is Cause.COOKED)
        for review in (less, as_much)
    ]
    assert scores[0] == pytest.approx(2.5 * scores[1])
    assert facts(less, Cause.COOKED)[Fact.SIBLINGS_LESS]
    assert facts(as_much, Cause.COOKED)[Fact.SIBLINGS_AS_MUCH] is False


def test_among_three_siblings_nothing_is_compared():
    hot = life(air_temperature=(EVENT, 43.0))
    review = reviewed(hot, siblings=siblings_with(Exposure.HEAT, [0.0] * 3))
    assert Untold.FEW_SIBLINGS in review.untold
    assert Fact.SIBLINGS_LESS not in facts(review, Cause.COOKED)


def test_enough_scores_half_and_twice_enough_more():
    assert share_of(1.0) == 0.5
    assert share_of(2.0) == 0.8
    harms = harms_of(life(air_temperature=(EVENT, 38.0 + HEAT_ENOUGH_C_H / 4)))
    assert alone_of(harms, Cause.COOKED) == pytest.approx(0.5)


def test_nights_and_days_share_what_was_dried_between_them():
    rate = 0.3 + NIGHT_ENOUGH_KPA_H / 36
    only_nights = harms_of(life(vapour_pressure_deficit=(nights(2, 3), rate)))
    assert night_part(only_nights) == pytest.approx(1.0)
    both = alone_of(only_nights, Cause.DRIED_AT_NIGHT) + alone_of(only_nights, Cause.SLOW_DRYING)
    assert both == pytest.approx(share_of(only_nights.nights.ratio + only_nights.slow.ratio))
    assert night_part(harms_of(life())) == 0.0


def test_what_no_sensor_told_is_not_called_fine_for_it():
    dark = life()
    dark.felt[Felt.PPFD][:] = np.nan
    review = reviewed(dark)
    assert Untold.NO_LIGHT in review.untold
    assert facts(review, Cause.SUN_SCALD) == {Fact.NOT_TOLD: False}
    assert Exposure.DIRECT_SUN not in review.exposures


def test_sums_are_by_the_day_so_that_a_short_life_is_not_an_easy_one():
    whole = life(vapour_pressure_deficit=(slice(None), 0.8))
    half = whole.until(FIRST + 6 * 1440)
    long, short = (exposures_of(one)[Exposure.DRYING].value for one in (whole, half))
    assert long == pytest.approx(short) == pytest.approx(0.5 * 24)


def test_an_hour_with_too_little_seen_has_no_mean():
    values = np.full(60, 20.0)
    values[:16] = np.nan
    assert np.isnan(hour_means(values)[-1])
    values[15] = 20.0
    assert hour_means(values)[-1] == pytest.approx(20.0)


def test_a_place_among_others_counts_ties_as_half():
    assert percentile_among(2.0, [1.0, 2.0, 2.0, 3.0]) == 0.5
    assert percentile_among(2.0, []) is None


def test_harms_are_counted_whatever_their_order_and_never_fall_by_more_of_them():
    one = harms_of(life(air_temperature=(EVENT, 40.0)))
    more = harms_of(life(air_temperature=(EVENT, 41.0)))
    assert 0 < one.heat.total < more.heat.total


def test_of_a_batch_without_a_record_nothing_is_said_but_that():
    review = reviewed(life().until(FIRST), doubts=Doubts(0.0, 0.0, 0.0, (), (), ()))
    assert Untold.NO_RECORD in review.untold
    assert dict(review.exposures) == {}
    assert {one.weight for one in review.candidates} == {Weight.LITTLE}


def test_where_nothing_was_seen_no_cause_of_the_air_is_spoken_for():
    unseen = life()
    for values in unseen.felt.values():
        values[:] = np.nan
    unseen.blind[:] = True
    review = reviewed(unseen, doubts=Doubts(240.0, 240.0, 0.0, (), (), ()))
    assert review.first.cause is Cause.COULD_NOT_KNOW
    assert set(review.exposures) <= {Exposure.BLIND, Exposure.LOWEST_RESERVE}


def test_the_order_is_by_score_and_holds_every_cause_once():
    hot = reviewed(life(air_temperature=(EVENT, 43.0)), seen=[late(9, "mould")])
    scores = [one.score for one in hot.candidates]
    assert scores == sorted(scores, reverse=True)
    assert {one.cause for one in hot.candidates} == set(Cause)
    assert all(0.0 <= score < 1.0 for score in scores)


def test_what_dries_while_it_is_hot_is_the_heats_and_not_drying():
    hot = life(air_temperature=(EVENT, 43.0), vapour_pressure_deficit=(EVENT, 4.0))
    harms = harms_of(hot)
    assert harms.slow.total == 0.0
    assert harms.heat.total == pytest.approx(20.0)
    assert harms_of(life(vapour_pressure_deficit=(EVENT, 4.0))).slow.total > 10


def test_the_colder_the_harder_and_the_warmer_the_harder():
    colder = {Exposure.COLDEST_HOUR: Measured(5.0), Exposure.HOTTEST_HOUR: Measured(30.0)}
    cold = siblings_with(Exposure.COLDEST_HOUR, [10.0] * 5)
    hot = siblings_with(Exposure.HOTTEST_HOUR, [35.0] * 5)
    assert worse_percentile(Exposure.COLDEST_HOUR, colder, cold) == 1.0
    assert worse_percentile(Exposure.HOTTEST_HOUR, colder, hot) == 0.0
