"""A month of a whole nursery in minutes: does memory stay flat, and how large does the disk grow?

Fifty probes of four channels, 200 channels in all, each say something once a minute: 8.64 million
readings in thirty days, a minute being the shortest that anything is judged by. Everything is built
by `assemble` as `graftvigil run` builds it, and moves by a simulated clock, five minutes at a time:
their messages go through the same `Ingest.take` that the collector calls, in one synced commit;
then the book, the watch, the night sheets and the alert service take their turns, five cells at
once as after a short hold-up, the most that does not count as unwatched. Once a simulated hour the
upkeep packs. About a dozen bags a day turn dry or hot by a fixed course, and one day in seven a
whole house at once; mail goes over SMTP to a real server in another process. Half of the alarms are
acknowledged ten minutes later, so that the others climb their steps.

What the run leaves out: the network between probe and collector (`ingest` measures it), pages that
are open (`pages`), and the guard, whose steady seconds can't be simulated.

The baseline, in the same run before the first and after the last day: the bare minimum that keeps
the same messages, json.loads and one INSERT a value into a SQLite table of (channel, instant,
value) with full sync, one commit a minute. It judges, tells and answers nothing.

One file because a measurement is read from top to bottom: site, weather, the month, figures.

Run: python tests/bench/soak.py [--days 30]
"""

from __future__ import annotations

import argparse
import json
import logging
import resource
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
from aiosmtpd.controller import Controller
from sqlalchemy import Engine, func, select

from api.assemble import assemble
from api.garbage import leave_out_what_is_loaded
from api.records.alarms import WAITING, acknowledge, standing_alarms
from api.records.session import reading, writing
from api.records.tables import alarms, outbox
from api.settings import load_settings
from api.watch.clock import TurnedClock
from collector.ingest import Message

PROBES = 50
BATCHES = 25
FAILING_A_DAY = 4
STEP_MIN = 5
BARE_MINUTES = 720
HOUSES = 5
GOAL_S = 600.0
TAKEN_ON_AFTER = timedelta(minutes=10)
FIRST = datetime(2026, 3, 1, tzinfo=UTC)
MINUTES = 1440
CHANNELS = (
    ("air", "air_temperature", "degC", "t"),
    ("humidity", "relative_humidity", "%RH", "h"),
    ("leaf", "leaf_temperature", "degC", "l"),
    ("light", "ppfd", "umol/m2/s", "p"),
)
LIMITS = (
    ("dry", "relative_humidity", "low", 80, "medium"),
    ("very-dry", "relative_humidity", "low", 60, "high"),
    ("warm", "air_temperature", "high", 34, "medium"),
    ("hot", "air_temperature", "high", 38, "high"),
    ("cold", "air_temperature", "low", 12, "high"),
    ("thirsty", "vapour_pressure_deficit", "high", 1.2, "low"),
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
[[person]]
id = "tobin"
name = "Tobin Quill"
email = "tobin@tern-hollow.invalid"
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
CHANNEL = """
[[sensor.channel]]
id = "{}"
quantity = "{}"
unit = "{}"
path = "{}"
"""
PROBE = """
[[sensor]]
id = "p{0}"
title = "probe {0}"
topic = "soak/{0}"
time = "unix_ms"
time_path = "ts"
{channels}
[[sensor.position]]
since = "2026-01-01T00:00:00+00:00"
{place}
"""
BATCH = """
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
grafted_on = "2026-02-20"
bench = "t{1}"
plan = "soak-bag"
[[batch.stage]]
stage = "healing"
since = "2026-02-20T10:00:00+11:00"
because = "grafted"
"""
PLAN = """
id = "soak-bag"
version = 1
title = { en = "bag", es = "bolsa" }
scion = "leafy"
cover = ["tied_bag"]
source = "made for this measurement"
[stage.healing]
vital = ["relative_humidity"]
blind_after_min = 30
"""
LIMIT = """
[[stage.healing.limit]]
id = "{}"
quantity = "{}"
side = "{}"
bound = {}
deadband = 1
on_delay_min = 3
off_delay_min = 3
full_margin = 10
priority = "{}"
latch = false
says = {{ en = "{}", es = "es" }}
action = {{ en = "Look at it.", es = "Mírelo." }}
"""


def write_nursery(folder: Path) -> None:
    channels = "".join(CHANNEL.format(*one) for one in CHANNELS)
    parts = [SITE, *(HOUSE.format(n) for n in range(HOUSES))]
    for n in range(PROBES):
        place = f'cover_of = "B-{n}"' if n < BATCHES else f'bench = "t{n % HOUSES}"'
        parts.append(PROBE.format(n, channels=channels, place=place))
    parts += [BATCH.format(n, n % HOUSES) for n in range(BATCHES)]
    (folder / "site.toml").write_text("".join(parts))
    (folder / "plans").mkdir()
    limits = [LIMIT.format(*one, one[0]) for one in LIMITS]
    (folder / "plans" / "soak-bag.toml").write_text(PLAN + "".join(limits))


class Weather:
    """What every probe says in every minute: a day's course, noise, and bags that fail in turn."""

    def __init__(self, seed: int) -> None:
        self._rng = np.random.default_rng(seed)

    def day(self, number: int) -> np.ndarray:
        """Return a day's values as [minute, probe, channel]."""
        rng = self._rng
        sun = np.clip(np.sin((np.arange(MINUTES) + 660) / MINUTES * 2 * np.pi - np.pi / 2), 0, 1)
        noise = rng.normal(0, 1, (MINUTES, PROBES, len(CHANNELS)))
        values = np.empty_like(noise)
        values[..., 0] = 22 + 8 * sun[:, None] + 0.2 * noise[..., 0]
        values[..., 1] = np.clip(95 - 6 * sun[:, None] + 0.6 * noise[..., 1], 0, 100)
        values[..., 2] = values[..., 0] + 1.5 * sun[:, None] + 0.2 * noise[..., 2]
        values[..., 3] = np.clip(420 * sun[:, None] + 4 * noise[..., 3], 0, None)
        for _ in range(FAILING_A_DAY):
            probe, begins = rng.integers(BATCHES), rng.integers(MINUTES - 60)
            lasts = rng.integers(8, 50)
            if rng.random() < 0.5:
                values[begins : begins + lasts, probe, 1] = rng.uniform(55, 76)
            else:
                values[begins : begins + lasts, probe, 0] = rng.uniform(35, 40)
        if number % 7 == 3:
            begins = rng.integers(MINUTES - 120)
            values[begins : begins + 40, 0::HOUSES, 0] = 36.5
        return np.round(values, 2)


def payloads(values: np.ndarray, at_ms: int) -> list[bytes]:
    """Return what the probes send in one minute, one message each."""
    return [
        json.dumps({"ts": at_ms + 200 * n, "t": t, "h": h, "l": leaf, "p": p}).encode()
        for n, (t, h, leaf, p) in enumerate(values.tolist())
    ]


def rss_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def folder_mb(folder: Path) -> dict[str, float]:
    """Return the bytes on disk of each store, with what stands in its log."""
    return {
        name: sum(one.stat().st_size for one in folder.glob(f"{name}.sqlite*")) / 1e6
        for name in ("readings", "records")
    }


def take_on(records: Engine, now: datetime) -> None:
    """Acknowledge every other alarm once it has waited for ten minutes, as a person would."""
    with reading(records) as db:
        waiting = [
            one.id
            for one in standing_alarms(db)
            if one.id % 2 and one.state in WAITING and now - one.since >= TAKEN_ON_AFTER
        ]
    for alarm_id in waiting:
        with writing(records) as db:
            acknowledge(db, alarm_id, by="isaura", at=now)


def month(folder: Path, mail: str, days: int) -> None:
    """Live through the days; print one JSON object a day. The process that is measured."""
    logging.basicConfig(level=logging.ERROR)
    clock = TurnedClock(FIRST)
    given = {
        "site": folder / "site.toml",
        "plans": folder / "plans",
        "data": folder / "data",
        "listen": "127.0.0.1:0",
        "built_in_broker": "127.0.0.1:0",
        "accounts": "off",
        "mail_server": mail,
        "mail_from": "watch@tern-hollow.invalid",
    }
    first_minute = int(FIRST.timestamp()) // 60
    nursery = assemble(load_settings({}, given), clock, notice=None, first_minute=first_minute)
    leave_out_what_is_loaded()
    take, topics = nursery.parts.ingest.take, [f"soak/{n}" for n in range(PROBES)]
    weather, spent = Weather(7), dict.fromkeys(("messages", "take", "turn", "upkeep"), 0.0)
    for day in range(days):
        began, worked = time.perf_counter(), time.process_time()
        before = dict(spent)
        values = weather.day(day)
        for minute in range(0, MINUTES, STEP_MIN):
            marks = [time.perf_counter()]
            sent = []
            for one in range(minute, minute + STEP_MIN):
                start_ms = ((first_minute + day * MINUTES + one) * 60) * 1000
                said = payloads(values[one], start_ms + 5_000)
                sent += [
                    Message(topic, text, start_ms + 20_000)
                    for topic, text in zip(topics, said, strict=True)
                ]
            marks.append(time.perf_counter())
            clock.turn_to(FIRST + timedelta(days=day, minutes=minute + STEP_MIN))
            take(sent)
            marks.append(time.perf_counter())
            nursery.turn()
            take_on(nursery.parts.records, clock.now())
            marks.append(time.perf_counter())
            if minute % 60 == 60 - STEP_MIN:
                while nursery.upkeep.step() is not None:
                    pass
            marks.append(time.perf_counter())
            for name, (a, b) in zip(spent, pairwise(marks), strict=True):
                spent[name] += b - a
        said = {
            "day": day + 1,
            "took_s": time.perf_counter() - began,
            "cpu_s": time.process_time() - worked,
            "rss_mb": rss_mb(),
            **{f"{name}_s": spent[name] - before[name] for name in spent},
            **{f"{name}_mb": mb for name, mb in folder_mb(folder / "data").items()},
        }
        print(json.dumps(said), flush=True)
    with reading(nursery.parts.records) as db:
        counted = {
            "alarms": db.execute(select(func.count()).select_from(alarms)).scalar_one(),
            "sent": db.execute(
                select(func.count()).where(outbox.c.sent_ms.is_not(None))
            ).scalar_one(),
            "owed": db.execute(
                select(func.count()).where(
                    outbox.c.sent_ms.is_(None), outbox.c.gave_up_ms.is_(None)
                )
            ).scalar_one(),
        }
    refused = sum(nursery.parts.rejects.counts().values())
    counted |= {"kept": nursery.parts.store.count(), "refused": refused}
    nursery.stop()
    print(json.dumps(counted), flush=True)


def bare(folder: Path, minutes: int) -> tuple[float, float]:
    """Return the seconds and bytes that a reading costs with nothing of ours."""
    path = folder / "bare.sqlite"
    path.unlink(missing_ok=True)
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("CREATE TABLE reading (channel TEXT, at_ms INTEGER, value REAL)")
    values, spent_s = Weather(7).day(0), 0.0
    for minute in range(minutes):
        at_ms = int(FIRST.timestamp() * 1000) + minute * 60_000
        sent = payloads(values[minute], at_ms)
        began = time.perf_counter()
        db.execute("BEGIN")
        for probe, text in enumerate(sent):
            said = json.loads(text)
            for name, _, _, key in CHANNELS:
                row = (f"p{probe}/{name}", said["ts"], said[key])
                db.execute("INSERT INTO reading VALUES (?, ?, ?)", row)
        db.execute("COMMIT")
        spent_s += time.perf_counter() - began
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    readings = minutes * PROBES * len(CHANNELS)
    return spent_s / readings, path.stat().st_size / readings


class Sink:
    """A real mail server that counts what it accepts."""

    def __init__(self) -> None:
        self.took = 0

    async def handle_DATA(self, server, session, envelope) -> str:  # noqa: N802
        self.took += 1
        return "250 kept"


def live(folder: Path, days: int) -> tuple[list[dict[str, float]], dict[str, float]]:
    """Run the month in a process of its own; print each day as it ends."""
    sink = Sink()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    server = Controller(sink, hostname="127.0.0.1", port=port)
    server.start()
    living = subprocess.Popen(
        [
            *(sys.executable, __file__, "--days", str(days)),
            *("--live", str(folder), "--mail", f"smtp://127.0.0.1:{port}"),
        ],
        stdout=subprocess.PIPE,
        text=True,
    )
    told: list[dict[str, float]] = []
    assert living.stdout is not None
    for line in living.stdout:
        told.append(json.loads(line))
        if "day" in told[-1]:
            one = told[-1]
            print(
                f"day {one['day']:2.0f}: {one['took_s']:5.1f} s ({one['cpu_s']:.1f} s processor: "
                f"take {one['take_s']:.1f}, turn {one['turn_s']:.1f}, upkeep "
                f"{one['upkeep_s']:.1f}), RSS {one['rss_mb']:.1f} MB, readings "
                f"{one['readings_mb']:.1f} MB, records {one['records_mb']:.1f} MB",
                flush=True,
            )
    server.stop()
    if living.wait() != 0:
        sys.exit("the month did not come to its end")
    return told[:-1], told[-1] | {"accepted": sink.took}


def report(
    told: list[dict[str, float]], end: dict[str, float], bares: list[tuple[float, float]]
) -> bool:
    """Print the figures; return whether what was asked for is met."""
    days = np.array([one["day"] for one in told])
    rss = np.array([one["rss_mb"] for one in told])
    took_s = sum(one["took_s"] for one in told)
    readings = len(told) * MINUTES * PROBES * len(CHANNELS)
    bare_s = float(np.mean([one[0] for one in bares]))
    bare_bytes = float(np.mean([one[1] for one in bares]))
    ours_s = sum(one["take_s"] for one in told) / readings
    whole_s = (took_s - sum(one["messages_s"] for one in told)) / readings
    slope = float(np.polyfit(days, rss, 1)[0]) if len(told) > 1 else 0.0
    week = max(1, min(7, len(told) // 2))
    ratio = float(rss[-week:].mean() / rss[:week].mean())
    late_slope = float(np.polyfit(days[-week:], rss[-week:], 1)[0]) if week > 1 else 0.0
    disk = {name: told[-1][f"{name}_mb"] for name in ("readings", "records")}
    disk_ratio = disk["readings"] * 1e6 / readings / bare_bytes
    print(
        f"{len(told)} days, {end['kept']:.0f} readings kept, {end['refused']:.0f} refused, "
        f"{end['alarms']:.0f} alarms, {end['sent']:.0f} messages sent, {end['accepted']:.0f} "
        f"accepted by the mail server, {end['owed']:.0f} still owed"
    )
    print(f"took {took_s:.0f} s: {took_s / len(told):.1f} s a day")
    print(
        f"RSS: first day {rss[0]:.1f} MB, last {rss[-1]:.1f}, most {rss.max():.1f}; slope "
        f"{slope:+.3f} MB a day, {late_slope:+.3f} in the last {week} days; mean of these "
        f"to that of the first {week}: {ratio:.3f}"
    )
    print(
        f"disk: readings {disk['readings']:.1f} MB, {disk['readings'] / len(told):.2f} a day, "
        f"{disk['readings'] * 1e6 / readings:.1f} bytes a reading; records {disk['records']:.1f} "
        f"MB, {disk['records'] / len(told):.2f} a day"
    )
    print(
        f"bare json and sqlite, before and after: {bare_s * 1e6:.1f} us and {bare_bytes:.1f} "
        f"bytes a reading. Ours to bare: keeping {ours_s / bare_s:.2f}, all with watch, alarms and "
        f"messages {whole_s / bare_s:.2f}, disk {disk_ratio:.2f}"
    )
    goal_s = GOAL_S * len(told) / 30
    met = took_s < goal_s
    print(f"goal: {goal_s:.0f} s for {len(told)} days: {'met' if met else 'not met'}")
    complete = end["kept"] + end["refused"] == readings
    if not complete:
        print(f"{readings - end['kept']:.0f} readings are missing")
    return met and complete


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--live", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--mail", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.live is not None:
        month(asked.live, asked.mail, asked.days)
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_nursery(folder)
        bares = [bare(folder, BARE_MINUTES)]
        told, end = live(folder, asked.days)
        bares.append(bare(folder, BARE_MINUTES))
    if not report(told, end, bares):
        sys.exit(1)


if __name__ == "__main__":
    main()
