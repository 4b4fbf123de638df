"""The pages and their two forms. Reading a page never changes anything."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

import numpy as np
from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.exceptions import HTTPException

from api.accounts.caller import signed_in
from api.drawing.day import day_of
from api.measures import CELSIUS, FAHRENHEIT, TEMPERATURE_UNITS
from api.records.alarms import NothingToAcknowledge, UnknownAlarm, acknowledge
from api.records.session import writing
from api.records.tables import as_ms
from api.v1.far_back import FarBack
from api.web.alarm_pages import alarm_page, alarms_page
from api.web.batch_page import batch_page
from api.web.day_charts import frame_of
from api.web.identity import may
from api.web.now_page import now_page
from api.web.pictures import day_picture
from api.web.reader import reads_fahrenheit
from api.web.sensor_page import sensor_page
from api.web.telling import Telling
from api.web.words.accounts import account_words
from api.web.words.bench import bench_words
from api.web.words.charts import chart_words
from api.web.words.labels import label_words
from api.web.words.languages import LANGUAGES, chosen_words
from api.web.words.photos import photo_words
from api.web.words.review import review_words
from rules.escalation import who_is_on_duty
from rules.local_time import to_local
from rules.model.reading import minute_of
from rules.sun import sun_is_up

if TYPE_CHECKING:
    from starlette.responses import Response

    from api.accounts.signing import Signed
    from api.parts import Parts
    from api.v1.sight import Sight
    from rules.model.people import Person

VIEWS = ("auto", "paper", "night")
KEPT_S = int(timedelta(days=365).total_seconds())
MOST_FUTURE = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Desk:
    """Renders templates for one request after another."""

    parts: Parts
    templates: Environment

    def telling(self, request: Request) -> Telling:
        """Return how things are said in answer to a request, in which unit of temperature."""
        words = chosen_words(
            asked=request.query_params.get("lang"),
            kept=request.cookies.get("lang"),
            accepts=request.headers.get("accept-language", ""),
        )
        signed, site = signed_in(request), self.parts.site
        # A shared device is no person: it shows what was chosen on it.
        name = signed.account if signed is not None and signed.acts_for is None else None
        fahrenheit = reads_fahrenheit(
            asked=request.query_params.get("unit"),
            kept=request.cookies.get("unit"),
            own=next((one for one in site.person if one.id == name), None),
        )
        return Telling(words, site, self.parts.clock.now(), fahrenheit=fahrenheit)

    def answer(
        self,
        request: Request,
        template: str,
        telling: Telling,
        *,
        status: int = 200,
        **fields: object,
    ) -> HTMLResponse:
        """Return a page in the reader's language and view."""
        chosen = request.cookies.get("view", "auto")
        chosen = chosen if chosen in VIEWS else "auto"
        local = to_local(telling.now, self.parts.site.site)
        signed = signed_in(request)
        is_open = self.parts.settings.accounts == "off"
        text = self.templates.get_template(template).render(
            w=telling.words,
            t=telling,
            languages=LANGUAGES.values(),
            views=VIEWS,
            units=TEMPERATURE_UNITS,
            chosen_unit=FAHRENHEIT if telling.fahrenheit else CELSIUS,
            chosen_view=chosen,
            view=self._view(chosen, telling),
            here=request.url.path,
            back=_with_query(request),
            clock=f"{local:%H:%M}",
            notice=self.parts.notice,
            site_title=self.parts.site.site.title,
            people=self._people(signed),
            me=self._me(request, telling, signed),
            signed=signed,
            a=account_words(telling.words.code),
            may=(lambda _need: True) if is_open else partial(may, signed),
            inside=is_open or signed is not None,
            **fields,
        )
        return HTMLResponse(text, status_code=status)

    def _view(self, chosen: str, telling: Telling) -> str:
        if chosen != "auto":
            return chosen
        minute = np.array([minute_of(as_ms(telling.now))], dtype=np.int64)
        return "paper" if bool(sun_is_up(self.parts.site.site, minute)[0]) else "night"

    def _people(self, signed: Signed | None) -> list[Person]:
        """Return in whose names things can be done from here; nobody's, for who only looks."""
        answering = {one.id: one for one in self.parts.site.person if one.answers}
        if self.parts.settings.accounts == "off":
            return list(answering.values())
        if signed is None or not (may(signed, "answer") or may(signed, "work")):
            return []
        return [answering[name] for name in signed.names(self.parts.site) if name in answering]

    def _me(self, request: Request, telling: Telling, signed: Signed | None) -> str:
        """Return who is signed in; else whose device this is: as last chosen, or who is on duty."""
        if signed is not None and signed.acts_for is None:
            return signed.account
        known = {person.id for person in self.parts.site.person}
        if signed is not None:
            known = set(signed.names(self.parts.site))
        kept = request.cookies.get("who")
        if kept in known:
            return str(kept)
        on_duty = [one.id for one in who_is_on_duty(self.parts.site, telling.now)]
        return next((one for one in on_duty if one in known), self.parts.site.lead)


def desk(parts: Parts) -> Desk:
    """Return a desk with the templates that stand beside this file."""
    templates = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return Desk(parts, templates)


def pages_router(at: Desk, sight: Sight) -> APIRouter:
    """Return the routes of all pages."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts
    far = FarBack(parts)

    @router.get("/")
    def now(request: Request) -> Response:
        telling = at.telling(request)
        present = sight.present()
        picture = day_picture(sight, parts.site.site, day_of(present.at, parts.site.site))
        page = now_page(parts, present, picture, telling)
        hours = [text for _, text in frame_of(picture, telling).hours]
        return at.answer(request, "now.html", telling, page=page, hours=hours)

    @router.get("/batches/{code}")
    def one_batch(request: Request, code: str, day: date | None = None) -> Response:
        batch = next((one for one in parts.site.batch if one.code == code), None)
        if batch is None:
            raise HTTPException(HTTPStatus.NOT_FOUND)
        telling = at.telling(request)
        page = batch_page(parts, sight, far, batch, on=day, telling=telling)
        labels = label_words(telling.words.code)
        bench = bench_words(telling.words.code)
        return at.answer(
            request,
            "batch.html",
            telling,
            page=page,
            labels=labels,
            bench=bench,
            photos=photo_words(telling.words.code),
            charts_link=chart_words(telling.words.code).link,
            review_link=review_words(telling.words.code).link,
        )

    @router.get("/alarms")
    def alarms(request: Request) -> Response:
        telling = at.telling(request)
        return at.answer(request, "alarms.html", telling, page=alarms_page(parts, telling))

    @router.get("/alarms/{alarm_id}")
    def one_alarm(request: Request, alarm_id: int) -> Response:
        telling = at.telling(request)
        try:
            page = alarm_page(parts, alarm_id, telling)
        except UnknownAlarm as trouble:
            raise HTTPException(HTTPStatus.NOT_FOUND) from trouble
        return at.answer(request, "alarm.html", telling, page=page)

    @router.get("/sensors")
    def sensors(request: Request) -> Response:
        telling = at.telling(request)
        return at.answer(
            request, "sensors.html", telling, page=sensor_page(parts, sight.present(), telling)
        )

    @router.post("/acknowledge")
    def acknowledge_some(
        request: Request,
        alarm: Annotated[list[int], Form()],
        by: Annotated[str, Form(max_length=40)],
        back: Annotated[str, Form(max_length=300)] = "/",
    ) -> Response:
        telling = at.telling(request)
        if by not in {person.id for person in parts.site.person if person.answers}:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, telling.words.unknown_person)
        answered = 0
        with writing(parts.records) as db:
            for alarm_id in dict.fromkeys(alarm):
                try:
                    acknowledge(db, alarm_id, by=by, at=parts.clock.now())
                except UnknownAlarm as trouble:
                    raise HTTPException(HTTPStatus.NOT_FOUND) from trouble
                except NothingToAcknowledge:
                    continue
                answered += 1
        if answered == 0:
            raise HTTPException(HTTPStatus.CONFLICT, telling.words.already_answered)
        response = RedirectResponse(own_address(back), status_code=HTTPStatus.SEE_OTHER)
        keep_choice(response, "who", by)
        return response

    @router.post("/choose")
    def choose(
        view: Annotated[str | None, Form()] = None,
        lang: Annotated[str | None, Form()] = None,
        unit: Annotated[str | None, Form()] = None,
        back: Annotated[str, Form(max_length=300)] = "/",
    ) -> Response:
        response = RedirectResponse(own_address(back), status_code=HTTPStatus.SEE_OTHER)
        if view is not None and view in VIEWS:
            keep_choice(response, "view", view)
        if lang is not None and lang in LANGUAGES:
            keep_choice(response, "lang", lang)
        if unit is not None and unit in TEMPERATURE_UNITS:
            keep_choice(response, "unit", unit)
        return response

    return router


def keep_choice(response: Response, name: str, value: str) -> None:
    """Keep a choice on the device for a year."""
    response.set_cookie(name, value, max_age=KEPT_S, httponly=True, samesite="strict")


def own_address(back: str) -> str:
    """Return an address of ours to go back to; Now for any other."""
    parsed = urlsplit(back)
    ours = back.startswith("/") and not back.startswith(("//", "/\\"))
    return back if ours and not parsed.netloc and back.isprintable() else "/"


def _with_query(request: Request) -> str:
    day = request.query_params.get("day")
    return (
        f"{request.url.path}?day={day}"
        if day and day.replace("-", "").isdigit()
        else (request.url.path)
    )
