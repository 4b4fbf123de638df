"""What a person must mind who goes out because of a message: night, heat, water near mains.

Which of the sentences in `caution_words` apply. They end by saying whose word comes first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.alerts.caution_words import caution_words
from rules.local_time import to_local
from rules.model.dose import DoseKind, DoseLimit
from rules.model.plan import Side
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from api.alerts.caution_words import CautionWords
    from api.alerts.told import Subject
    from rules.model.place import Place
    from rules.model.plan import Limit

_NIGHT_FROM_H = 18
_NIGHT_TO_H = 6
_WARMTH = frozenset({Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE, Felt.EXPECTED_PEAK})
_PULL = frozenset({Felt.VAPOUR_PRESSURE_DEFICIT, Felt.LEAF_DEFICIT})
_WATER_LEFT = frozenset({Felt.RESERVE, Felt.HOURS_TO_CRITICAL})
_WET = frozenset({Felt.RELATIVE_HUMIDITY, Felt.SUBSTRATE_MOISTURE}) | _PULL | _WATER_LEFT
_HOT_HIGH = _WARMTH | _PULL | frozenset({Felt.PPFD})


def cautions(
    subject: Subject, place: Place, now: datetime, *, language: str, base_url: str
) -> list[str]:
    """Return the lines of caution that apply to going there now; none if none does.

    `base_url` is how people reach the pages, where all cautions stand.
    """
    care = caution_words(language)
    lines = []
    night = is_night(now, place)
    if night:
        lines.append(care.night)
    asked = subject.asked
    if asked is not None:
        high = _too_much(asked)
        hot = asked.quantity in _HOT_HIGH if high else asked.quantity in _WATER_LEFT
        if hot and not night:
            lines.append(care.heat)
        if asked.quantity in _WET or (high and asked.quantity in _WARMTH):
            lines.append(care.water)
    return said_in(care, lines, base_url=base_url)


def said_in(care: CautionWords, lines: Sequence[str], *, base_url: str) -> list[str]:
    """Return cautions as a message says them, whose word comes first at the end; none for none."""
    if not lines:
        return []
    more = care.more.format(link=f"{base_url.rstrip('/')}/cautions")
    return [care.take_care, *(f"- {line}" for line in lines), care.local, more]


def is_night(now: datetime, place: Place) -> bool:
    """Return whether someone who goes out now may be alone in the dark."""
    return not _NIGHT_TO_H <= to_local(now, place).hour < _NIGHT_FROM_H


def _too_much(asked: Limit | DoseLimit) -> bool:
    """Whether there is too much of the quantity itself, of which a dose may count the lack."""
    if isinstance(asked, DoseLimit) and asked.kind is DoseKind.HOURS_BEYOND:
        return (asked.side is Side.HIGH) == (asked.beyond is Side.HIGH)
    return asked.side is Side.HIGH
