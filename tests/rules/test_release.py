"""The way out day by day: in order, on its days, slower after a droop, never too bright."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model.batch import Seen, Stage
from rules.model.release import MethodCare, Release
from rules.progress import SAME, WayOut, beginning, moved, observed, still_owes
from rules.release import Step, StepKind, done, next_step, release_plan
from rules.stages import Allowed, judge_deed, judge_move

LOOK, MOVE = StepKind.LOOK, StepKind.MOVE
OPEN, OFF = StepKind.OPEN_COVER, StepKind.COVER_OFF
LIGHT, SUN, BACK = StepKind.RAISE_LIGHT, StepKind.FULL_SUN, StepKind.STEP_BACK


def test_the_whole_way_of_a_bagged_batch_from_new_growth_on_day_12(bench):
    """0.12 of open-sky light, a third more every four days: 0.16 0.21 0.28 0.38 0.51 0.67 0.90."""
    batch = bench().grown(12)
    assert batch.told(13) == [
        (OPEN, 17), (MOVE, 17), (OPEN, 19), (OPEN, 21), (OFF, 24), (MOVE, 26),
        (LIGHT, 30), (LIGHT, 34), (LIGHT, 38), (LIGHT, 42), (LIGHT, 46), (LIGHT, 50), (LIGHT, 54),
        (SUN, 58), (MOVE, 61),
    ]  # fmt: skip
    assert [step.stage for step in batch.steps(13) if step.kind is MOVE] == [
        Stage.EASING,
        Stage.HARDENING,
        Stage.RELEASED,
    ]
    assert [round(step.share, 2) for step in batch.steps(13) if step.kind in {LIGHT, SUN}] == [
        0.16, 0.21, 0.28, 0.38, 0.51, 0.67, 0.9, 1.0,
    ]  # fmt: skip


def test_a_leafless_batch_has_no_cover_to_open(bench):
    kinds = [kind for kind, _ in bench(cover="none", shade=0.7).grown(20).told(20)]
    assert kinds == [MOVE, LIGHT, LIGHT, LIGHT, LIGHT, SUN, MOVE]


def test_before_new_growth_the_next_step_is_to_look_and_the_rest_is_expected(bench):
    steps = bench().steps(3)
    assert (steps[0].kind, steps[0].on) == (LOOK, date(2026, 5, 11))
    assert not steps[0].expected
    assert all(step.expected for step in steps[1:])
    assert steps[1].stage is Stage.NEW_GROWTH


def test_no_new_growth_by_its_last_day_is_late(bench):
    assert bench().steps(35)[0].overdue_days == 0
    assert bench().steps(37)[0].overdue_days == 2


def test_a_step_that_was_put_off_moves_all_that_follows(bench):
    batch = bench().grown(12)
    assert batch.told(19)[0] == (OPEN, 19)
    assert [day for _, day in batch.told(27)][:5] == [27, 27, 29, 31, 34]
    assert batch.steps(20)[0].overdue_days == 0, "three days' grace"
    assert batch.steps(21)[0].overdue_days == 4


def test_a_cover_opened_late_by_its_last_step_stays_on_two_days_more(bench):
    batch = bench().grown(12).moved(17, "easing")
    for day, share in ((17, 0.15), (19, 0.4), (25, 0.7)):
        batch.seen(day, "cover_opened", share=share)
    assert batch.told(25)[0] == (OFF, 27)


def test_a_droop_closes_the_cover_by_one_step_and_holds_three_days(bench):
    batch = bench().grown(12).moved(17, "easing")
    batch.seen(17, "cover_opened", share=0.15).seen(19, "cover_opened", share=0.4).seen(20, "droop")
    back, again = batch.steps(20)[:2]
    assert (back.kind, back.seen, back.share) == (BACK, Seen.COVER_OPENED, 0.15)
    assert (again.kind, again.share, (again.on - date(2026, 5, 1)).days) == (OPEN, 0.4, 23)


def test_a_step_back_that_was_done_is_not_asked_for_again(bench):
    batch = bench().grown(12).seen(17, "cover_opened", share=0.15).moved(17, "easing")
    batch.seen(19, "droop").seen(19, "cover_closed")
    assert batch.told(19)[0] == (OPEN, 22)
    assert batch.steps(19)[0].share == 0.15


def test_a_step_back_that_nobody_did_is_late_the_next_day(bench):
    batch = bench().grown(12).seen(17, "cover_opened", share=0.15).moved(17, "easing")
    batch.seen(19, "droop")
    assert [batch.steps(day)[0].overdue_days for day in (19, 20, 21)] == [0, 1, 2]
    assert batch.steps(22)[0].kind is OPEN, "steady for three days: nothing is owed any more"


def test_a_second_droop_starts_the_wait_again(bench):
    batch = bench().grown(12).seen(17, "cover_opened", share=0.15).moved(17, "easing")
    batch.seen(19, "droop").seen(19, "cover_closed").seen(21, "droop")
    assert batch.told(21)[0] == (OPEN, 24)


def test_a_droop_in_more_light_brings_back_one_step_of_shade(bench):
    batch = bench().grown().eased().moved(27, "hardening").seen(31, "light_raised", share=0.1599)
    batch.seen(32, "droop")
    back, again = batch.steps(32)[:2]
    assert (back.kind, back.seen) == (BACK, Seen.LIGHT_LOWERED)
    assert back.share == pytest.approx(0.12, abs=0.001)
    assert (again.kind, (again.on - date(2026, 5, 1)).days) == (LIGHT, 36)


def test_a_droop_right_after_the_cover_came_off_puts_it_back(bench):
    batch = bench().grown(12).eased(18).seen(26, "droop")
    back = batch.steps(26)[0]
    assert (back.kind, back.seen, back.share) == (BACK, Seen.COVER_OPENED, 0.7)
    batch.seen(26, "cover_opened", share=0.7)
    assert batch.told(26)[0] == (OFF, 29)


def test_a_hardening_batch_whose_cover_went_back_on_goes_back_to_easing(bench):
    batch = bench().grown(12).eased(18).moved(28, "hardening").seen(29, "droop")
    batch.seen(29, "cover_opened", share=0.7)
    step = batch.steps(29)[0]
    assert (step.kind, step.stage) == (MOVE, Stage.EASING)


def test_a_released_batch_and_an_ended_one_have_no_next_step(bench):
    batch = bench().grown().eased().moved(27, "hardening").seen(60, "full_sun")
    assert batch.told(60) == [(MOVE, 63)]
    assert batch.moved(63, "released").told(63) == []
    assert bench().seen(30, "counted").moved(30, "failed").told(30) == []


def test_a_batch_before_its_first_stage_has_no_next_step(bench):
    assert bench(begun=False).moved(5, "healing").told(3) == []


def test_a_batch_that_stood_in_full_sun_all_along_is_released_too(bench):
    batch = bench(cover="none", shade=0.0).grown(20).moved(30, "hardening")
    assert batch.told(40) == [(MOVE, 40)]
    assert batch.steps(40)[0].stage is Stage.RELEASED


def test_the_same_batch_and_day_give_the_same_steps(bench):
    batch = bench().grown(12).seen(14, "droop")
    assert batch.steps(20) == batch.steps(20)


WORDS = {"en": "words", "es": "palabras"}
GRAFTED = date(2026, 5, 1)


@st.composite
def ways(draw) -> WayOut:
    """Any way out that a plan can have."""
    shares = draw(st.sets(st.integers(1, 99), min_size=1, max_size=5))
    days = st.integers(1, 9)
    release = Release.model_validate(
        {
            "source": "common practice, no source",
            "firm_days": draw(st.integers(0, 9)),
            "open_share": [share / 100 for share in sorted(shares)],
            "open_every_days": draw(days),
            "ease_at_least_days": draw(st.integers(0, 14)),
            "normal_days": draw(st.integers(0, 9)),
            "light_step": draw(st.sampled_from([0.05, 0.25, 0.333, 1.0])),
            "light_every_days": draw(days),
            "least_light_share": draw(st.sampled_from([0.05, 0.1, 1.0])),
            "covered_light_share": draw(st.sampled_from([0.1, 0.25, 0.9])),
            "droop_hold_days": draw(days),
            "overdue_after_days": draw(st.integers(0, 5)),
            "film_on_at_most_days": 365,
        }
    )
    method = MethodCare.model_validate(
        {
            "source": "common practice, no source",
            "look_from_days": 10,
            "look_until_days": 35,
            "union_days": draw(st.integers(1, 60)),
            "bud": "exposed",
            "says": WORDS,
        }
    )
    return WayOut(
        release=release,
        method=draw(st.sampled_from([method, None])),
        covers=draw(st.booleans()),
        wrapped=True,
        grafted_on=GRAFTED,
        house_light_share=draw(st.sampled_from([0.0, 0.07, 0.12, 0.3, 0.5, 0.91, 1.0])),
    )


def grown(way: WayOut, day: int = 12):
    at = moved(beginning(way, GRAFTED), Stage.HEALING)
    at = observed(
        replace(at, today=GRAFTED + timedelta(days=day)), way, Seen.NEW_GROWTH, share=None
    )
    return moved(at, Stage.NEW_GROWTH)


def tend(way: WayOut, droops: frozenset[int], *, answered: bool, most: int = 3000):
    """Do every step on its day, and let it droop on given days; return the day of each step."""
    at, days = grown(way), []
    for day in range(12, most):
        at = replace(at, today=GRAFTED + timedelta(days=day))
        at = replace(at, owes_step_back=still_owes(at, way, at.today))
        if day in droops:
            at = observed(at, way, Seen.DROOP, share=None)
        while (step := next_step(at, way)) is not None and step.on <= at.today:
            if step.kind is BACK and not answered:
                break
            days.append((day, step))
            at = done(step, at, way)
        if at.stage is Stage.RELEASED:
            return days
    raise AssertionError("never released")


@given(ways())
def test_no_plan_ever_puts_full_sun_on_a_covered_batch(way):
    at = grown(way)
    for step in release_plan(at, way):
        if step.kind in {LIGHT, SUN}:
            assert not at.covered
        at = done(step, at, way)
        if at.covered:
            assert at.light_share <= way.first_light_share + SAME


@given(ways())
def test_light_never_steps_up_by_more_than_the_plan_says(way):
    now, last = way.first_light_share, None
    for step in release_plan(grown(way), way):
        if step.kind in {LIGHT, SUN}:
            assert step.share is not None
            assert now < step.share <= now * (1 + way.release.light_step) + SAME
            if last is not None:
                assert (step.on - last).days >= way.release.light_every_days
            now, last = step.share, step.on


@given(ways())
def test_the_last_thing_done_is_full_sun_unless_the_house_has_it_already(way):
    deeds: list[Step] = [s for s in release_plan(grown(way), way) if s.kind is not MOVE]
    if way.first_light_share < 1.0 - SAME:
        assert (deeds[-1].kind, deeds[-1].share) == (SUN, 1.0)
    else:
        assert all(step.kind in {OPEN, OFF} for step in deeds)


@given(ways())
def test_steps_never_go_back_in_time_and_end_in_release(way):
    steps = release_plan(grown(way), way)
    assert [step.on for step in steps] == sorted(step.on for step in steps)
    assert steps[-1].stage is Stage.RELEASED


@given(ways())
def test_what_the_plan_asks_for_on_its_day_the_guards_allow(way):
    """Guards and plan may not contradict each other; a too bright house is no step of the plan."""
    at = replace(grown(way), growth_written=True)
    for step in release_plan(at, way):
        on = replace(at, today=step.on)
        if step.stage is not None:
            assert isinstance(judge_move(on, way, step.stage, because="seen"), Allowed)
        elif step.seen is not None:
            assert isinstance(judge_deed(on, way, step.seen, share=step.share), Allowed), step
        at = done(step, at, way)


@given(ways(), st.frozensets(st.integers(12, 60), max_size=4), st.booleans())
def test_a_droop_never_makes_it_faster(way, droops, answered):
    undisturbed = tend(way, frozenset(), answered=answered)
    disturbed = tend(way, droops, answered=answered)
    for kind in (OPEN, OFF, SUN):
        first = [day for day, step in undisturbed if step.kind is kind]
        after = [day for day, step in disturbed if step.kind is kind]
        assert bool(first) == bool(after)
        if first:
            assert max(after) >= max(first)
    assert disturbed[-1][0] >= undisturbed[-1][0]


@given(ways(), st.frozensets(st.integers(12, 60), min_size=1, max_size=4))
def test_nothing_goes_on_while_a_droop_holds(way, droops):
    for day, step in tend(way, droops, answered=True):
        if step.kind in {OPEN, OFF, LIGHT, SUN}:
            assert not any(0 <= day - droop < way.release.droop_hold_days for droop in droops)


def test_the_droop_of_the_documents_closes_one_step_and_waits_three_days(bench):
    """docs/stages.md: opened on days 25 and 28, drooped on 29; by one step, again on day 32."""
    batch = bench().grown(16).moved(25, "easing").seen(25, "cover_opened").seen(28, "cover_opened")
    batch.seen(29, "droop")
    back, again = batch.steps(29)[:2]
    assert (back.kind, back.share, back.on) == (BACK, 0.15, GRAFTED + timedelta(days=29))
    assert (again.kind, again.share, again.on) == (OPEN, 0.4, GRAFTED + timedelta(days=32))
