"""A lamp on a real broker: lit while something waits for a person, and dark as soon as not."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.alerts.lamps import REPEAT_S, RETRY_S
from api.book import in_force_of
from api.records.alarms import alarm
from api.records.guarded import NO_BATCH, condition_of
from api.records.holds import let_go, shelve, take_out
from api.records.particulars import Particulars
from api.records.session import open_records, writing
from collector.outgoing import Fate, Outgoing
from rules.model.alarm import Cue, Priority

pytestmark = pytest.mark.service

NIGHT = datetime(2026, 11, 13, 15, 0, tzinfo=UTC)
DEMO = Path(__file__).parents[3] / "demo_data"
SHED = {"id": "shed", "title": "Lamp in the shed", "topic": "yard/shed"}


def test_it_is_lit_by_danger_and_dark_once_somebody_has_taken_it_on(yard, until):
    device = yard.listens("yard/shed")
    assert yard.shows() == "off"
    one = yard.raised()
    assert yard.shows() == "on"
    yard.taken_on(one)
    assert yard.shows() == "off"
    until(lambda: len(device.heard) == 3)
    # Whoever listens all the time hears each change once, and as it happens.
    assert device.heard == [("yard/shed", said, False) for said in ("off", "on", "off")]


def test_what_is_said_to_lamps_is_no_reading_and_no_device(yard, until):
    """Where we listen to everything it comes back to us."""
    ear = yard.listens()
    yard.raised()
    assert yard.shows() == "on"
    ear.client.publish("yard/thermometer", b'{"t": 21}', qos=1).wait_for_publish(5)
    until(yard.ingest.waiting.listed)
    assert {one.topic for one in yard.ingest.waiting.listed()} == {"yard/thermometer"}
    assert yard.ingest.health().readings == 0


def test_once_over_it_is_dark_or_waits_for_someone_if_the_lamp_latches(make_yard, port):
    yard = make_yard(SHED, SHED | {"id": "stays", "topic": "yard/stays", "latch": True})
    yard.listen_at(port)
    one = yard.raised()
    assert (yard.shows(), yard.shows("yard/stays")) == ("on", "on")
    yard.over()
    assert (yard.shows(), yard.shows("yard/stays")) == ("off", "on")
    yard.taken_on(one)
    assert yard.shows("yard/stays") == "off"
    yard.raised(condition="rings", latch=False)
    yard.over(condition="rings")  # an alarm that does not latch waits for nobody
    assert (yard.shows(), yard.shows("yard/stays")) == ("off", "off")


def test_it_stays_lit_when_one_of_two_is_taken_on(make_yard, port):
    yard = make_yard()
    yard.listen_at(port)
    first, second = yard.raised("MG-07"), yard.raised("AV-09")
    yard.taken_on(first)
    assert yard.shows() == "on"
    yard.taken_on(second)
    assert yard.shows() == "off"


def test_each_is_lit_by_its_houses_and_its_priorities_alone(make_yard, port):
    asked = {
        "one": {"houses": ["h1"]},
        "two": {"houses": ["h2"], "on": '{"state": "ON"}', "off": '{"state": "OFF"}'},
        "all": {},
        "medium": {"priority": "medium"},
        "low": {"priority": "low"},
    }
    yard = make_yard(*(SHED | {"id": n, "topic": f"yard/{n}"} | more for n, more in asked.items()))
    yard.listen_at(port)

    def lit() -> set[str]:
        return {name for name in asked if "on" in yard.shows(f"yard/{name}").lower()}

    low = yard.raised("AV-09", Priority.LOW)
    assert lit() == {"low"}
    medium = yard.raised("AV-09", Priority.MEDIUM)
    assert lit() == {"low", "medium"}
    assert yard.shows("yard/two") == '{"state": "OFF"}'
    high = yard.raised("AV-09")
    assert lit() == {"low", "medium", "all", "two"}
    assert yard.shows("yard/two") == '{"state": "ON"}'
    for one in (low, medium, high):
        yard.taken_on(one)
    assert lit() == set()


def test_what_tells_nobody_lights_nothing(make_yard, port):
    """Shelved, out of service, and held back by design while work is in hand."""
    yard = make_yard(SHED | {"latch": True})
    yard.listen_at(port)
    shelved, out = yard.raised("MG-07"), yard.raised("AV-09")
    yard.raised("MG-07", condition="open", suppressed="cover_open")
    with writing(yard.records) as db:
        take_out(db, out, by="corvin", at=NIGHT, why="probe is wrong")
        shelve(db, shelved, by="corvin", at=NIGHT, until=NIGHT.replace(minute=30), why="known")
    assert yard.shows() == "off"
    yard.over("MG-07", "open")
    yard.raised("MG-07", condition="open")  # raised again while it is held
    assert yard.shows() == "off"
    with writing(yard.records) as db:
        let_go(db, alarm(db, shelved), Cue.UNSHELVED, by="corvin", at=NIGHT)
    assert yard.shows() == "on"


def test_alarms_of_the_tool_light_the_houses_that_they_leave_unseen(make_yard, port):
    two = [SHED | {"id": h, "topic": f"yard/{h}", "houses": [h]} for h in ("h1", "h2")]
    yard = make_yard(*two)
    yard.listen_at(port)
    unseen = Particulars(batches=("AV-09",))
    one = yard.raised(NO_BATCH, condition=condition_of("hub.h2"), particulars=unseen)
    assert [yard.shows(f"yard/{h}") for h in ("h1", "h2")] == ["off", "on"]
    yard.taken_on(one)
    assert [yard.shows(f"yard/{h}") for h in ("h1", "h2")] == ["off", "off"]
    # A full disk stands in no house and concerns all; so may a batch that is no longer there.
    disk = yard.raised(NO_BATCH, condition=condition_of("disk_out"))
    assert [yard.shows(f"yard/{h}") for h in ("h1", "h2")] == ["on", "on"]
    yard.taken_on(disk)
    yard.raised("GONE-1")
    assert [yard.shows(f"yard/{h}") for h in ("h1", "h2")] == ["on", "on"]


def test_it_is_told_once_then_every_two_minutes_and_at_once_after_a_start(yard, until):
    device = yard.listens("yard/shed")
    yard.raised()
    assert yard.shows() == "on"
    for _ in range(3):
        assert yard.lamps.turn() == 0
    yard.steady.at_s += REPEAT_S - 1
    assert yard.lamps.turn() == 0
    yard.steady.at_s += 1
    assert yard.lamps.turn() == 1
    until(lambda: len(device.heard) == 2)
    yard.lamps = yard.begun()  # another process, over the same records
    assert [yard.lamps.turn() for _ in range(3)] == [1, 0, 0]
    until(lambda: len(device.heard) == 3)
    assert {said for _, said, _ in device.heard} == {"on"}


def test_a_broker_that_goes_and_comes_back_is_told_what_holds_by_then(
    make_yard, make_mosquitto, caplog, until
):
    broker, yard = make_mosquitto(), make_yard()
    caplog.set_level("INFO")
    yard.listen_at(broker.port)
    assert yard.shows() == "off"
    broker.stop()
    until(lambda: not yard.collector.health().connected)
    one = yard.raised()
    for _ in range(5):
        yard.lamps.turn()  # goes on, and keeps nothing for later
        yard.steady.at_s += RETRY_S
    yard.taken_on(one)
    yard.raised("AV-09")
    yard.lamps.turn()
    assert caplog.text.count("lamp_not_told topic=yard/shed") == 1
    broker.start()
    until(lambda: yard.collector.health().connected)
    assert yard.shows() == "on"
    yard.lamps.turn()
    assert caplog.text.count("lamp_told_again topic=yard/shed") == 1
    # It had forgotten; what is unchanged is told to it all the same, without waiting for a repeat.
    broker.stop()
    until(lambda: not yard.collector.health().connected)
    broker.start()
    until(lambda: yard.collector.health().connected)
    assert yard.shows() == "on"


def test_a_broker_that_lets_us_not_write_is_told_with_what_to_do(
    make_yard, make_mosquitto, tmp_path, caplog, until
):
    (tmp_path / "acl").write_text("topic read #\n")
    yard = make_yard()
    yard.listen_at(make_mosquitto(f"acl_file {tmp_path / 'acl'}\n").port)
    yard.lamps.turn()
    until(lambda: yard.sent[0].fate is Fate.LOST)
    yard.lamps.turn()
    assert "lamp_not_told topic=yard/shed" in caplog.text
    assert "Let our user write" in caplog.text
    assert yard.collector.health().connections == 1


def test_a_broker_that_keeps_nothing_for_others_is_told_all_the_same(
    make_yard, make_mosquitto, until
):
    """One that retains nothing hangs up on whoever asks it to (MQTT 5.0, 3.2.2.3.5)."""
    yard = make_yard()
    yard.listen_at(make_mosquitto("retain_available false\n").port)
    device = yard.listens("yard/shed")
    yard.raised()
    yard.lamps.turn()
    until(lambda: device.heard)
    assert device.heard == [("yard/shed", "on", False)]
    assert yard.collector.health().connections == 1


def test_of_several_nodes_the_others_say_nothing_and_who_takes_over_says_the_truth(make_yard, port):
    yard = make_yard()
    yard.listen_at(port)
    assert yard.shows() == "off"
    yard.ours = False
    one = yard.raised()
    assert yard.lamps.turn() == 0
    other = yard.listens("yard/shed").client
    other.publish("yard/shed", "on", qos=1, retain=True).wait_for_publish(5)
    yard.taken_on(one)
    assert yard.shows() == "on"  # the other node died before it could say more
    yard.ours = True
    assert yard.shows() == "off"


def test_what_was_left_from_before_a_connection_is_not_said_over_the_next(make_yard, port, until):
    yard = make_yard()
    yard.listen_at(port)
    yard.collector.stop()
    left = Outgoing("yard/shed", b"on")
    yard.collector._tray.put(left)
    yard.collector.start()
    until(lambda: left.fate is not Fate.UNDER_WAY)
    assert left.fate is Fate.LOST


def test_a_lamp_that_leaves_the_site_file_is_not_left_lit(make_yard, port):
    yard = make_yard()
    yard.listen_at(port)
    yard.raised()
    assert yard.shows() == "on"
    moved = yard.site_with([SHED | {"topic": "yard/house"}])
    yard.book.put(in_force_of(moved, yard.plans))
    assert (yard.shows("yard/house"), yard.shows()) == ("on", "off")
    yard.lamps.turn()
    sent = len(yard.sent)
    yard.steady.at_s += REPEAT_S
    yard.lamps.turn()
    assert [one.topic for one in yard.sent[sent:]] == ["yard/house"]  # the old one is forgotten


def test_a_turn_that_fails_is_tried_again(make_yard, port, caplog, until):
    yard = make_yard()
    yard.listen_at(port)
    yard.raised()
    engine, lamps, stop = yard.records, yard.begun(), threading.Event()
    lamps._records = open_records(engine.url.database and Path(f"{engine.url.database}.other"))
    with writing(lamps._records) as db:
        db.exec_driver_sql("ALTER TABLE alarms RENAME TO elsewhere")
    thread = threading.Thread(target=lamps.run, args=(stop,))
    thread.start()
    try:
        until(lambda: "lamps_failed failures=1" in caplog.text)
        assert yard.sent == []  # nothing is said of what can't be known
        lamps._records.dispose()
        lamps._records = engine
        until(lambda: any(one.fate is Fate.ACCEPTED for one in yard.sent))
        assert yard.sent[0].payload == b"on"
    finally:
        stop.set()
        thread.join(5)
