"""One batch on one day: what the sections of its page are made from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from api.drawing.scale import runs_of
from api.v1.foresight import watched
from api.web.estimates import felt_text
from rules.model.quantities import Felt
from rules.reckoning import film_is_open

if TYPE_CHECKING:
    from api.drawing.day import NoonToNoon
    from api.parts import Parts
    from api.records.alarms import AlarmRecord
    from api.v1.sight import Present
    from api.web.pictures import DayPicture, Spans
    from api.web.telling import Telling
    from rules.evaluator import BatchOutlook
    from rules.model.batch import Batch
    from rules.model.plan import Limit

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class BatchDay:
    """A batch as it stands now (`seen`), and the day that its page shows (`picture`).

    `alarms` are the newest of the batch.
    """

    parts: Parts
    batch: Batch
    seen: BatchOutlook | None
    present: Present
    picture: DayPicture
    alarms: tuple[AlarmRecord, ...]
    telling: Telling

    def limits(self) -> dict[Felt, list[Limit]]:
        """Return the limits of the batch's stage by what they speak of, in the plan's order."""
        found: dict[Felt, list[Limit]] = {}
        for one in self.seen.judged if self.seen else ():
            found.setdefault(one.limit.quantity, []).append(one.limit)
        return found

    def alarms_on(self, felt: Felt) -> list[AlarmRecord]:
        """Return the alarms that limits on a quantity, or its absence, have raised."""
        names = {limit.id for limit in self.limits().get(felt, ())} | {f"blind.{felt.value}"}
        return [alarm for alarm in self.alarms if alarm.condition in names]

    def now(self, felt: Felt) -> str:
        """Return what the batch feels now, in words."""
        now = self.seen.felt.get(felt) if self.seen else None
        if self.seen is None or now is None or now.value is None:
            return self.telling.words.not_seen
        return felt_text(felt, now.value, self.seen, self.telling)

    def film_open(self, day: NoonToNoon) -> Flags:
        """Return for each minute of a day whether the film round the scion is split or off."""
        batch = watched(self.parts.watchlist, self.batch.code)
        minutes = np.arange(day.first_minute, day.end_minute, dtype=np.int64)
        if batch is None:
            return np.zeros(day.minutes, dtype=np.bool_)
        return batch.kit_in(batch.span_at(day.first_minute)).film_open(minutes)

    def film_is_open(self) -> bool:
        """Return whether the film is split or off in the last judged cell."""
        batch = watched(self.parts.watchlist, self.batch.code)
        minute = self.present.minute
        if batch is None or minute is None:
            return False
        return film_is_open(batch.kit_in(batch.span_at(minute)), minute)

    def film_spans(self) -> Spans:
        """Return where on the shown day the film is open, as shares of the day."""
        day = self.picture.day
        runs = runs_of(self.film_open(day))
        return tuple((start / day.minutes, end / day.minutes) for start, end in runs)

    def leaf_is_reckoned(self) -> bool:
        """Return whether at some time of the shown day no sensor told the leaf's warmth."""
        batch = watched(self.parts.watchlist, self.batch.code)
        day = self.picture.day
        if batch is None:
            return False
        begins = [span.first_minute for span in batch.spans]
        edges = [minute for minute in begins if day.first_minute < minute < day.end_minute]
        return any(
            Felt.LEAF_TEMPERATURE not in batch.span_at(minute).speakers
            for minute in (day.first_minute, *edges)
        )
