"""Batches, sensors and people as they are written, changed while all runs, and who did."""

from __future__ import annotations

from http import HTTPStatus
from operator import itemgetter
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Header, Path, Query, Request, Response
from pydantic import AwareDatetime, BaseModel, Field

from api.accounts.caller import leads, signed_in
from api.at_bench import AgainstPlan, LeadOnly, says, undo, write_down
from api.book import form_revision, forms_in
from api.entering import (
    ANY_REVISION,
    Change,
    Kept,
    Refused,
    Seeing,
    TooLate,
    UnknownThing,
    change,
)
from api.records.entries import ChangedMeanwhile, Kind
from api.records.session import reading
from api.site_files import site_in
from api.trail import Done, differences, trail_of
from api.v1.paging import USUAL, Cursor, Limit, one_page
from api.v1.problems import Problem, Wrong
from api.written.entered import NAMED_BY
from rules.model.words import Words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from api.parts import Parts
    from rules.model.fault import Fault

ThingName = Annotated[str, Path(max_length=80)]
KindName = Annotated[str, Path(pattern=f"^({'|'.join(NAMED_BY)})$")]
Person = Annotated[str, Query(min_length=1, max_length=40)]
Note = Annotated[str, Field(max_length=300)]
LEAD_ONLY = Words(
    en="Only a lead may do this against the care plan, and a note must say why.",
    es="Solo quien dirige puede hacer esto contra el plan, y una nota debe decir por qué.",
)


class Entering(BaseModel):
    """The whole written form of one thing, in the fields of the site file, and who enters it."""

    by: str = Field(min_length=1, max_length=40)
    note: Note = ""
    form: dict[str, object]


class Observing(BaseModel):
    """What was seen or done; without `at`, now.

    `device_id` is made by whoever sends it: sent again with the same one, it is kept once.
    `alive` and `dead` go with "counted", `bench` with "moved": the batch then stands there.
    `override`: the lead lets it be done against the care plan; the note says why.
    """

    by: str = Field(min_length=1, max_length=40)
    seen: str = Field(max_length=40)
    at: AwareDatetime | None = None
    share: float | None = None
    check: str | None = Field(default=None, max_length=40)
    alive: int | None = None
    dead: int | None = None
    bench: str | None = Field(default=None, max_length=40)
    override: bool = False
    note: Note = ""
    device_id: str | None = Field(default=None, min_length=1, max_length=80)


class TakingBack(BaseModel):
    """Who takes an observation back, and why."""

    by: str = Field(min_length=1, max_length=40)
    note: Note = ""


class NumberBody(BaseModel):
    """The number of an observation; `new` is false where it had been sent before.

    `warned` is what the care plan has against it, "" if nothing.
    """

    number: int
    new: bool
    warned: str = ""


class WrittenBody(BaseModel):
    """A thing as it is written now. `revision` is to be sent back in If-Match with a change."""

    kind: str
    key: str
    revision: str
    form: dict[str, object]


class DifferenceBody(BaseModel):
    """One field from what to what; null where it is not written."""

    field: str
    was: object
    now: object


class TrailBody(BaseModel):
    """One thing that was done; `by` is empty for what the site file had."""

    at: AwareDatetime
    done: Done
    number: int
    by: str
    note: str
    differences: list[DifferenceBody]


class HistoryBody(BaseModel):
    """All that was done to a thing, and in what it differs from the site file now."""

    trail: list[TrailBody]
    differs_from_file: list[DifferenceBody]


def written_router(parts: Parts) -> APIRouter:
    """Return the routes under /written, and those by which batches and observations are entered."""
    router = APIRouter(tags=["written"])

    def put(response: Response, one: Change, entering: Entering) -> WrittenBody:
        (kept,) = _kept(parts, [one], by=entering.by, note=entering.note)
        response.headers["ETag"] = f'"{kept.revision}"'
        return _body(kept)

    @router.get("/written/{kind}")
    def things(kind: KindName) -> list[WrittenBody]:
        """Return every thing of a kind as it is written, in force now."""
        return [
            WrittenBody(kind=kind, key=key, revision=form_revision(form), form=form)
            for key, form in forms_in(parts.site, Kind(kind)).items()
        ]

    @router.get("/written/{kind}/{key}")
    def thing(response: Response, kind: KindName, key: ThingName) -> WrittenBody:
        """Return one thing as it is written; its ETag goes into If-Match with a change."""
        form = parts.book.now.written(Kind(kind), key)
        if form is None:
            raise _nothing(kind, key)
        revision = form_revision(form)
        response.headers["ETag"] = f'"{revision}"'
        return WrittenBody(kind=kind, key=key, revision=revision, form=form)

    @router.put("/written/{kind}/{key}")
    def put_thing(
        response: Response,
        kind: KindName,
        key: ThingName,
        body: Entering,
        if_match: Annotated[str | None, Header()] = None,
        if_none_match: Annotated[str | None, Header()] = None,
    ) -> WrittenBody:
        """Change a thing (If-Match with its ETag), or enter a new one (If-None-Match: *)."""
        revision = demanded(if_match, if_none_match)
        return put(response, Change(Kind(kind), key, body.form, revision), body)

    @router.delete("/written/{kind}/{key}", status_code=HTTPStatus.NO_CONTENT)
    def take_thing_away(
        kind: KindName,
        key: ThingName,
        by: Person,
        note: Annotated[str, Query(max_length=300)] = "",
        if_match: Annotated[str | None, Header()] = None,
    ) -> None:
        """Take a thing away that should never have been there; a batch that ended is closed."""
        gone = Change(Kind(kind), key, None, demanded(if_match, None))
        _kept(parts, [gone], by=by, note=note)

    @router.get("/written/{kind}/{key}/history")
    def thing_history(
        request: Request,
        response: Response,
        kind: KindName,
        key: ThingName,
        limit: Limit = USUAL,
        cursor: Cursor = None,
    ) -> HistoryBody:
        """Return who changed what, when, from what to what, the oldest first, page by page."""
        whole = _history(parts, Kind(kind), key)
        return _page_of(whole, limit, cursor or 0, request, response)

    @router.post("/batches", status_code=HTTPStatus.CREATED)
    def new_batch(response: Response, body: Entering) -> WrittenBody:
        """Enter a new batch; it is judged from the next minute on."""
        code = str(body.form.get("code", ""))[:80]
        kept = put(response, Change(Kind.BATCH, code, body.form, "none"), body)
        response.headers["Location"] = f"/api/v1/written/batch/{kept.key}"
        return kept

    @router.put("/batches/{code}")
    def put_batch(
        response: Response,
        code: ThingName,
        body: Entering,
        if_match: Annotated[str | None, Header()] = None,
    ) -> WrittenBody:
        """Change a batch: the whole written form, with If-Match of the form that was changed."""
        revision = demanded(if_match, None)
        return put(response, Change(Kind.BATCH, code, body.form, revision), body)

    @router.get("/batches/{code}/history")
    def batch_history(
        request: Request,
        response: Response,
        code: ThingName,
        limit: Limit = USUAL,
        cursor: Cursor = None,
    ) -> HistoryBody:
        """Return who changed, saw and took back what, the oldest first, page by page."""
        whole = _history(parts, Kind.BATCH, code)
        return _page_of(whole, limit, cursor or 0, request, response)

    @router.post("/batches/{code}/observations", status_code=HTTPStatus.CREATED)
    def observe(
        request: Request, response: Response, code: ThingName, body: Observing
    ) -> NumberBody:
        """Enter what was seen or done; it counts from the next minute that is judged.

        What would harm the plants by their care plan is refused with 409.
        """
        now = parts.clock.now()
        said = body.model_dump(exclude_none=True, exclude={"by", "device_id", "override"})
        seeing = Seeing(code, said, body.by, body.device_id)
        try:
            kept = write_down(
                parts.records,
                parts.book,
                seeing,
                at=now,
                override=body.override,
                lead=leads(signed_in(request), body.by, parts.site),
            )
        except UnknownThing as trouble:
            raise _nothing(Kind.BATCH.value, code) from trouble
        except Refused as trouble:
            raise _refused(trouble.faults) from trouble
        except AgainstPlan as trouble:
            raise _against(trouble) from trouble
        except LeadOnly as trouble:
            wrongs = [
                Wrong(where=language, detail=LEAD_ONLY.in_language(language))
                for language in ("en", "es")
            ]
            raise Problem(HTTPStatus.FORBIDDEN, LEAD_ONLY.en, errors=wrongs) from trouble
        if not kept.new:
            response.status_code = HTTPStatus.OK
        parts.refresh()
        warned = "" if kept.warned is None else says(kept.warned, "en")
        return NumberBody(number=kept.number, new=kept.new, warned=warned)

    @router.post("/observations/{number}/take-back", status_code=HTTPStatus.NO_CONTENT)
    def taken_back(number: Annotated[int, Path(ge=1, le=2**31 - 1)], body: TakingBack) -> None:
        """Take an observation back within 15 minutes; it counts no more and stays on record."""
        now = parts.clock.now()
        try:
            undo(parts.records, parts.book, number, by=body.by, at=now, note=body.note)
        except UnknownThing as trouble:
            msg = f"There is no observation {number}."
            raise Problem(HTTPStatus.NOT_FOUND, msg) from trouble
        except TooLate as trouble:
            raise Problem(HTTPStatus.CONFLICT, f"Not taken back: {trouble}.") from trouble
        except Refused as trouble:
            raise _refused(trouble.faults) from trouble
        parts.refresh()

    return router


def _kept(parts: Parts, changes: Sequence[Change], *, by: str, note: str) -> tuple[Kept, ...]:
    try:
        kept = change(parts.records, parts.book, changes, by=by, note=note, at=parts.clock.now())
    except Refused as trouble:
        raise _refused(trouble.faults) from trouble
    except ChangedMeanwhile as trouble:
        raise Problem(HTTPStatus.PRECONDITION_FAILED, f"Not kept: {trouble}.") from trouble
    except UnknownThing as trouble:
        raise Problem(HTTPStatus.NOT_FOUND, f"Not kept: {trouble}.") from trouble
    parts.refresh()
    return kept


def _body(kept: Kept) -> WrittenBody:
    return WrittenBody(
        kind=kept.change.kind.value,
        key=kept.change.key,
        revision=kept.revision,
        form=dict(kept.form or {}),
    )


def demanded(if_match: str | None, if_none_match: str | None) -> str:
    """Return the revision that a change is of; Problem 428 if it is not said."""
    if if_none_match is not None and if_none_match.strip() == "*":
        return "none"
    if if_match is None:
        msg = "Say what you changed: send the ETag of the form you looked at as If-Match."
        raise Problem(HTTPStatus.PRECONDITION_REQUIRED, msg)
    said = if_match.strip()
    return ANY_REVISION if said == "*" else said.removeprefix("W/").strip('"')


def _history(parts: Parts, kind: Kind, key: str) -> HistoryBody:
    with reading(parts.records) as db:
        lines = trail_of(db, kind, key)
    book = parts.book.now
    form = book.written(kind, key)
    if form is None and not lines:
        raise _nothing(kind.value, key)
    site, _ = site_in(book.base.files)
    in_file = None if site is None else forms_in(site, kind).get(key)
    differ = () if in_file is None else differences(in_file, form)
    return HistoryBody(
        trail=[
            TrailBody(
                at=line.at,
                done=line.done,
                number=line.number,
                by=line.by,
                note=line.note,
                differences=[
                    DifferenceBody(field=one.field, was=one.was, now=one.now)
                    for one in line.differences
                ],
            )
            for line in lines
        ],
        differs_from_file=[
            DifferenceBody(field=one.field, was=one.was, now=one.now) for one in differ
        ],
    )


def _page_of(
    whole: HistoryBody, limit: int, passed: int, request: Request, response: Response
) -> HistoryBody:
    """Return a page after the first `passed` lines; what is new comes last and moves none."""
    numbered = list(enumerate(whole.trail, start=1))[passed : passed + limit + 1]
    page = one_page(numbered, limit, number=itemgetter(0), request=request, response=response)
    return HistoryBody(trail=[line for _, line in page], differs_from_file=whole.differs_from_file)


def _nothing(kind: str, key: str) -> Problem:
    return Problem(HTTPStatus.NOT_FOUND, f"There is no {kind} {key!r}.")


def _against(trouble: AgainstPlan) -> Problem:
    verdict = trouble.verdict
    wrongs = [Wrong(where=language, detail=says(verdict, language)) for language in ("en", "es")]
    msg = f"Nothing was kept: {says(verdict, 'en')}"
    return Problem(HTTPStatus.CONFLICT, msg, errors=wrongs)


def _refused(faults: Sequence[Fault]) -> Problem:
    wrongs = [Wrong(where=one.field, detail=f"{one.problem}. {one.fix}") for one in faults]
    return Problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        "Nothing was kept: what was entered has faults; see errors.",
        errors=wrongs,
    )
