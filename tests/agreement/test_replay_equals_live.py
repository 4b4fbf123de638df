"""What a replay says is what was said: a night lived through a real broker, played through again.

The recorded night of Tern Hollow goes through a real mosquitto into the whole tool. A probe's
messages are held back and come late, the tool is stopped for a quarter of an hour and started
again, and people answer, set aside, take out and open a cover meanwhile.
"""

from __future__ import annotations

import json
import socket
import subprocess
import threading
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller

from api.assemble import Nursery, assemble
from api.book import form_revision
from api.bookkeeping import Bookkeeping
from api.cli.main import main
from api.cli.recording import Player, by_minute, recorded
from api.entering import Change, change
from api.records.alarms import acknowledge, standing_alarms
from api.records.entries import Kind
from api.records.history import alarm_history_in, late_ever, reached
from api.records.session import open_records, reading, writing
from api.records.watch import standing_history
from api.replaying import Stretch, book_of, replayed, stretches_of, watched_in
from api.settings import READINGS_FILE, RECORDS_FILE, load_settings
from api.site_files import read_nursery
from api.watch.clock import TurnedClock
from api.watch.ground import Ground
from api.watch.holding import let_alarm_go, shelve_alarm, take_alarm_out
from api.watch.working import begin
from collector.stores.sqlite import SqliteStore
from rules.alarm_history import occurrences_of
from rules.model.alarm import Cue
from rules.model.event import StandingChanged
from rules.model.work import WorkKind
from rules.replay_telling import told_in

pytestmark = [pytest.mark.service, pytest.mark.slow]

DEMO = Path(__file__).parents[2] / "demo_data"
LATENESS_S = 90


def at(hour: int, minute: int) -> datetime:
    """Return an instant of the recorded night, UTC; 15:00 is 02:00 at the nursery."""
    return datetime(2026, 11, 14, hour, minute, tzinfo=UTC)


END = at(17, 0)
HELD_BACK = (at(14, 48), at(15, 18))
COMES = at(15, 30)
STOPPED = (at(15, 40), at(15, 54))


class Mosquitto:
    """A real broker in a folder of its own; messages for who is away wait there."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        (folder / "m.conf").write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n"
        )
        self._process = subprocess.Popen(
            ["/usr/sbin/mosquitto", "-c", str(folder / "m.conf")], stderr=subprocess.DEVNULL
        )
        pause = threading.Event()
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            pause.wait(0.05)
        pytest.fail("mosquitto did not start")

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(10)


class Postbox:
    async def handle_DATA(self, server, session, envelope) -> str:  # noqa: N802
        return "250 kept"


@dataclass
class Lived:
    """A night that was lived through."""

    data: Path
    said: list[str]


def start(data: Path, broker: int, mail: int, clock: TurnedClock) -> Nursery:
    given = {
        "site": DEMO / "site.toml",
        "plans": DEMO / "plans",
        "data": data,
        "listen": "127.0.0.1:0",
        "broker": f"mqtt://127.0.0.1:{broker}",
        "mail_server": f"smtp://127.0.0.1:{mail}",
        "mail_from": "watch@tern-hollow.invalid",
        "lateness_s": LATENESS_S,
    }
    first = int(at(1, 0).timestamp()) // 60
    nursery = assemble(load_settings({}, given), clock, notice=None, first_minute=first)
    nursery.start_collector()
    return nursery


def until_kept(nursery: Nursery, messages: int) -> None:
    """Wait until the collector has taken so many messages since it began."""
    pause = threading.Event()
    for _ in range(3000):
        if nursery.parts.ingest.health().messages >= messages:
            return
        pause.wait(0.01)
    pytest.fail(f"{nursery.parts.ingest.health().messages} of {messages} messages were taken")


def do(nursery: Nursery, now: datetime, said: list[str]) -> None:
    """Do what people did in this minute."""
    parts = nursery.parts
    if now == at(16, 20):
        # Given up twenty minutes ago, and written down now: what was said meanwhile stays said.
        form = parts.book.now.written(Kind.BATCH, "CI-15")
        given_up = {"stage": "failed", "since": at(16, 0).isoformat(), "because": "all dry"}
        one = Change(
            Kind.BATCH,
            "CI-15",
            {**form, "stage": [*form["stage"], given_up]},
            form_revision(form),
        )
        change(parts.records, parts.book, [one], by="tobin", at=now)
        said.append(f"{now:%H:%M}")
        return
    ground = Ground(parts.site, parts.watchlist)
    with writing(parts.records) as db:
        alarms = {f"{one.batch} {one.condition}": one for one in standing_alarms(db)}
        dry, danger = alarms.get("MG-07 air-dry"), alarms.get("MG-07 air-dry-danger")
        blind = next((one for key, one in alarms.items() if key.startswith("CI-15")), None)
        if now == at(14, 50) and dry is not None:
            shelve_alarm(db, dry.id, ground=ground, by="tobin", at=now, why="on my way", minutes=15)
        elif now == at(15, 36) and danger is not None:
            acknowledge(db, danger.id, by="tobin", at=now)
        elif now == at(13, 0) and blind is not None:
            take_alarm_out(db, blind.id, by="pilar", at=now, why="probe is dead")
        elif now == at(16, 10) and blind is not None:
            let_alarm_go(db, blind.id, ground=ground, by="pilar", at=now)
        elif now == at(14, 20):
            begin(
                db, parts.site, WorkKind.COVER_OPEN, place="MG-07", who="tobin", at=now, minutes=25
            )
        else:
            return
    said.append(f"{now:%H:%M}")


@pytest.fixture(scope="module")
def lived(tmp_path_factory) -> Lived:
    folder = tmp_path_factory.mktemp("lived")
    broker = Mosquitto(folder)
    with socket.create_server(("127.0.0.1", 0)) as free:
        mail = int(free.getsockname()[1])
    server = Controller(Postbox(), hostname="127.0.0.1", port=mail)
    server.start()
    clock = TurnedClock(at(1, 0))
    nursery: Nursery | None = start(folder / "data", broker.port, mail, clock)
    lived = Lived(folder / "data", [])
    late, sent = [], 0
    try:
        with Player("127.0.0.1", broker.port) as player:
            for end, messages in by_minute(recorded(next((DEMO / "nights").glob("*.gz")))):
                if end > END:
                    break
                now = [one for one in messages if not held_back(one)]
                late += [one for one in messages if held_back(one)]
                if end == COMES:
                    now, late = [*now, *late], []
                player.send(now)
                clock.turn_to(end)
                if end == STOPPED[0] and nursery is not None:
                    until_kept(nursery, sent + len(now))
                    nursery.turn()
                    nursery.stop()
                    nursery, sent = None, 0
                    continue
                sent += len(now)
                if STOPPED[0] < end < STOPPED[1]:
                    continue
                if nursery is None:
                    nursery = start(folder / "data", broker.port, mail, clock)
                until_kept(nursery, sent)
                do(nursery, end, lived.said)
                nursery.turn()
        yield lived
    finally:
        if nursery is not None:
            nursery.stop()
        server.stop()
        broker.stop()


def held_back(message) -> bool:
    return message.topic.endswith("/bag-07") and HELD_BACK[0] <= message.at < HELD_BACK[1]


@dataclass
class Again:
    """The same night replayed."""

    changes: list
    standings: list
    watchlist: object
    site: object


def again(lived: Lived, *, hindsight: bool) -> Again:
    records = open_records(lived.data / RECORDS_FILE)
    store = SqliteStore(lived.data / READINGS_FILE)
    now = Bookkeeping(DEMO / "site.toml", DEMO / "plans", records).book.now
    book = book_of(now.site, now.plans, records, lateness_s=LATENESS_S)
    watched = watched_in(records)
    span = {"first_minute": watched.first_minute, "end_minute": watched.end_minute}
    stretches = (Stretch(**span, book=book),)
    if not hindsight:
        stretches, lost = stretches_of(book, records, **span)
        assert len(stretches) == 2
        assert lost == ()
    found = Again([], [], book.watchlist, book.site)
    for passage in replayed(stretches, store, late_in=None if hindsight else records):
        found.changes += passage.changes
        found.standings += [one for one in passage.events if isinstance(one, StandingChanged)]
    store.close()
    records.dispose()
    return found


def kept(lived: Lived) -> tuple[list, list]:
    """Return the changes of alarms and of standings that the watch kept."""
    records = open_records(lived.data / RECORDS_FILE)
    with reading(records) as db:
        changes = list(alarm_history_in(db, end_minute=2**40))
        batches = read_nursery(DEMO / "site.toml", DEMO / "plans").site.batch
        standings = [
            change
            for batch in batches
            for change in standing_history(db, batch.code, first_minute=0, end_minute=2**40)
        ]
    records.dispose()
    return changes, standings


def in_order(standings: list) -> list:
    return sorted(standings, key=lambda one: (one.batch, one.minute))


def test_the_night_held_what_can_make_a_replay_differ(lived):
    changes, standings = kept(lived)
    assert lived.said == ["13:00", "14:20", "14:50", "15:36", "16:10", "16:20"]
    cues = Counter(one.cue for one in changes)
    assert cues[Cue.RAISED] >= 3
    assert {Cue.CLEARED, Cue.ACKNOWLEDGED, Cue.SHELVED, Cue.SHELF_RAN_OUT} <= set(cues)
    assert {Cue.SUPPRESSED, Cue.SUPPRESSION_ENDED, Cue.TAKEN_OUT, Cue.PUT_BACK} <= set(cues)
    assert len(standings) > 20
    records = open_records(lived.data / RECORDS_FILE)
    with reading(records) as db:
        assert late_ever(db) > 50
    assert len(watched_in(records).gaps) == 1
    records.dispose()


def test_as_it_happened_a_replay_says_what_was_said_event_for_event(lived):
    changes, standings = kept(lived)
    replayed = again(lived, hindsight=False)
    assert replayed.changes == changes
    assert in_order(replayed.standings) == in_order(standings)


def test_with_hindsight_it_differs_where_the_late_readings_matter_and_nowhere_else(lived):
    changes, standings = kept(lived)
    replayed = again(lived, hindsight=True)

    entered_late = int(at(16, 0).timestamp()) // 60
    assert entered_late in [one.minute for one in replayed.standings if one.batch == "CI-15"]
    assert entered_late not in [one.minute for one in standings if one.batch == "CI-15"]

    def others(every):
        return [one for one in every if one.batch not in ("MG-07", "CI-15")]

    assert others(in_order(replayed.standings)) == others(in_order(standings))
    numberless = [(one.minute, one.batch, one.condition, one.cue) for one in changes]
    hindsight = [(one.minute, one.batch, one.condition, one.cue) for one in replayed.changes]
    apart = ("MG-07", "CI-15")
    assert [one for one in hindsight if one[1] not in apart] == [
        one for one in numberless if one[1] not in apart
    ]
    late_from = int(HELD_BACK[0].timestamp()) // 60
    differ = set(in_order(replayed.standings)) ^ set(in_order(standings))
    assert differ
    assert min(one.minute for one in differ) >= late_from
    blind = {one.minute for one in standings if one.batch == "MG-07" and one.after == "blind"}
    seen = {one.minute for one in replayed.standings if one.batch == "MG-07"}
    assert blind
    assert not {
        one.minute
        for one in replayed.standings
        if one.batch == "MG-07" and one.after == "blind" and one.minute in blind
    }
    assert seen


def test_messages_are_counted_as_they_were_sent(lived):
    replayed = again(lived, hindsight=False)
    records = open_records(lived.data / RECORDS_FILE)
    watched = watched_in(records)
    with reading(records) as db:
        sent = Counter(one.person for one in reached(db, first_minute=0, end_minute=2**40))
    records.dispose()
    told = told_in(
        replayed.site,
        replayed.watchlist,
        occurrences_of(replayed.site, replayed.changes),
        end_minute=watched.end_minute + 2,
        lateness_min=2,
        gaps=watched.gaps,
    )
    assert sum(sent.values()) >= 5
    assert Counter(one.person for one in told) == sent


def test_the_command_prints_the_same_alarms(lived, capsys):
    site = str(DEMO / "site.toml")
    assert main(["replay", "--site", site, "--data", str(lived.data), "--json"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    told = json.loads(said.out)
    changes, _ = kept(lived)
    raised = [one for one in changes if one.cue is Cue.RAISED]
    firsts = [(one["batch"], one["condition"]) for one in told["alarms"]]
    assert told["as_it_happened"] is True
    assert set(firsts) == {(one.batch, one.condition) for one in raised}
    assert set(told["messages"]) == {"nobody_answers", "as_answered"}
    minutes = (END - at(1, 0)) / timedelta(minutes=1) - 2
    assert {sum(one["minutes"].values()) for one in told["batches"].values()} == {minutes}
