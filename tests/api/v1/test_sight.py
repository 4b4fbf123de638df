"""Along a day, the scion's water and the sums are those that the watch carried."""

from __future__ import annotations

import numpy as np
import pytest

from api.records.session import reading, writing
from api.v1.sight import Sight
from rules.model.quantities import Felt

A_DAY = 1440


def carried(tern_hollow, first_minute: int):
    """Return what a tape says of the last minute, and what the watch says, batch by batch."""
    sight = Sight(tern_hollow.parts)
    present = sight.present()
    span = sight.span(first_minute, A_DAY)
    last = present.minute - first_minute
    for code, seen in present.outlooks.items():
        yield code, seen, span.batches[code], last


def agrees(seen, record, last: int) -> bool:
    sums = {one.dose.id: one.total for one in seen.doses}
    same = sums == {name: record.doses[name][last] for name in sums}
    if seen.drying is None:
        return same
    reserve = record.reserve_pct
    if reserve is None:  # nothing was seen in the little that it looks back over
        return False
    band = (reserve.low[last], reserve.central[last], reserve.high[last])
    likely = seen.drying.reserve_pct
    now = seen.felt.get(Felt.RESERVE)  # none while the air is not seen: the account then guesses
    told = np.nan if now is None else now.value
    return (
        same
        and np.allclose(band, (likely.low, likely.central, likely.high), rtol=1e-6)
        and np.array_equal(record.felt[Felt.RESERVE][last], told, equal_nan=True)
    )


def noon(tern_hollow, days: int) -> int:
    with reading(tern_hollow.parts.records) as db:
        began = db.exec_driver_sql("SELECT began_minute FROM watch_position").scalar_one()
    return began + days * A_DAY


def test_the_first_day_begins_as_the_watch_began(tern_hollow):
    found = list(carried(tern_hollow, noon(tern_hollow, 0)))
    assert sum(seen.drying is not None for _, seen, _, _ in found) > 5
    assert [code for code, *one in found if not agrees(*one)] == []


@pytest.mark.slow
def test_the_next_day_goes_on_from_what_the_watch_carried(tern_hollow):
    tern_hollow.go_on(12 * 60)
    tomorrow = noon(tern_hollow, 1)
    found = list(carried(tern_hollow, tomorrow))
    assert found[0][3] > 30
    assert [code for code, *one in found if not agrees(*one)] == []
    spent = {seen.drying.reserve_pct.central for _, seen, _, _ in found if seen.drying}
    assert min(spent) < 95.0

    with writing(tern_hollow.parts.records) as db:
        db.exec_driver_sql("DELETE FROM watch_milestones")
    anew = [code for code, *one in carried(tern_hollow, tomorrow) if not agrees(*one)]
    assert anew != []


def test_what_was_handed_out_stays_as_it_was_while_the_watch_goes_on(tern_hollow):
    sight = Sight(tern_hollow.parts)
    first = noon(tern_hollow, 0)
    before = sight.span(first, A_DAY)
    assert sight.span(first, A_DAY) is before
    kept = {code: one.standing.copy() for code, one in before.batches.items()}
    felt = {code: one.felt[Felt.AIR_TEMPERATURE].copy() for code, one in before.batches.items()}
    tern_hollow.go_on(30)
    after = sight.span(first, A_DAY)
    assert after.judged_to == before.judged_to + 30
    for code, one in before.batches.items():
        assert np.array_equal(one.standing, kept[code])
        assert np.array_equal(one.felt[Felt.AIR_TEMPERATURE], felt[code], equal_nan=True)
    changed = [
        code for code, one in after.batches.items() if not np.array_equal(one.standing, kept[code])
    ]
    assert changed
