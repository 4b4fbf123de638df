"""What the calendar asks for: checks every so many days, and what a graft method needs in time."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from rules.model.batch import Batch, Seen
from rules.model.plan import CarePlan

WORDS = {"en": "Look.", "es": "Mire."}
GRAFTED = date(2026, 5, 1)


def check(name: str, every_days: int, **more) -> dict:
    return {"id": name, "every_days": every_days, "says": WORDS, **more}


def with_care(bench, *, checks=(), steps=(), method_checks=(), method="cleft"):
    """A bagged batch whose plan has checks in healing, and steps of its graft method."""
    told = bench()
    plan = told.plan.model_dump(mode="json")
    plan["stage"]["healing"]["check"] = list(checks)
    care = plan["method"].pop("cleft") | {"step": list(steps), "check": list(method_checks)}
    told.plan = CarePlan.model_validate(plan | {"method": {method: care}})
    return told


def due(told, day: int) -> list[tuple[str, int]]:
    return [(one.id, (one.due_on - GRAFTED).days) for one in told.today(day).due]


def step(name: str, after_days: int, seen: str, *, after_growth=False, **more) -> dict:
    return {
        "id": name,
        "after_days": after_days,
        "after_growth": after_growth,
        "seen": seen,
        "says": WORDS,
        **more,
    }


def test_a_check_is_due_from_its_first_day_and_again_after_it_was_done(bench):
    told = with_care(bench, checks=[check("film", 7, first_after_days=3)])
    assert due(told, 0) == [("film", 3)]
    told.seen(4, "checked", check="film")
    assert due(told, 4) == [("film", 11)]
    assert told.today(10).due_by(GRAFTED + timedelta(days=10)) == ()
    assert [one.id for one in told.today(11).due_by(GRAFTED + timedelta(days=11))] == ["film"]


def test_another_check_does_not_answer_it(bench):
    told = with_care(bench, checks=[check("film", 7), check("pots", 2)])
    told.seen(4, "checked", check="pots")
    assert due(told, 4) == [("film", 0), ("pots", 6)]


def test_what_is_seen_anyway_answers_a_check(bench):
    told = with_care(bench, checks=[check("inside", 1, answered_by=["condensation"])])
    told.seen(2, "condensation")
    assert due(told, 2) == [("inside", 3)]


def test_a_check_is_late_the_day_after_it_was_due_and_that_is_trouble(bench):
    told = with_care(bench, checks=[check("film", 7, first_after_days=3)])
    assert not told.today(3).in_trouble(GRAFTED + timedelta(days=3))
    assert told.today(4).in_trouble(GRAFTED + timedelta(days=4))
    assert told.today(5).due[0].overdue_days(GRAFTED + timedelta(days=5)) == 2


def test_a_new_stage_has_its_own_checks(bench):
    told = with_care(bench, checks=[check("film", 7)]).grown(12)
    assert due(told, 11) == [("film", 0)]
    assert due(told, 12) == []


def test_a_check_done_before_the_stage_began_does_not_count(bench):
    told = with_care(bench, checks=[check("film", 7)])
    told.seen(4, "checked", check="film").moved(5, "new_growth").moved(9, "healing")
    assert due(told, 9) == [("film", 9)]


def test_the_top_of_the_stock_is_cut_back_in_two_steps(bench):
    steps = [step("half", 24, "stock_cut", share=0.5), step("off", 45, "stock_cut", share=1.0)]
    told = with_care(bench, steps=steps)
    assert due(told, 20) == [("half", 24), ("off", 45)]
    told.seen(25, "stock_cut", share=0.5)
    assert due(told, 25) == [("off", 45)]
    told.seen(46, "stock_cut")
    assert due(told, 46) == []


def test_an_approach_graft_is_severed_in_steps(bench):
    steps = [step("half", 60, "severed", share=0.5), step("off", 74, "severed", share=1.0)]
    told = with_care(bench, steps=steps)
    told.seen(61, "severed", share=0.5)
    assert due(told, 62) == [("off", 74)]


def test_a_step_that_waits_for_new_growth_is_not_asked_for_before(bench):
    told = with_care(bench, steps=[step("tape", 60, "film_off", after_growth=True)])
    assert due(told, 61) == []
    assert due(told.seen(70, "new_growth"), 70) == [("tape", 60)]


def test_a_check_of_the_method_is_answered_by_its_name_alone(bench):
    told = with_care(bench, steps=[step("bud-free", 21, "checked")])
    assert due(told.seen(22, "checked", check="pots"), 22) == [("bud-free", 21)]
    assert due(told.seen(23, "checked", check="bud-free"), 23) == []


def test_the_checks_of_another_graft_method_are_not_asked_for(bench):
    told = with_care(bench, method_checks=[check("suckers", 7)], method="approach")
    assert due(told, 30) == []


def test_a_bare_scion_has_no_wrap_to_take_off(bench, make):
    told = with_care(bench, steps=[step("tape", 60, "film_off")])
    bare = told.batch().model_dump(mode="json") | {"wrap": "none"}
    told.batch = lambda: Batch.model_validate(bare)
    assert due(told, 61) == []


@pytest.mark.parametrize("ended", ["closed", "failed"])
def test_a_batch_that_has_ended_asks_for_nothing(bench, ended):
    told = with_care(bench, checks=[check("film", 7)], steps=[step("cut", 24, "stock_cut")])
    told.seen(30, "counted").moved(30, ended)
    assert due(told, 31) == []
    assert told.today(31).not_now == ()


def test_a_plan_without_a_release_table_says_so_and_keeps_its_checks(bench):
    told = with_care(bench, checks=[check("film", 7)])
    told.plan = told.plan.model_copy(update={"release": None})
    today = told.today(3)
    assert (today.has_release, today.steps, today.days_since_grafting) == (False, (), 3)
    assert [one.id for one in today.due] == ["film"]


def test_what_must_wait_is_told_with_the_day_until_which(bench):
    waits = {one.what: one.verdict.instead.en for one in bench().grown(12).today(15).not_now}
    assert waits[Seen.COVER_OPENED] == "Wait until 18 May."
    assert waits[Seen.FILM_OFF] == "Wait until 31 May."
    assert waits[Seen.FULL_SUN] == "Keep it shaded until the cover is off."
