"""What a person must mind who goes out because of a message: night, heat, water near mains.

These are common practice with no source. They end by saying whose word comes first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rules.local_time import to_local
from rules.model.plan import Side
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from datetime import datetime

    from api.alerts.phrases import Phrases
    from api.alerts.told import Subject
    from rules.model.place import Place

_NIGHT_FROM_H = 18
_NIGHT_TO_H = 6
_HOT = frozenset(
    {Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE, Felt.PPFD, Felt.VAPOUR_PRESSURE_DEFICIT}
)
_WET = frozenset({Felt.RELATIVE_HUMIDITY, Felt.VAPOUR_PRESSURE_DEFICIT, Felt.SUBSTRATE_MOISTURE})


def cautions(subject: Subject, place: Place, now: datetime, words: Phrases) -> list[str]:
    """Return the lines of caution that apply to going there now; none if none does."""
    lines = []
    night = not _NIGHT_TO_H <= to_local(now, place).hour < _NIGHT_FROM_H
    if night:
        lines.append(words.care_night)
    limit = subject.limit
    if limit is not None:
        high = limit.side is Side.HIGH
        if limit.quantity in _HOT and high and not night:
            lines.append(words.care_heat)
        hot_day = high and limit.quantity in {Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE}
        if limit.quantity in _WET or hot_day:
            lines.append(words.care_water)
    return [words.care, *lines, words.care_local] if lines else []
