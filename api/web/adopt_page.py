"""The page on which a stranger is adopted: what it is guessed to be, put right, and written."""

from __future__ import annotations

from dataclasses import dataclass, replace
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException

from api.adoption import PLACES, Adoption, CannotAdopt, append_to, block_of, covered, suggested
from api.records.tables import instant
from api.v1.collector import strangers_of
from api.watch.clock import milliseconds
from collector.meanings import Meant
from collector.rejects import readable
from rules.model.batch import ENDED
from rules.model.quantities import MEANINGS, Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from starlette.responses import Response

    from api.parts import Parts
    from api.web.pages import Desk
    from api.web.telling import Telling
    from collector.guess import Candidate, Found

MOST_NUMBERS = 60


@dataclass(frozen=True, slots=True)
class NumberLine:
    """A number of the message, what it may be said to be, and what it is guessed to be."""

    path: str
    value: str
    choices: tuple[tuple[str, str], ...]
    chosen: str
    why: str


@dataclass(frozen=True, slots=True)
class AdoptPage:
    """All that the page says, and what its form starts with."""

    answer: str
    topic: str
    device: str
    payload: str
    heard: str
    sample: str
    name: str
    title: str
    places: tuple[tuple[str, str], ...]
    place: str
    likes: tuple[tuple[str, str], ...]
    like: str
    numbers: tuple[NumberLine, ...]


def adopt_router(at: Desk) -> APIRouter:
    """Return the routes of the page and of its form."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    def candidate(topic: str, device: str, telling: Telling) -> Candidate:
        for one in strangers_of(parts):
            if (one.topic, one.device) == (topic, device) and not one.adopted:
                return one
        raise HTTPException(HTTPStatus.NOT_FOUND, telling.words.gone_meanwhile)

    @router.get("/adopt")
    def adopt(request: Request, topic: str, device: str = "") -> Response:
        telling = at.telling(request)
        adoption = suggested(candidate(topic, device, telling), parts.site)
        page = _page(parts, adoption, telling)
        return at.answer(request, "adopt.html", telling, page=page, trouble="")

    @router.post("/adopt")
    def write(
        request: Request,
        topic: Annotated[str, Form(max_length=600)],
        name: Annotated[str, Form(max_length=40)],
        title: Annotated[str, Form(max_length=80)],
        device: Annotated[str, Form(max_length=600)] = "",
        place: Annotated[str, Form(max_length=60)] = "",
        like: Annotated[str, Form(max_length=40)] = "",
        meant: Annotated[list[str] | None, Form(max_length=MOST_NUMBERS)] = None,
    ) -> Response:
        telling = at.telling(request)
        known = candidate(topic, device, telling)
        found = _as_said(known.found, meant or [])
        kind, _, named = place.partition(":")
        adoption = Adoption(
            name=name.strip(),
            title=title.strip(),
            candidate=replace(known, found=found),
            like=like or None,
            place=(kind, named) if kind in PLACES else None,
            since=parts.clock.now().replace(microsecond=0),
        )
        try:
            append_to(parts.settings.site, block_of(adoption), plans=parts.settings.plans)
        except CannotAdopt as trouble:
            page = _page(parts, replace(adoption, candidate=known), telling, place=place)
            page = replace(page, numbers=_numbers(known.found, found, telling))
            return at.answer(
                request,
                "adopt.html",
                telling,
                status=HTTPStatus.UNPROCESSABLE_ENTITY,
                page=page,
                trouble=str(trouble),
            )
        parts.refresh()
        parts.ingest.waiting.note_adopted(covered(known), at_ms=milliseconds(parts.clock))
        return RedirectResponse("/sensors#strangers", status_code=HTTPStatus.SEE_OTHER)

    return router


def _page(parts: Parts, adoption: Adoption, telling: Telling, *, place: str = "") -> AdoptPage:
    words, one = telling.words, adoption.candidate
    likes = [(sensor.id, sensor.title) for sensor in parts.site.sensor]
    sensible = suggested(one, parts.site).like is not None
    return AdoptPage(
        answer=words.adopt_answer(f"{one.topic} {one.device}".strip()),
        topic=one.topic,
        device=one.device,
        payload=str(one.payload) if one.payload else words.not_recognised,
        heard=words.heard_times(one.count, telling.ago(instant(one.last_ms))),
        sample=readable(one.sample),
        name=adoption.name,
        title=adoption.title,
        places=_places(parts, telling),
        place=place,
        likes=(("", words.like_none), *likes) if sensible else (),
        like=adoption.like or "",
        numbers=_numbers(one.found, one.found, telling),
    )


def _places(parts: Parts, telling: Telling) -> tuple[tuple[str, str], ...]:
    site = parts.site
    return (
        ("", telling.words.place_none),
        *((f"cover_of:{b.code}", b.code) for b in site.batch if b.stage[-1].stage not in ENDED),
        *((f"bench:{bench.id}", telling.bench(bench.id)) for bench in site.bench),
        *((f"house:{house.id}", house.title) for house in site.house),
        ("open_sky:", telling.words.open_sky),
    )


def _numbers(
    found: Sequence[Found], said: Sequence[Found], telling: Telling
) -> tuple[NumberLine, ...]:
    words = telling.words
    by_path = {(one.path, one.measurement): one.meant for one in said}
    lines: list[NumberLine] = []
    for place, one in enumerate(found):
        choices = [
            (f"{place}={quantity}:{unit}", f"{words.quantity[quantity]}, {unit}")
            for quantity in Quantity
            for unit in MEANINGS[quantity].units
        ]
        meant = by_path.get((one.path, one.measurement))
        known = meant is not None and meant.quantity is not None and meant.unit is not None
        chosen = f"{place}={meant.quantity}:{meant.unit}" if meant and known else f"{place}="
        lines.append(
            NumberLine(
                path=one.path,
                value=f"{one.value:g}",
                choices=((f"{place}=", words.left_out), *choices),
                chosen=chosen,
                why=", ".join(words.because[why] for why in one.meant.why),
            )
        )
    return tuple(lines)


def _as_said(found: Sequence[Found], meant: Sequence[str]) -> tuple[Found, ...]:
    """Return the numbers with what the form says of them; what it leaves out is left out.

    A form is only text: what names no number or no unit of ours is left out too.
    """
    said: dict[int, Meant] = {}
    for one in meant:
        place, _, what = one.partition("=")
        named, _, unit = what.partition(":")
        if place.isdecimal() and int(place) < len(found) and named in set(Quantity):
            quantity = Quantity(named)
            guess = found[int(place)].meant
            if unit in MEANINGS[quantity].units:
                same = (guess.quantity, guess.unit) == (quantity, unit)
                said[int(place)] = guess if same else Meant(quantity, unit, 1.0, ())
    return tuple(
        replace(one, meant=said[place]) for place, one in enumerate(found) if place in said
    )
