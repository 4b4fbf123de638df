"""What is due is what each batch asks for, in the order of a walk along the benches."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.site_files import read_nursery
from rules.care_today import care_today
from rules.local_time import local_day
from rules.model.batch import Observation, Seen, Stage, StageMove
from rules.model.calibration import Calibration
from rules.model.plan import plan_of
from rules.todo import CALIBRATION_AHEAD, TaskKind, tasks

DEMO = Path(__file__).parents[2] / "demo_data"
NURSERY = read_nursery(DEMO / "site.toml", DEMO / "plans")
SITE = NURSERY.site
NIGHT = datetime(2026, 11, 14, 15, 10, tzinfo=UTC)
TODAY = local_day(NIGHT, SITE.site)


def found(site=SITE):
    return tasks(site, NURSERY.versions, at=NIGHT)


def with_batch(code, **changes):
    batches = tuple(
        one.model_copy(update=changes) if one.code == code else one for one in SITE.batch
    )
    return SITE.model_copy(update={"batch": batches})


def test_it_is_all_that_the_batches_ask_for_today_and_no_more():
    asked = []
    for batch in SITE.batch:
        care = care_today(batch, plan_of(NURSERY.versions, batch.plan, NIGHT), SITE, today=TODAY)
        asked += [(batch.code, due.id) for due in care.due_by(TODAY)]
        asked += [(batch.code, one.kind.value) for one in care.steps[:1] if one.on <= TODAY]
    listed = [(one.batch, one.id) for one in found() if one.batch is not None]
    assert sorted(listed) == sorted(asked)
    assert len(listed) > 15


def test_benches_come_as_in_the_site_and_on_each_the_longest_due_first():
    walk = [bench.id for bench in SITE.bench]
    places = [(walk.index(one.bench), one.due_on) for one in found() if one.bench is not None]
    assert places == sorted(places)


def test_what_was_done_is_off_the_list():
    due = next(one for one in found() if one.kind is TaskKind.CHECK and one.batch == "AV-04")
    before = next(one for one in SITE.batch if one.code == "AV-04").observation
    done = Observation(at=NIGHT, seen=Seen.CHECKED, check=due.check)
    after = found(with_batch("AV-04", observation=(*before, done)))
    assert (due.batch, due.id) in {(one.batch, one.id) for one in found()}
    assert (due.batch, due.id) not in {(one.batch, one.id) for one in after}


def test_a_batch_that_has_ended_asks_for_nothing():
    moves = next(one for one in SITE.batch if one.code == "AV-04").stage
    end = StageMove(stage=Stage.CLOSED, since=NIGHT - timedelta(days=1), because="sold")
    after = found(with_batch("AV-04", stage=(*moves, end)))
    assert all(one.batch != "AV-04" for one in after)
    assert any(one.batch == "AV-04" for one in found())


def test_looking_for_new_growth_is_told_apart_from_what_can_be_done():
    looks = [one for one in found() if one.looks]
    assert looks
    assert {one.seen for one in looks} == {Seen.NEW_GROWTH}
    assert all(one.kind is TaskKind.STEP for one in looks)


@pytest.mark.parametrize(
    ("left", "told"),
    [
        (CALIBRATION_AHEAD + timedelta(minutes=1), False),
        (CALIBRATION_AHEAD, True),
        (timedelta(days=-3), True),
        (None, False),
    ],
)
def test_a_calibration_is_told_before_its_end_and_stays_told_after_it(left, told):
    sensor = next(one for one in SITE.sensor if one.id == "bag-07")
    ends = None if left is None else NIGHT + left
    begun = NIGHT - timedelta(days=300)
    channel = sensor.channel[0].model_copy(
        update={"calibration": (Calibration(since=begun, expires=ends, offset=0.1),)}
    )
    sensor = sensor.model_copy(update={"channel": (channel, *sensor.channel[1:])})
    site = SITE.model_copy(
        update={"sensor": tuple(sensor if s.id == "bag-07" else s for s in SITE.sensor)}
    )
    ours = [one for one in found(site) if one.sensor == "bag-07"]
    assert bool(ours) is told
    if told:
        assert ours[0].bench == "b1", "where the batch stands that it is under the cover of"
        assert ours[0].overdue_days == (3 if left < timedelta(0) else 0)
        assert sensor.title in ours[0].says.es
