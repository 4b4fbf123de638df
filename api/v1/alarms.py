"""Alarms: list, one with its history and messages, and acknowledging."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, Field

from api.records.alarms import (
    AlarmRecord,
    NothingToAcknowledge,
    UnknownAlarm,
    acknowledge,
    alarm,
    alarm_history,
    changes_of,
    standing_alarms,
)
from api.records.outbox import messages_of
from api.records.session import reading, writing
from api.v1.problems import Problem
from rules.model.alarm import AlarmState, Cue, Priority

if TYPE_CHECKING:
    from api.parts import Parts


class AlarmBody(BaseModel):
    """One occurrence of a condition of a batch. `value` is in the unit of the limit's quantity."""

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


class ChangeBody(BaseModel):
    """One change of an alarm's state."""

    at: AwareDatetime
    before: AlarmState
    after: AlarmState
    cue: Cue
    by: str | None


class MessageBody(BaseModel):
    """One message to one person; where it was sent stays with the person."""

    person: str
    kind: str
    owed_at: AwareDatetime
    sent_at: AwareDatetime | None
    attempts: int
    gave_up_at: AwareDatetime | None


class AlarmWhole(AlarmBody):
    """An alarm with what came of it."""

    changes: list[ChangeBody]
    messages: list[MessageBody]


class Acknowledgement(BaseModel):
    """Who has seen the alarm and is on it: the id of a person of the site."""

    by: str = Field(min_length=1, max_length=40)


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
    )


def alarms_router(parts: Parts) -> APIRouter:
    """Return the routes under /alarms."""
    router = APIRouter(prefix="/alarms", tags=["alarms"])
    people = {person.id for person in parts.site.person if person.answers}

    @router.get("")
    def alarms(
        state: Annotated[AlarmState | None, Query()] = None,
        batch: Annotated[str | None, Query(max_length=40)] = None,
        most: Annotated[int, Query(ge=1, le=1000)] = 200,
    ) -> list[AlarmBody]:
        """Return alarms, the newest first; a state other than normal looks at standing ones."""
        with reading(parts.records) as db:
            if state is None or state is AlarmState.NORMAL:
                found = alarm_history(db, batch, most=most)
            else:
                found = standing_alarms(db)
        chosen = [
            one
            for one in found
            if (state is None or one.state is state) and (batch is None or one.batch == batch)
        ]
        return [body_of(one) for one in chosen[:most]]

    @router.get("/{alarm_id}")
    def one_alarm(alarm_id: int) -> AlarmWhole:
        """Return one alarm with its changes and the messages about it."""
        with reading(parts.records) as db:
            try:
                record = alarm(db, alarm_id)
            except UnknownAlarm as trouble:
                raise Problem(HTTPStatus.NOT_FOUND, f"There is no alarm {alarm_id}.") from trouble
            changes = changes_of(db, alarm_id)
            messages = messages_of(db, alarm_id)
        return AlarmWhole(
            **body_of(record).model_dump(),
            changes=[
                ChangeBody(at=c.at, before=c.before, after=c.after, cue=c.cue, by=c.by)
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
        )

    @router.post("/{alarm_id}/acknowledge")
    def acknowledge_one(alarm_id: int, body: Acknowledgement) -> AlarmBody:
        """Keep that a person is on it; return the alarm as it stands after."""
        if body.by not in people:
            known = ", ".join(sorted(people))
            raise Problem(
                HTTPStatus.UNPROCESSABLE_ENTITY,
                f"by: nobody of the site has the id {body.by!r}; it has {known}.",
            )
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

    return router
