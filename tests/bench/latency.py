"""How long from a reading to a message that the mail server has accepted, with everything running.

`graftvigil run` watches 250 probes of two channels each over a real mosquitto and hands mail to a
real SMTP server, all on this machine. Every probe publishes once a minute. In each minute twelve
bags, each in a house of its own so that nothing is gathered, turn dry and later damp again. What is
timed is the wait beyond what was asked for: from the instant at which the cell in which the alarm
opens is due (end of its minute and the allowed lateness; the limit's delay is over by then) until
the server has accepted the message.

Then a hundred bags of one house turn dry beyond three limits: 300 alarms in one cell. Their first
danger is told alone; the others wait two minutes for each other by design, and are timed apart,
from the end of that wait. Every one of the 300 must be listed in an accepted message.

The baseline, in the same run on the same broker and mail server: a bare paho subscriber that hands
each message over with smtplib, from publishing to acceptance, so many at a time as alarms opened.

One file because a measurement is read from top to bottom: site, sinks, run, baseline, figures.

Run: python tests/bench/latency.py [--minutes 6] [--lateness 2] [--keep FOLDER]
"""

from __future__ import annotations

import argparse
import email
import email.policy
import json
import os
import queue
import re
import resource
import signal
import smtplib
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from email.message import EmailMessage
from pathlib import Path

import numpy as np
import paho.mqtt.client as mqtt
from aiosmtpd.controller import Controller

from api.records.groups import members_of
from api.records.history import alarm_history_in
from api.records.outbox import MessageKind, newest_messages
from api.records.session import open_records, reading
from api.settings import RECORDS_FILE
from rules.alarm_history import AlarmChanged
from rules.floods import GATHER_MIN
from rules.model.alarm import Cue

ROOT = Path(__file__).parents[2]
ALONE = 150
A_MINUTE = 12
TOGETHER = 100
DRY_FOR_MIN = 2
GOAL_S = 2.0
LINK = re.compile(r"/alarms/(\d+)")
PAUSE = threading.Event()

LIMIT = """
[[stage.healing.limit]]
id = "{id}"
quantity = "{quantity}"
side = "{side}"
bound = {bound}
deadband = 1
on_delay_min = 1
off_delay_min = 1
full_margin = 10
priority = "{priority}"
latch = false
says = {{ en = "{id}", es = "{id} es" }}
action = {{ en = "Look at it.", es = "Mírelo." }}
"""
PLAN = """
id = "bench-bag"
version = 1
title = {{ en = "bag", es = "bolsa" }}
scion = "leafy"
cover = ["tied_bag"]
source = "made for this measurement"
[stage.healing]
vital = ["relative_humidity"]
blind_after_min = 30
"""
LIMITS = (
    ("air-dry", "relative_humidity", "low", 80, "medium"),
    ("air-drier", "relative_humidity", "low", 50, "medium"),
    ("air-driest", "relative_humidity", "low", 48, "high"),
)
SITE = """
lead = "isaura"
[site]
title = "Tern Hollow"
latitude_deg = -24.0
longitude_deg = 160.0
elevation_m = 40.0
time_zone = "Etc/GMT-11"
[[person]]
id = "isaura"
name = "Isaura Peñalver"
email = "isaura@tern-hollow.invalid"
"""
HOUSE = """
[[house]]
id = "h{0}"
title = "House {0}"
shade_fraction = 0.8
length_m = 60
width_m = 20
[[bench]]
id = "t{0}"
house = "h{0}"
title = "bench {0}"
x_m = 1
y_m = 1
length_m = 50
width_m = 2
"""
PROBE = """
[[sensor]]
id = "p{0}"
title = "probe {0}"
topic = "bench/{0}"
[[sensor.channel]]
id = "air"
quantity = "air_temperature"
unit = "degC"
path = "t"
[[sensor.channel]]
id = "humidity"
quantity = "relative_humidity"
unit = "%RH"
path = "h"
[[sensor.position]]
since = "2026-01-01T00:00:00+00:00"
cover_of = "B-{0}"
[[batch]]
code = "B-{0}"
species = "mango"
cultivar = "early yellow"
rootstock = "local seedling"
method = "side_veneer"
scion = "leafy"
wrap = "tape"
cover = "tied_bag"
count = 24
grafter = "TQ"
grafted_on = "2026-01-01"
bench = "t{1}"
plan = "bench-bag"
[[batch.stage]]
stage = "healing"
since = "2026-01-01T10:00:00+11:00"
because = "grafted"
"""


class Postbox:
    """A real mail server that notes when it accepted each message."""

    def __init__(self) -> None:
        self.took: list[tuple[float, str, str]] = []

    async def handle_DATA(self, server, session, envelope) -> str:  # noqa: N802
        mail = email.message_from_bytes(envelope.content, policy=email.policy.default)
        body = mail.get_body(("plain",))
        said = "" if body is None else body.get_content()
        self.took.append((time.time(), str(mail["Subject"]), said))
        return "250 kept"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def write_nursery(folder: Path) -> None:
    probes = [PROBE.format(n, n) for n in range(ALONE)]
    probes += [PROBE.format(n, ALONE) for n in range(ALONE, ALONE + TOGETHER)]
    houses = [HOUSE.format(n) for n in range(ALONE + 1)]
    (folder / "site.toml").write_text(SITE + "".join([*houses, *probes]))
    (folder / "plans").mkdir()
    limits = [
        LIMIT.format(id=name, quantity=felt, side=side, bound=bound, priority=priority)
        for name, felt, side, bound, priority in LIMITS
    ]
    (folder / "plans" / "bench-bag.toml").write_text(PLAN.format() + "".join(limits))


def start_mosquitto(folder: Path) -> tuple[subprocess.Popen[bytes], int]:
    port = free_port()
    (folder / "mosquitto.conf").write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n"
    )
    broker = subprocess.Popen(
        ["mosquitto", "-c", str(folder / "mosquitto.conf")], stderr=subprocess.DEVNULL
    )
    until_open(port)
    return broker, port


def until_open(port: int) -> None:
    for _ in range(400):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        PAUSE.wait(0.05)
    sys.exit(f"nothing listens on {port}")


def start_tool(folder: Path, broker: int, mail: int, lateness_s: int) -> subprocess.Popen[bytes]:
    pages = free_port()
    tool = subprocess.Popen(
        [
            *(str(Path(sys.executable).with_name("graftvigil")), "run"),
            *("--site", str(folder / "site.toml"), "--plans", str(folder / "plans")),
            *("--data", str(folder / "data"), "--listen", f"127.0.0.1:{pages}"),
            *("--broker", f"mqtt://127.0.0.1:{broker}"),
        ],
        env=os.environ
        | {
            "GRAFTVIGIL_LATENESS_S": str(lateness_s),
            "GRAFTVIGIL_MAIL_SERVER": f"smtp://127.0.0.1:{mail}",
            "GRAFTVIGIL_MAIL_FROM": "watch@tern-hollow.invalid",
        },
        stdout=(folder / "tool.log").open("wb"),
        stderr=subprocess.STDOUT,
    )
    until_open(pages)
    return tool


def values_of(probe: int, minute: int, minutes: int) -> dict[str, float]:
    """Return what a probe says in a minute after the first: some turn dry in each, all once."""
    if probe < ALONE:
        begins = 1 + probe // A_MINUTE if probe < A_MINUTE * minutes else 2**30
        dry = begins <= minute < begins + DRY_FOR_MIN
        return {"t": 25.0, "h": 60.0 if dry else 95.0}
    worst = minute >= minutes + 2
    return {"t": 25.0, "h": 45.0 if worst else 95.0}


def publish_minutes(port: int, minutes: int) -> int:
    """Publish every probe in the first half of each minute; return the first minute."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    first = int(time.time()) // 60 + 1
    for minute in range(minutes + 2 + DRY_FOR_MIN + GATHER_MIN + 1):
        for probe in range(ALONE + TOGETHER):
            at = (first + minute) * 60 + 30 * probe / (ALONE + TOGETHER)
            PAUSE.wait(max(0.0, at - time.time()))
            sent = client.publish(
                f"bench/{probe}", json.dumps(values_of(probe, minute, minutes)), qos=1
            )
        sent.wait_for_publish(30)
        print(f"minute {minute + 1} published", file=sys.stderr, flush=True)
    client.disconnect()
    client.loop_stop()
    return first


def bare(broker: int, mail: int, postbox: Postbox, *, together: int, rounds: int) -> list[float]:
    """Return how long each message takes with nothing of ours: subscriber, hand-over, accepted."""
    arrived: queue.Queue[bytes | None] = queue.Queue()
    subscriber = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    subscriber.on_message = lambda _client, _data, message: arrived.put(message.payload)
    ready = threading.Event()
    subscriber.on_subscribe = lambda *_: ready.set()
    subscriber.connect("127.0.0.1", broker)
    subscriber.subscribe("bare/#", qos=1)
    subscriber.loop_start()
    ready.wait(10)

    def hand_over() -> None:
        while (payload := arrived.get()) is not None:
            text = EmailMessage()
            text["Subject"], text["From"] = "bare", "watch@tern-hollow.invalid"
            text["To"] = "isaura@tern-hollow.invalid"
            text.set_content(payload.decode())
            with smtplib.SMTP("127.0.0.1", mail) as server:
                server.send_message(text)

    worker = threading.Thread(target=hand_over)
    worker.start()
    publisher = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    publisher.connect("127.0.0.1", broker)
    publisher.loop_start()
    first = len(postbox.took)
    for _ in range(rounds):
        for _ in range(together):
            publisher.publish("bare/x", json.dumps({"at": time.time()}), qos=1)
        PAUSE.wait(1.0)
    while len(postbox.took) < first + rounds * together:
        PAUSE.wait(0.05)
    arrived.put(None)
    worker.join()
    for client in (subscriber, publisher):
        client.disconnect()
        client.loop_stop()
    return [at - float(json.loads(body)["at"]) for at, _, body in postbox.took[first:]]


def told(name: str, waits: list[float]) -> str:
    p50, p99 = np.percentile(waits, [50, 99])
    return (
        f"{name}: {len(waits)} messages, p50 {p50:.2f} s, p99 {p99:.2f} s, most {max(waits):.2f} s"
    )


def report(folder: Path, postbox: Postbox, bare_s: list[float], *, lateness_s: int) -> bool:
    records = open_records(folder / "data" / RECORDS_FILE)
    with reading(records) as db:
        changes = alarm_history_in(db, end_minute=2**40)
        sent = [row for row in newest_messages(db, most=100_000) if row.sent_at is not None]
        flood_ids = {
            alarm.id
            for row in sent
            if row.kind is MessageKind.GROUPED and row.group_id is not None
            for alarm in members_of(db, row.group_id)
        }
    records.dispose()
    raised = [one for one in changes if one.cue is Cue.RAISED]
    by_minute = Counter(one.minute for one in raised)
    flood_minute, flooded = by_minute.most_common(1)[0]
    accepted = {(line, body): at for at, line, body in postbox.took}

    def due_s(minute: int) -> float:
        return (minute + 1) * 60 + lateness_s

    waits: dict[str, list[float]] = {
        "opened alone": [],
        "over": [],
        "first danger of the flood": [],
    }
    gathered: list[float] = []
    opened = {one.alarm: one for one in raised}
    over: dict[int, AlarmChanged] = {one.alarm: one for one in changes if one.cue is Cue.CLEARED}
    for row in sent:
        at = accepted.get((row.line or "", f"{row.body}\n"), row.sent_at.timestamp())
        if row.kind is MessageKind.GROUPED and row.step is not None:
            gathered.append(at - due_s(flood_minute) - GATHER_MIN * 60)
        elif row.kind is MessageKind.OPENED and row.alarm_id is not None:
            one = opened[row.alarm_id]
            name = "opened alone"
            if one.minute == flood_minute:
                name = "first danger of the flood"
            if row.step is None or row.step.startswith("0."):
                waits[name].append(at - due_s(one.minute))
        elif row.kind is MessageKind.CLOSED and row.alarm_id not in flood_ids:
            waits["over"].append(at - due_s(over[row.alarm_id].minute))
    listed = {int(found) for _, _, body in postbox.took for found in LINK.findall(body)}
    missing = [one.alarm for one in raised if one.alarm not in listed]
    for name, each in waits.items():
        print(told(name, each))
    print(told(f"gathered {GATHER_MIN} min by design, timed from then", gathered))
    print(told("bare subscriber to the same server", bare_s))
    alone = [*waits["opened alone"], *waits["over"], *waits["first danger of the flood"]]
    ours, theirs = np.percentile(alone, [50, 99]), np.percentile(bare_s, [50, 99])
    print(
        f"told alone, in all: {told('told', alone)}; ours / bare: p50 {ours[0] / theirs[0]:.1f}, "
        f"p99 {ours[1] / theirs[1]:.1f}"
    )
    print(
        f"flood: {flooded} alarms in one cell, {len(raised)} alarms in all, "
        f"{len(raised) - len(missing)} listed in an accepted message, {len(missing)} lost"
    )
    lost = len(missing)
    print(f"{len(postbox.took) - len(bare_s)} mails accepted; goal p99 under {GOAL_S:g} s")
    return ours[1] < GOAL_S and lost == 0


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--minutes", type=int, default=6)
    asked.add_argument("--lateness", type=int, default=2)
    asked.add_argument("--keep", type=Path, help="leave the site, its records and log here")
    given = asked.parse_args()
    postbox = Postbox()
    mail = free_port()
    controller = Controller(postbox, hostname="127.0.0.1", port=mail)
    controller.start()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) if given.keep is None else given.keep
        folder.mkdir(exist_ok=True)
        write_nursery(folder)
        broker, port = start_mosquitto(folder)
        tool = None
        try:
            tool = start_tool(folder, port, mail, given.lateness)
            publish_minutes(port, given.minutes)
            PAUSE.wait(given.lateness + 5)
            used = resource.getrusage(resource.RUSAGE_SELF)
            print(f"publisher used {used.ru_utime:.0f} s of processor", file=sys.stderr)
            tool.send_signal(signal.SIGTERM)
            tool.wait(30)
            bare_s = bare(port, mail, postbox, together=2 * A_MINUTE, rounds=given.minutes)
            good = report(folder, postbox, bare_s, lateness_s=given.lateness)
        finally:
            if tool is not None and tool.poll() is None:
                tool.kill()
            broker.terminate()
            broker.wait(10)
            controller.stop()
    if not good:
        sys.exit("the goal was missed")


if __name__ == "__main__":
    main()
