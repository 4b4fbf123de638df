"""Owes night sheets when they fall due, and writes them when they are sent.

What is due follows from the clock and the records alone; nothing is remembered in between. The row
of a sheet and the messages it owes are one transaction: killed before it, the sheet is found due
again; killed after it, the outbox sends what is owed.
"""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from api.alerts.caution_words import caution_words
from api.alerts.message import MessageText
from api.drawing.day import instant_of
from api.night_sheet.evening import evening_sheet, night_after
from api.night_sheet.morning import DUTY_AHEAD, morning_sheet
from api.night_sheet.saying_evening import evening_told
from api.night_sheet.saying_morning import morning_told
from api.night_sheet.sheet import EveningSheet
from api.night_sheet.voice import Voice
from api.pictures.alarm_chart import Reader
from api.records.outbox import Cause, MessageKind, owe
from api.records.session import reading, writing
from api.records.sheets import keep_sheet, sheet_of
from api.records.tables import as_ms
from rules.model.reading import minute_of
from rules.rota import duty_between, people_of, the_lead
from rules.sheet_times import SheetKind, latest_due

if TYPE_CHECKING:
    from datetime import datetime

    from api.night_sheet.sheet import Sheet
    from api.night_sheet.told import SheetTold
    from api.parts import Parts
    from api.pictures.pictures import Pictures
    from api.records.outbox import OutboxRow
    from api.v1.sight import Sight
    from rules.model.people import Person

log = logging.getLogger(__name__)


class NightSheets:
    """Makes the sheets of one running nursery; safe to use from many threads."""

    def __init__(self, parts: Parts, sight: Sight, pictures: Pictures) -> None:
        self._parts = parts
        self._sight = sight
        self._pictures = pictures

    def turn(self) -> int:
        """Owe the sheet that is due now, once; return how many messages are new."""
        parts, now = self._parts, self._parts.clock.now()
        due = latest_due(now, parts.settings.sheet_times, parts.site.site)
        if due is None:
            return 0
        with reading(parts.records) as db:
            if sheet_of(db, due.key) is not None:
                return 0
        sheet = self.sheet(due.kind)  # gathered before anything is locked
        foretold = sheet.foretold if isinstance(sheet, EveningSheet) else ()
        new = 0
        with writing(parts.records) as db:
            kept = keep_sheet(
                db, due.key, due_at=due.at, until=due.until, at=now, foretold=foretold
            )
            if not kept:
                return 0
            cause = Cause(due.key, MessageKind.SHEET, "", due.at)
            for person in self.readers(due.kind, now):
                new += owe(db, cause, person=person, at=now, most_ways=1)
        log.info("sheet_owed key=%s messages=%d", due.key, new)
        return new

    def readers(self, kind: SheetKind, now: datetime) -> tuple[Person, ...]:
        """Return who gets a sheet: those on duty in the hours it is about, and the lead."""
        site = self._parts.site
        until = now + DUTY_AHEAD
        if kind is SheetKind.EVENING:
            until = max(instant_of(night_after(minute_of(as_ms(now)), site.site)[1]), now)
        names = [person.id for one in duty_between(site, now, until) for person in one.people]
        return tuple(one for one in people_of(site, [*names, the_lead(site, now)]) if one.answers)

    def sheet(self, kind: SheetKind) -> Sheet:
        """Return a sheet as things stand now."""
        if kind is SheetKind.EVENING:
            return evening_sheet(self._parts, self._sight)
        return morning_sheet(self._parts, self._sight)

    def told(self, sheet: Sheet, *, language: str, fahrenheit: bool) -> SheetTold:
        """Return a sheet in words."""
        voice = Voice(self._parts.site, self._parts.plans, language, fahrenheit, sheet.at)
        if isinstance(sheet, EveningSheet):
            return evening_told(sheet, voice)
        return morning_told(sheet, voice)

    def words(self, row: OutboxRow, person: Person, now: datetime) -> MessageText | None:
        """Return the message that a row is; None once the sheet is of no more use."""
        with reading(self._parts.records) as db:
            kept = sheet_of(db, row.cause)
        if kept is None or now >= kept.until:
            return None
        kind = kind_of(row.cause)
        told = self.told(
            self.sheet(kind),
            language=person.language,
            fahrenheit=person.temperature_unit == "degF",
        )
        base = self._parts.settings.base_url.rstrip("/")
        link = f"{base}/tonight?sheet={kind.value}"
        more = caution_words(person.language).more.format(link=f"{base}/cautions")
        look = Voice(
            self._parts.site, self._parts.plans, person.language, fahrenheit=False, now=now
        ).words.look_here
        return MessageText(told.line, f"{told.as_text()}\n{more}\n\n{look.format(link=link)}")

    def picture(self, row: OutboxRow, person: Person, now: datetime) -> bytes | None:
        """Return the ribbons of the night, worst batch first; None where nothing was seen.

        Before dark the evening's sheet has hardly a night to draw, and goes without.
        """
        if kind_of(row.cause) is SheetKind.EVENING:
            return None
        sheet = morning_sheet(self._parts, self._sight)
        first = [batch.code for batch, _ in sheet.do_first]
        codes = dict.fromkeys([*first, *(one.batch.code for one in sheet.batches if one.covered)])
        reader = Reader(person.language, person.temperature_unit == "degF", now)
        return self._pictures.of_batches(tuple(codes), reader, at=instant_of(sheet.first))


def kind_of(key: str) -> SheetKind:
    """Return which sheet a key names.

    >>> kind_of("sheet:morning:2026-11-29").value
    'morning'
    """
    return SheetKind(key.split(":")[1])
