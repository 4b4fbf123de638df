"""At the bench only what fits a batch is offered, and what would harm it is spoken against."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.site_files import read_nursery
from rules.deeds import fitting, judged_stage, stages_to_declare
from rules.local_time import local_day
from rules.model.batch import Observation, Seen, Stage, StageMove
from rules.model.plan import plan_of
from rules.stages import Allowed, Guard, Refused

DEMO = Path(__file__).parents[2] / "demo_data"
NURSERY = read_nursery(DEMO / "site.toml", DEMO / "plans")
SITE = NURSERY.site
NIGHT = datetime(2026, 11, 14, 15, 10, tzinfo=UTC)


def found(batch, at=NIGHT):
    plan = plan_of(NURSERY.versions, batch.plan, at)
    today = local_day(at, SITE.site)
    return {(one.seen, one.check): one for one in fitting(batch, plan, SITE, at=at, today=today)}


def batch_of(code, **changes):
    one = next(batch for batch in SITE.batch if batch.code == code)
    return one.model_copy(update=changes)


def seen(batch, *words, at=NIGHT):
    more = tuple(Observation(at=at, seen=word) for word in words)
    return batch.model_copy(update={"observation": (*batch.observation, *more)})


def test_a_leafless_scion_in_film_is_not_asked_about_a_bag_or_drooping_leaves():
    offered = {word for word, _ in found(batch_of("PE-03"))}
    assert offered.isdisjoint(
        {Seen.BAG_DRY, Seen.CONDENSATION, Seen.COVER_OPENED, Seen.COVER_CLOSED, Seen.COVER_OFF}
    )
    assert Seen.DROOP not in offered
    assert {Seen.FILM_SPLIT, Seen.REWRAPPED, Seen.WATERED, Seen.COUNTED} <= offered
    grown = {word for word, _ in found(seen(batch_of("PE-03"), Seen.NEW_GROWTH))}
    assert Seen.DROOP in grown
    assert Seen.NEW_GROWTH not in grown


def test_a_bag_that_is_off_can_only_be_put_back():
    bare = {word for word, _ in found(seen(batch_of("MG-07"), Seen.COVER_OFF))}
    assert Seen.COVER_CLOSED in bare
    assert bare.isdisjoint({Seen.BAG_DRY, Seen.CONDENSATION, Seen.COVER_OPENED, Seen.COVER_OFF})


def test_film_that_is_off_for_good_can_not_split():
    bare = {word for word, _ in found(seen(batch_of("PE-03"), Seen.FILM_OFF))}
    assert bare.isdisjoint({Seen.FILM_SPLIT, Seen.REWRAPPED, Seen.FILM_OFF})


@pytest.mark.parametrize("deed", [Seen.COVER_OPENED, Seen.COVER_OFF])
def test_no_cover_comes_off_before_new_growth(deed):
    verdict = found(batch_of("MG-07"))[deed, None].verdict
    assert isinstance(verdict, Refused)
    assert verdict.guard is Guard.BEFORE_GROWTH


def test_what_protects_is_never_refused():
    offered = found(batch_of("MG-07"))
    for word in (Seen.COVER_CLOSED, Seen.LIGHT_LOWERED, Seen.WATERED, Seen.DROOP, Seen.COUNTED):
        assert offered[word, None].verdict == Allowed()


def test_checks_of_the_plan_are_offered_by_name_and_say_whether_they_are_due():
    offered = found(batch_of("AV-04"))
    assert offered[Seen.CHECKED, "droop"].due
    assert offered[Seen.CHECKED, "droop"].says.en == "Look for drooping leaves at midday."
    done = batch_of("AV-04")
    done = done.model_copy(
        update={
            "observation": (
                *done.observation,
                Observation(at=NIGHT, seen=Seen.CHECKED, check="droop"),
            )
        }
    )
    assert not found(done)[Seen.CHECKED, "droop"].due


def test_of_a_batch_that_has_ended_only_a_count_and_a_remark_are_left():
    ended = batch_of("MG-07")
    move = StageMove(stage=Stage.FAILED, since=NIGHT - timedelta(days=1), because="all dead")
    ended = ended.model_copy(update={"stage": (*ended.stage, move)})
    assert [word for word, _ in found(ended)] == [Seen.COUNTED, Seen.NOTED]


def test_a_stage_is_declared_from_something_seen():
    batch = batch_of("MG-07")
    plan = plan_of(NURSERY.versions, batch.plan, NIGHT)
    today = local_day(NIGHT, SITE.site)
    args = {"because": "buds open", "today": today}
    against = judged_stage(batch, plan, SITE, Stage.NEW_GROWTH, **args)
    assert isinstance(against, Refused)
    assert against.guard is Guard.NOT_SEEN
    grown = seen(batch, Seen.NEW_GROWTH)
    assert judged_stage(grown, plan, SITE, Stage.NEW_GROWTH, **args) == Allowed()
    assert Stage.EASING in stages_to_declare(batch, plan, SITE)
    assert Stage.EASING not in stages_to_declare(
        batch_of("PE-03"), plan_of(NURSERY.versions, batch_of("PE-03").plan, NIGHT), SITE
    )
