"""A batch that the tool cannot see is never shown as steady, not even before its delay is over."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from api.records.guarded import guarded_sign
from rules.model.event import Standing
from rules.vital_signs import Sign

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from api.records.alarms import AlarmRecord
    from rules.evaluator import BatchOutlook, Watchlist
    from rules.model.quantities import Felt

BLINDING = frozenset({Sign.BROKER, Sign.ARRIVALS, Sign.HUB, Sign.SENSOR, Sign.KEEPING, Sign.WATCH})
_FAIR = frozenset({Standing.STEADY, Standing.DRIFTING})


def unseen_marked(
    watchlist: Watchlist,
    outlooks: Mapping[str, BatchOutlook],
    alarms: Iterable[AlarmRecord],
    minute: int | None,
) -> Mapping[str, BatchOutlook]:
    """Return the outlooks, with batches blind that an open alarm of the tool leaves unseen.

    Only where a vital value is missing now: a batch that is seen in spite of the alarm stays as
    it is.
    """
    named = {
        code
        for one in alarms
        if one.ended_at is None
        and (found := guarded_sign(one.condition)) is not None
        and found[0] in BLINDING
        for code in one.particulars.batches
    }
    if not named or minute is None:
        return outlooks
    vital = {
        batch.code: watch.vital
        for batch in watchlist.batches
        if batch.code in named and (watch := batch.watch_in(batch.span_at(minute))) is not None
    }
    return {
        code: _marked(seen, vital.get(code, ())) if seen.standing in _FAIR else seen
        for code, seen in outlooks.items()
    }


def _marked(seen: BatchOutlook, vital: tuple[Felt, ...]) -> BatchOutlook:
    missing = tuple(
        felt for felt in vital if felt not in seen.felt or seen.felt[felt].value is None
    )
    return replace(seen, standing=Standing.BLIND, blind_to=missing) if missing else seen
