"""Tonight on the page of a batch: the lowest its air is expected to reach, where that can be told.

Shown from three hours before dark until sunrise, for a batch under its cover. A line is missing
where a forecast has not beaten "stays as now" on the batch's own recent nights.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.drawing.day import instant_of
from api.records.tables import as_ms
from rules.model.reading import minute_of
from rules.speaking import first_cell
from rules.sun import dark_spans
from rules.tonight import MOST_HOURS, RECORD_MIN, SLOT_MIN, lowest, tonight

if TYPE_CHECKING:
    from api.parts import Parts
    from api.v1.sight import Sight
    from api.web.telling import Telling
    from rules.model.batch import Batch

BEFORE_DARK_MIN = 180
A_DAY_MIN = 1440


@dataclass(frozen=True, slots=True)
class TonightLine:
    """What is expected, and how such forecasts did on recent nights."""

    says: str
    scored: str


def tonight_of(
    parts: Parts, sight: Sight, batch: Batch, telling: Telling
) -> tuple[TonightLine, ...]:
    """Return what is expected of each quantity tonight; empty by day and where nothing is shown."""
    minute = minute_of(as_ms(telling.now))
    end = minute - minute % SLOT_MIN
    dark = dark_spans(parts.site.site, end, A_DAY_MIN)
    if not batch.covered_at(telling.now) or not dark or dark[0][0] > end + BEFORE_DARK_MIN:
        return ()
    start, sunrise = dark[0]
    covered = [first_cell(move) for move in batch.cover_moves() if move <= telling.now]
    first = max([end - RECORD_MIN, *covered])
    words = telling.words
    until = telling.clock(instant_of(min(sunrise, end + 60 * MOST_HOURS)))
    lines: list[TonightLine] = []
    for felt, record in sight.recent(batch.code, first, end).items():
        if not len(record.means):
            continue
        now = float(record.means[-1])
        found = lowest(tonight(record, felt), now, from_minute=start, until_minute=sunrise)
        if found is None:
            continue
        says = words.tonight_lowest(
            words.felt[felt],
            telling.clock(instant_of(found.minute)),
            value=telling.value(felt, found.central),
            band=(telling.number(felt, found.low), telling.number(felt, found.high)),
        )
        scored = words.tonight_scored(
            until,
            found.score.nights,
            error=telling.apart(felt, found.score.forecast_error),
            as_now=telling.apart(felt, found.score.persistence_error),
        )
        lines.append(TonightLine(f"{words.capital(says)}.", scored))
    return tuple(lines)
