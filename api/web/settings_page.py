"""The page of settings answers what is set up, what is missing, and what to do about it."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from api.lacking import Lack, lacking
from api.nodes.seen import houses_seen_to, nodes_seen
from api.records.session import reading
from api.settings import PREFIX, SECRETS, Settings
from api.web.words.settings import settings_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from starlette.responses import Response

    from api.lacking import Lacking
    from api.parts import Parts
    from api.web.pages import Desk
    from api.web.telling import Telling


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
        nodes = node_rows(at.parts, telling)
        rows = tuple(set_in(at.parts.settings, telling))
        backup = backup_told(at.parts, telling)
        return at.answer(
            request,
            "settings.html",
            telling,
            s=words,
            answer=answer,
            missing=missing,
            nodes=nodes,
            rows=rows,
            backup=backup,
        )

    return router


def node_rows(parts: Parts, telling: Telling) -> tuple[tuple[str, str], ...]:
    """Return who sees to each house, and how each process is; nothing where there is one alone."""
    if parts.leases is None:
        return ()
    words = settings_words(telling.words.code)
    with reading(parts.records) as db:
        now_ms = parts.leases.now_ms(db)
        houses = houses_seen_to(db, [house.id for house in parts.site.house], now_ms=now_ms)
        nodes = nodes_seen(db, now_ms=now_ms)
    return (
        *(
            (
                telling.house(one.house),
                words.nobody_watches
                if one.since is None
                else words.watched_by.format(node=one.node, time=telling.time(one.since)),
            )
            for one in houses
        ),
        *(
            (
                words.node.format(node=one.name),
                words.node_is[one.trouble].format(time=telling.time(one.seen_at))
                + (f" {words.node_speaks}" if one.speaks else ""),
            )
            for one in nodes
        ),
    )


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


def backup_told(parts: Parts, telling: Telling) -> str:
    """Return when the last backup was made and tried; "" where none are made by themselves."""
    if parts.backups is None:
        return ""
    words, good_at = settings_words(telling.words.code), parts.backups.state.good_at
    if good_at is None:
        return words.no_backup_yet
    return words.last_backup.format(time=telling.time(good_at))


def missing_in(parts: Parts, telling: Telling) -> Iterator[Missing]:
    """Yield what keeps the tool from doing its work in words, the gravest first."""
    for one in lacking(parts, telling.now):
        yield _in_words(one, telling)


def _in_words(one: Lacking, telling: Telling) -> Missing:
    words = settings_words(telling.words.code)
    names = ", ".join(one.about)
    match one.kind:
        case Lack.KEPT_OUT:
            told = asdict(one.fault) if one.fault is not None else {}
            return Missing(words.kept_out, words.kept_out_fix.format(**told))
        case Lack.NO_MAIL:
            return Missing(words.no_mail, words.no_mail_fix)
        case Lack.NO_WAY:
            people = ", ".join(telling.person(who) for who in one.about)
            return Missing(words.no_way.format(name=people), words.no_way_fix)
        case Lack.NOBODY_ON_DUTY:
            start, end = (telling.time(at) for at in one.spans[0])
            lead = telling.person(telling.site.lead)
            said = words.nobody.format(count=len(one.spans), start=start, end=end, lead=lead)
            return Missing(said, words.nobody_fix)
        case Lack.UNSEEN:
            unseen = ", ".join(telling.words.felt[felt] for felt in one.felt)
            return Missing(words.unseen.format(code=names, names=unseen), words.unseen_fix)
        case Lack.EXPIRED:
            return Missing(words.expired.format(names=names), words.expired_fix)
        case Lack.UNCALIBRATED:
            return Missing(words.uncalibrated.format(names=names), words.uncalibrated_fix)
        case Lack.NO_HEARTBEAT:
            return Missing(words.no_heartbeat, words.no_heartbeat_fix)
        case Lack.NO_BACKUP:
            return Missing(words.no_backup, words.no_backup_fix)
