"""The watch keeps its state each six hours, in the same transaction as the cell it follows."""

from __future__ import annotations

import pytest
from sqlalchemy import update

from api.records.session import reading
from api.records.states import milestone_before, unpacked
from api.records.tables import watch_position
from api.records.watch import load_position

DRY, DAMP = 71.0, 95.0
TO_MILESTONE = 180  # the small nursery begins at 15:00 UTC


def kept(nursery) -> list[int]:
    with reading(nursery.records) as db:
        rows = db.exec_driver_sql("SELECT next_minute FROM watch_milestones ORDER BY next_minute")
        return [row[0] for row in rows]


def test_a_state_is_kept_where_the_watch_begins_and_at_each_sixth_hour(nursery):
    with nursery.db() as db:
        began = load_position(db).began_minute
    assert kept(nursery) == [began]
    nursery.pass_minutes(0, [DAMP] * (TO_MILESTONE - 1))
    assert kept(nursery) == [began]
    nursery.pass_minutes(TO_MILESTONE - 1, [DRY])
    assert kept(nursery) == [began, began + TO_MILESTONE]
    with nursery.db() as db:
        at_hour = unpacked(load_position(db).state)
    nursery.pass_minutes(TO_MILESTONE, [DRY] * 5)
    with nursery.db() as db:
        assert milestone_before(db, began + TO_MILESTONE + 5) == (began + TO_MILESTONE, at_hour)
        assert milestone_before(db, began + TO_MILESTONE - 1)[1].minute is None
    assert at_hour.minute == began + TO_MILESTONE - 1


def test_a_cell_that_cannot_be_kept_leaves_no_milestone(nursery):
    nursery.pass_minutes(0, [DAMP] * (TO_MILESTONE - 1))
    refusing = {
        "sqlite": "CREATE TRIGGER torn BEFORE INSERT ON standing_changes "
        "BEGIN SELECT RAISE(ABORT, 'torn'); END",
        "postgresql": "ALTER TABLE standing_changes ADD CONSTRAINT torn CHECK (minute < 0) "
        "NOT VALID",
    }
    with nursery.records.connect() as db:
        db.exec_driver_sql(refusing[db.dialect.name])
        db.commit()
    before = kept(nursery)
    with pytest.raises(Exception, match="torn"):
        nursery.pass_minutes(TO_MILESTONE - 1, [DRY])
    assert kept(nursery) == before


def test_a_watch_that_must_begin_afresh_says_so_in_its_milestones(nursery):
    nursery.pass_minutes(0, [DRY] * 4)
    with nursery.records.connect() as db:
        db.execute(update(watch_position).values(state=b"torn"))
        db.commit()
    after = nursery.anew()
    after.pass_minutes(4, [DRY])
    began, afresh = kept(after)
    after.shut()
    assert afresh == began + 4
