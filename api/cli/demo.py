"""`graftvigil demo`: Tern Hollow, an invented nursery, plays a night and the morning after.

The recording goes through MQTT like any nursery's messages, and its mail through a mail server on
loopback into a folder. Only time is different: the clock is turned by the player, and never past a
message that the broker has not yet acknowledged, so no speed makes a reading late.
"""

from __future__ import annotations

import json
import logging
import shutil
import socket
import sys
import threading
import time
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn

if TYPE_CHECKING:
    import argparse
    from typing import TypedDict

    from api.assemble import Nursery
    from api.cli.recording import Player, Sent
    from api.parts import Parts
    from api.watch.clock import TurnedClock

    class AlarmTold(TypedDict):
        """One alarm of the demo's report; times are ISO 8601, UTC."""

        batch: str
        condition: str
        priority: str
        opened: str
        ended: str | None

    class Happened(TypedDict):
        """The demo's report: alarms in order of opening, each batch's standing, counts."""

        alarms: list[AlarmTold]
        standings: dict[str, str | None]
        readings: dict[str, int]


EVENING_AFTER_H = 6
"""The first six hours, noon to evening, are played as fast as they are taken."""

STORY_H = 24
"""From the second noon on the recording goes on at the pace of a real clock."""

MARK = "made-by-graftvigil-demo"
ONCE_STEP_MIN = 5


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "demo",
        help="play an invented nursery's recorded night and the morning after",
        description="Plays a recorded night of Tern Hollow, an invented nursery, through MQTT: a "
        "bag dries, a probe falls silent, the sun finds a gap in the cloth. Watch it on the page; "
        "read its messages in the outbox folder.",
    )
    command.add_argument(
        "--folder", type=Path, default=Path("demo_data"), help="site, plans and recorded nights"
    )
    command.add_argument(
        "--data", type=Path, default=Path(".demo"), help="where the demo keeps its stores and mail"
    )
    command.add_argument(
        "--speed",
        type=float,
        default=120.0,
        metavar="N",
        help="play the night N times as fast as it was (default 120; 60 or more tells best)",
    )
    command.add_argument("--listen", default="127.0.0.1:8484", metavar="HOST:PORT")
    command.add_argument("--built-in-broker", default="127.0.0.1:1884", metavar="HOST:PORT")
    command.add_argument(
        "--once", action="store_true", help="run through as fast as it goes, then stop; no pages"
    )
    command.add_argument(
        "--json", action="store_true", help="with --once: print what happened as one JSON object"
    )
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Play the demo; return 0 at its end."""
    from api.assemble import CannotStart, assemble
    from api.cli.postbox import Postbox
    from api.cli.recording import recorded
    from api.settings import SettingsUnusable, load_settings
    from api.watch.clock import TurnedClock

    if not 1 <= arguments.speed <= 100_000:
        msg = f"--speed {arguments.speed:g}: give a number from 1 to 100000"
        raise CannotGoOn(msg)
    if arguments.json and not arguments.once:
        msg = "--json goes with --once: the demo with pages has no end to report"
        raise CannotGoOn(msg)
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s %(message)s")
    nights = sorted((arguments.folder / "nights").glob("*.jsonl.gz"))
    if not nights:
        msg = f"{arguments.folder / 'nights'} holds no recorded night; name the folder: --folder"
        raise CannotGoOn(msg)
    messages = recorded(nights[0])
    data = _empty_folder(arguments.data)
    clock = TurnedClock(messages[0].at)
    with Postbox(data / "outbox") as postbox:
        listen = "127.0.0.1:0" if arguments.once else _free_from(arguments.listen)
        broker = "127.0.0.1:0" if arguments.once else _free_from(arguments.built_in_broker)
        given = {
            "site": arguments.folder / "site.toml",
            "plans": arguments.folder / "plans",
            "data": data,
            "listen": listen,
            "base_url": f"http://{listen}",
            "broker": "",
            "built_in_broker": broker,
            "accounts": "off",
            "mail_server": postbox.address,
            "mail_from": "graftvigil@tern-hollow.invalid",
        }
        notice = (
            f"Demo: an invented nursery, night of {messages[0].at:%d %B %Y}, "
            f"played at {arguments.speed:g} times its pace. Nothing here is real. "
            "Nobody signs in: it is open to whoever is at this machine, and to nobody else."
        )
        try:
            settings = load_settings({}, given)
            first_minute = int(messages[0].at.timestamp()) // 60
            nursery = assemble(settings, clock, notice=notice, first_minute=first_minute)
        except (CannotStart, SettingsUnusable) as trouble:
            raise CannotGoOn(str(trouble)) from trouble
        if arguments.once:
            return _once(nursery, clock, messages, as_json=arguments.json)
        return _show(nursery, clock, messages, speed=arguments.speed, data=data)


def _empty_folder(data: Path) -> Path:
    """Return `data` emptied, if it is ours to empty and no other demo plays in it."""
    from api.assemble import CannotStart, lock

    if data.exists() and any(data.iterdir()) and not (data / MARK).exists():
        msg = f"{data} holds something that the demo did not make; name another with --data"
        raise CannotGoOn(msg)
    try:
        lock(data).close()
    except CannotStart as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    shutil.rmtree(data)
    data.mkdir(parents=True)
    (data / MARK).touch()
    return data


def _free_from(wanted: str) -> str:
    """Return the address, or one with the next free port above it when it is taken."""
    host, _, port = wanted.rpartition(":")
    for candidate in range(int(port), int(port) + 20):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, candidate))
            except OSError:
                continue
            return f"{host}:{candidate}"
    msg = f"no port is free from {wanted} on; name another"
    raise CannotGoOn(msg)


def _once(
    nursery: Nursery, clock: TurnedClock, messages: tuple[Sent, ...], *, as_json: bool
) -> int:
    """Play all of it without waiting, turn by turn, and say what happened."""
    from tqdm import tqdm

    from api.cli.recording import Player, by_minute
    from rules.local_time import to_local

    nursery.start_collector()
    try:
        with Player(*nursery.built_in_broker) as player:
            minutes = list(by_minute(messages))
            shown = tqdm(minutes, unit="min", disable=None, leave=False, desc="night")
            for number, (end, sent) in enumerate(shown, start=1):
                player.send(sent)
                clock.turn_to(end)
                if number % ONCE_STEP_MIN == 0:
                    nursery.turn()
        clock.turn_by(timedelta(minutes=5))
        nursery.turn()
        happened = told(nursery.parts)
    finally:
        nursery.stop()
    if as_json:
        sys.stdout.write(json.dumps(happened, indent=2, ensure_ascii=False) + "\n")
        return GOOD
    place = nursery.parts.site.site
    for alarm in happened["alarms"]:
        opened, ended = (
            f"{to_local(datetime.fromisoformat(at), place):%a %H:%M}"
            if at
            else "the end and beyond"
            for at in (alarm["opened"], alarm["ended"])
        )
        sys.stdout.write(
            f"{alarm['batch']}: {alarm['condition']} ({alarm['priority']}), {opened} to {ended}\n"
        )
    kept, refused = happened["readings"]["kept"], happened["readings"]["refused"]
    sys.stdout.write(f"{kept} readings kept, {refused} refused; times are {place.time_zone}\n")
    return GOOD


def told(parts: Parts) -> Happened:
    """Return what happened so far: alarms, how each batch stands, and how much came in."""
    from api.records.alarms import alarm_history
    from api.records.session import reading
    from api.records.states import state_of
    from api.records.watch import load_position

    with reading(parts.records) as db:
        position = load_position(db)
        history = alarm_history(db, most=1000)
    state = state_of(position) if position is not None else None
    standings = {} if state is None else {c: b.standing for c, b in state.batches.items()}
    return {
        "alarms": [
            {
                "batch": alarm.batch,
                "condition": alarm.condition,
                "priority": alarm.priority.value,
                "opened": alarm.opened_at.isoformat(),
                "ended": None if alarm.ended_at is None else alarm.ended_at.isoformat(),
            }
            for alarm in reversed(history)
        ],
        "standings": {code: standing and standing.value for code, standing in standings.items()},
        "readings": {
            "kept": parts.store.count(),
            "refused": sum(parts.rejects.counts().values()),
        },
    }


def _show(
    nursery: Nursery,
    clock: TurnedClock,
    messages: tuple[Sent, ...],
    *,
    speed: float,
    data: Path,
) -> int:
    """Serve the pages while the recording is played beside them."""
    from api.cli.recording import Player
    from api.cli.run import serve

    done = threading.Event()
    nursery.start_collector()

    def play() -> None:
        try:
            with Player(*nursery.built_in_broker) as player:
                _pace(player, _Time(nursery, clock, done), messages, speed=speed)
        except CannotGoOn as trouble:
            sys.stderr.write(f"graftvigil demo: {trouble}\n")

    playing = threading.Thread(target=play, name="player", daemon=True)
    host, port = nursery.built_in_broker
    sys.stdout.write(
        f"Tern Hollow is being watched.\n"
        f"Messages land in {data / 'outbox'}\n"
        f"Try a reading of your own:\n"
        f"  mosquitto_pub -h {host} -p {port} -q 1 -t tern-hollow/hand-probe "
        """-m '{"temperature": 24.1, "humidity": 93}'\n"""
        f"and see it on the page Sensors. Ctrl-C stops.\n"
    )
    playing.start()
    try:
        return serve(nursery, turned_by_hand=True, as_json=False)
    finally:
        done.set()
        playing.join(timeout=5)


class _Time:
    """Time as the demo lets it pass: after every step of the clock, watch and alerts take a turn.

    They take it in the player's thread, so at any pace the watch keeps up or the pace slows.
    """

    def __init__(self, nursery: Nursery, clock: TurnedClock, done: threading.Event) -> None:
        self._nursery = nursery
        self._clock = clock
        self.done = done

    def turn_to(self, end: datetime) -> None:
        """Let it be `end` at once."""
        self._clock.turn_to(end)
        self._nursery.turn()

    def pass_until(self, end: datetime, *, speed: float) -> None:
        """Let it become `end`, `speed` times as fast as real time, in steps of a fifth second."""
        began_at, began = self._clock.now(), time.monotonic()
        while self._clock.now() < end and not self.done.is_set():
            self.done.wait(min(0.2, max(0.0, (end - self._clock.now()).total_seconds() / speed)))
            passed = timedelta(seconds=(time.monotonic() - began) * speed)
            self.turn_to(min(end, began_at + passed))

    def go_on(self) -> None:
        """Let time go on as it is, until the demo is stopped."""
        while not self.done.is_set():
            self.pass_until(self._clock.now() + timedelta(minutes=1), speed=1.0)


def _pace(player: Player, pace: _Time, messages: tuple[Sent, ...], *, speed: float) -> None:
    """Send each minute's messages, then let that minute pass."""
    from api.cli.recording import by_minute

    start = messages[0].at
    evening = start + timedelta(hours=EVENING_AFTER_H)
    story_end = start + timedelta(hours=STORY_H)
    for end, sent in by_minute(messages):
        if pace.done.is_set():
            return
        player.send(sent)
        if end <= evening:
            pace.turn_to(end)
        else:
            pace.pass_until(end, speed=speed if end <= story_end else 1.0)
    # The recording is over; time goes on, and the silence shows.
    pace.go_on()
