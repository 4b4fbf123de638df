"""Work in hand: what people do on purpose that makes sensors tell of more than the weather."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime


class WorkKind(StrEnum):
    """What is being done: to the cover of a batch, to a house, or to a sensor."""

    COVER_OPEN = "cover_open"
    SPRAYING = "spraying"
    WASHING = "washing"
    CALIBRATING = "calibrating"


class WorkPlace(StrEnum):
    """What kind of place a work is done to."""

    BATCH = "batch"
    HOUSE = "house"
    SENSOR = "sensor"


@dataclass(frozen=True, slots=True)
class Work:
    """One piece of work that a person began. Instants are aware, in UTC.

    `place` is a batch's code, or the id of a house or a sensor. It counts from `began` until
    `until`, or until somebody `ended` it before.
    """

    id: int
    kind: WorkKind
    place: str
    began: datetime
    until: datetime
    ended: datetime | None
    who: str
    note: str | None

    @property
    def over(self) -> datetime:
        """When it ended or will end by itself."""
        return self.until if self.ended is None else min(self.ended, self.until)
