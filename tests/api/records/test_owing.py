"""What the records owe in steps: nothing while missed minutes are still being judged."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from api.records.alarms import acknowledge, raise_alarm
from api.records.outbox import Cause, MessageKind, messages_of, owe
from api.records.session import open_records, writing
from api.records.steps import owe_steps
from api.records.tables import as_ms
from api.records.watch import note_gap
from rules.model.alarm import Priority
from rules.model.reading import MINUTE_MS

AT = datetime(2026, 11, 14, 15, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def db(records_at):
    engine = open_records(records_at)
    with writing(engine) as one:
        yield one
    engine.dispose()


def dry(db, *, at=AT):
    raised = raise_alarm(
        db,
        batch="MG-07",
        condition="air-dry",
        priority=Priority.HIGH,
        opened_at=at,
        since=at,
        value=71.0,
    )
    assert raised is not None
    return raised.alarm.id


def test_each_step_is_owed_once_under_a_cause_of_its_own(db, small_site):
    alarm_id = dry(db)
    for minute in range(60):
        owe_steps(db, small_site, now=AT + minute * MINUTE)
    rows = messages_of(db, alarm_id)
    assert [(row.cause, row.person) for row in rows] == [
        ("change.1.0.on_duty", "corvin"),
        ("change.1.10.on_duty", "corvin"),
        ("change.1.25.lead", "isaura"),
        ("change.1.40.everyone", "corvin"),
        ("change.1.40.everyone", "isaura"),
    ]
    assert [(row.owed_at - AT) // MINUTE for row in rows] == [1, 11, 26, 41, 41]


def test_nothing_is_owed_once_someone_has_it(db, small_site):
    alarm_id = dry(db)
    owe_steps(db, small_site, now=AT + MINUTE)
    acknowledge(db, alarm_id, by="corvin", at=AT)
    assert owe_steps(db, small_site, now=AT + 60 * MINUTE) == 0


def test_what_was_raised_while_nobody_watched_waits_for_the_one_message_about_it(db, small_site):
    first = as_ms(AT) // MINUTE_MS
    gap = note_gap(db, from_minute=first - 5, to_minute=first + 30, noted_at=AT)
    alarm_id = dry(db)
    later = AT + 40 * MINUTE
    assert owe_steps(db, small_site, now=later) == 0
    (corvin, _) = small_site.person
    cause = Cause(f"gap.{gap.id}.MG-07", MessageKind.UNWATCHED, "MG-07", gap.end, gap_id=gap.id)
    owe(db, cause, person=corvin, at=later)
    assert owe_steps(db, small_site, now=later + 9 * MINUTE) == 0
    assert owe_steps(db, small_site, now=later + 10 * MINUTE) == 1
    assert [row.step for row in messages_of(db, alarm_id)] == ["10.on_duty"]
