"""The guard over real parts: what it finds becomes alarms and mail, also when others hang.

One file because every test lives through the same small nursery with its guard.
"""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from pydantic import SecretStr

from api.alerts.guard_phrases import guard_phrases
from api.alerts.guard_words import (
    Notice,
    noticed,
    todo_of,
    what_of,
    words_of_finding,
    words_of_over,
)
from api.backup.afterwards import set_right
from api.backup.schedule import ScheduledBackups
from api.guard.direct import Direct
from api.guard.ending import Ending
from api.guard.facts import Body, Senses, Turning
from api.guard.heartbeat import Heartbeat
from api.guard.machine import Disk, clock_is_set
from api.guard.service import HUNG_S, Guard
from api.records.alarms import acknowledge, alarm_history, changes_of, standing_alarms
from api.records.guarded import blind_batches
from api.records.outbox import Cause, MessageKind, newest_messages, owe
from api.records.particulars import NOTHING_BESIDE
from api.records.runs import Stop, begin_run, end_run, stop_behind
from api.records.session import writing
from api.records.watch import note_gap
from api.settings import Settings
from collector.gate import Gate
from collector.health import BrokerHealth
from collector.ingest import Ingest
from collector.rejects import RejectLog
from rules.model.alarm import AlarmState, Priority
from rules.model.reading import minute_of
from rules.vital_facts import HouseRules
from rules.vital_signs import Finding, Sign

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy import Connection


NIGHT = datetime(2026, 11, 14, 15, 0, tzinfo=UTC)


class TurnedSeconds:
    """Seconds turned by hand, together with the nursery's clock."""

    def __init__(self) -> None:
        self.at_s = 1000.0

    def seconds(self) -> float:
        return self.at_s


class Ward:
    """A guard over the small nursery, with a broker that is as the test says."""

    def __init__(self, nursery, folder) -> None:
        self.nursery = nursery
        self.steady = TurnedSeconds()
        self.trouble = ""
        rejects = RejectLog(nursery.store.file)
        ingest = Ingest(
            Gate(nursery.site.sensor),
            nursery.store,
            rejects=rejects,
            together=nursery.store.file.writing,
            clock_ms=lambda: int(nursery.clock.now().timestamp() * 1000),
        )
        self.guard = Guard(
            Senses(
                Body(
                    book=nursery.book,
                    store=nursery.store,
                    records=nursery.records,
                    ingest=ingest,
                    broker=lambda: BrokerHealth(not self.trouble, 1, self.trouble or None),
                    spool=None,
                    settings=Settings(data=folder),
                    watch=Turning.of(nursery.watch),
                    alerts=Turning.of(nursery.alerts),
                    backups=None,
                ),
                nursery.clock,
                self.steady,
            ),
            Direct(nursery.book, nursery.channels, "http://shed.invalid"),
            HouseRules(disk_low=1, disk_out=1),  # not of the machine on which this runs
            Ending(),
        )

    def pass_s(self, seconds: float, *, step_s: float = 30.0, watching: bool = True) -> None:
        """Live on; probes speak each minute unless told otherwise by `silent`."""
        for _ in range(int(seconds / step_s)):
            self.steady.at_s += step_s
            self.nursery.clock.turn_by(timedelta(seconds=step_s))
            if watching:
                self.nursery.watch.turn()
            self.guard.turn()
            if watching:
                self.nursery.alerts.turn()

    def standing(self) -> dict[str, AlarmState]:
        with self.nursery.db() as db:
            return {one.condition: one.state for one in standing_alarms(db) if not one.batch}


@pytest.fixture
def ward(nursery, tmp_path) -> Ward:
    nursery.keep(0)
    return Ward(nursery, tmp_path)


@pytest.fixture
def no_clock_of_this_machine(monkeypatch) -> None:
    monkeypatch.setattr("api.guard.facts.clock_is_set", lambda: None)


pytestmark = pytest.mark.usefixtures("no_clock_of_this_machine")


def test_a_broker_that_is_away_is_one_alarm_and_one_mail_and_over_when_it_is_back(ward, postbox):
    ward.guard.turn()
    ward.trouble = "connection refused"
    ward.pass_s(150)
    assert ward.standing() == {}
    ward.pass_s(120)
    assert ward.standing() == {"guard.broker": AlarmState.UNACKNOWLEDGED}
    (line,) = postbox.lines()
    assert line == (
        "Small Hollow: no readings come in: no connection to the broker since 02:00; 2 batches "
        "soon can't be seen. Start the broker; check its network and password."
    )
    assert len(line) <= 160
    body = postbox.mail[0].get_body().get_content()
    assert "What it says: connection refused" in body
    assert "AV-09, MG-07. A person must go and look." in " ".join(body.split())
    assert "It is night: tell someone that you are going" in body
    ward.trouble = ""
    ward.pass_s(120)
    assert ward.standing() == {}
    assert postbox.lines()[-1].startswith("Small Hollow: connected to the broker again since ")
    with ward.nursery.db() as db:
        (alarm,) = (one for one in alarm_history(db, most=9) if not one.batch)
        assert [str(change.cue) for change in changes_of(db, alarm.id)] == ["raised", "cleared"]


def test_nobody_taking_it_on_goes_up_the_same_steps_until_someone_has_it(ward, postbox):
    ward.guard.turn()
    ward.trouble = "connection refused"
    ward.pass_s(240)
    ward.pass_s(26 * 60)
    to = [one[0].partition("@")[0] for one in postbox.recipients]
    assert to[0] == "corvin"
    assert "isaura" in to
    spanish = next(line for line, who in zip(postbox.lines(), to, strict=True) if who == "isaura")
    assert "sin conexión con el bróker" in spanish
    before = len(to)
    with writing(ward.nursery.records) as db:
        (alarm,) = (one for one in standing_alarms(db) if one.condition == "guard.broker")
        acknowledge(db, alarm.id, by="corvin", at=ward.nursery.clock.now())
    said = [one for one in postbox.lines() if "broker" in one or "bróker" in one]
    ward.pass_s(20 * 60)
    assert [one for one in postbox.lines() if "broker" in one or "bróker" in one] == said
    assert before >= 2


def test_all_probes_silent_is_said_once_and_the_words_count_who_is_blind(ward, postbox):
    ward.pass_s(6 * 60)
    standing = ward.standing()
    assert standing["guard.arrivals"] is AlarmState.UNACKNOWLEDGED
    assert [name for name in standing if name.startswith("guard.sensor")] == []
    ward.pass_s(12 * 60)
    with ward.nursery.db() as db:
        (one,) = (one for one in standing_alarms(db) if one.condition == "guard.arrivals")
        blind = blind_batches(db)
    assert blind == {"MG-07", "AV-09"}
    notice = noticed(one)
    now = ward.nursery.clock.now()
    said = what_of(notice, ward.nursery.site, "en", now=now, blind=blind)
    assert said == "nothing has come from any sensor since 02:00; 2 batches can't be seen"
    spanish = what_of(notice, ward.nursery.site, "es", now=now, blind=blind)
    assert spanish == "no ha llegado nada de ninguna sonda desde 02:00; 2 lotes no se ven"


def test_a_start_takes_up_what_stood_open_and_says_it_no_second_time(ward, postbox, tmp_path):
    ward.guard.turn()
    ward.trouble = "connection refused"
    ward.pass_s(240)
    before = len(postbox.mail)
    again = Ward(ward.nursery, tmp_path)
    again.steady.at_s = 5.0
    again.trouble = "connection refused"
    again.pass_s(240)
    with ward.nursery.db() as db:
        alarms = [one for one in alarm_history(db, most=9) if one.condition == "guard.broker"]
    assert len(alarms) == 1
    assert len(postbox.mail) == before
    again.trouble = ""
    again.pass_s(120)
    assert "guard.broker" not in again.standing()


def test_records_that_fail_are_told_without_the_outbox_and_kept_once_they_work(ward, postbox):
    ward.guard.turn()
    with writing(ward.nursery.records) as db:
        db.exec_driver_sql("ALTER TABLE alarms RENAME TO alarms_away")
    ward.pass_s(150, watching=False)
    assert not ward.guard.is_well()
    with writing(ward.nursery.records) as db:
        db.exec_driver_sql("ALTER TABLE alarms_away RENAME TO alarms")
    told = [line for line in postbox.lines() if "records" in line or "registros" in line]
    assert len(told) == 2  # who is on duty, and the lead
    assert told[0].startswith(
        "Small Hollow: the records can't be read or written: no alarm can be kept since "
    )
    assert "can't be answered by link" in " ".join(postbox.mail[0].get_body().get_content().split())
    ward.pass_s(120, watching=False)
    over = [line for line in postbox.lines() if "again" in line or "otra vez" in line]
    assert len(over) == 2
    with ward.nursery.db() as db:
        (one,) = (one for one in alarm_history(db, most=9) if one.condition == "guard.records")
        assert newest_messages(db, most=9) == ()
    assert one.state is AlarmState.NORMAL
    assert one.priority is Priority.HIGH


def test_a_watch_that_hangs_is_told_and_then_given_up(ward, postbox):
    ward.pass_s(60)
    ward.pass_s(420, watching=False)
    assert "guard.watch" in ward.standing()
    assert not ward.guard.is_well()
    assert ward.guard.ending.why == ""
    ward.nursery.alerts.turn()
    assert any("nobody watches" in line for line in postbox.lines())
    ward.guard.ending = Given()
    ward.pass_s(HUNG_S, watching=False)
    assert ward.guard.ending.why in {"watch hangs", "alerts hangs"}


class Given:
    """An ending that only writes down that the process was to end."""

    why = ""

    def give_up(self, why: str) -> None:
        self.why = self.why or why


def test_records_out_of_a_backup_are_told_once_and_wait_for_someone_who_has_seen_it(ward, postbox):
    now = ward.nursery.clock.now()
    owed = Cause("owed.before", MessageKind.TEST, "", now)
    with writing(ward.nursery.records) as db:
        owe(db, owed, person=ward.nursery.site.person[0], at=now)
    before = now - timedelta(hours=3)
    set_right(ward.nursery.records, made_at=before, now=now, send_owed=False)
    ward.guard.turn()  # as the first turn after a start
    ward.pass_s(240)
    assert ward.standing() == {"guard.restored": AlarmState.UNACKNOWLEDGED}
    (line,) = postbox.lines()  # and nothing of what was owed before
    assert line.startswith("Small Hollow: restored from a backup; 1 messages owed then were not")
    ward.pass_s(4200, step_s=300)
    assert ward.standing()["guard.restored"] is AlarmState.RETURNED_UNACKNOWLEDGED
    with writing(ward.nursery.records) as db:
        (alarm,) = (one for one in standing_alarms(db) if one.condition == "guard.restored")
        acknowledge(db, alarm.id, by="corvin", at=ward.nursery.clock.now())
    assert "guard.restored" not in ward.standing()


def test_a_backup_that_fails_is_a_low_alarm_that_ends_with_the_next_good_one(
    ward, postbox, tmp_path
):
    senses, settings = ward.guard.senses, Settings(data=tmp_path, site=tmp_path / "no.toml")
    backups = ScheduledBackups(
        settings,
        tmp_path / "unplugged",
        ward.nursery.book,
        ward.nursery.clock,
        environment={},
        stop=threading.Event(),
    )
    senses.body = replace(senses.body, backups=backups)
    ward.pass_s(60)
    assert ward.standing() == {}
    assert not backups.turn()
    ward.pass_s(60)
    assert ward.standing() == {"guard.backup": AlarmState.UNACKNOWLEDGED}
    with ward.nursery.db() as db:
        (alarm,) = (one for one in standing_alarms(db) if not one.batch)
    assert alarm.priority is Priority.LOW
    assert "unplugged: No such file or directory" in alarm.particulars.said
    backups.state = replace(backups.state, since=ward.nursery.clock.now(), error="")
    ward.pass_s(60)
    assert ward.standing() == {}


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("sign", list(Sign))
def test_each_line_fits_a_text_message_starts_with_the_place_and_says_what_to_do(
    small_site, sign, language
):
    person = small_site.person[0].model_copy(update={"language": language})
    subject = "h1" if sign is Sign.HUB else ("bag-7" if "{subject}" in str(said_of(sign)) else "")
    finding = Finding(
        sign,
        subject,
        Priority.HIGH,
        since_ago_s=4000.0,
        sensors=("bag-7", "bag-9"),
        batches=("AV-09", "MG-07"),
        figure=3900.0 if "clock" in sign else 9e8,
        lasts_s=2 * 86_400.0,
    )
    text = words_of_finding(
        finding, person, site=small_site, base_url="http://shed.invalid", now=NIGHT
    )
    assert text.line.startswith(("Small Hollow: ", "Healing house: "))
    assert len(text.line) <= 160
    assert todo_of(Notice(sign, "", Priority.HIGH, NIGHT, None, NOTHING_BESIDE), language) in (
        " ".join(text.body.split())
    )
    assert "{" not in text.line + text.body
    over = words_of_over(finding.key, person, site=small_site, now=NIGHT)
    assert len(over.line) <= 160
    assert "{" not in over.line


def said_of(sign: Sign) -> object:
    return guard_phrases("en").signs[sign]


def test_threads_that_end_because_all_was_asked_to_stop_are_no_fault(ward):
    """The guard may be in the midst of a turn when the others end."""
    stop = threading.Event()
    gone = threading.Thread(target=stop.set, name="book")

    def in_the_midst() -> bool:
        if gone.ident is None:
            gone.start()
            gone.join()
        return True

    ward.guard.speaks = in_the_midst
    ward.guard.threads = (gone,)
    ward.guard.ending = Given()
    ward.guard.run(stop)
    assert not gone.is_alive()
    assert ward.guard.ending.why == ""


def test_a_thread_that_died_ends_the_process(ward):
    gone = threading.Thread(target=lambda: None, name="spool")
    gone.start()
    gone.join()
    ward.guard.threads = (gone,)
    ward.guard.ending = Given()
    ward.guard.turn()
    assert ward.guard.ending.why == "thread spool has died"
    assert not ward.guard.is_well()


def test_a_clock_set_an_hour_on_is_told_and_nothing_else_is(ward):
    ward.pass_s(60)
    ward.nursery.clock.turn_by(timedelta(hours=1))
    ward.guard.turn()
    with ward.nursery.db() as db:
        found = {one.condition: one.value for one in standing_alarms(db) if not one.batch}
    assert found["guard.clock_jump"] == pytest.approx(3600)


@pytest.fixture
def asked() -> list[str]:
    return []


@pytest.fixture
def outside(gateway_server: Callable, asked) -> str:
    return gateway_server(asked)


@pytest.fixture
def gateway_server():
    from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

    servers = []

    def made(asked: list[str], status: int = 200) -> str:
        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                asked.append(self.path)
                self.send_response(status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            do_GET = do_POST  # noqa: N815

            def log_message(self, *args: object) -> None:
                return

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        serving = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        serving.start()
        servers.append((server, serving))
        return f"http://127.0.0.1:{server.server_port}/beat/a-token"

    yield made
    for server, serving in servers:
        server.shutdown()
        server.server_close()
        serving.join()


def beat_of(url: str, ward: Ward) -> Heartbeat:
    return Heartbeat(SecretStr(url), "post", 60.0, ward.guard.is_well, ward.steady)


def test_the_heartbeat_goes_out_only_while_all_is_well(ward, outside, asked):
    ward.guard.heartbeat = beat = beat_of(outside, ward)
    assert not beat.beat()  # nothing has been looked at yet
    ward.pass_s(120)
    assert beat.beat()
    assert not beat.beat()  # not before its time
    ward.pass_s(90)
    assert beat.beat()
    assert asked == ["/beat/a-token"] * 2
    ward.pass_s(330, watching=False)  # the watch hangs
    assert not beat.beat()
    ward.pass_s(60)
    assert beat.beat()
    ward.steady.at_s += 300  # the guard itself hangs
    assert not beat.beat()
    assert len(asked) == 3


def test_a_heartbeat_that_does_not_get_out_is_a_low_alarm_without_its_address(
    ward, gateway_server, postbox, caplog
):
    refused: list[str] = []
    ward.guard.heartbeat = beat = beat_of(gateway_server(refused, 503), ward)
    for _ in range(4):
        ward.pass_s(90)
        beat.beat()
    ward.guard.turn()
    with ward.nursery.db() as db:
        (one,) = (one for one in standing_alarms(db) if one.condition == "guard.heartbeat")
    assert (one.priority, one.particulars.said) == (Priority.LOW, "status 503")
    beat.url = SecretStr("http://127.0.0.1:9/beat/a-token")
    ward.pass_s(90)
    beat.beat()
    assert beat.error
    assert "a-token" not in beat.error + caplog.text


def test_a_folder_that_takes_no_writing_is_not_writable(tmp_path):
    found = Disk(tmp_path).measure(0.0)
    assert found is not None
    assert found.writable
    assert list(tmp_path.iterdir()) == []
    assert Disk(tmp_path / "gone").measure(0.0) is None


def test_the_pace_is_told_only_once_it_was_measured_for_an_hour(tmp_path):
    disk = Disk(tmp_path)
    assert disk.measure(0.0).loss_bytes_s is None
    (tmp_path / "grown").write_bytes(b"x" * 4_000_000)
    assert disk.measure(1800.0).loss_bytes_s is None
    told = disk.measure(7200.0).loss_bytes_s
    assert told is not None


def test_the_kernel_says_whether_its_clock_is_set_or_nothing_is_said():
    assert clock_is_set() in {True, False, None}


def test_a_stop_that_was_asked_for_is_told_from_one_that_was_not(nursery):
    def gap(db: Connection, began: int, *, minutes: int = 60):
        now = nursery.clock.now()
        first = minute_of(int(now.timestamp() * 1000)) + began
        noted = now + timedelta(minutes=began + minutes)
        return note_gap(db, from_minute=first, to_minute=first + minutes, noted_at=noted)

    now = nursery.clock.now()
    with writing(nursery.records) as db:
        assert stop_behind(db, gap(db, 0)) is Stop.UNKNOWN
        first = begin_run(db, at=now)
        assert stop_behind(db, gap(db, 1)) is Stop.STOOD_STILL
        end_run(db, first, at=now + timedelta(minutes=100))
        second = begin_run(db, at=now + timedelta(minutes=150))
        assert stop_behind(db, gap(db, 100)) is Stop.ASKED
        begin_run(db, at=now + timedelta(minutes=300))
        assert second
        assert stop_behind(db, gap(db, 250)) is Stop.CUT_OFF
