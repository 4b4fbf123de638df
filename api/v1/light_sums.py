"""The light of each local day that reached a batch: its sum, and its minutes of direct sun."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from api.v1.stretch import spans_in
from rules.cells import MICRO, block_of_series
from rules.felt import felt_values, held_in
from rules.light_day import light_days
from rules.local_time import local_days
from rules.model.quantities import Felt
from rules.model.reading import MINUTE_MS
from rules.sky import (
    clear_sky_by_day_umol_m2_s,
    direct_sun_from_umol_m2_s,
    is_direct_sun,
)

if TYPE_CHECKING:
    from datetime import date

    from api.parts import Parts
    from rules.speaking import Span
    from rules.watchlist import BatchWatch

MOST_KEPT = 4000
SETTLED_MIN = 2 * 1440
"""A day that ended so long ago is worked out once: late readings have come by then."""


@dataclass(frozen=True, slots=True)
class LightOfDay:
    """One local day: its light sum and its minutes of direct sun, of the minutes seen."""

    day: date
    light_sum_mol_m2: float
    direct_sun_min: int
    seen_min: int
    minutes: int


class LightSums:
    """Works out days of light from the readings that are kept; safe to use from many threads."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, date, str], LightOfDay] = OrderedDict()

    def of(self, watched: BatchWatch, first_minute: int, end_minute: int) -> tuple[LightOfDay, ...]:
        """Return every whole local day within a span on which some light was seen."""
        book = self._parts.book.now
        now = int(self._parts.clock.now().timestamp()) // 60
        days: list[LightOfDay] = []
        for day, first, end in local_days(book.site.site, first_minute, end_minute - first_minute):
            if first < first_minute or end > end_minute:
                continue
            key = (watched.code, day, book.revision)
            with self._lock:
                known = self._kept.get(key)
            if known is None:
                known = self._worked_out(watched, day, first, end)
                if end < now - SETTLED_MIN:
                    self._keep(key, known)
            if known.seen_min:
                days.append(known)
        return tuple(days)

    def _keep(self, key: tuple[str, date, str], known: LightOfDay) -> None:
        with self._lock:
            self._kept[key] = known
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)

    def _worked_out(self, watched: BatchWatch, day: date, first: int, end: int) -> LightOfDay:
        place = self._parts.site.site
        minutes = np.arange(first, end, dtype=np.int64)
        ppfd = np.full(minutes.size, np.nan)
        direct = np.zeros(minutes.size, dtype=np.bool_)
        for span, start, stop in spans_in(watched, first, end):
            speaker = span.speakers.get(Felt.PPFD)
            if speaker is None:
                continue
            rows = slice(start - first, stop - first)
            ppfd[rows] = self._ppfd(span, start, stop)
            shade = watched.kit_in(span).shade_fraction
            clear = clear_sky_by_day_umol_m2_s(place, minutes[rows])
            bound = direct_sun_from_umol_m2_s(clear, shade_fraction=shade)
            direct[rows] = is_direct_sun(ppfd[rows], bound)
        (light,) = light_days(place, first, ppfd, direct_sun=direct)
        return LightOfDay(
            day=day,
            light_sum_mol_m2=light.light_sum_mol_m2,
            direct_sun_min=light.direct_sun_minutes,
            seen_min=light.seen_minutes,
            minutes=light.minutes,
        )

    def _ppfd(self, span: Span, start: int, stop: int) -> np.ndarray:
        """Return each minute's light by the sensor that speaks; NaN where it had no fresh word."""
        speaker = span.speakers[Felt.PPFD]
        source = speaker.sources[0]
        site, ahead = self._parts.site, source.stale_after_min
        series = self._parts.store.series(
            [source.channel], (start - ahead) * MINUTE_MS, stop * MINUTE_MS
        )[source.channel]
        block = block_of_series(
            site,
            start - ahead,
            stop - start + ahead,
            {source.channel: (series.at_ms, series.value)},
        )
        rows = slice(ahead, ahead + stop - start)
        whole, fresh = felt_values(speaker, held_in(block, {}), rows)
        return np.where(fresh, whole / np.float64(MICRO), np.nan)
