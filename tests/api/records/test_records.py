"""The records keep what they are told, in the form the newest migration gives them."""

from __future__ import annotations

import ast
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import update
from sqlalchemy.exc import IntegrityError

from api.records.alarms import (
    NothingToAcknowledge,
    UnknownAlarm,
    acknowledge,
    alarm,
    alarm_history,
    changes_of,
    clear_alarm,
    open_alarms,
    raise_alarm,
    standing_alarms,
)
from api.records.outbox import Cause, MessageKind, messages_of, owe, told_of
from api.records.session import open_records, reading, writing
from api.records.tables import METADATA, alarms, as_ms, instant
from rules.alarms import TRANSITIONS
from rules.model.alarm import AlarmState, Cue, Priority

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy import Connection, Engine

AT = datetime(2026, 11, 14, 15, 0, tzinfo=UTC)


@pytest.fixture
def records(records_at: Path | str) -> Iterator[Engine]:
    engine = open_records(records_at)
    yield engine
    engine.dispose()


def dry(db: Connection, *, minute: int = 0, batch: str = "MG-07", priority=Priority.HIGH):
    at = AT + timedelta(minutes=minute)
    return raise_alarm(
        db,
        batch=batch,
        condition="air-dry",
        priority=priority,
        opened_at=at,
        since=at - timedelta(minutes=3),
        value=71.0,
    )


def test_the_migrations_make_exactly_the_tables_the_code_uses(records: Engine):
    with records.connect() as db:
        context = MigrationContext.configure(db, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []


def test_opening_again_keeps_everything(records: Engine, records_at: Path | str):
    with writing(records) as db:
        dry(db)
    again = open_records(records_at)
    with reading(again) as db:
        assert [a.batch for a in standing_alarms(db)] == ["MG-07"]
    again.dispose()


def test_a_commit_survives_a_power_cut_and_keys_are_checked(tmp_path: Path):
    records = open_records(tmp_path / "records.db")
    with records.connect() as db:
        pragmas = {
            name: db.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    records.dispose()
    assert pragmas == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def test_a_block_that_fails_leaves_nothing_behind(records: Engine):
    def cut_off() -> None:
        with writing(records) as db:
            dry(db)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        cut_off()
    with reading(records) as db:
        assert alarm_history(db, most=9) == ()


def test_reading_keeps_nothing(records: Engine):
    with reading(records) as db:
        dry(db)
    with reading(records) as db:
        assert alarm_history(db, most=9) == ()


@pytest.mark.parametrize("state", list(AlarmState))
def test_each_state_that_can_be_acknowledged_can_be_and_no_other(
    records: Engine, state: AlarmState
):
    with writing(records) as db:
        moved = dry(db)
        db.execute(update(alarms).values(state=state.value))
        if (state, Cue.ACKNOWLEDGED) not in TRANSITIONS:
            with pytest.raises(NothingToAcknowledge) as told:
                acknowledge(db, moved.alarm.id, by="ada", at=AT)
            assert told.value.state is state
            return
        seen = acknowledge(db, moved.alarm.id, by="ada", at=AT, note="on my way")
        last = changes_of(db, moved.alarm.id)[-1]
    assert seen.state is TRANSITIONS[state, Cue.ACKNOWLEDGED]
    assert (seen.acknowledged_by, seen.acknowledged_at) == ("ada", AT)
    assert (last.cue, last.by, last.note, last.before) == (
        Cue.ACKNOWLEDGED,
        "ada",
        "on my way",
        state,
    )


@pytest.mark.published("ANSI/ISA-18.2-2016 alarm state transitions, from memory of summaries")
def test_the_four_ways_through_the_states(records: Engine):
    with writing(records) as db:
        first = dry(db).alarm
        acknowledge(db, first.id, by="ada", at=AT)
        cleared = clear_alarm(db, batch="MG-07", condition="air-dry", at=AT)
        assert cleared is not None
        assert cleared.alarm.state is AlarmState.NORMAL
        second = dry(db, minute=10).alarm
        assert second.id != first.id
        returned = clear_alarm(db, batch="MG-07", condition="air-dry", at=AT)
        assert returned is not None
        assert returned.alarm.state is AlarmState.RETURNED_UNACKNOWLEDGED
        assert open_alarms(db) == ()
        third = dry(db, minute=20).alarm
        assert (third.id, third.state) == (second.id, AlarmState.UNACKNOWLEDGED)
        assert third.ended_at is None
        assert [a.id for a in open_alarms(db, "MG-07")] == [third.id]


def test_an_unknown_alarm_is_said_to_be_unknown(records: Engine):
    with writing(records) as db:
        with pytest.raises(UnknownAlarm, match="no alarm 77"):
            acknowledge(db, 77, by="ada", at=AT)
        with pytest.raises(UnknownAlarm):
            alarm(db, 77)
        assert changes_of(db, 77) == ()


def test_a_condition_cannot_stand_open_twice(records: Engine):
    with writing(records) as db:
        dry(db)
        assert dry(db, minute=5) is None
        assert len(alarm_history(db, most=9)) == 1
    with writing(records) as db, pytest.raises(IntegrityError):
        db.exec_driver_sql(
            "INSERT INTO alarms (batch, condition, priority, state, opened_ms, since_ms) "
            "VALUES ('MG-07', 'air-dry', 'high', 'unacknowledged', 0, 0)"
        )


def test_what_nobody_raised_cannot_end(records: Engine):
    with writing(records) as db:
        assert clear_alarm(db, batch="MG-07", condition="air-dry", at=AT) is None


def test_standing_alarms_come_with_the_most_urgent_first_then_the_oldest(records: Engine):
    with writing(records) as db:
        dry(db, batch="A", priority=Priority.LOW)
        dry(db, batch="B", minute=9)
        dry(db, batch="C", minute=4)
        dry(db, batch="D", priority=Priority.MEDIUM)
    with reading(records) as db:
        assert [a.batch for a in standing_alarms(db)] == ["C", "B", "D", "A"]
        assert [a.batch for a in alarm_history(db, most=2)] == ["B", "C"]
        assert [a.batch for a in alarm_history(db, "A", most=2)] == ["A"]


def test_nobody_is_owed_the_same_thing_twice(records: Engine, small_site):
    (corvin, isaura) = small_site.person
    both_ways = isaura.model_copy(update={"reach": ("night-phone",)})
    with writing(records) as db:
        moved = dry(db)
        cause = Cause("change.1", MessageKind.OPENED, "MG-07", AT, alarm_id=moved.alarm.id)
        assert owe(db, cause, person=corvin, at=AT) == 1
        assert owe(db, cause, person=corvin, at=AT) == 0
        assert owe(db, cause, person=both_ways, at=AT) == 2
        rows = messages_of(db, moved.alarm.id)
        assert [(row.person, row.channel) for row in rows] == [
            ("corvin", "email"),
            ("isaura", "email"),
            ("isaura", "night-phone"),
        ]
        assert told_of(db, moved.alarm.id) == ("corvin", "isaura")


def test_an_instant_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="time zone"):
        as_ms(AT.replace(tzinfo=None))


def test_instants_come_back_as_they_were_to_the_millisecond():
    local = datetime(2026, 11, 15, 2, 0, 0, 123_000, tzinfo=timezone(timedelta(hours=11)))
    assert instant(as_ms(local)) == local
    before_1970 = datetime(1969, 12, 31, 23, 59, 59, 999_000, tzinfo=UTC)
    assert as_ms(before_1970) == -1
    assert instant(-1) == before_1970


def test_no_line_of_ours_changes_or_takes_out_what_happened_to_an_alarm():
    """Whoever adds a statement that does is told here, whatever way leads to it."""
    root = Path(__file__).parents[3] / "api"
    touched = {"insert": 0, "update": 0, "delete": 0}
    for file in root.rglob("*.py"):
        if "migrations" in file.parts:
            continue
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.args:
                about = ast.unparse(node.args[0]).rpartition(".")[2]
                if node.func.id in touched and about == "alarm_changes":
                    touched[node.func.id] += 1
    assert touched == {"insert": 1, "update": 0, "delete": 0}
