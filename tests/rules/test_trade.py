"""What a limit costs and buys, on a day that is worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from rules.alarm_history import LimitName
from rules.cells import MICRO, CellBlock
from rules.dials import Dial, Turns, places_of, turned
from rules.evaluator import watchlist
from rules.model.batch import Stage
from rules.moments import moments_of
from rules.replay import Book, begin, replay_block
from rules.trade import Loss, TradeTally, beyond_in, is_danger, losses_of, trade_of

FIRST = 29_631_480  # 2026-05-04 10:00 UTC, 17:00 at the nursery; the sun sets at about 18:30
MINUTES = 1500
DRY = LimitName("leafy", "healing", "dry")
# Damp but for these minutes: 20 at 85 %, by night; 10 at 75 %, by night; 5 at 85 %, by day.
DIPS = ((300, 320, 85), (600, 610, 75), (1100, 1105, 85))


@pytest.fixture(scope="module")
def day():
    """Humidity in the bag, a value a minute."""
    damp = 95.0 + np.arange(MINUTES) % 3 / 10
    for start, end, value in DIPS:
        damp[start:end] = value + np.arange(end - start) % 3 / 10
    keys = ("bag-07/air_temperature", "bag-07/relative_humidity")
    air = 25.0 + np.arange(MINUTES) % 2 / 10
    means = np.rint(np.stack([air, damp], axis=1) * MICRO).astype(np.int64)
    return CellBlock(FIRST, keys, means, np.ones(means.shape, dtype=np.bool_))


@pytest.fixture
def plans(make):
    """Dry below 90 %, danger below 80 %; said after 3 cells, over after 2 that are 2 % back."""
    delays = {"on_delay_min": 3, "off_delay_min": 2}
    return make.plan(
        healing={
            "vital": ["relative_humidity"],
            "limit": [
                make.limit("dry", "relative_humidity", "low", 90.0, priority="medium", **delays),
                make.limit("danger", "relative_humidity", "low", 80.0, **delays),
            ],
        }
    )


@pytest.fixture
def trade(make, day, plans):
    """Judge the day, cut in two blocks, with the dry limit as told."""
    site = make.site()

    def judge(*losses, within_min=360, cut=601, told_from=0, **figures):
        dials = {Dial("dry", Turns(name)): value for name, value in figures.items()}
        as_it_stands, changed = (
            Book(site, watchlist(site, one)) for one in (plans, turned(plans, dials))
        )
        counted = TradeTally(site, FIRST + told_from, frozenset({DRY}))
        states = [begin(as_it_stands), begin(changed)]
        for rows in (slice(0, cut), slice(cut, MINUTES)):
            part = CellBlock(FIRST + rows.start, day.channels, day.means[rows], day.present[rows])
            sun_up = moments_of(site.site, part.first_minute, len(part.means)).sun_up
            flags = []
            for place, (book, chosen) in enumerate(
                ((as_it_stands, is_danger), (changed, lambda _stage, limit: limit.id == "dry"))
            ):
                states[place], passage = replay_block(book, states[place], part)
                (batch,) = book.watchlist.batches
                record = passage.record.batches["MG-07"]
                beyond = beyond_in(batch, record, part.first_minute, sun_up=sun_up, chosen=chosen)
                flags.append({"MG-07": beyond})
            counted.take(passage, danger=flags[0], beyond=flags[1])
        end = FIRST + MINUTES
        return trade_of(counted, losses, end_minute=end, within_min=within_min)

    return judge


def lost(at, batch="MG-07"):
    return Loss(batch, FIRST + at, named=True)


def test_alarms_time_beyond_and_danger_are_those_counted_by_hand(trade):
    told = trade()
    # It rings at minutes 302, 602 and 1102: the third cell of each dip; the last by day.
    assert (told.calls, told.nights, told.per_night) == (3, 1, 2.0)
    assert told.per_day == pytest.approx(3 * 1440 / 1500)
    assert told.beyond_min == 20 + 10 + 5
    # 75 % is danger for 10 minutes; in the first two of them nothing had been said.
    assert (told.danger_min, told.unsaid_min) == (10, 2)
    assert told.blind_min == 0
    assert told.alarms == 3 + 1  # and danger itself, once


def test_a_higher_value_rings_less_and_leaves_more_danger_unsaid(trade):
    told = trade(bound=84.0, on_delay_min=6)
    assert (told.calls, told.per_night, told.beyond_min) == (1, 1.0, 10)
    assert (told.danger_min, told.unsaid_min) == (10, 5)


def test_minutes_before_the_days_that_are_told_are_left_out(trade):
    told = trade(told_from=605)
    # The night is cut, so it is no whole one; of the second dip five minutes are left, all said.
    assert (told.calls, told.nights, told.per_night) == (1, 0, None)
    assert (told.beyond_min, told.danger_min, told.unsaid_min) == (5 + 5, 5, 0)


@pytest.mark.parametrize("cut", [1, 301, 306, 602, 605, 611, 1499])
def test_where_the_record_is_cut_makes_no_difference(trade, cut):
    assert trade(lost(660), cut=cut) == trade(lost(660))


def test_a_call_is_one_of_a_loss_only_within_the_hours_before_it(trade):
    far = trade(lost(660), within_min=360)
    assert far.leads[0].lead_min == 660 - 302
    assert (far.true_calls, far.false_calls, far.late_calls) == (2, 0, 1)
    near = trade(lost(660), within_min=300)
    assert near.leads[0].lead_min == 660 - 602
    assert (near.true_calls, near.false_calls, near.late_calls) == (1, 1, 1)


def test_a_call_too_near_the_end_of_the_record_is_neither_true_nor_false(trade):
    told = trade(within_min=398)
    assert (told.false_calls, told.unsettled_calls) == (3, 0)
    told = trade(within_min=399)
    assert (told.false_calls, told.unsettled_calls) == (2, 1)


def test_a_loss_that_nothing_called_has_no_lead(trade):
    told = trade(lost(250))
    assert [one.lead_min for one in told.leads] == [None]
    assert told.late_calls == 3


def test_lead_time_is_told_of_five_losses_and_not_of_four(trade):
    four = [lost(660), *(lost(660, f"MG-{n}") for n in range(3))]
    assert trade(*four).median_lead_min is None
    # Four losses that nothing called count as a lead of nothing.
    assert trade(*four, lost(660, "MG-3")).median_lead_min == 0.0
    assert trade(*[lost(660)] * 5).median_lead_min == 358.0


def test_a_batch_is_lost_when_it_failed_or_none_was_counted_alive(make):
    stages = [
        {"stage": "healing", "since": "2026-05-01T00:00:00Z", "because": "grafted"},
        {"stage": "failed", "since": "2026-05-06T00:00:00Z", "because": "dry"},
    ]
    counts = [
        {"at": "2026-05-05T00:00:00Z", "seen": "counted", "alive": 1, "dead": 39},
        {"at": "2026-05-05T10:00:00Z", "seen": "counted", "alive": 0, "dead": 40},
    ]
    site = make.site(
        batch=[
            make.batch("MG-07"),
            make.batch("MG-08", stage=stages),
            make.batch("MG-09", stage=stages, observation=counts),
        ]
    )
    day = 1440
    assert [(one.batch, one.minute - FIRST) for one in losses_of(site.batch)] == [
        ("MG-08", day + 14 * 60),
        ("MG-09", day),
    ]


def test_a_dial_turned_to_where_it_stands_changes_nothing(plans):
    dial = Dial("dry", Turns.BOUND, Stage.HEALING, "leafy")
    assert turned(plans, {dial: 90.0}) == plans
    (place,) = places_of(dial, plans, of=["leafy"])
    assert place.figure(Turns.BOUND) == 90.0
    other = turned(plans, {dial: 88.5})["leafy"][0].stage[Stage.HEALING].limit
    assert [one.bound for one in other] == [88.5, 80.0]
    assert places_of(dial, plans, of=["other"]) == ()


def test_a_figure_that_no_plan_can_hold_is_refused_with_its_field(plans):
    with pytest.raises(ValueError, match=r"dry\.on_delay_min"):
        turned(plans, {Dial("dry", Turns.ON_DELAY): 2000.0})
