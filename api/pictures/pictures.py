"""Draws what goes with a message, once for each alarm, language and unit.

A picture is never needed: whatever goes wrong here, the words go without one.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from typing import TYPE_CHECKING

from api.alerts.told import subject_of
from api.drawing.day import day_of
from api.pictures.alarm_chart import Reader, alarm_chart, heat_to_come
from api.pictures.ribbons import ribbons
from api.pictures.window import window_of
from api.pictures.words import picture_words
from rules.model.alarm import Priority
from rules.model.dose import DoseLimit
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence
    from datetime import datetime

    from api.parts import Parts
    from api.records.alarms import AlarmRecord
    from api.v1.sight import Sight
    from rules.model.people import Person

log = logging.getLogger(__name__)

LARGEST_BYTES = 60_000
MOST_KEPT = 64


class Pictures:
    """Draws pictures from what is kept now; safe to use from many threads."""

    def __init__(self, parts: Parts, sight: Sight) -> None:
        self._parts = parts
        self._sight = sight
        self._lock = threading.Lock()
        self._kept: OrderedDict[Hashable, bytes | None] = OrderedDict()

    def with_message(
        self, about: Sequence[AlarmRecord], person: Person, now: datetime
    ) -> bytes | None:
        """Return the picture for a message about some alarms, as PNG; None: there is none.

        Never raises: a fault is logged, and the message goes without.
        """
        reader = Reader(person.language, person.temperature_unit == "degF", now)
        key = (
            tuple((one.id, one.opened_at, one.ended_at) for one in about),
            reader.language,
            reader.fahrenheit,
            int(now.timestamp()) // 300,
        )
        with self._lock:
            if key in self._kept:
                return self._kept[key]
        try:
            made = self.of(about, reader)
        except Exception:
            log.exception("picture_failed alarms=%s", ",".join(str(one.id) for one in about))
            made = None
        if made is not None and len(made) > LARGEST_BYTES:
            log.warning("picture_too_large bytes=%d", len(made))
            made = None
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return made

    def of(self, about: Sequence[AlarmRecord], reader: Reader) -> bytes | None:
        """Return the chart of one batch's worst alarm, or the ribbons of several batches.

        What a flood of alarms asks is which plants to go to first, so there the ribbons stand.
        """
        urgency = list(Priority)
        worst = sorted(
            (one for one in about if one.batch),
            key=lambda one: (one.ended_at is not None, urgency.index(one.priority), one.opened_at),
        )
        codes = list(dict.fromkeys(one.batch for one in worst))
        if not worst:
            return None
        if len(codes) > 1:
            return self.of_batches(codes, reader, at=worst[0].opened_at)
        return self._of_one(worst[0], reader)

    def of_batches(self, codes: Sequence[str], reader: Reader, *, at: datetime) -> bytes | None:
        """Return the ribbons of batches on the noon-to-noon day that holds an aware instant."""
        site = self._parts.site
        window = day_of(at, site.site)
        seen = self._sight.span(window.first_minute, window.minutes)
        said = picture_words(reader.language)
        head = said.many.format(place=self._house(codes), count=len(codes))
        return ribbons(codes, site, seen, window, head=head, reader=reader)

    def _of_one(self, one: AlarmRecord, reader: Reader) -> bytes | None:
        parts = self._parts
        subject = subject_of(parts.site, parts.plans, one)
        asked = subject.asked
        ahead = not isinstance(asked, DoseLimit | None) and asked.quantity is Felt.EXPECTED_PEAK
        if ahead:
            present = self._sight.present()
            return heat_to_come(subject, parts.site, parts.watchlist, present, reader=reader)
        window = window_of(one.opened_at, reader.now, parts.site.site)
        seen = self._sight.span(window.first_minute, window.minutes)
        return alarm_chart(subject, parts.site, seen, window, reader=reader)

    def _house(self, codes: Sequence[str]) -> str:
        """Return the house of the batches, if it is one; else the site."""
        site = self._parts.site
        benches = {bench.id: bench.house for bench in site.bench}
        houses = {benches.get(one.bench) for one in site.batch if one.code in set(codes)}
        named = [house.title for house in site.house if house.id in houses]
        return named[0] if len(named) == 1 else site.site.title
