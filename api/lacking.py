"""What keeps the tool from doing its work: found here, said by the page and the API."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from rules.model.place import channel_key
from rules.model.quantities import Quantity
from rules.model.reading import minute_of
from rules.rota import uncovered

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from api.parts import Parts
    from rules.model.fault import Fault
    from rules.model.quantities import Felt

AHEAD = timedelta(days=14)
CHECKED = frozenset({Quantity.AIR_TEMPERATURE, Quantity.RELATIVE_HUMIDITY})
"""What drifts enough, and matters enough, that it should be held against something true."""


class Lack(StrEnum):
    """What can be missing."""

    KEPT_OUT = "kept_out"
    NO_MAIL = "no_mail"
    NO_WAY = "no_way"
    NOBODY_ON_DUTY = "nobody_on_duty"
    UNSEEN = "unseen"
    EXPIRED = "calibration_expired"
    UNCALIBRATED = "never_calibrated"
    NO_HEARTBEAT = "no_heartbeat"
    NO_BACKUP = "no_backup"


@dataclass(frozen=True, slots=True)
class Lacking:
    """One thing that is missing.

    `about` are the ids it speaks of: a person, a batch, or channels. `felt` is what a batch can't
    be seen by; `spans` the hours without anybody on duty, UTC; `fault` what is kept out.
    """

    kind: Lack
    about: tuple[str, ...] = ()
    felt: tuple[Felt, ...] = ()
    spans: tuple[tuple[datetime, datetime], ...] = ()
    fault: Fault | None = None


def lacking(parts: Parts, now: datetime) -> Iterator[Lacking]:
    """Yield what keeps the tool from doing its work at an aware instant, the gravest first."""
    for fault in parts.book.trouble:
        yield Lacking(Lack.KEPT_OUT, fault=fault)
    settings = parts.settings
    if settings.mail_server is None or not settings.mail_server.get_secret_value():
        yield Lacking(Lack.NO_MAIL)
    for person in parts.site.person:
        if person.answers and not person.ways:
            yield Lacking(Lack.NO_WAY, (person.id,))
    spans = uncovered(parts.site, now, now + AHEAD)
    if spans:
        yield Lacking(Lack.NOBODY_ON_DUTY, spans=spans)
    yield from _unseen(parts, now)
    yield from _unchecked(parts, now)
    if settings.heartbeat_url is None or not settings.heartbeat_url.get_secret_value():
        yield Lacking(Lack.NO_HEARTBEAT)
    if settings.backup is None:
        yield Lacking(Lack.NO_BACKUP)


def _unseen(parts: Parts, now: datetime) -> Iterator[Lacking]:
    """Yield batches that are watched, and for which no sensor stands that tells what is vital."""
    minute = minute_of(int(now.timestamp() * 1000))
    for batch in parts.watchlist.batches:
        span = batch.span_at(minute)
        watch = batch.watch_in(span)
        missed = () if watch is None else tuple(x for x in watch.vital if x not in span.speakers)
        if missed:
            yield Lacking(Lack.UNSEEN, (batch.code,), felt=missed)


def _unchecked(parts: Parts, now: datetime) -> Iterator[Lacking]:
    never: list[str] = []
    expired: list[str] = []
    for sensor in parts.site.sensor:
        for channel in sensor.channel:
            if channel.quantity not in CHECKED:
                continue
            check = channel.calibration_at(now)
            if check is None:
                never.append(channel_key(sensor.id, channel.id))
            elif check.is_out(now):
                expired.append(channel_key(sensor.id, channel.id))
    if expired:
        yield Lacking(Lack.EXPIRED, tuple(expired))
    if never:
        yield Lacking(Lack.UNCALIBRATED, tuple(never))
