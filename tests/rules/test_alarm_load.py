"""What alarms ask of people: counted by hand here, and held against the published figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.alarm_history import LimitName, Occurrence
from rules.alarm_load import Reached, alarm_load
from rules.benchmarks import BENCHMARKS, Figure, Verdict, beside, beside_rate
from rules.model.alarm import Priority
from rules.model.place import Place

ISA_TABLE = "ANSI/ISA-18.2-2016 and IEC 62682:2014, table of metrics; read in secondary summaries"
EEMUA = "ANSI/ISA-18.2-2016, IEC 62682:2014 and EEMUA 191; read in secondary summaries"

PLACE = Place.model_validate(
    {
        "title": "Small Hollow",
        "latitude_deg": -24.0,
        "longitude_deg": 160.0,
        "elevation_m": 40.0,
        "time_zone": "Etc/GMT-11",
    }
)
MIDNIGHT = 29_653_260  # 00:00 on 20 May 2026 at Small Hollow
DAY = 1440
DRY = LimitName("small-bag", "healing", "air-dry")
HOT = LimitName("small-bag", "healing", "heat")


def ring(minute: int, *, batch="MG-07", limit=DRY, lasts=30, answered=None, **other) -> Occurrence:
    over = None if lasts is None else MIDNIGHT + minute + lasts
    return Occurrence(
        alarm=0,
        batch=batch,
        limit=limit,
        priority=other.get("priority", Priority.HIGH),
        minute=MIDNIGHT + minute,
        rang=other.get("rang", True),
        over=over,
        answered=None if answered is None else MIDNIGHT + minute + answered,
    )


def load_of(rings, *, days=30, reached=(), people=("corvin",)):
    return alarm_load(
        PLACE,
        rings,
        reached,
        people=people,
        first_minute=MIDNIGHT,
        end_minute=MIDNIGHT + days * DAY,
    )


def told(load) -> dict[Figure, Verdict]:
    return {one.figure: one.verdict for one in beside(load)}


def evenly(per_day: float, days: int) -> list[Occurrence]:
    step = DAY / per_day
    return [ring(int(n * step), batch=f"B-{n % 40}", lasts=5) for n in range(round(per_day * days))]


@pytest.mark.published(EEMUA)
@pytest.mark.parametrize(
    ("in_ten_minutes", "verdict"),
    [(1.0, Verdict.GOOD), (1.5, Verdict.BORDERLINE), (2.0, Verdict.BORDERLINE)],
)
def test_one_alarm_in_ten_minutes_is_well_and_two_are_the_most(in_ten_minutes, verdict):
    load = load_of(evenly(in_ten_minutes * 144, 2), days=2)
    assert load.rings.per_10_min == pytest.approx(in_ten_minutes)
    assert told(load)[Figure.PER_10_MIN] is verdict
    assert told(load_of(evenly(300, 2), days=2))[Figure.PER_10_MIN] is Verdict.BEYOND


@pytest.mark.published(ISA_TABLE)
def test_six_an_hour_are_well_and_twelve_the_most():
    assert (BENCHMARKS[Figure.PER_HOUR].good, BENCHMARKS[Figure.PER_HOUR].most) == (6, 12)
    assert told(load_of(evenly(144, 2), days=2))[Figure.PER_HOUR] is Verdict.GOOD
    assert told(load_of(evenly(288, 2), days=2))[Figure.PER_HOUR] is Verdict.BORDERLINE
    assert told(load_of(evenly(300, 2), days=2))[Figure.PER_HOUR] is Verdict.BEYOND


@pytest.mark.published("ANSI/ISA-18.2-2009, table of metrics; read in secondary summaries")
def test_a_hundred_and_fifty_a_day_are_well_and_three_hundred_the_most():
    assert told(load_of(evenly(150, 2), days=2))[Figure.PER_DAY] is Verdict.GOOD
    assert told(load_of(evenly(300, 2), days=2))[Figure.PER_DAY] is Verdict.BORDERLINE
    assert told(load_of(evenly(320, 2), days=2))[Figure.PER_DAY] is Verdict.BEYOND


@pytest.mark.published(EEMUA)
def test_a_flood_begins_with_more_than_ten_in_ten_minutes_and_ends_with_fewer_than_five():
    ten = [ring(600, batch=f"B-{n}") for n in range(10)]
    calm = load_of(ten)
    assert (calm.rings.most_in_10_min, calm.rings.flood_share) == (10, 0.0)
    assert told(calm)[Figure.MOST_IN_10_MIN] is Verdict.GOOD
    # The eleventh begins it; ten minutes later its first eleven are past, and five keep it going.
    eleven = [*ten, ring(600, batch="B-10")]
    flood = load_of(eleven, days=1)
    assert flood.rings.flood_share == 10 / DAY
    assert told(flood)[Figure.MOST_IN_10_MIN] is Verdict.BEYOND
    five_more = load_of([*eleven, *(ring(605, batch=f"C-{n}") for n in range(5))], days=1)
    assert five_more.rings.flood_share == 15 / DAY
    four_more = load_of([*eleven, *(ring(605, batch=f"C-{n}") for n in range(4))], days=1)
    assert four_more.rings.flood_share == 10 / DAY


@pytest.mark.published(ISA_TABLE)
def test_at_most_one_percent_of_ten_minute_periods_may_hold_more_than_ten():
    periods = 144
    busy = [ring(10 * p, batch=f"B-{n}") for p in range(2) for n in range(11)]
    load = load_of(busy, days=1)
    assert load.rings.over_ten_share == 2 / periods
    assert told(load)[Figure.OVER_TEN_SHARE] is Verdict.BEYOND
    assert told(load_of(busy, days=10))[Figure.OVER_TEN_SHARE] is Verdict.GOOD


@pytest.mark.published(ISA_TABLE)
def test_fewer_than_five_may_be_true_for_more_than_a_day():
    def stale(count):
        return load_of([ring(0, batch=f"B-{n}", lasts=DAY + 60) for n in range(count)])

    assert (stale(4).stale_most, told(stale(4))[Figure.STALE]) == (4, Verdict.GOOD)
    assert (stale(5).stale_most, told(stale(5))[Figure.STALE]) == (5, Verdict.BEYOND)
    just_a_day = load_of([ring(0, batch=f"B-{n}", lasts=DAY) for n in range(9)])
    assert just_a_day.stale_most == 0


@pytest.mark.published(ISA_TABLE)
def test_no_alarm_may_chatter():
    spread = load_of([ring(at) for at in (0, 30, 60, 90)])
    assert (spread.chattering, told(spread)[Figure.CHATTERING]) == (0, Verdict.GOOD)
    run = load_of([ring(at, lasts=5) for at in (0, 30, 59, 400)])
    assert (run.chattering, told(run)[Figure.CHATTERING]) == (1, Verdict.BEYOND)
    # Three of different batches are no chattering.
    assert load_of([ring(0, batch=b) for b in "ABC"]).chattering == 0


@pytest.mark.published(ISA_TABLE)
def test_the_ten_that_ring_most_make_up_five_percent_at_most():
    even = [ring(n, batch=f"B-{n}") for n in range(200)]
    assert load_of(even).top_share == 10 / 200
    assert told(load_of(even))[Figure.TOP_SHARE] is Verdict.BORDERLINE
    assert told(load_of(even[:190]))[Figure.TOP_SHARE] is Verdict.BEYOND


@pytest.mark.published(EEMUA)
def test_the_mix_of_priorities_is_shown_beside_five_fifteen_and_eighty_percent():
    aims = [BENCHMARKS[one].good for one in (Figure.HIGH_SHARE, Figure.MEDIUM_SHARE)]
    assert [*aims, BENCHMARKS[Figure.LOW_SHARE].good] == [0.05, 0.15, 0.80]
    mixed = [ring(n, priority=Priority.HIGH if n < 2 else Priority.LOW) for n in range(8)]
    assert load_of(mixed).priorities == {
        Priority.HIGH: 0.25,
        Priority.MEDIUM: 0.0,
        Priority.LOW: 0.75,
    }
    assert told(load_of(mixed))[Figure.HIGH_SHARE] is Verdict.AIM


def test_every_published_figure_names_its_source_and_that_it_was_read_at_second_hand():
    assert set(BENCHMARKS) == set(Figure)
    for one in BENCHMARKS.values():
        assert "secondary" in one.source
        assert one.good <= one.most


def test_the_limit_that_cries_wolf_stands_first():
    wolf = [ring(400 * n, lasts=4) for n in range(8)]
    honest = [ring(400 * n, limit=HOT, lasts=90, answered=6) for n in range(12)]
    first, second = load_of([*wolf, *honest]).limits
    assert (first.limit, first.rings, first.brief_share, first.unanswered_share) == (DRY, 8, 1, 1)
    assert first.median_answer_min is None
    assert first.open_min == 8 * 4
    assert (second.limit, second.brief_share, second.unanswered_share) == (HOT, 0.0, 0.0)
    assert (second.median_answer_min, second.median_open_min) == (6.0, 90.0)


def test_what_somebody_took_on_at_once_is_no_false_alarm_though_it_was_soon_over():
    answered = load_of([ring(400 * n, lasts=9, answered=2) for n in range(6)]).limits[0]
    assert (answered.brief, answered.brief_share) == (0, 0.0)
    afterwards = load_of([ring(400 * n, lasts=9, answered=200) for n in range(6)]).limits[0]
    assert (afterwards.brief, afterwards.median_answer_min) == (6, 200.0)
    eleven = load_of([ring(400 * n, lasts=11) for n in range(6)]).limits[0]
    assert eleven.brief == 0


def test_of_four_rings_no_share_is_told():
    few = load_of([ring(400 * n, lasts=4) for n in range(4)])
    assert few.priorities is None
    assert few.top_share is None
    (limit,) = few.limits
    assert limit.brief == 4
    assert (limit.brief_share, limit.unanswered_share, limit.chatter_share) == (None, None, None)
    assert told(few)[Figure.TOP_SHARE] is Verdict.TOO_FEW


def test_of_half_a_day_no_average_is_told_but_the_most_is():
    half = alarm_load(
        PLACE,
        [ring(5)],
        (),
        people=(),
        first_minute=MIDNIGHT,
        end_minute=MIDNIGHT + DAY // 2,
    )
    assert told(half)[Figure.PER_DAY] is Verdict.TOO_FEW
    assert told(half)[Figure.MOST_IN_10_MIN] is Verdict.GOOD
    assert half.rings.per_night is None


def test_one_that_still_stands_is_not_counted_as_answered_by_nobody():
    open_ones = [ring(400 * n, batch=f"B-{n}", lasts=None) for n in range(3)]
    settled = [ring(400 * n, answered=3) for n in range(6)]
    assert load_of([*open_ones, *settled]).limits[0].unanswered_share == 0.0


def test_nights_are_counted_from_sunset_to_sunrise():
    # Mid-May at 24 degrees south: dark well before 20:00 and until after 05:00.
    at_night = [Reached("corvin", MIDNIGHT + day * DAY + 20 * 60) for day in range(9)]
    by_day = [Reached("corvin", MIDNIGHT + day * DAY + 12 * 60) for day in range(10)]
    load = load_of([], days=10, reached=[*at_night, *by_day, Reached("isaura", MIDNIGHT + 720)])
    corvin = load.messages["corvin"]
    assert corvin.per_night == 1.0
    assert corvin.per_day == pytest.approx(1.9)
    assert corvin.by_day == (2, 2, 2, 2, 2, 2, 2, 2, 2, 1)
    assert load.messages["isaura"].count == 1


def test_whoever_was_never_told_has_a_rate_too():
    assert load_of([], people=("corvin", "isaura")).messages["isaura"].count == 0


def test_held_alarms_do_not_count():
    load = load_of([ring(5, rang=False)])
    assert (load.rings.count, load.standing_most, load.limits) == (0, 0, ())


def test_what_began_before_stands_and_does_not_ring():
    load = load_of([ring(-60, lasts=120), ring(30)], days=1)
    assert (load.rings.count, load.standing_most) == (1, 2)
    assert load.standing_mean == (60 + 30) / DAY


def test_a_span_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one minute"):
        load_of([], days=0)


RINGS = st.lists(
    st.tuples(st.integers(0, 3 * DAY - 1), st.integers(0, 4), st.integers(0, 3000)), max_size=60
)


@given(RINGS)
def test_counts_agree_with_counting_one_by_one(drawn):
    rings = [ring(at, batch=f"B-{b}", lasts=lasts) for at, b, lasts in drawn]
    load = load_of(rings, days=3)
    at = np.array([one.minute - MIDNIGHT for one in rings])
    most = max((int(((at > m - 10) & (at <= m)).sum()) for m in at.tolist()), default=0)
    assert load.rings.most_in_10_min == most
    assert sum(load.rings.by_day) == load.rings.count == len(rings)
    standing = [
        sum(one.minute <= MIDNIGHT + m < one.over for one in rings) for m in range(0, 3 * DAY, 97)
    ]
    assert max(standing) <= load.standing_most <= len(rings)
    assert sum(one.rings for one in load.limits) == len(rings)
    flooded, minutes = False, 0
    for m in range(3 * DAY):
        count = int(((at > m - 10) & (at <= m)).sum()) if len(at) else 0
        flooded = count >= 5 if flooded else count > 10
        minutes += flooded
    assert load.rings.flood_share == pytest.approx(minutes / (3 * DAY))


@given(RINGS)
def test_answers_change_no_count(drawn):
    rings = [ring(at, batch=f"B-{b}", lasts=lasts) for at, b, lasts in drawn]
    answered = [replace(one, answered=one.minute + 1) for one in rings]
    assert load_of(rings, days=3).rings == load_of(answered, days=3).rings


def test_a_persons_messages_are_held_against_the_same_figures():
    many = [Reached("corvin", MIDNIGHT + n) for n in range(11)]
    load = load_of([], days=2, reached=many)
    said = {one.figure: one for one in beside_rate(load.messages["corvin"], load.days)}
    assert said[Figure.MOST_IN_10_MIN].value == 10
    assert said[Figure.PER_DAY].value == 5.5
