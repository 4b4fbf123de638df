"""Alarms: list, one with its history and messages, and acknowledging."""

from __future__ import annotations

from contextlib import contextmanager
from http import HTTPStatus
from operator import attrgetter
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request, Response
from pydantic import AwareDatetime, BaseModel, Field
from sqlalchemy.exc import NoResultFound

from api.records.alarm_lists import alarms_page
from api.records.alarms import (
    AlarmRecord,
    NothingToAcknowledge,
    UnknownAlarm,
    acknowledge,
    alarm,
    changes_of,
)
from api.records.groups import acknowledge_group, group_ids_of, messages_about
from api.records.guarded import guarded_sign
from api.records.session import reading, writing
from api.records.tables import instant
from api.v1.numbers import Number
from api.v1.paging import USUAL, Cursor, Limit, one_page
from api.v1.people import demand_person
from api.v1.problems import Problem
from api.v1.reckoned import BandBody
from api.watch.ground import Ground
from api.watch.holding import let_alarm_go, shelve_alarm, take_alarm_out
from rules.alarms import CueOutOfPlaceError
from rules.model.alarm import AlarmState, Cue, Priority
from rules.model.reading import MINUTE_MS
from rules.shelving import ShelvedTooLong
from rules.vital_signs import Sign
from rules.worsening import CHANGE_MIN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from api.parts import Parts
    from api.records.particulars import Particulars


class ToolBody(BaseModel):
    """What is wrong with the tool itself.

    `sign` is what it is, `subject` the house or the sensor it is about, if any. `batches` can't be
    seen because of it, or soon can't. `said` is what the part itself says.
    """

    sign: Sign
    subject: str
    sensors: list[str]
    batches: list[str]
    said: str


class AlarmBody(BaseModel):
    """One occurrence of a condition of a batch; of no batch, of a way or of the tool itself.

    `value`, when it opened, and `worst`, once it was over, are in the unit of the limit's quantity.
    """

    id: int
    batch: str
    condition: str
    priority: Priority
    state: AlarmState
    since: AwareDatetime
    opened_at: AwareDatetime
    ended_at: AwareDatetime | None
    value: float | None
    acknowledged_at: AwareDatetime | None
    acknowledged_by: str | None
    latch: bool
    worst: float | None
    held_until: AwareDatetime | None
    held_by: str | None
    held_why: str | None
    tool: ToolBody | None


class ChangeBody(BaseModel):
    """One change of an alarm; what happens while it is held leaves its state as it is."""

    at: AwareDatetime
    before: AlarmState
    after: AlarmState
    cue: Cue
    by: str | None
    note: str | None
    value: float | None


class MessageBody(BaseModel):
    """One message to one person; where it was sent stays with the person."""

    person: str
    kind: str
    owed_at: AwareDatetime
    sent_at: AwareDatetime | None
    attempts: int
    gave_up_at: AwareDatetime | None


class PaceBody(BaseModel):
    """How fast it got worse in the minute in which the alarm was raised, as far as it was known.

    `change` is by how much the value had changed in the last `change_min` minutes. At that pace, or
    the faster one of the last ten, it would meet the next graver bound, `graver`, at `graver_at`.
    `hours` are those that the scion's water would last, where what is wrong dries it: an estimate.
    """

    change: float | None
    change_min: int
    graver: float | None
    graver_at: AwareDatetime | None
    hours: BandBody | None


class AlarmWhole(AlarmBody):
    """An alarm with what came of it. `groups` are those it was told in, the newest first."""

    pace: PaceBody
    changes: list[ChangeBody]
    messages: list[MessageBody]
    groups: list[int]


class Acknowledgement(BaseModel):
    """Who has seen the alarm and is on it: the id of a person of the site."""

    by: str = Field(min_length=1, max_length=40)


class Shelving(BaseModel):
    """Who lays the alarm aside, why, and for how long; without `minutes`, the usual time."""

    by: str = Field(min_length=1, max_length=40)
    why: str = Field(min_length=1, max_length=300)
    minutes: int | None = None


class TakingOut(BaseModel):
    """Who takes the condition out of service, and why."""

    by: str = Field(min_length=1, max_length=40)
    why: str = Field(min_length=1, max_length=300)


class LettingGo(BaseModel):
    """Who takes the alarm from the shelf or puts it back in service."""

    by: str = Field(min_length=1, max_length=40)
    note: str | None = Field(default=None, max_length=300)


def body_of(record: AlarmRecord) -> AlarmBody:
    """Return an alarm as the API says it."""
    return AlarmBody(
        id=record.id,
        batch=record.batch,
        condition=record.condition,
        priority=record.priority,
        state=record.state,
        since=record.since,
        opened_at=record.opened_at,
        ended_at=record.ended_at,
        value=record.value,
        acknowledged_at=record.acknowledged_at,
        acknowledged_by=record.acknowledged_by,
        latch=record.latch,
        worst=record.worst,
        held_until=record.held_until,
        held_by=record.held_by,
        held_why=record.held_why,
        tool=_tool(record),
    )


def _tool(record: AlarmRecord) -> ToolBody | None:
    found = guarded_sign(record.condition)
    if found is None:
        return None
    known = record.particulars
    return ToolBody(
        sign=found[0],
        subject=found[1],
        sensors=list(known.sensors),
        batches=list(known.batches),
        said=known.said,
    )


def _pace(known: Particulars) -> PaceBody:
    hours = None
    if known.hours is not None and known.hours_low is not None and known.hours_high is not None:
        hours = BandBody(low=known.hours_low, likely=known.hours, high=known.hours_high)
    at = known.graver_minute
    return PaceBody(
        change=known.change,
        change_min=CHANGE_MIN,
        graver=known.graver,
        graver_at=None if at is None else instant(at * MINUTE_MS),
        hours=hours,
    )


def alarms_router(parts: Parts) -> APIRouter:
    """Return the routes under /alarms."""
    router = APIRouter(prefix="/alarms", tags=["alarms"])

    def ground() -> Ground:
        book = parts.book.now
        return Ground(book.site, book.watchlist)

    @router.get("")
    def alarms(
        request: Request,
        response: Response,
        state: Annotated[AlarmState | None, Query()] = None,
        batch: Annotated[str | None, Query(max_length=40)] = None,
        limit: Limit = USUAL,
        cursor: Cursor = None,
    ) -> list[AlarmBody]:
        """Return alarms, the newest first, page by page."""
        with reading(parts.records) as db:
            found = alarms_page(db, most=limit + 1, before_id=cursor, batch=batch, state=state)
        page = one_page(found, limit, number=attrgetter("id"), request=request, response=response)
        return [body_of(one) for one in page]

    @router.get("/{alarm_id}")
    def one_alarm(alarm_id: Number) -> AlarmWhole:
        """Return one alarm with its changes and the messages about it."""
        with reading(parts.records) as db:
            try:
                record = alarm(db, alarm_id)
            except UnknownAlarm as trouble:
                raise Problem(HTTPStatus.NOT_FOUND, f"There is no alarm {alarm_id}.") from trouble
            changes = changes_of(db, alarm_id)
            messages = messages_about(db, alarm_id)
            groups = sorted(group_ids_of(db, (alarm_id,)), reverse=True)
        return AlarmWhole(
            **body_of(record).model_dump(),
            pace=_pace(record.particulars),
            changes=[
                ChangeBody(
                    at=c.at,
                    before=c.before,
                    after=c.after,
                    cue=c.cue,
                    by=c.by,
                    note=c.note,
                    value=c.value,
                )
                for c in changes
            ],
            messages=[
                MessageBody(
                    person=m.person,
                    kind=m.kind.value,
                    owed_at=m.owed_at,
                    sent_at=m.sent_at,
                    attempts=m.attempts,
                    gave_up_at=m.gave_up_at,
                )
                for m in messages
            ],
            groups=groups,
        )

    @router.post("/{alarm_id}/acknowledge")
    def acknowledge_one(alarm_id: Number, body: Acknowledgement) -> AlarmBody:
        """Keep that a person is on it; return the alarm as it stands after."""
        demand_person(parts, body.by)
        with writing(parts.records) as db:
            try:
                record = acknowledge(db, alarm_id, by=body.by, at=parts.clock.now())
            except UnknownAlarm as trouble:
                raise Problem(HTTPStatus.NOT_FOUND, f"There is no alarm {alarm_id}.") from trouble
            except NothingToAcknowledge as trouble:
                raise Problem(
                    HTTPStatus.CONFLICT,
                    f"Alarm {alarm_id} is {trouble.state.value}: nothing to acknowledge.",
                ) from trouble
        return body_of(record)

    @router.post("/groups/{group_id}/acknowledge")
    def acknowledge_all(group_id: Number, body: Acknowledgement) -> list[AlarmBody]:
        """Keep that a person is on everything a group tells of; return its alarms that waited."""
        demand_person(parts, body.by)
        with writing(parts.records) as db:
            try:
                taken = acknowledge_group(db, group_id, by=body.by, at=parts.clock.now())
            except NoResultFound as trouble:
                raise Problem(HTTPStatus.NOT_FOUND, f"There is no group {group_id}.") from trouble
        if not taken:
            said = f"No alarm of group {group_id} waits: nothing to acknowledge."
            raise Problem(HTTPStatus.CONFLICT, said)
        return [body_of(one) for one in taken]

    @router.post("/{alarm_id}/shelve")
    def shelve_one(alarm_id: Number, body: Shelving) -> AlarmBody:
        """Lay the alarm aside for a time; of one that is normal, its next occurrence."""
        demand_person(parts, body.by)
        with writing(parts.records) as db, _refusals(alarm_id):
            record = shelve_alarm(
                db,
                alarm_id,
                ground=ground(),
                by=body.by,
                at=parts.clock.now(),
                why=body.why,
                minutes=body.minutes,
            )
        return body_of(record)

    @router.post("/{alarm_id}/take-out")
    def take_one_out(alarm_id: Number, body: TakingOut) -> AlarmBody:
        """Take the alarm's condition out of service until someone puts it back."""
        demand_person(parts, body.by)
        with writing(parts.records) as db, _refusals(alarm_id):
            now = parts.clock.now()
            record = take_alarm_out(db, alarm_id, by=body.by, at=now, why=body.why)
        return body_of(record)

    @router.post("/{alarm_id}/let-go")
    def let_one_go(alarm_id: Number, body: LettingGo) -> AlarmBody:
        """Take the alarm from the shelf or put it back in service; it alarms if still true."""
        demand_person(parts, body.by)
        with writing(parts.records) as db, _refusals(alarm_id):
            now = parts.clock.now()
            record = let_alarm_go(db, alarm_id, ground=ground(), by=body.by, at=now, note=body.note)
        return body_of(record)

    return router


@contextmanager
def _refusals(alarm_id: int) -> Iterator[None]:
    """Turn what speaks against holding an alarm, or letting it go, into problems."""
    try:
        yield
    except UnknownAlarm as trouble:
        raise Problem(HTTPStatus.NOT_FOUND, f"There is no alarm {alarm_id}.") from trouble
    except CueOutOfPlaceError as trouble:
        raise Problem(
            HTTPStatus.CONFLICT, f"Alarm {alarm_id} is {trouble.state.value}: not now."
        ) from trouble
    except ShelvedTooLong as trouble:
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, f"minutes: {trouble}.") from trouble
