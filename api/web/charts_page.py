"""The page of charts answers how a batch fared over any time, from an hour to a season."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from api.drawing.day import instant_of
from api.records.session import reading
from api.v1.light_sums import LightSums
from api.v1.lines import COARSE_CELL_MIN, Told, can_be_told, told_by
from api.v1.series import chosen_points
from api.v1.stretch import limits_held, spans_in, stretch_of
from api.web.asked_span import LENGTHS, AskedSpan, asked_span
from api.web.held import says_of
from api.web.span_picture import POINTS, drawn_as_picture, drawn_on_page, gap_words, span_words
from api.web.words.charts import chart_words
from rules.local_time import to_local
from rules.model.quantities import RECKONED, Felt

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from markupsafe import Markup

    from api.parts import Parts
    from api.v1.light_sums import LightOfDay
    from api.v1.sight import Sight
    from api.v1.stretch import Stretch
    from api.web.pages import Desk
    from api.web.telling import Telling
    from rules.model.batch import Batch
    from rules.watchlist import BatchWatch

NOT_DRAWN = frozenset({Felt.EXPECTED_PEAK})
MOST_LISTED = 60
NEAR_NOW_MIN = 5
MOST_LIVE_MIN = 2 * 1440
"""On a longer span a minute more shows nothing new."""


@dataclass(frozen=True, slots=True)
class Charted:
    """One chart: its name, what it is made of, and where it is to be had as a picture."""

    name: str
    drawn: Markup
    notes: tuple[str, ...]
    picture: str


@dataclass(frozen=True, slots=True)
class LightRow:
    """One day of light, in words."""

    day: str
    light_sum: str
    direct_sun: str
    seen: str


@dataclass(frozen=True, slots=True)
class ChartsPage:
    """All that the page says. `links` are addresses by what they do, "" where that can't be done.

    `live`: the span ends now, and the page should follow.
    """

    code: str
    kind: str
    answer: str
    misread: bool
    first_minute: int
    end_minute: int
    from_value: str
    to_value: str
    links: dict[str, str]
    lengths: tuple[tuple[str, str, bool], ...]
    charts: tuple[Charted, ...]
    only_short: str
    happened: tuple[tuple[str, str], ...]
    left_out: bool
    light: str
    light_rows: tuple[LightRow, ...]
    live: bool


def charts_router(at: Desk, sight: Sight) -> APIRouter:
    """Return the routes of the page and of its pictures."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts
    sums = LightSums(parts)

    def known(code: str) -> tuple[Batch, BatchWatch]:
        book = parts.book.now
        batch = next((one for one in book.site.batch if one.code == code), None)
        watched = next((one for one in book.watchlist.batches if one.code == code), None)
        if batch is None or watched is None:
            raise HTTPException(HTTPStatus.NOT_FOUND)
        return batch, watched

    @router.get("/batches/{code}/charts")
    def charts(
        request: Request,
        code: str,
        start: Annotated[str | None, Query(alias="from", max_length=60)] = None,
        end: Annotated[str | None, Query(alias="to", max_length=60)] = None,
    ) -> Response:
        batch, watched = known(code)
        telling = at.telling(request)
        asked = asked_span(start, end, telling.now, parts.site.site)
        page = charts_page(parts, sight, batch, watched, asked=asked, sums=sums, telling=telling)
        words = chart_words(telling.words.code)
        return at.answer(request, "charts.html", telling, page=page, c=words)

    @router.get("/batches/{code}/charts/{quantity}.png")
    def picture(
        request: Request,
        code: str,
        quantity: Felt,
        start: Annotated[str | None, Query(alias="from", max_length=60)] = None,
        end: Annotated[str | None, Query(alias="to", max_length=60)] = None,
    ) -> Response:
        batch, watched = known(code)
        telling = at.telling(request)
        asked = asked_span(start, end, telling.now, parts.site.site)
        if not can_be_told(quantity, told_by(asked.first_minute, asked.end_minute)):
            raise HTTPException(HTTPStatus.NOT_FOUND)
        with reading(parts.records) as db:
            found = stretch_of(
                parts,
                sight,
                db,
                batch,
                quantity,
                first_minute=asked.first_minute,
                end_minute=asked.end_minute,
            )
        span = span_words(asked.first_minute, asked.end_minute, telling)
        made = drawn_as_picture(found, watched, telling, span=span)
        return Response(made, media_type="image/png")

    return router


def charts_page(
    parts: Parts,
    sight: Sight,
    batch: Batch,
    watched: BatchWatch,
    *,
    asked: AskedSpan,
    sums: LightSums,
    telling: Telling,
) -> ChartsPage:
    """Gather what the page says."""
    words = chart_words(telling.words.code)
    first, end = asked.first_minute, asked.end_minute
    span = span_words(first, end, telling)
    told = told_by(first, end)
    wanted = _quantities(watched, first, end)
    shown = [felt for felt in wanted if can_be_told(felt, told)]
    with reading(parts.records) as db:
        found = [
            stretch_of(parts, sight, db, batch, felt, first_minute=first, end_minute=end)
            for felt in shown
        ]
    # What no sensor tells is reckoned, and cells hold only what sensors told.
    empty = {one.felt for one in found if told is Told.CELLS and not one.line.value.size}
    left = [telling.words.felt[felt] for felt in wanted if felt not in shown or felt in empty]
    path = f"/batches/{batch.code}/charts"
    place = parts.site.site
    light = sums.of(watched, first, end) if Felt.PPFD in shown else ()
    happened = _happened(parts, found, telling)
    return ChartsPage(
        code=batch.code,
        kind=telling.kind(batch),
        answer=words.title.format(code=batch.code, span=span),
        misread=asked.misread,
        first_minute=first,
        end_minute=end,
        from_value=f"{to_local(instant_of(first), place):%Y-%m-%dT%H:%M}",
        to_value=f"{to_local(instant_of(end), place):%Y-%m-%dT%H:%M}",
        links=_links(asked, path, telling),
        lengths=_lengths(asked, path, telling),
        charts=tuple(
            _charted(one, watched, telling, span=span, asked=asked)
            for one in found
            if one.felt not in empty and (one.line.value.size or one.limits)
        ),
        only_short=words.only_short.format(names=telling.words.capital(", ".join(left)))
        if left
        else "",
        happened=happened[:MOST_LISTED],
        left_out=len(happened) > MOST_LISTED,
        light=_light_words(light, telling),
        light_rows=tuple(_light_row(one, telling) for one in reversed(light)),
        live=asked.minutes <= MOST_LIVE_MIN
        and abs(end - int(telling.now.timestamp()) // 60) <= NEAR_NOW_MIN,
    )


def _quantities(watched: BatchWatch, first: int, end: int) -> list[Felt]:
    """Return what a limit spoke of, or a sensor told, at some time of the span."""
    versions = [0] * len(watched.versions)
    asked = {one.limit.quantity for one in limits_held(watched, versions, first, end)}
    for span, _, _ in spans_in(watched, first, end):
        asked |= set(span.speakers)
    return [felt for felt in Felt if felt in asked and felt not in NOT_DRAWN]


def _charted(
    found: Stretch, watched: BatchWatch, telling: Telling, *, span: str, asked: AskedSpan
) -> Charted:
    words, line = chart_words(telling.words.code), found.line
    notes = [gap_words(found, telling)]
    if line.told is Told.MINUTES:
        notes.append(words.minutes)
    elif line.of_means:
        notes.append(words.of_means)
    else:
        notes.append(words.cells_hour if line.step_min == COARSE_CELL_MIN else words.cells)
    if chosen_points(found, POINTS).joined:
        notes.append(words.joined)
    path = f"/batches/{found.code}/charts/{found.felt.value}.png"
    mark = f" ({telling.words.reckoned})" if found.felt in RECKONED else ""
    return Charted(
        name=f"{telling.words.capital(telling.words.felt[found.felt])}{mark}",
        drawn=drawn_on_page(found, watched, telling, span=span),
        notes=tuple(note for note in notes if note),
        picture=asked.address(path, telling.site.site),
    )


def _links(asked: AskedSpan, path: str, telling: Telling) -> dict[str, str]:
    place = telling.site.site
    now = int(telling.now.timestamp()) // 60
    later = asked.moved(0.5) if asked.end_minute < now else None
    spans = {
        "earlier": asked.moved(-0.5),
        "later": later,
        "wider": asked.wider(),
        "narrower": asked.narrower(),
        "until_now": AskedSpan(now - asked.minutes, now) if later is not None else None,
        "week": AskedSpan(asked.end_minute - LENGTHS["week"], asked.end_minute),
    }
    return {name: "" if span is None else span.address(path, place) for name, span in spans.items()}


def _lengths(asked: AskedSpan, path: str, telling: Telling) -> tuple[tuple[str, str, bool], ...]:
    """Return name, address and whether it is the one shown, of each usual length."""
    words = chart_words(telling.words.code)
    return tuple(
        (
            words.lengths[name],
            AskedSpan(asked.end_minute - minutes, asked.end_minute).address(
                path, telling.site.site
            ),
            minutes == asked.minutes,
        )
        for name, minutes in LENGTHS.items()
    )


def _happened(
    parts: Parts, found: Sequence[Stretch], telling: Telling
) -> tuple[tuple[str, str], ...]:
    """Return what happened in the span, the newest first, each once."""
    lines = {line for one in found for line in _lines(parts, one, telling)}
    return tuple(
        (telling.time(instant_of(0) + (instant_of(1) - instant_of(0)) * at), said)
        for at, said in sorted(lines, reverse=True)
    )


def _lines(parts: Parts, found: Stretch, telling: Telling) -> Iterator[tuple[float, str]]:
    words = chart_words(telling.words.code)
    for one in found.observations:
        said = [telling.words.seen[one.seen], one.note, telling.person(one.by) if one.by else ""]
        yield one.at.timestamp() / 60, " · ".join(part for part in said if part)
    before = found.stood[0] if found.stood else None
    for stood in found.stood[1:]:
        if before is not None:
            changed = []
            if stood.stage is not before.stage and stood.stage is not None:
                changed.append(telling.words.stage_names[stood.stage])
            if stood.covered != before.covered:
                changed.append(words.cover_on if stood.covered else words.cover_off)
            if stood.version != before.version:
                changed.append(words.new_version.format(version=stood.version))
            if changed:
                yield float(stood.minute), telling.words.capital(", ".join(changed))
        before = stood
    for alarm in found.alarms:
        said_of = says_of(parts, alarm, telling)
        yield alarm.opened_at.timestamp() / 60, words.alarm.format(says=said_of)


def _light_row(one: LightOfDay, telling: Telling) -> LightRow:
    words = chart_words(telling.words.code)
    return LightRow(
        day=telling.day(one.day),
        light_sum=words.light_sum.format(value=telling.words.number(one.light_sum_mol_m2, 1)),
        direct_sun=words.direct_sun.format(minutes=one.direct_sun_min),
        seen=words.light_of.format(seen=one.seen_min, minutes=one.minutes),
    )


def _light_words(light: Sequence[LightOfDay], telling: Telling) -> str:
    if not light:
        return ""
    most = max(light, key=lambda one: one.light_sum_mol_m2)
    sunny = max(light, key=lambda one: one.direct_sun_min)
    return chart_words(telling.words.code).most_light.format(
        day=telling.day(most.day),
        value=telling.words.number(most.light_sum_mol_m2, 1),
        sun_day=telling.day(sunny.day),
        minutes=sunny.direct_sun_min,
    )
