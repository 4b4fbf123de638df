"""What was seen of a batch, the newest first, each with its photo if it has one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.records.observations import entered
from api.records.photos import standing_photos
from api.records.session import reading
from api.web.bench_deeds import observed
from api.web.words.photos import photo_words

if TYPE_CHECKING:
    from api.parts import Parts
    from api.web.telling import Telling
    from rules.model.batch import Batch, Observation


@dataclass(frozen=True, slots=True)
class SeenLine:
    """An observation in a list. `number` is that of its photo's address, 0 where it has none."""

    at: str
    text: str
    number: int
    alt: str


def seen_lines(parts: Parts, batch: Batch, telling: Telling) -> tuple[SeenLine, ...]:
    """Return a line for everything that was seen of a batch and counts."""
    with reading(parts.records) as db:
        with_photo = {one.observation for one in standing_photos(db, batch.code)}
        numbers = {
            _named(one.observation): one.id or 0
            for one in (entered(db, batch=batch.code) if with_photo else ())
            if one.id in with_photo
        }
    alt = photo_words(telling.words.code).photo_of
    lines: list[SeenLine] = []
    for one in sorted(batch.observation, key=lambda seen: seen.at, reverse=True):
        text = observed(one, telling)
        number = numbers.get(_named(one), 0)
        lines.append(SeenLine(telling.time(one.at), text, number, alt.format(what=text)))
    return tuple(lines)


def _named(one: Observation) -> tuple[object, ...]:
    """Return by what an entered observation is known again among those of the batch."""
    return (one.at, one.seen, one.by, one.note, one.check, one.share)
