"""What is suppressed by design while work is in hand: a table of what each kind explains.

Only what the work itself brings about is held back. Heat and cold kill whatever people are doing,
water that is lost stays lost, and sums have added up what was: none of these is ever held back by
work on a cover or in a house. A sensor in a salt jar tells nothing of plants, so nothing that it
says of them is told while it is there; nobody sees them then, and the pages say so.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, assert_never

from rules.model.quantities import Felt
from rules.model.work import WorkKind, WorkPlace
from rules.speaking import first_cell

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rules.conditions import Condition
    from rules.model.work import Work

PLACES: Mapping[WorkKind, WorkPlace] = MappingProxyType(
    {
        WorkKind.COVER_OPEN: WorkPlace.BATCH,
        WorkKind.SPRAYING: WorkPlace.HOUSE,
        WorkKind.WASHING: WorkPlace.HOUSE,
        WorkKind.CALIBRATING: WorkPlace.SENSOR,
    }
)
"""What each kind of work is done to."""

_DRY_AIR = frozenset(
    {
        Felt.RELATIVE_HUMIDITY,
        Felt.VAPOUR_PRESSURE_DEFICIT,
        Felt.LEAF_DEFICIT,
        Felt.HOURS_TO_CRITICAL,
    }
)
_WET_HOUSE = _DRY_AIR | {Felt.AIR_SPEED, Felt.SUBSTRATE_MOISTURE}

SUPPRESSES: Mapping[WorkKind, frozenset[Felt]] = MappingProxyType(
    {
        WorkKind.COVER_OPEN: _DRY_AIR,
        WorkKind.SPRAYING: _WET_HOUSE,
        WorkKind.WASHING: _WET_HOUSE,
        WorkKind.CALIBRATING: _WET_HOUSE | {Felt.AIR_TEMPERATURE, Felt.LEAF_TEMPERATURE, Felt.PPFD},
    }
)
"""The quantities whose limits each kind holds back.

Hours of water left are told at this minute's pace, and an opened cover sets that pace.
"""

NEVER: Mapping[WorkKind, frozenset[Felt]] = MappingProxyType(
    {
        WorkKind.COVER_OPEN: frozenset(
            {
                Felt.AIR_TEMPERATURE,
                Felt.LEAF_TEMPERATURE,
                Felt.EXPECTED_PEAK,
                Felt.RESERVE,
                Felt.PPFD,
                Felt.AIR_SPEED,
                Felt.SUBSTRATE_MOISTURE,
            }
        ),
        WorkKind.SPRAYING: frozenset(
            {
                Felt.AIR_TEMPERATURE,
                Felt.LEAF_TEMPERATURE,
                Felt.EXPECTED_PEAK,
                Felt.RESERVE,
                Felt.PPFD,
            }
        ),
        WorkKind.WASHING: frozenset(
            {
                Felt.AIR_TEMPERATURE,
                Felt.LEAF_TEMPERATURE,
                Felt.EXPECTED_PEAK,
                Felt.RESERVE,
                Felt.PPFD,
            }
        ),
        WorkKind.CALIBRATING: frozenset({Felt.EXPECTED_PEAK, Felt.RESERVE}),
    }
)
"""The quantities that are told whatever work is in hand; with the above, all there are."""

OUTSIDE_THE_COVER = frozenset({Felt.AIR_SPEED, Felt.SUBSTRATE_MOISTURE})
"""What work in the house can change for plants under a tied cover; the air in it is not touched."""

USUAL_MIN: Mapping[WorkKind, int] = MappingProxyType(
    {
        WorkKind.COVER_OPEN: 30,
        WorkKind.SPRAYING: 60,
        WorkKind.WASHING: 60,
        WorkKind.CALIBRATING: 4 * 60,
    }
)
"""When work ends by itself if nobody says for how long, in minutes: house rules."""

LONGEST_MIN: Mapping[WorkKind, int] = MappingProxyType(
    {
        WorkKind.COVER_OPEN: 2 * 60,
        WorkKind.SPRAYING: 4 * 60,
        WorkKind.WASHING: 4 * 60,
        WorkKind.CALIBRATING: 24 * 60,
    }
)
"""The longest that work can be in hand without being begun anew: house rules, no source."""


def is_in_hand(work: Work, minute: int) -> bool:
    """Return whether a work covers a cell: it counts in cells that lie wholly inside it.

    It can be begun and ended only at the present moment, and a cell is closed later than that, so
    a replay from the records sees in every cell the work that the watch saw.
    """
    return first_cell(work.began) <= minute < first_cell(work.over)


def suppressed(works: Iterable[Work], condition: Condition, minute: int) -> Work | None:
    """Return the work that holds a condition back in a cell; None if it is to be told."""
    return next(
        (one for one in works if is_in_hand(one, minute) and explains(one, condition)), None
    )


def explains(work: Work, condition: Condition) -> bool:
    """Return whether a condition is what this work brings about, whenever that is."""
    if condition.felt not in SUPPRESSES[work.kind]:
        return False
    match work.kind:
        case WorkKind.COVER_OPEN:
            return work.place == condition.batch and not (condition.blind or condition.summed)
        case WorkKind.SPRAYING | WorkKind.WASHING:
            reached = not condition.covered or condition.felt in OUTSIDE_THE_COVER
            told = condition.blind or condition.summed
            return work.place == condition.house and reached and not told
        case WorkKind.CALIBRATING:
            return work.place in condition.sensors
    assert_never(work.kind)
