"""How values, times and batches are said in a night sheet: language, unit, moment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.alerts.figures import (
    bound_shown,
    clock_time,
    distance_shown,
    lasting,
    plainly,
)
from api.alerts.phrases import phrases
from api.drawing.day import instant_of
from api.measures import measure_in
from api.night_sheet.words import night_words
from rules.reserve import MOST_HOURS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from api.alerts.phrases import Phrases
    from api.night_sheet.words import NightWords
    from rules.model.batch import Batch, Stage
    from rules.model.plan import CarePlan, Limit
    from rules.model.quantities import Felt
    from rules.model.site import Site

FITS = 160
MOST_NAMED = 4


@dataclass(frozen=True, slots=True)
class Voice:
    """Says things of a site in a language, temperatures in °C or °F, as of an aware instant."""

    site: Site
    plans: Mapping[str, Sequence[CarePlan]]
    language: str
    fahrenheit: bool
    now: datetime

    @property
    def words(self) -> NightWords:
        """The sentences of the sheet."""
        return night_words(self.language)

    @property
    def phrases(self) -> Phrases:
        """The names of things, as in messages."""
        return phrases(self.language)

    def number(self, felt: Felt, value: float) -> str:
        """Return a value without its unit."""
        return plainly(measure_in(felt, fahrenheit=self.fahrenheit), value, self.phrases)

    def value(self, felt: Felt, value: float) -> str:
        """Return a value with its unit, kept on one line."""
        measure = measure_in(felt, fahrenheit=self.fahrenheit)
        return f"{plainly(measure, value, self.phrases)}\N{NO-BREAK SPACE}{measure.unit}"

    def band(self, felt: Felt, low: float, high: float) -> str:
        """Return the ends of a band with the unit."""
        measure = measure_in(felt, fahrenheit=self.fahrenheit)
        ends = self.phrases.band.format(low=self.number(felt, low), high=self.number(felt, high))
        return f"{ends}\N{NO-BREAK SPACE}{measure.unit}"

    def apart(self, felt: Felt, distance: float) -> str:
        """Return a distance between two values, with its unit."""
        measure = measure_in(felt, fahrenheit=self.fahrenheit)
        return distance_shown(measure, distance, self.phrases)

    def bound(self, limit: Limit) -> str:
        """Return the bound of a limit with its unit."""
        measure = measure_in(limit.quantity, fahrenheit=self.fahrenheit)
        return f"{bound_shown(measure, limit.bound, self.phrases)}\N{NO-BREAK SPACE}{measure.unit}"

    def endless(self, hours: float) -> bool:
        """Return whether so many hours of water are told as no end."""
        return hours >= MOST_HOURS

    def felt(self, felt: Felt) -> str:
        """Return the name of a quantity."""
        return self.phrases.felt[felt]

    def time(self, at: datetime) -> str:
        """Return a time on the site's wall, with the weekday when it is far away."""
        return clock_time(at, self.site.site, now=self.now, words=self.phrases)

    def minute(self, minute: int) -> str:
        """Return the time of a minute since the epoch."""
        return self.time(instant_of(minute))

    def lasting(self, minutes: int) -> str:
        """Return a length of time."""
        return lasting(minutes, self.phrases)

    def person(self, person_id: str | None) -> str:
        """Return a person's name, the id of one who has left, "" for nobody."""
        if person_id is None:
            return ""
        return next((one.name for one in self.site.person if one.id == person_id), person_id)

    def stage_day(self, stage: Stage | None, day: int) -> str:
        """Return the stage and the days since grafting."""
        if stage is None:
            return ""
        return self.words.stage_day.format(stage=self.phrases.stage[stage], day=day)

    def plants(self, batch: Batch) -> str:
        """Return what a batch is and where it stands."""
        cover = self.phrases.cover[batch.cover] if batch.covered_at(self.now) else ""
        bench = next((one.title for one in self.site.bench if one.id == batch.bench), batch.bench)
        label = " ".join(part for part in (batch.code, batch.species, cover) if part)
        return f"{label}, {bench}"

    def listed(self, codes: Sequence[str], most: int = MOST_NAMED) -> str:
        """Return codes in a row, of many the first ones and how many more."""
        shown = list(codes[:most])
        if len(codes) > most:
            shown.append(self.words.and_more.format(count=len(codes) - most))
        return ", ".join(shown)


def capital(text: str) -> str:
    """Return a text that begins with a capital."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Return a text as a sentence."""
    return f"{capital(text)}." if text and text[-1] not in ".!?" else capital(text)


def that_fits(*lines: str) -> str:
    """Return the first line of at most 160 characters; else the last, ended early."""
    for line in lines:
        if len(line) <= FITS:
            return line
    return f"{lines[-1][: FITS - 1].rsplit(' ', 1)[0]}…"
