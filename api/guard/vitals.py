"""What a machine that looks after machines is told: whether all that matters turns, and what not.

Only names of parts, never what they say of themselves: it is told to whoever asks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from api.records.session import reading
from collector.stores.base import StoreFailure

if TYPE_CHECKING:
    from sqlalchemy import Engine

    from api.guard.service import Guard
    from collector.stores.base import ReadingStore
    from rules.vital_facts import Facts, HouseRules


@dataclass(frozen=True, slots=True)
class Vitals:
    """Which parts are not well: `watch`, `broker`, `store`, `records`, `outbox`, `disk`, `guard`.

    `looked` is False while nobody has looked further than that both stores can be read.
    """

    unwell: tuple[str, ...]
    looked: bool


def vitals_of(guard: Guard | None, records: Engine, store: ReadingStore) -> Vitals:
    """Return what is known now. What can't be known counts as unwell, never as well.

    Both stores are asked at once; of all else the guard's newest look tells, some seconds old.
    """
    failing = _failing(records, store)
    facts = None if guard is None else guard.facts
    if guard is None or facts is None:
        return Vitals(failing, looked=False)
    found = [*failing, *(() if guard.is_fresh else ("guard",)), *_unwell(facts, guard.rules)]
    return Vitals(tuple(dict.fromkeys(found)), looked=True)


def _failing(records: Engine, store: ReadingStore) -> tuple[str, ...]:
    failing = []
    try:
        with reading(records) as db:
            db.execute(text("SELECT 1"))
    except SQLAlchemyError:
        failing.append("records")
    try:
        store.last_sequence()
    except StoreFailure:
        failing.append("store")
    return tuple(failing)


def _unwell(facts: Facts, rules: HouseRules) -> tuple[str, ...]:
    beyond = {
        "watch": _late(facts.lag_s, rules.lag_s) or _late(facts.watch_still_s, rules.still_s),
        "broker": facts.broker != "",
        "store": facts.keeping != "",
        "records": facts.records != "",
        "outbox": _late(facts.alerts_idle_s, rules.still_s)
        or _late(facts.overdue_s, rules.overdue_s),
        "disk": facts.disk is None or not facts.disk.writable,
    }
    return tuple(name for name, is_beyond in beyond.items() if is_beyond)


def _late(seconds: float | None, bound_s: float) -> bool:
    return seconds is None or seconds > bound_s
