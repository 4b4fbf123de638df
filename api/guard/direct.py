"""The last resort: who is on duty is written to without the outbox.

Only where the outbox itself can't be used: the records fail, or the alert service does not turn.
What is said so can't be recorded, answered by link, or kept from being said twice after a kill.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from api.alerts.channels import Sent
from api.alerts.guard_words import words_of_finding, words_of_over
from rules.escalation import who_is_on_duty
from rules.vital_signs import Sign

if TYPE_CHECKING:
    from datetime import datetime

    from api.alerts.channels import Channels
    from api.book import Book
    from rules.model.people import Person
    from rules.vital_signs import Finding

log = logging.getLogger(__name__)

BY_HAND = frozenset({Sign.RECORDS, Sign.ALERTS})
"""What the outbox can't tell of, since it is part of it."""

AGAIN_AFTER_S = 1800.0


@dataclass(slots=True)
class Direct:
    """Writes to people by every way they have. One thread calls it."""

    book: Book
    channels: Channels
    base_url: str
    _told_s: dict[str, float] = field(default_factory=dict)
    _told: dict[str, set[str]] = field(default_factory=dict)

    def tell(self, finding: Finding, *, now: datetime, at_s: float) -> int:
        """Say what is wrong, again every half hour while it lasts; return how many got through.

        Who got nothing, because every way of theirs failed, is written to again the next time.
        """
        last = self._told_s.get(finding.key)
        if last is not None and at_s - last < AGAIN_AFTER_S:
            return 0
        self._told_s[finding.key] = at_s
        told = self._told.setdefault(finding.key, set())
        got = 0
        for person in self._people(now):
            text = words_of_finding(
                finding, person, site=self.book.now.site, base_url=self.base_url, now=now
            )
            if self._send(person, text):
                told.add(person.id)
                got += 1
        if got == 0:
            self._told_s[finding.key] = at_s - AGAIN_AFTER_S + 60.0
        log.error("guard_told_directly what=%s people=%d", finding.key, got)
        return got

    def over(self, key: str, *, now: datetime) -> int:
        """Say to those who were told that it is over; return how many got through."""
        self._told_s.pop(key, None)
        told = self._told.pop(key, set())
        got = 0
        for person in self.book.now.site.person:
            if person.id in told:
                text = words_of_over(key, person, site=self.book.now.site, now=now)
                got += self._send(person, text)
        return got

    def _people(self, now: datetime) -> tuple[Person, ...]:
        """Return who is on duty, and the lead: nobody can say that they have it."""
        lead = tuple(one for one in self.book.now.site.person if one.id == self.book.now.site.lead)
        return tuple(dict.fromkeys((*who_is_on_duty(self.book.now.site, now), *lead)))

    def _send(self, person: Person, text: object) -> bool:
        got = False
        for way in person.ways:
            outcome = self.channels.send(person, way, text)  # type: ignore[arg-type]
            if isinstance(outcome, Sent):
                got = True
            else:
                log.warning("guard_way_failed person=%s channel=%s", person.id, way)
        return got
