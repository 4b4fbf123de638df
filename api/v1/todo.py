"""What is due on which bench, as the page of things to do has it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from fastapi import APIRouter
from pydantic import BaseModel

from rules.local_time import local_day
from rules.todo import Task, TaskKind, tasks

if TYPE_CHECKING:
    from api.parts import Parts
    from rules.model.words import Words


class SaysBody(BaseModel):
    """One sentence in both languages."""

    en: str
    es: str


class TaskBody(BaseModel):
    """One thing to do; `seen`, `share` and `check` are the observation that answers it."""

    kind: TaskKind
    id: str
    bench: str | None
    batch: str | None
    sensor: str | None
    due_on: date
    overdue_days: int
    says: SaysBody
    seen: str | None
    share: float | None
    check: str | None
    stage: str | None


class ToDoBody(BaseModel):
    """All that is due by `today`, bench by bench."""

    today: date
    tasks: list[TaskBody]


def says_body(words: Words) -> SaysBody:
    """Return a sentence in both languages."""
    return SaysBody(en=words.en, es=words.es)


def todo_router(parts: Parts) -> APIRouter:
    """Return the route of things to do."""
    router = APIRouter(tags=["batches"])

    @router.get("/todo")
    def todo() -> ToDoBody:
        """Return what is due today and before, in the order of a walk along the benches."""
        book, now = parts.book.now, parts.clock.now()
        found = tasks(book.site, book.plans, at=now)
        return ToDoBody(today=local_day(now, book.site.site), tasks=[_body(one) for one in found])

    return router


def _body(one: Task) -> TaskBody:
    return TaskBody(
        kind=one.kind,
        id=one.id,
        bench=one.bench,
        batch=one.batch,
        sensor=one.sensor,
        due_on=one.due_on,
        overdue_days=one.overdue_days,
        says=says_body(one.says),
        seen=None if one.seen is None else one.seen.value,
        share=one.share,
        check=one.check,
        stage=None if one.stage is None else one.stage.value,
    )
