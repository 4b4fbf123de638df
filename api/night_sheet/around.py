"""What a sheet says beside the batches: alarms, work, checks, doubts, and who is on duty when."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from api.night_sheet.sheet import Around, Doubt
from api.records.alarms import standing_alarms
from api.records.session import reading
from api.records.ways import last_tries
from api.records.works import works_in_hand
from rules.due import checks, method_steps
from rules.local_time import local_day
from rules.model.batch import ENDED
from rules.model.plan import plan_of
from rules.rota import duty_between

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from api.parts import Parts
    from api.v1.sight import Present
    from rules.due import Due
    from rules.model.batch import Batch
    from rules.model.plan import CarePlan
    from rules.model.site import Site


def around(parts: Parts, present: Present, *, until: datetime) -> Around:
    """Gather it as it stands; duty is told from now until an aware instant."""
    at = present.at
    with reading(parts.records) as db:
        standing = standing_alarms(db)
        works = works_in_hand(db, at)
        tries = last_tries(db)
    return Around(
        standing=standing,
        works=works,
        due=tuple(_due(parts, at)),
        doubts=tuple(_doubts(parts, present)),
        duty=duty_between(parts.site, at, until),
        failing=frozenset(key for key, one in tries.items() if not one.arrived),
    )


def in_care(site: Site, at: datetime) -> tuple[Batch, ...]:
    """Return the batches that have not ended, in the order of the site's benches."""
    benches = [bench.id for bench in site.bench]
    here = [one for one in site.batch if one.stage_at(at) not in {None, *ENDED}]
    return tuple(sorted(here, key=lambda one: benches.index(one.bench)))


def _due(parts: Parts, at: datetime) -> Iterator[tuple[str, Due]]:
    """Yield what is due on the local day or was before, the longest due first."""
    place = parts.site.site
    today = local_day(at, place)
    found: list[tuple[str, Due]] = []
    for batch in in_care(parts.site, at):
        plan: CarePlan | None = plan_of(parts.plans, batch.plan, at)
        if plan is None:
            continue
        every = (
            *checks(batch, plan, place, today=today),
            *method_steps(batch, plan, place, today=today),
        )
        found += [(batch.code, one) for one in every if one.due_on <= today]
    yield from sorted(found, key=lambda one: (one[1].due_on, one[0], one[1].id))


def _doubts(parts: Parts, present: Present) -> Iterator[Doubt]:
    here = {batch.code for batch in in_care(parts.site, present.at + timedelta(0))}
    for code, seen in present.outlooks.items():
        if code not in here:
            continue
        for felt in dict.fromkeys((*seen.blind_to, *seen.felt)):
            belief = seen.belief_in(felt)
            now = seen.felt.get(felt)
            channel = None if now is None else now.channel
            missing = belief.missing is not None and felt in seen.blind_to
            doubted = channel is not None and (
                belief.missing is not None
                or belief.failed is not None
                or belief.suspect is not None
                or belief.out_of_calibration
            )
            if missing or doubted:
                yield Doubt(code, felt, channel, belief)
