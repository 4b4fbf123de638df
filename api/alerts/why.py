"""Why a batch can't be seen, read from what the watch last kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.alerts.told import blind_felt
from api.records.states import state_of
from api.records.watch import load_position
from rules.evaluator import outlook

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from api.records.alarms import AlarmRecord
    from rules.belief import Belief
    from rules.evaluator import Watchlist


def belief_behind(db: Connection, watched: Watchlist, alarm: AlarmRecord) -> Belief | None:
    """Return how far what a blindness speaks of can be trusted, at the last judged minute.

    None for an alarm of a limit, for a batch that has gone, and while no minute has been judged.
    """
    felt = blind_felt(alarm.condition)
    position = load_position(db)
    if felt is None or position is None:
        return None
    state = state_of(position)
    if state.minute is None:
        return None
    shown = {one.code: one for one in outlook(watched, state, state.minute)}
    return shown[alarm.batch].belief_in(felt) if alarm.batch in shown else None
