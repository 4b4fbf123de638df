"""Every message that was owed to anyone, and what became of it."""

from __future__ import annotations

from operator import attrgetter
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request, Response
from pydantic import AwareDatetime, BaseModel

from api.records.outbox import MessageKind, newest_messages
from api.records.session import reading
from api.v1.paging import USUAL, Cursor, Limit, one_page

if TYPE_CHECKING:
    from api.parts import Parts


class SentBody(BaseModel):
    """One message to one person. Where it was sent, and its words, stay with the person."""

    id: int
    person: str
    kind: MessageKind
    channel: str
    alarm: int | None
    group: int | None
    owed_at: AwareDatetime
    held_until: AwareDatetime | None
    sent_at: AwareDatetime | None
    attempts: int
    gave_up_at: AwareDatetime | None


def messages_router(parts: Parts) -> APIRouter:
    """Return the route /messages."""
    router = APIRouter(prefix="/messages", tags=["messages"])

    @router.get("")
    def messages(
        request: Request,
        response: Response,
        person: Annotated[str | None, Query(max_length=40)] = None,
        limit: Limit = USUAL,
        cursor: Cursor = None,
    ) -> list[SentBody]:
        """Return messages, the newest first, page by page."""
        with reading(parts.records) as db:
            found = newest_messages(db, most=limit + 1, before_id=cursor, person=person)
        page = one_page(found, limit, number=attrgetter("id"), request=request, response=response)
        return [
            SentBody(
                id=one.id,
                person=one.person,
                kind=one.kind,
                channel=one.channel,
                alarm=one.alarm_id,
                group=one.group_id,
                owed_at=one.owed_at,
                held_until=one.held_until,
                sent_at=one.sent_at,
                attempts=one.attempts,
                gave_up_at=one.gave_up_at,
            )
            for one in page
        ]

    return router
