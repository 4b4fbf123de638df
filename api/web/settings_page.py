"""The page of settings answers what is set up, what is missing, and what to do about it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from api.settings import PREFIX, SECRETS, Settings
from api.web.words.settings import settings_words
from rules.model.place import channel_key
from rules.model.quantities import Quantity
from rules.model.reading import minute_of
from rules.rota import uncovered

if TYPE_CHECKING:
    from collections.abc import Iterator

    from starlette.responses import Response

    from api.parts import Parts
    from api.web.pages import Desk
    from api.web.telling import Telling

AHEAD = timedelta(days=14)
CHECKED = frozenset({Quantity.AIR_TEMPERATURE, Quantity.RELATIVE_HUMIDITY})
"""What drifts enough, and matters enough, that it should be held against something true."""


@dataclass(frozen=True, slots=True)
class Missing:
    """Something that is missing, and what to do."""

    what: str
    fix: str


def settings_router(at: Desk) -> APIRouter:
    """Return the route of the page."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    @router.get("/settings")
    def settings(request: Request) -> Response:
        telling = at.telling(request)
        words = settings_words(telling.words.code)
        missing = tuple(missing_in(at.parts, telling))
        answer = words.answer.format(count=len(missing)) if missing else words.all_well
        if len(missing) == 1:
            answer = words.answer_one
        rows = tuple(set_in(at.parts.settings, telling))
        return at.answer(
            request, "settings.html", telling, s=words, answer=answer, missing=missing, rows=rows
        )

    return router


def set_in(settings: Settings, telling: Telling) -> Iterator[tuple[str, str]]:
    """Yield each setting by its name with its value; of a secret only whether it is set."""
    words = settings_words(telling.words.code)
    for name in Settings.model_fields:
        value = getattr(settings, name)
        if value is None:
            shown = words.not_set
        elif name in SECRETS:
            shown = words.is_set if value.get_secret_value() else words.not_set
        else:
            # An address may hold a name and a password before its host.
            shown = re.sub(r"(?<=://)[^/@]*@", "…@", str(value)) or words.empty
        yield f"{PREFIX}{name.upper()}", shown


def missing_in(parts: Parts, telling: Telling) -> Iterator[Missing]:
    """Yield what keeps the tool from doing its work, the gravest first."""
    words, settings = settings_words(telling.words.code), parts.settings
    for fault in parts.book.trouble:
        told = {name: getattr(fault, name) for name in ("file", "line", "field", "problem", "fix")}
        said = words.kept_out_fix.format(**told)
        yield Missing(words.kept_out, said)
    if settings.mail_server is None or not settings.mail_server.get_secret_value():
        yield Missing(words.no_mail, words.no_mail_fix)
    yield from _people(parts, telling)
    yield from _unseen(parts, telling)
    yield from _unchecked(parts, telling)
    if settings.heartbeat_url is None or not settings.heartbeat_url.get_secret_value():
        yield Missing(words.no_heartbeat, words.no_heartbeat_fix)


def _people(parts: Parts, telling: Telling) -> Iterator[Missing]:
    words, site = settings_words(telling.words.code), parts.site
    for person in site.person:
        if person.answers and not person.ways:
            yield Missing(words.no_way.format(name=person.name), words.no_way_fix)
    spans = list(uncovered(site, telling.now, telling.now + AHEAD))
    if spans:
        start, end = (telling.time(at) for at in spans[0])
        lead = telling.person(site.lead)
        said = words.nobody.format(count=len(spans), start=start, end=end, lead=lead)
        yield Missing(said, words.nobody_fix)


def _unseen(parts: Parts, telling: Telling) -> Iterator[Missing]:
    """Yield batches that are watched, and for which no sensor stands that tells what is vital."""
    words = settings_words(telling.words.code)
    minute = minute_of(int(telling.now.timestamp() * 1000))
    for batch in parts.watchlist.batches:
        span = batch.span_at(minute)
        watch = batch.watch_in(span)
        lacking = [] if watch is None else [one for one in watch.vital if one not in span.speakers]
        if lacking:
            names = ", ".join(telling.words.felt[felt] for felt in lacking)
            yield Missing(words.unseen.format(code=batch.code, names=names), words.unseen_fix)


def _unchecked(parts: Parts, telling: Telling) -> Iterator[Missing]:
    words = settings_words(telling.words.code)
    never: list[str] = []
    expired: list[str] = []
    for sensor in parts.site.sensor:
        for channel in sensor.channel:
            if channel.quantity not in CHECKED:
                continue
            check = channel.calibration_at(telling.now)
            if check is None:
                never.append(channel_key(sensor.id, channel.id))
            elif check.is_out(telling.now):
                expired.append(channel_key(sensor.id, channel.id))
    if expired:
        yield Missing(words.expired.format(names=", ".join(expired)), words.expired_fix)
    if never:
        yield Missing(words.uncalibrated.format(names=", ".join(never)), words.uncalibrated_fix)
