"""What is due on which bench: steps, stages to declare, checks, cuts, and calibrations that end.

All of it is what `care_today` asks of each batch, put in the order of a walk through the houses.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from rules.care_today import care_today
from rules.local_time import local_day
from rules.model.batch import ENDED, Seen
from rules.model.plan import plan_of
from rules.model.words import Words
from rules.release import StepKind

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import date, datetime

    from rules.model.batch import Batch, Stage
    from rules.model.place import Sensor
    from rules.model.plan import CarePlan
    from rules.model.site import Site
    from rules.release import Step

CALIBRATION_AHEAD = timedelta(days=14)
"""So long before its end a calibration is told. House rule."""

LABEL_CHECK = "label"
"""A check of this name asks whether the label can still be read; beside it stands a new one."""


class TaskKind(StrEnum):
    """What kind of thing is due."""

    STEP = "step"
    STAGE = "stage"
    CHECK = "check"
    METHOD_STEP = "method_step"
    CALIBRATION = "calibration"


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do. `bench` is where; None for a sensor that stands on none.

    `seen`, `share` and `check` are the observation that answers it; None where a stage is to be
    declared (`stage`) or a sensor to be calibrated (`sensor`). `looks`: it only asks to look for
    something, so it is never "done". `overdue_days` as the care plan counts them: a step of the way
    out is late only after some days, a check from the next day on.
    """

    kind: TaskKind
    bench: str | None
    batch: str | None
    due_on: date
    overdue_days: int
    says: Words
    id: str = ""
    seen: Seen | None = None
    share: float | None = None
    check: str | None = None
    stage: Stage | None = None
    sensor: str | None = None
    looks: bool = False


def tasks(site: Site, plans: Mapping[str, Sequence[CarePlan]], *, at: datetime) -> tuple[Task, ...]:
    """Return all that is due by the local day of an aware instant, bench by bench as in the site.

    On a bench the longest due comes first; what stands on no bench comes last.
    """
    today = local_day(at, site.site)
    walk = {bench.id: place for place, bench in enumerate(site.bench)}
    found: list[Task] = []
    for batch in site.batch:
        plan = plan_of(plans, batch.plan, at)
        stage = batch.stage_at(at)
        if plan is not None and stage is not None and stage not in ENDED:
            found += _of_batch(batch, plan, site, today)
    found += [task for sensor in site.sensor for task in _of_sensor(sensor, site, at, today)]
    last = len(walk)
    return tuple(
        sorted(
            found,
            key=lambda one: (
                walk.get(one.bench or "", last),
                one.due_on,
                one.batch or one.sensor or "",
                one.id,
            ),
        )
    )


def _of_batch(batch: Batch, plan: CarePlan, site: Site, today: date) -> Iterator[Task]:
    care = care_today(batch, plan, site, today=today)
    for step in care.steps[:1]:
        if step.on <= today:
            yield _step(batch, step)
    for due in care.due_by(today):
        checks = due.seen is Seen.CHECKED
        yield Task(
            TaskKind.CHECK if checks else TaskKind.METHOD_STEP,
            batch.bench,
            batch.code,
            due.due_on,
            due.overdue_days(today),
            due.says,
            id=due.id,
            seen=due.seen,
            share=due.share,
            check=due.id if checks else None,
        )


def _step(batch: Batch, step: Step) -> Task:
    return Task(
        TaskKind.STEP if step.seen is not None else TaskKind.STAGE,
        batch.bench,
        batch.code,
        step.due_on,
        step.overdue_days,
        step.says,
        id=step.kind.value,
        seen=step.seen,
        share=step.share,
        stage=step.stage,
        looks=step.kind is StepKind.LOOK,
    )


def _of_sensor(sensor: Sensor, site: Site, at: datetime, today: date) -> Iterator[Task]:
    benches = {batch.code: batch.bench for batch in site.batch}
    for channel in sensor.channel:
        calibration = channel.calibration_at(at)
        if calibration is None or calibration.expires is None:
            continue
        if calibration.expires > at + CALIBRATION_AHEAD:
            continue
        ends_on = local_day(calibration.expires, site.site)
        place = next((one for one in sensor.position if one.holds(channel.id, at)), None)
        bench = None if place is None else place.bench or benches.get(place.cover_of or "")
        yield Task(
            TaskKind.CALIBRATION,
            bench,
            None,
            ends_on,
            max(0, (today - ends_on).days),
            Words(
                en=f"Calibrate {channel.id} of {sensor.title}: it holds until {ends_on}.",
                es=f"Calibre {channel.id} de {sensor.title}: vale hasta el {ends_on}.",
            ),
            id=f"{sensor.id}/{channel.id}",
            sensor=sensor.id,
        )
