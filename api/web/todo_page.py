"""To do: what is due on which bench today? Ticked off where it stands, or on paper."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from api.web.bench_deeds import deed_value, just_written
from api.web.words.bench import bench_words
from api.web.words.places import place_words
from rules.local_time import local_day
from rules.model.batch import Seen
from rules.todo import LABEL_CHECK, TaskKind, tasks

if TYPE_CHECKING:
    from starlette.responses import Response

    from api.parts import Parts
    from api.web.bench_deeds import JustWritten
    from api.web.pages import Desk
    from api.web.telling import Telling
    from rules.todo import Task


@dataclass(frozen=True, slots=True)
class TaskLine:
    """One thing to do; `value` is the deed that ticks it off, "" where a tick is not enough."""

    batch: str
    says: str
    late: str
    value: str
    button: str
    link: str
    link_text: str


@dataclass(frozen=True, slots=True)
class BenchTasks:
    """What is due on one bench."""

    title: str
    lines: tuple[TaskLine, ...]


@dataclass(frozen=True, slots=True)
class ToDoPage:
    """All that the page says; `written` is what can still be taken back, with its batch."""

    answer: str
    day: str
    benches: tuple[BenchTasks, ...]
    written: tuple[tuple[str, JustWritten], ...]


def todo_page(parts: Parts, telling: Telling) -> ToDoPage:
    """Gather what is due now."""
    book = parts.book.now
    found = tasks(book.site, book.plans, at=telling.now)
    own, words = place_words(telling.words.code), telling.words
    by_bench: dict[str | None, list[Task]] = {}
    for one in found:
        by_bench.setdefault(one.bench, []).append(one)
    benches = tuple(
        BenchTasks(
            words.capital(telling.bench(bench)) if bench is not None else own.elsewhere,
            tuple(_line(one, telling) for one in due),
        )
        for bench, due in by_bench.items()
    )
    return ToDoPage(
        answer=_answer(found, by_bench, telling),
        day=telling.day(local_day(telling.now, book.site.site)),
        benches=benches,
        written=just_written(parts, telling, code=None),
    )


def _answer(
    found: tuple[Task, ...], by_bench: dict[str | None, list[Task]], telling: Telling
) -> str:
    own, words = place_words(telling.words.code), telling.words
    if not found:
        return own.nothing_due
    late = sum(1 for one in found if one.overdue_days)
    titles = [telling.bench(bench) for bench in by_bench if bench is not None]
    where = words.listed(titles) if titles else own.elsewhere
    said = own.one_due if len(found) == 1 else own.many_due.format(count=len(found), benches=where)
    if not late:
        return said
    return f"{said} {own.one_late if late == 1 else own.late.format(count=late)}"


def _line(one: Task, telling: Telling) -> TaskLine:
    own, words = place_words(telling.words.code), telling.words
    value, button, link, link_text = "", "", "", ""
    if one.kind is TaskKind.CALIBRATION:
        link, link_text = "/sensors", own.how_to_calibrate
    elif one.kind is TaskKind.STAGE:
        link, link_text = f"/bench/{one.batch}#stage-form", own.declare
    elif one.seen is not None:
        share = one.share if one.seen is not Seen.FULL_SUN else None
        value = deed_value(one.seen, check=one.check, share=share)
        done = bench_words(words.code).done
        button = words.capital(words.seen[one.seen]) if one.looks else done
    if one.check == LABEL_CHECK:
        link, link_text = f"/labels.pdf?batch={one.batch}", own.new_label
    return TaskLine(
        batch=one.batch or "",
        says=one.says.in_language(words.code),
        late=words.late_by(one.overdue_days) if one.overdue_days else "",
        value=value,
        button=button,
        link=link,
        link_text=link_text,
    )


def todo_page_router(at: Desk) -> APIRouter:
    """Return the route of the page."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    @router.get("/todo")
    def todo(request: Request) -> Response:
        telling = at.telling(request)
        code = telling.words.code
        return at.answer(
            request,
            "todo.html",
            telling,
            page=todo_page(at.parts, telling),
            p=bench_words(code),
            o=place_words(code),
            token=secrets.token_hex(8),
        )

    return router
