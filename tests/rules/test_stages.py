"""What may be done with a batch, and what is refused and why."""

from __future__ import annotations

from datetime import datetime, timedelta

from rules.model.batch import ENDED, Seen, Stage
from rules.progress import WAY
from rules.stages import NEEDS, WARNS, Allowed, Guard, Refused, Warned, standing_against


def refused(verdict, guard: Guard) -> bool:
    return isinstance(verdict, Refused) and verdict.guard is guard and bool(verdict.instead.es)


def warned(verdict, guard: Guard) -> bool:
    return isinstance(verdict, Warned) and verdict.guard is guard


def test_a_covered_batch_is_never_moved_to_full_sun(bench):
    for day, batch in ((5, bench()), (14, bench().grown()), (19, bench().grown())):
        assert refused(batch.asks(day, Seen.FULL_SUN), Guard.SUN_UNDER_COVER)
    opened = bench().grown().seen(18, "cover_opened", share=0.7)
    assert refused(opened.asks(40, Seen.FULL_SUN), Guard.SUN_UNDER_COVER)


def test_moving_a_bagged_batch_to_a_bright_bench_is_refused(bench):
    batch = bench().grown()
    assert refused(batch.asks(20, Seen.MOVED, 0.3), Guard.SUN_UNDER_COVER)
    assert isinstance(batch.asks(40, Seen.MOVED, 0.12), Allowed)
    assert isinstance(batch.asks(40, Seen.MOVED), Allowed)


def test_the_cover_stays_on_until_new_growth_is_seen(bench):
    batch = bench()
    assert refused(batch.asks(20, Seen.COVER_OFF), Guard.BEFORE_GROWTH)
    assert refused(batch.asks(20, Seen.COVER_OPENED), Guard.BEFORE_GROWTH)


def test_a_cover_that_was_never_opened_is_not_taken_off(bench):
    assert refused(bench().grown().asks(30, Seen.COVER_OFF), Guard.NEVER_EASED)


def test_opening_sooner_than_the_plan_is_warned_of_and_on_its_day_allowed(bench):
    batch = bench().grown(12)
    assert warned(batch.asks(16, Seen.COVER_OPENED), Guard.EASED_TOO_FAST)
    assert isinstance(batch.asks(17, Seen.COVER_OPENED), Allowed)


def test_opening_by_two_steps_at_once_is_warned_of(bench):
    batch = bench().grown(12)
    assert warned(batch.asks(18, Seen.COVER_OPENED, 0.4), Guard.EASED_TOO_FAST)
    assert isinstance(batch.asks(18, Seen.COVER_OPENED, 0.15), Allowed)


def test_the_cover_comes_off_a_week_after_it_was_first_opened(bench):
    batch = bench().grown(12).moved(18, "easing")
    for day, share in ((18, 0.15), (20, 0.4), (22, 0.7)):
        batch.seen(day, "cover_opened", share=share)
    assert warned(batch.asks(24, Seen.COVER_OFF), Guard.EASED_TOO_FAST)
    assert isinstance(batch.asks(25, Seen.COVER_OFF), Allowed)


def test_light_goes_up_by_a_third_and_not_by_a_half(bench):
    batch = bench().grown().eased()
    assert isinstance(batch.asks(40, Seen.LIGHT_RAISED, 0.1599), Allowed)
    assert refused(batch.asks(40, Seen.LIGHT_RAISED, 0.1601), Guard.LIGHT_STEP_TOO_LARGE)
    assert refused(batch.asks(40, Seen.LIGHT_RAISED, 0.18), Guard.LIGHT_STEP_TOO_LARGE)
    assert refused(batch.asks(40, Seen.FULL_SUN), Guard.LIGHT_STEP_TOO_LARGE)


def test_light_goes_up_again_after_four_days_and_not_after_three(bench):
    batch = bench().grown().eased().seen(40, "light_raised")
    assert refused(batch.asks(43, Seen.LIGHT_RAISED), Guard.LIGHT_TOO_SOON)
    assert isinstance(batch.asks(44, Seen.LIGHT_RAISED), Allowed)


def test_two_small_steps_cannot_stand_for_a_large_one(bench):
    batch = bench().grown().eased().seen(40, "light_raised", share=0.13)
    assert refused(batch.asks(41, Seen.LIGHT_RAISED, 0.15), Guard.LIGHT_TOO_SOON)


def test_shoots_without_joined_vessels_are_not_given_more_light_unwarned(bench):
    batch = bench().grown(10).eased(15)
    assert warned(batch.asks(29, Seen.LIGHT_RAISED), Guard.LIGHT_BEFORE_UNION)
    assert isinstance(batch.asks(30, Seen.LIGHT_RAISED), Allowed)


def test_nothing_goes_on_for_three_days_after_a_droop(bench):
    batch = bench().grown(12).seen(20, "droop")
    assert refused(batch.asks(22, Seen.COVER_OPENED), Guard.DROOPED)
    assert isinstance(batch.asks(22, Seen.COVER_CLOSED), Allowed)
    assert isinstance(batch.asks(23, Seen.COVER_OPENED), Allowed)


def test_the_wrap_stays_on_until_the_union_holds(bench):
    batch = bench().grown()
    assert refused(batch.asks(29, Seen.FILM_OFF), Guard.FILM_OFF_TOO_SOON)
    assert isinstance(batch.asks(30, Seen.FILM_OFF), Allowed)


def test_film_still_on_after_a_year_is_said(bench):
    batch = bench().grown().eased().moved(40, "hardening").seen(90, "full_sun")
    assert [one.verdict.guard for one in standing_against(batch.now(365), batch.way())] == []
    told = list(standing_against(batch.now(366), batch.way()))
    assert [one.verdict.guard for one in told] == [Guard.FILM_ON_TOO_LONG]
    assert "366 days" in told[0].verdict.reason.en
    batch.seen(300, "film_off")
    assert list(standing_against(batch.now(366), batch.way())) == []


def test_a_bag_in_a_bright_house_is_said_before_anyone_does_anything(bench):
    batch = bench(shade=0.5)
    told = [one.verdict.guard for one in standing_against(batch.now(3), batch.way())]
    assert told == [Guard.SUN_UNDER_COVER]


def test_a_batch_moves_to_new_growth_because_new_growth_was_seen(bench):
    assert refused(bench().declares(12, Stage.NEW_GROWTH), Guard.NOT_SEEN)
    batch = bench().seen(12, "new_growth")
    assert refused(batch.declares(11, Stage.NEW_GROWTH), Guard.NOT_SEEN)
    assert isinstance(batch.declares(12, Stage.NEW_GROWTH), Allowed)


def test_a_stage_is_not_skipped(bench):
    assert refused(bench().declares(12, Stage.EASING), Guard.STAGE_SKIPPED)
    assert refused(bench().grown().declares(20, Stage.HARDENING), Guard.STAGE_SKIPPED)
    eased = bench().grown().eased().moved(30, "hardening")
    assert refused(eased.declares(40, Stage.RELEASED), Guard.NOT_SEEN)


def test_a_batch_without_a_cover_has_nothing_to_ease(bench):
    batch = bench(cover="none").grown()
    assert isinstance(batch.declares(30, Stage.HARDENING), Allowed)
    assert refused(batch.declares(30, Stage.EASING), Guard.NOT_SEEN)


def test_hardening_is_for_batches_without_their_cover(bench):
    batch = bench().grown().seen(18, "cover_opened").moved(18, "easing")
    assert refused(batch.declares(25, Stage.HARDENING), Guard.NOT_SEEN)
    batch.seen(26, "cover_off").moved(28, "hardening").seen(29, "cover_opened", share=0.4)
    told = [one.verdict.guard for one in standing_against(batch.now(29), batch.way())]
    assert told == [Guard.STILL_COVERED]


def test_going_back_is_allowed_with_a_reason_and_only_with_one(bench):
    batch = bench().grown().eased().moved(30, "hardening")
    assert isinstance(batch.declares(31, Stage.EASING, "it drooped"), Allowed)
    assert isinstance(batch.declares(31, Stage.HEALING, "the buds died"), Allowed)
    assert refused(batch.declares(31, Stage.EASING, " "), Guard.NO_REASON)


def test_back_in_healing_old_growth_counts_no_longer(bench):
    batch = bench().grown(12).moved(20, "healing")
    assert refused(batch.asks(25, Seen.COVER_OPENED), Guard.BEFORE_GROWTH)
    assert refused(batch.declares(25, Stage.NEW_GROWTH), Guard.NOT_SEEN)


def test_a_batch_ends_because_it_was_counted_and_stays_ended(bench):
    assert refused(bench().declares(60, Stage.FAILED), Guard.NOT_SEEN)
    batch = bench().seen(60, "counted")
    assert isinstance(batch.declares(60, Stage.FAILED), Allowed)
    batch.moved(60, "failed")
    assert refused(batch.declares(61, Stage.HEALING), Guard.HAS_ENDED)


def test_what_was_done_against_the_plan_is_found_afterwards(bench):
    batch = bench().grown(12).seen(14, "cover_opened").moved(14, "easing").seen(15, "cover_off")
    assert batch.found(16) == [(Guard.EASED_TOO_FAST, 14), (Guard.EASED_TOO_FAST, 15)]


def test_old_sins_are_not_told_for_ever(bench):
    batch = bench().grown(12).seen(14, "cover_opened").moved(14, "easing").seen(15, "cover_off")
    assert batch.moved(30, "hardening").found(31) == []


def test_a_batch_brought_out_by_the_plan_has_nothing_found(bench):
    batch = bench().grown(12).eased(18).moved(27, "hardening").seen(31, "light_raised")
    assert [batch.found(day) for day in (12, 18, 20, 25, 27, 31)] == [[]] * 6


def test_a_stage_may_be_moved_in_the_morning_of_the_day_it_is_seen(bench):
    batch = bench().moved(12, "new_growth").seen(12, "new_growth")
    assert batch.found(12) == []


def test_a_stage_moved_without_an_observation_is_found(bench):
    assert bench().moved(12, "new_growth").found(12) == [(Guard.NOT_SEEN, 12)]


def test_a_cover_put_back_after_it_was_off_counts_as_on(bench):
    batch = bench().grown().eased().seen(26, "cover_opened", share=0.7)
    assert batch.now(25).covered is False
    assert batch.now(26).covered is True
    back = datetime.fromisoformat(bench().at(26))
    assert batch.batch().covered_at(back)
    assert not batch.batch().covered_at(back - timedelta(seconds=1))


def test_every_move_on_the_way_has_its_observation_and_every_guard_its_verdict():
    on_the_way = {(a, b) for a, b in NEEDS if b in WAY}
    assert {b for _, b in on_the_way} == set(WAY) - {Stage.HEALING}
    assert {a for a, b in NEEDS if b in ENDED} == set(WAY)
    assert all(NEEDS.values())
    assert set(Guard) > WARNS
