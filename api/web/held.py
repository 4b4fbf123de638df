"""What is held back, and why, in sentences: alarms that tell nobody, and work in hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.records.guarded import blind_batches
from api.records.session import reading
from api.records.ways import failed_way_in
from api.records.works import UnknownWork, work, works_in_hand, works_over
from api.watch.ground import work_named
from api.web.telling import asked_of, blind_felt
from api.web.tool_lines import tool_says
from api.web.words.people import people_words
from rules.model.alarm import AlarmState
from rules.model.people import EMAIL
from rules.model.plan import plan_of
from rules.model.quantities import Felt
from rules.model.work import WorkPlace
from rules.work_in_hand import PLACES, SUPPRESSES

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from api.parts import Parts
    from api.records.alarms import AlarmRecord
    from api.web.telling import Telling
    from rules.model.work import Work

MOST_OVER = 20
OFFERED_MIN = (15, 30, 60, 120, 240, 480, 720, 1440)


def offered(longest_min: int) -> tuple[int, ...]:
    """Return the spans that a form offers, in minutes."""
    return tuple(one for one in OFFERED_MIN if one <= longest_min)


@dataclass(frozen=True, slots=True)
class WorkLine:
    """A piece of work in a list."""

    id: int
    says: str
    note: str
    holds_back: str
    caution: str


def says_of(parts: Parts, one: AlarmRecord, telling: Telling) -> str:
    """Return what was wrong."""
    failed = failed_way_in(parts.site, one.condition)
    if failed is not None:
        people = people_words(telling.words.code)
        way = people.email if failed[1] == EMAIL else failed[1]
        return people.way_fails.format(name=telling.person(failed[0]), way=way)
    with reading(parts.records) as db:
        of_tool = tool_says(one, telling, blind_batches(db))
    if of_tool:
        return of_tool
    felt = blind_felt(one.condition)
    if felt is not None:
        return telling.words.blind_to([telling.words.felt[felt]])
    batch = next((b for b in parts.site.batch if b.code == one.batch), None)
    plan = plan_of(parts.plans, batch.plan, one.opened_at) if batch else None
    asked = asked_of(plan, batch, one.condition, one.opened_at)
    return telling.says(asked) if asked else one.condition


def held_sentence(db: Connection, one: AlarmRecord, says: str, telling: Telling) -> str:
    """Say why an alarm tells nobody; empty for one that does."""
    words = telling.words
    why = reason(db, one.held_why or "", telling)
    who = telling.person(one.held_by) if one.held_by else ""
    if one.state is AlarmState.SHELVED and one.held_until is not None:
        return words.shelved_until(says, who, until=telling.time(one.held_until), why=why)
    if one.state is AlarmState.OUT_OF_SERVICE:
        return words.out_of_service(says, who, why)
    return words.held_back(says, why) if one.state is AlarmState.SUPPRESSED_BY_DESIGN else ""


def reason(db: Connection, why: str, telling: Telling) -> str:
    """Return a reason as a person wrote it, or the work that is one in the reader's language."""
    number = work_named(why)
    if number is None:
        return why
    try:
        return work_says(work(db, number), telling)
    except UnknownWork:
        return why


def work_says(one: Work, telling: Telling) -> str:
    """Say what is being done where, by whom, and until when."""
    place = one.place
    match PLACES[one.kind]:
        case WorkPlace.HOUSE:
            place = telling.house(one.place)
        case WorkPlace.SENSOR:
            titles = {sensor.id: sensor.title for sensor in telling.site.sensor}
            place = titles.get(one.place, one.place)
        case WorkPlace.BATCH:
            pass
    kind = telling.words.work_kind[one.kind]
    who, until = telling.person(one.who), telling.time(one.over)
    return telling.words.work_line(kind, place, who, until=until)


def work_lines(db: Connection, telling: Telling) -> tuple[WorkLine, ...]:
    """Return the work that is in hand now."""
    return tuple(_line(one, telling) for one in works_in_hand(db, telling.now))


def work_lines_over(db: Connection, telling: Telling) -> tuple[WorkLine, ...]:
    """Return the work that ended last, the newest first."""
    return tuple(_line(one, telling) for one in works_over(db, telling.now, most=MOST_OVER))


def _line(one: Work, telling: Telling) -> WorkLine:
    words = telling.words
    held = dict.fromkeys(words.felt[felt] for felt in Felt if felt in SUPPRESSES[one.kind])
    return WorkLine(
        id=one.id,
        says=work_says(one, telling),
        note=one.note or "",
        holds_back=words.holds_back(list(held)),
        caution=words.work_caution[one.kind],
    )
