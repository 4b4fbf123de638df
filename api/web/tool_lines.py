"""Alarms of the tool itself on pages, in words of their own and never in the row of a batch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.alerts.guard_phrases import guard_phrases
from api.alerts.guard_words import detail_of, noticed, place_of, todo_of, what_of
from api.records.alarms import WAITING
from api.web.words.people import people_words
from rules.model.alarm import HELD, Priority

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from api.records.alarms import AlarmRecord
    from api.web.telling import Telling


@dataclass(frozen=True, slots=True)
class ToolLine:
    """One thing that is wrong with the tool. `waiting` is its number while nobody has it.

    `danger`: it can't wait until the batches that need someone have been looked after.
    """

    id: int
    says: str
    todo: str
    detail: tuple[str, ...]
    who: str
    waiting: tuple[int, ...]
    over: bool
    urgent: str
    danger: bool


def tool_says(one: AlarmRecord, telling: Telling, blind: Collection[str]) -> str:
    """Return what is wrong and where, "" for an alarm that is not about the tool.

    "Healing house: nothing has come from the hub since 22:54; 4 batches can't be seen".
    """
    notice = noticed(one)
    if notice is None:
        return ""
    what = what_of(notice, telling.site, telling.words.code, now=telling.now, blind=blind)
    return f"{place_of(notice, telling.site)}: {what}"


def tool_todo(one: AlarmRecord, telling: Telling) -> str:
    """Return what to do first; of a way that fails, where to look."""
    notice = noticed(one)
    if notice is None:
        return ""
    return todo_of(notice, telling.words.code)


def tool_detail(one: AlarmRecord, telling: Telling) -> tuple[str, ...]:
    """Return which sensors are silent, which plants to look at, and what the part itself says."""
    notice = noticed(one)
    return () if notice is None else detail_of(notice, telling.site, telling.words.code)


def tool_lines(
    alarms: Sequence[AlarmRecord], telling: Telling, says: Callable[[AlarmRecord], str]
) -> tuple[ToolLine, ...]:
    """Return the standing alarms that belong to no batch, the gravest first; held ones are none."""
    words = telling.words
    return tuple(
        ToolLine(
            id=one.id,
            says=f"{words.capital(says(one))}.",
            todo=tool_todo(one, telling) or _way_todo(telling),
            detail=tool_detail(one, telling),
            who=""
            if one.acknowledged_by is None or one.acknowledged_at is None
            else words.acknowledged_by(
                telling.person(one.acknowledged_by), telling.time(one.acknowledged_at)
            ),
            waiting=(one.id,) if one.state in WAITING else (),
            over=one.ended_at is not None,
            urgent=words.priority[one.priority],
            danger=one.priority is Priority.HIGH and one.ended_at is None,
        )
        for one in alarms
        if not one.batch and one.state not in HELD
    )


def tool_title(telling: Telling) -> str:
    """Return what the alarms of the tool stand under."""
    return guard_phrases(telling.words.code).standing


def _way_todo(telling: Telling) -> str:
    return people_words(telling.words.code).way_todo
