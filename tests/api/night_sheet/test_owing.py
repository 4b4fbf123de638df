"""A sheet is owed once, to those whom it is for, while it is of use; and it is sent."""

from __future__ import annotations

import re
import threading
from datetime import UTC, datetime, timedelta

import pytest

from api.records.outbox import MessageKind, newest_messages
from api.records.session import writing
from api.records.sheets import last_sheet, sheet_of
from api.waking import Waking
from rules.model.site import Site

pytestmark = pytest.mark.service

# The small nursery keeps UTC+11, and its evening of 14 November begins at 07:00 UTC.
SIX_IN_THE_EVENING = datetime(2026, 11, 15, 7, 0, tzinfo=UTC)
KEY = "sheet:evening:2026-11-15"


def at(nursery, when: datetime) -> None:
    nursery.clock.turn_to(when)


def owed(nursery) -> list[tuple[str, str]]:
    with nursery.db() as db:
        rows = newest_messages(db, most=50)
    return sorted((row.cause, row.person) for row in rows if row.kind is MessageKind.SHEET)


def test_the_evening_sheet_goes_to_whoever_has_the_night_and_to_the_lead(
    nursery, postbox, sheets_of, service_of
):
    sheets = sheets_of(nursery, sheet_evening="18:00", sheet_morning="")
    service = service_of(nursery, sheets)
    at(nursery, SIX_IN_THE_EVENING - timedelta(seconds=1))
    assert sheets.turn() == 0
    at(nursery, SIX_IN_THE_EVENING)
    assert sheets.turn() == 2
    assert owed(nursery) == [(KEY, "corvin"), (KEY, "isaura")]
    assert service.turn() == 2
    english, spanish = sorted(postbox.mail, key=lambda one: str(one["To"]))
    assert str(english["Subject"]).startswith("Tonight at Small Hollow: 2 under cover")
    assert str(spanish["Subject"]).startswith("Esta noche en Small Hollow: 2 bajo cubierta")
    assert len(str(english["Subject"])) <= 160
    body = spanish.get_body(("plain",)).get_content()
    assert "QUIÉN ESTÁ DE TURNO" in body
    assert "/tonight?sheet=evening" in body
    assert re.search(r"Todas las precauciones: http://\S+/cautions\s", body)
    assert "Corvin Hale por correo" in body
    assert "corvin@small" not in body


def test_however_often_it_is_looked_it_is_owed_once(nursery, sheets_of):
    sheets = sheets_of(nursery, sheet_evening="18:00", sheet_morning="")
    at(nursery, SIX_IN_THE_EVENING)
    assert sheets.turn() == 2
    for minutes in (1, 2, 60, 400):
        at(nursery, SIX_IN_THE_EVENING + timedelta(minutes=minutes))
        assert sheets.turn() == 0
    again = sheets_of(nursery.anew(), sheet_evening="18:00", sheet_morning="")
    assert again.turn() == 0
    assert len(owed(nursery)) == 2


def test_two_that_look_at_once_owe_it_once(nursery, sheets_of):
    at(nursery, SIX_IN_THE_EVENING)
    both = [sheets_of(nursery, sheet_evening="18:00", sheet_morning="") for _ in range(2)]
    new: list[int] = []
    ready = threading.Barrier(2)

    def look(sheets) -> None:
        ready.wait(10)
        new.append(sheets.turn())

    threads = [threading.Thread(target=look, args=(one,)) for one in both]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(new) == [0, 2]
    assert len(owed(nursery)) == 2


def test_who_gathers_more_slowly_owes_nothing_more_also_to_others(nursery, sheets_of):
    """A process that read another rota must not owe the same sheet to its own people too."""
    at(nursery, SIX_IN_THE_EVENING)
    quick = sheets_of(nursery, sheet_evening="18:00", sheet_morning="")
    told = nursery.site.model_dump(mode="json")
    told["person"].append({"id": "ada", "name": "Ada Quill", "email": "ada@small.example.invalid"})
    told["shift"].append({**told["shift"][0], "who": "ada"})
    nursery.site = Site.model_validate(told)
    slow = sheets_of(nursery, sheet_evening="18:00", sheet_morning="")
    gather = slow.sheet

    def overtaken(kind):
        assert quick.turn() == 2
        return gather(kind)

    slow.sheet = overtaken
    assert slow.turn() == 0
    assert owed(nursery) == [(KEY, "corvin"), (KEY, "isaura")]


def test_a_crash_while_owing_owes_nothing_and_the_next_look_owes_all(nursery, sheets_of):
    sheets = sheets_of(nursery, sheet_evening="18:00", sheet_morning="")
    at(nursery, SIX_IN_THE_EVENING)
    refusing = {
        "sqlite": "CREATE TRIGGER full_disk BEFORE INSERT ON outbox WHEN NEW.person = 'isaura' "
        "BEGIN SELECT RAISE(ABORT, 'full_disk'); END",
        "postgresql": "ALTER TABLE outbox ADD CONSTRAINT full_disk CHECK (person <> 'isaura')",
    }
    again = {
        "sqlite": "DROP TRIGGER full_disk",
        "postgresql": "ALTER TABLE outbox DROP CONSTRAINT full_disk",
    }
    with writing(nursery.records) as db:
        database = db.dialect.name
        db.exec_driver_sql(refusing[database])
    with pytest.raises(Exception, match="full_disk"):
        sheets.turn()
    assert owed(nursery) == []
    with nursery.db() as db:
        assert sheet_of(db, KEY) is None
    with writing(nursery.records) as db:
        db.exec_driver_sql(again[database])
    assert sheets.turn() == 2


def test_after_downtime_only_what_is_of_use_is_sent(nursery, postbox, sheets_of, service_of):
    sheets = sheets_of(nursery, sheet_evening="18:00", sheet_morning="06:00")
    service = service_of(nursery, sheets)
    at(nursery, SIX_IN_THE_EVENING + timedelta(days=3, hours=7, minutes=59))
    assert sheets.turn() == 2
    assert {cause for cause, _ in owed(nursery)} == {"sheet:evening:2026-11-18"}
    # Nobody could be written to until it was of no more use: it is dropped, not sent stale.
    postbox.refusal = "451 not now"
    assert service.turn() == 0
    at(nursery, SIX_IN_THE_EVENING + timedelta(days=3, hours=8))
    postbox.refusal = None
    assert service.turn() == 0
    assert postbox.mail == []
    at(nursery, SIX_IN_THE_EVENING + timedelta(days=3, hours=9))
    assert sheets.turn() == 0
    at(nursery, SIX_IN_THE_EVENING + timedelta(days=3, hours=12))
    assert sheets.turn() > 0
    assert service.turn() > 0
    assert str(postbox.mail[0]["Subject"]).startswith(("The night", "La noche"))


def test_quiet_hours_hold_a_sheet_back_and_a_lamp_gets_none(
    nursery, postbox, sheets_of, service_of
):
    told = nursery.site.model_dump(mode="json")
    told["person"][1]["quiet"] = {"start": "17:00", "end": "19:00"}
    told["person"].append({"id": "lamp", "name": "Lamp", "reach": ["lamp"], "answers": False})
    told["shift"].append({**told["shift"][0], "who": "lamp"})
    nursery.site = Site.model_validate(told)
    sheets = sheets_of(nursery, sheet_evening="18:00", sheet_morning="")
    service = service_of(nursery, sheets)
    at(nursery, SIX_IN_THE_EVENING)
    assert sheets.turn() == 2
    assert service.turn() == 1
    assert postbox.recipients == [["corvin@small.example.invalid"]]
    at(nursery, SIX_IN_THE_EVENING + timedelta(hours=1))
    assert service.turn() == 1
    assert len(postbox.mail) == 2


def test_the_real_scheduler_wakes_it_when_the_hour_has_come(nursery, sheets_of):
    sheets = sheets_of(nursery, sheet_evening="18:00", sheet_morning="")
    at(nursery, SIX_IN_THE_EVENING - timedelta(minutes=1))
    looked, found = threading.Event(), threading.Event()

    def turn() -> None:
        new = sheets.turn()
        looked.set()
        if new:
            found.set()

    waking = Waking(turn, what="sheets", every_s=1)
    waking.start()
    try:
        assert looked.wait(10)
        assert not found.is_set()
        at(nursery, SIX_IN_THE_EVENING)
        assert found.wait(10)
    finally:
        waking.stop()
    assert len(owed(nursery)) == 2


def test_a_look_that_fails_is_logged_and_the_next_one_is_made(caplog):
    calls = threading.Semaphore(0)

    def turn() -> None:
        calls.release()
        msg = "the records are away"
        raise RuntimeError(msg)

    waking = Waking(turn, what="sheets", every_s=1)
    waking.start()
    try:
        assert calls.acquire(timeout=10)
        assert calls.acquire(timeout=10)
        assert calls.acquire(timeout=10)
    finally:
        waking.stop()
    assert "sheets_failed" in caplog.text


def test_what_the_evening_foretold_is_kept_as_it_was_said(nursery, sheets_of):
    sheets = sheets_of(nursery, sheet_evening="18:00", sheet_morning="06:00")
    at(nursery, SIX_IN_THE_EVENING)
    sheets.turn()
    with nursery.db() as db:
        kept = last_sheet(db, "evening", before=SIX_IN_THE_EVENING + timedelta(hours=12))
        assert last_sheet(db, "morning", before=SIX_IN_THE_EVENING) is None
    assert kept is not None
    assert kept.key == KEY
    assert kept.due_at == SIX_IN_THE_EVENING
    assert kept.until == SIX_IN_THE_EVENING + timedelta(hours=8)
    assert kept.foretold == ()
