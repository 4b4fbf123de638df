"""What a person may write down from a message, beside saying that they go or have seen it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.alerts.answering import Deed
from rules.model.batch import Cover, Seen, Wrap
from rules.model.plan import plan_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from api.parts import Parts
    from rules.model.batch import Batch
    from rules.model.people import Person

COVERED = frozenset({Seen.COVER_CLOSED, Seen.CONDENSATION, Seen.BAG_DRY})
FILM = frozenset({Seen.REWRAPPED, Seen.FILM_SPLIT})
OFFERED = (
    Seen.WATERED,
    Seen.COVER_CLOSED,
    Seen.LIGHT_LOWERED,
    Seen.REWRAPPED,
    Seen.DROOP,
    Seen.MOULD,
    Seen.CONDENSATION,
    Seen.BAG_DRY,
    Seen.FILM_SPLIT,
    Seen.NOTED,
)
"""What protects, and what was seen. Opening a cover, more light and cuts need the whole of the plan
before one's eyes, and are not offered from a message."""
LONGEST_NOTE = 300


def deeds(
    parts: Parts, code: str, person: Person, *, seen: Mapping[Seen, str], at: datetime
) -> tuple[Deed, ...]:
    """Return what may be written down for a batch: deeds that fit it, then its checks."""
    batch = next((one for one in parts.site.batch if one.code == code), None)
    if batch is None:
        return ()
    found = [Deed(one.value, one, None, seen[one]) for one in _fitting(batch)]
    plan, stage = plan_of(parts.plans, batch.plan, at), batch.stage_at(at)
    if plan is not None and stage is not None and stage in plan.stage:
        found += [
            Deed(
                f"{Seen.CHECKED.value}.{check.id}",
                Seen.CHECKED,
                check.id,
                f"{seen[Seen.CHECKED]}: {check.says.in_language(person.language)}",
            )
            for check in plan.stage[stage].check
        ]
    return tuple(found)


def _fitting(batch: Batch) -> Iterator[Seen]:
    for one in OFFERED:
        if one in COVERED and batch.cover is Cover.NONE:
            continue
        if one in FILM and batch.wrap is not Wrap.STRETCH_FILM:
            continue
        yield one
