"""A batch over a season, from grafting to hardening: four months, gaps, a change of the clock.

The demo's site, moved to a zone whose clock goes forward on 4 October, with one batch. Its probe
was silent for three days in July and for hours here and there; on 9 September it was hot for one
word; on 1 August the plan got a new version. Loaded by the conftest of the folders that need it.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from api.book import Book, InForce, in_force_of, revision_of
from api.parts import Parts
from api.records.alarms import clear_alarm, raise_alarm
from api.records.session import open_records, writing
from api.records.states import packed
from api.records.watch import WatchPosition, begin_position
from api.settings import Settings
from api.site_files import read_nursery
from api.watch.clock import TurnedClock, milliseconds
from api.watch.loop import Watch
from collector.gate import Gate
from collector.ingest import Ingest
from collector.rejects import RejectLog
from collector.stores.sqlite import SqliteStore
from rules.evaluator import start
from rules.model.alarm import Priority
from rules.model.reading import MINUTE_MS, Reading
from rules.model.site import Site

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from rules.model.plan import CarePlan

CODE = "MG-07"
BEGAN = datetime(2026, 6, 20, 0, 0, tzinfo=UTC)
NOW = datetime(2026, 10, 20, 2, 0, tzinfo=UTC)
ZONE = "Australia/Sydney"  # of the clock alone: the place stays open ocean
EVERY_MIN = 5
SECOND_VERSION = datetime(2026, 8, 1, 0, 0, tzinfo=UTC)
HOT = datetime(2026, 9, 9, 4, 0, tzinfo=UTC)
LOST = (datetime(2026, 7, 6, tzinfo=UTC), datetime(2026, 7, 9, tzinfo=UTC))
STAGES = [
    ("healing", "2026-06-20T10:30:00+10:00", "grafted and bagged"),
    ("new_growth", "2026-07-18T08:00:00+10:00", "first leaves"),
    ("easing", "2026-08-14T08:00:00+10:00", "firm leaves"),
    ("hardening", "2026-09-20T08:00:00+10:00", "cover off for a fortnight"),
]


def minute_of(at: datetime) -> int:
    return int(at.timestamp()) // 60


@cache
def site(demo: Path) -> tuple[Site, Mapping[str, tuple[CarePlan, ...]]]:
    read = read_nursery(demo / "site.toml", demo / "plans")
    assert read.site is not None, read.faults
    raw = read.site.model_dump(mode="json", exclude_none=True)
    raw["site"]["time_zone"] = ZONE
    since = "2026-06-20T10:00:00+10:00"
    (batch,) = (one for one in raw["batch"] if one["code"] == CODE)
    batch["grafted_on"] = "2026-06-20"
    batch["stage"] = [{"stage": s, "since": at, "because": why} for s, at, why in STAGES]
    batch["observation"] = [
        {"at": "2026-06-20T10:30:00+10:00", "seen": "grafted", "by": "TQ"},
        {"at": "2026-07-15T08:00:00+10:00", "seen": "new_growth", "by": "wren"},
        {"at": "2026-09-06T07:30:00+10:00", "seen": "cover_off", "by": "wren", "note": "for good"},
    ]
    sensors = [one for one in raw["sensor"] if one["id"] in {"bag-07", "light-4"}]
    for one in sensors:
        place = {"cover_of": CODE} if one["id"] == "bag-07" else {"bench": batch["bench"]}
        one["position"] = [{"since": since, **place}]
    raw |= {"batch": [batch], "sensor": sensors}
    (first,) = read.versions["leafy-bag"]
    healing = first.model_dump(mode="json", exclude_none=True)
    healing |= {"version": 2, "in_force_from": SECOND_VERSION.isoformat()}
    for stage in healing["stage"].values():
        for limit in stage["limit"]:
            if limit["quantity"] == "air_temperature" and limit["side"] == "high":
                limit["bound"] += 2.0
    versions = {**read.versions, "leafy-bag": (first, type(first).model_validate(healing))}
    return Site.model_validate(raw), versions


def readings() -> list[Reading]:
    chance = np.random.default_rng(20261020)
    minutes = np.arange(minute_of(BEGAN), minute_of(NOW), EVERY_MIN)
    hour = (minutes / 60 + 10) % 24
    season = (minutes - minutes[0]) / (minutes[-1] - minutes[0])
    day = np.maximum(0.0, np.sin((hour - 6.0) / 12.0 * np.pi))
    cloud = np.repeat(chance.uniform(0.4, 1.0, minutes.size // 288 + 1), 288)[: minutes.size]
    light = 480.0 * day * cloud * (0.6 + 0.4 * season)
    warm = 15 + 8 * season + 6 * np.sin((hour - 9) / 24 * 2 * np.pi) + 0.012 * light
    warm += chance.normal(0, 0.2, minutes.size)
    warm[minutes == minute_of(HOT)] = 43.0
    damp = np.clip(
        97 - 0.015 * light - 12 * (season > 0.64) + chance.normal(0, 0.5, light.size), 0, 100
    )
    lost = (minutes >= minute_of(LOST[0])) & (minutes < minute_of(LOST[1]))
    for at in chance.integers(0, minutes.size - 40, 25):
        lost[at : at + int(chance.integers(6, 36))] = True
    kept: list[Reading] = []
    for key, values, of_probe in (
        ("bag-07/air", warm, True),
        ("bag-07/humidity", damp, True),
        ("light-4/light", light, False),
    ):
        seen = ~lost if of_probe else np.ones(lost.size, dtype=bool)
        kept += [
            Reading(key, int(minute) * MINUTE_MS + 20_000, round(float(value), 2))
            for minute, value in zip(minutes[seen], values[seen], strict=True)
        ]
    return kept


@cache
def _in_force(demo: Path) -> InForce:
    return in_force_of(*site(demo))


def opened(folder: Path, demo: Path) -> object:
    """Open the nursery whose stores lie in a folder, at the end of the season."""
    in_force = _in_force(demo)
    made = in_force.site
    store = SqliteStore(folder / "readings.db")
    records = open_records(folder / "records.db")
    clock = TurnedClock(NOW)
    rejects = RejectLog(store.file)
    book = Book(in_force)
    ingest = Ingest(
        Gate(made.sensor),
        store,
        rejects=rejects,
        together=store.file.writing,
        clock_ms=lambda: milliseconds(clock),
    )
    parts = Parts(
        book=book,
        store=store,
        rejects=rejects,
        ingest=ingest,
        records=records,
        clock=clock,
        settings=Settings(),
    )
    watch = Watch(book, store, records, clock, lateness_s=90, unwatched_after_min=1_000_000)
    return sys.modules["pages_nursery"].Nursery(parts, store, watch, clock)


def fill(folder: Path, demo: Path) -> None:
    """Keep the readings and say that all of it was watched; one alarm stands in the records."""
    nursery = opened(folder, demo)
    nursery.store.keep(readings())
    parts = nursery.parts
    with writing(parts.records) as db:
        begin_position(
            db,
            WatchPosition(
                began_minute=minute_of(BEGAN),
                next_minute=minute_of(NOW),
                sequence=0,
                revision=revision_of(parts.site, parts.plans),
                state=packed(start(parts.watchlist)),
            ),
        )
        raise_alarm(
            db,
            batch=CODE,
            condition="heat-danger",
            priority=Priority.HIGH,
            opened_at=HOT,
            since=HOT,
            value=43.0,
        )
        clear_alarm(db, batch=CODE, condition="heat-danger", at=HOT.replace(hour=6))
    nursery.close()
