"""The page on which a lead changes a care plan: fields or text, a look at it, and keeping.

One form carries the whole text. What is kept is what was looked at: with anything typed since, it
is looked at again first.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import datetime
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException

from api.entering import Refused
from api.plan_versions import (
    MOST_CHARACTERS,
    is_kept_already,
    keep_version,
    newest_version,
    next_minute,
    plan_revision,
    text_of,
    versions_kept,
    versions_of,
)
from api.records.entries import ChangedMeanwhile
from api.web.door import MOST_BODY_BYTES, MOST_FIELDS
from api.web.pages import keep_choice
from api.web.plan_form import Filling, form_parts, typed_values
from api.web.plan_preview import meanwhile_of, preview_of
from api.web.plans_page import demand_version
from api.web.words.plan_editing import editing_words
from api.web.words.plans import plan_words
from api.written.plan_text import GONE, with_values
from api.written.toml_text import TomlText, toml_in
from rules.local_time import earliest_instant, to_local
from rules.model.batch import ENDED
from rules.model.fault import Fault

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from starlette.responses import Response

    from api.plan_versions import Draft
    from api.web.pages import Desk
    from api.web.plan_form import FormPart
    from api.web.telling import Telling
    from api.written.plan_text import Gone
    from api.written.toml_text import Where
    from rules.model.batch import Stage
    from rules.model.plan import CarePlan

BEGINS = ("in_force_from",)
MOMENT = "%Y-%m-%dT%H:%M"


@dataclass(frozen=True, slots=True)
class Typed:
    """What stands in the form. `revision` is that of the version from which it was begun.

    `looked` marks the text that was looked at last, "" for none. `fields` are those of figures.
    """

    text: str
    way: str
    revision: str
    looked: str
    note: str
    by: str
    begins: str
    deed: str
    fields: Mapping[str, str]


async def typed_in(request: Request) -> Typed:
    """Read the form; a browser ends the lines of a text in its own way."""
    form = await request.form(max_fields=MOST_FIELDS, max_part_size=MOST_BODY_BYTES)
    said = {name: value for name, value in form.items() if isinstance(value, str)}
    if len(said.get("text", "")) > MOST_CHARACTERS * 2:  # each line may end in two characters
        raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
    return Typed(
        text=said.get("text", "").replace("\r\n", "\n"),
        way="text" if said.get("way") == "text" else "figures",
        revision=said.get("revision", ""),
        looked=said.get("looked", ""),
        note=said.get("note", ""),
        by=said.get("by", ""),
        begins=said.get("begins", ""),
        deed=said.get("deed", "look"),
        fields={name: value for name, value in said.items() if "/" in name},
    )


def plan_edit_router(at: Desk) -> APIRouter:
    """Return the routes of the page."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
    parts = at.parts

    def page(
        request: Request,
        name: str,
        typed: Typed,
        *,
        status: HTTPStatus = HTTPStatus.OK,
        faults: Sequence[Fault] = (),
        draft: Draft | None = None,
        trouble: str = "",
        **told: object,
    ) -> Response:
        telling = at.telling(request)
        words, book = editing_words(telling.words.code), parts.book.now
        newest = newest_version(book.plans[name])
        title = newest.title.in_language(telling.words.code)
        read = toml_in(typed.text, file="text")
        way = typed.way if isinstance(read, TomlText) else "text"
        form = _parts_of(read, newest, telling, faults) if isinstance(read, TomlText) else ()
        to_come = ""
        if newest.in_force_from is not None and newest.in_force_from > telling.now:
            since = plan_words(telling.words.code).from_when
            since = since.format(when=telling.time(newest.in_force_from))
            to_come = words.still_to_come.format(version=newest.version, since=since)
        return at.answer(
            request,
            "plan_edit.html",
            telling,
            status=status.value,
            e=words,
            name=name,
            answer=words.answer.format(title=title),
            typed=replace(typed, way=way),
            form=form,
            to_come=to_come,
            faults=[_fault_line(one, telling) for one in faults],
            draft=draft,
            preview=None if draft is None else preview_of(parts, draft, telling),
            next=newest.version + 1,
            trouble=trouble,
            **({"taken_up": "", "meanwhile": None} | told),
        )

    @router.get("/plans/{name}/edit")
    def edit(
        request: Request,
        name: str,
        of: Annotated[int | None, Query()] = None,
        way: Annotated[str, Query(pattern="^(figures|text)$")] = "figures",
    ) -> Response:
        demand_version(parts, name, of)
        book, telling = parts.book.now, at.telling(request)
        newest = newest_version(book.plans[name])
        base = next((one for one in versions_of(book, name) if one.version == of), newest)
        text = text_of(book, base).replace("\r\n", "\n")
        taken_up = ""
        if base is not newest:
            text = with_values(text, {BEGINS: GONE} if base.in_force_from else {})
            words = editing_words(telling.words.code)
            taken_up = words.taken_up.format(version=base.version)
        begins = ""
        if base is newest and base.in_force_from and base.in_force_from > telling.now:
            begins = to_local(base.in_force_from, telling.site.site).strftime(MOMENT)
        typed = Typed(text, way, plan_revision(newest), "", "", "", begins, "look", {})
        return page(request, name, typed, taken_up=taken_up)

    @router.post("/plans/{name}/edit")
    def typed_now(
        request: Request, name: str, typed: Annotated[Typed, Depends(typed_in)]
    ) -> Response:
        demand_version(parts, name, None)
        telling = at.telling(request)
        words, now = editing_words(telling.words.code), parts.clock.now()
        if typed.way == "figures":
            try:
                typed = _with_figures(typed, parts.book.now.plans[name], telling)
            except Refused as trouble:
                unread = HTTPStatus.UNPROCESSABLE_ENTITY
                return page(request, name, typed, status=unread, faults=trouble.faults)
        if typed.deed in ("figures", "text"):
            typed = replace(typed, way=typed.deed)
        mark = _mark(typed)
        keeping = typed.deed == "keep" and typed.looked == mark
        try:
            draft = keep_version(
                parts.records,
                parts.book,
                name,
                text=typed.text,
                revision=typed.revision,
                by=typed.by,
                note=typed.note,
                at=now,
                dry=not keeping,
            )
        except Refused as trouble:
            unfit = HTTPStatus.UNPROCESSABLE_ENTITY
            again = replace(typed, looked="")
            return page(request, name, again, status=unfit, faults=trouble.faults)
        except ChangedMeanwhile:
            parts.refresh()
            told = meanwhile_of(parts, name, typed.revision, telling)
            newest = newest_version(parts.book.now.plans[name])
            kept = versions_kept(parts.records, name).get(newest.version)
            mine = kept is not None and kept.by == typed.by
            if mine and typed.deed == "keep" and is_kept_already(typed.text, newest):
                return RedirectResponse(address_of(newest), status_code=HTTPStatus.SEE_OTHER)
            again = replace(typed, looked="", revision=plan_revision(newest))
            return page(request, name, again, status=HTTPStatus.CONFLICT, meanwhile=told)
        if not keeping:
            again = replace(typed, looked=mark)
            if typed.deed == "keep":
                status, said = HTTPStatus.CONFLICT, words.not_looked
                return page(request, name, again, status=status, draft=draft, trouble=said)
            return page(request, name, again, draft=draft)
        parts.refresh()
        response = RedirectResponse(address_of(draft.plan), status_code=HTTPStatus.SEE_OTHER)
        keep_choice(response, "who", typed.by)
        return response

    def _parts_of(
        read: TomlText, newest: CarePlan, telling: Telling, faults: Sequence[Fault]
    ) -> tuple[FormPart, ...]:
        in_use: dict[Stage, tuple[str, ...]] = {}
        for batch in parts.site.batch:
            stage = batch.stage_at(telling.now)
            if batch.plan == newest.id and stage is not None and stage not in ENDED:
                in_use[stage] = (*in_use.get(stage, ()), batch.code)
        return form_parts(Filling(read, telling, {one.field: one for one in faults}, in_use))

    def _with_figures(typed: Typed, versions: Sequence[CarePlan], telling: Telling) -> Typed:
        """Return the same with what was typed in fields in its text. Raises Refused."""
        read = toml_in(typed.text, file="text")
        if isinstance(read, Fault):
            raise Refused([read])
        form = _parts_of(read, newest_version(versions), telling, ())
        values: dict[Where, object | Gone] = {**typed_values(form, read, typed.fields)}
        values |= _moment(typed, read, telling)
        return replace(typed, text=with_values(typed.text, values)) if values else typed

    return router


def address_of(plan: CarePlan) -> str:
    """Return the address of the page of one version."""
    return f"/plans/{plan.id}?version={plan.version}"


def _moment(typed: Typed, read: TomlText, telling: Telling) -> dict[Where, object | Gone]:
    """Return what becomes of the moment in a text; one that is over there is left to the check."""
    there = read.value(BEGINS)
    place = telling.site.site
    if not typed.begins.strip():
        ahead = isinstance(there, datetime) and there.tzinfo is not None
        if isinstance(there, datetime) and ahead and there >= next_minute(telling.now):
            return {BEGINS: GONE}
        return {}
    try:
        said = datetime.fromisoformat(typed.begins.strip())
    except ValueError as trouble:
        problem = editing_words("en").unreadable_moment
        fault = read.fault(BEGINS, problem, fix="Write it as in 2026-01-05T17:00.")
        raise Refused([fault]) from trouble
    if said.tzinfo is None:
        said = to_local(earliest_instant(said.date(), said.time(), place), place)
    same = (
        isinstance(there, datetime)
        and there.tzinfo is not None
        and (to_local(there, place).strftime(MOMENT) == typed.begins.strip())
    )
    return {} if same else {BEGINS: said}


def _mark(typed: Typed) -> str:
    """Return a name for what was looked at: the text, and the version that it changes."""
    said = f"{typed.revision}\n{typed.text}"
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def _fault_line(fault: Fault, telling: Telling) -> str:
    words = editing_words(telling.words.code)
    said = words.fault_in_words(fault)
    if fault.file != "text":
        return words.fault.format(field=fault.field, said=said)
    return words.fault_line.format(line=fault.line, field=fault.field, said=said)
