"""The database of the records is killed under a running watch: it goes on where it was."""

from __future__ import annotations

import tempfile
import threading
from pathlib import Path

import pytest
from sqlalchemy.exc import DBAPIError

from api.records.alarms import alarm_history, changes_of
from api.records.session import reading, writing
from api.records.tables import alarms
from api.records.watch import load_position
from rules.model.alarm import Cue

pytestmark = pytest.mark.service

DRY, DAMP = 71.0, 95.0


@pytest.fixture
def own_server(postgresql_server):
    """A server of the test's own, to be killed."""
    with tempfile.TemporaryDirectory(prefix="graftvigil-postgresql-") as folder:
        server = type(postgresql_server)(Path(folder))
        server.start()
        yield server
        server.stop()


@pytest.fixture
def records_at(own_server):
    return own_server.make_database()


@pytest.mark.kill
def test_what_was_not_committed_when_the_server_died_is_judged_again(nursery, own_server, postbox):
    nursery.pass_minutes(0, [DRY, DRY])
    own_server.kill()
    for minute in (2, 3, 4):
        nursery.keep(minute, MG_07=DRY)
        with pytest.raises(DBAPIError):
            nursery.close(minute)
    with pytest.raises(DBAPIError):
        nursery.alerts.turn()
    own_server.start()
    nursery.pass_minutes(5, [DRY, *[DAMP] * 6])
    nursery.alerts.turn()
    with nursery.db() as db:
        (alarm,) = alarm_history(db, most=9)
        cues = [change.cue for change in changes_of(db, alarm.id)]
        position = load_position(db)
    assert position.next_minute - position.began_minute == 12
    assert cues == [Cue.RAISED, Cue.CLEARED]
    assert any("MG-07" in str(mail["Subject"]) for mail in postbox.mail)


def test_two_writers_wait_for_each_other_and_a_reader_sees_one_moment(nursery):
    """One takes the lock first; what the second reads then holds what the first wrote."""
    order: list[str] = []
    begun, may_end = threading.Event(), threading.Event()

    def first() -> None:
        with writing(nursery.records) as db:
            begun.set()
            may_end.wait(10)
            db.execute(alarms.insert().values(**an_alarm(1)))
            order.append("first")

    def second() -> None:
        with writing(nursery.records) as db:
            order.append("second")
            assert [one.id for one in alarm_history(db, most=9)] == [1]

    with nursery.db() as early:
        assert alarm_history(early, most=9) == ()
        one, two = threading.Thread(target=first), threading.Thread(target=second)
        one.start()
        assert begun.wait(10)
        two.start()
        two.join(0.3)
        assert two.is_alive()
        may_end.set()
        one.join(10)
        two.join(10)
        assert alarm_history(early, most=9) == ()
    assert order == ["first", "second"]
    with reading(nursery.records) as late:
        assert [one.id for one in alarm_history(late, most=9)] == [1]


def an_alarm(number: int) -> dict[str, object]:
    return {
        "id": number,
        "batch": "MG-07",
        "condition": "air-dry",
        "priority": "high",
        "state": "unacknowledged",
        "opened_ms": 60_000,
        "since_ms": 0,
    }
