"""A small nursery that runs for real: readings in, cells closed, alarms kept, mail sent."""

from __future__ import annotations

import email
import email.policy
import socket
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import httpx
import pytest
from aiosmtpd.controller import Controller
from pydantic import SecretStr

from api.alerts.channels import Channels
from api.alerts.service import AlertService
from api.book import Book, in_force_of
from api.records.session import open_records, reading
from api.watch.clock import TurnedClock
from api.watch.loop import Watch
from collector.stores.sqlite import SqliteStore
from rules.model.plan import CarePlan
from rules.model.reading import MINUTE_MS, Reading
from rules.model.site import Site

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from email.message import EmailMessage
    from pathlib import Path

    from sqlalchemy import Connection, Engine

LATENESS_S = 90
NIGHT = datetime(2026, 11, 14, 15, 0, tzinfo=UTC)  # 02:00 on a Sunday at the small nursery
FIRST = int(NIGHT.timestamp()) // 60


def _limit(name: str, quantity: str, side: str, bound: float, **other: object) -> dict[str, object]:
    return {
        "id": name,
        "quantity": quantity,
        "side": side,
        "bound": bound,
        "deadband": 2.0,
        "on_delay_min": 3,
        "off_delay_min": 2,
        "full_margin": 10.0,
        "priority": "high",
        "says": {"en": "air too dry", "es": "aire demasiado seco"},
        "action": {
            "en": "Mist inside and retie the bag.",
            "es": "Rocíe por dentro y vuelva a atar la bolsa.",
        },
        **other,
    }


HOT = {
    "says": {"en": "bag far too hot", "es": "calor peligroso en la bolsa"},
    "action": {"en": "Shade it now. Do not open the bag.", "es": "Dé sombra ya. No abra la bolsa."},
}


def _bag(number: int, batch: str) -> dict[str, object]:
    return {
        "id": f"bag-{number}",
        "title": f"probe {number}",
        "topic": f"small/bag-{number}",
        "channel": [
            {
                "id": "air",
                "quantity": "air_temperature",
                "unit": "degC",
                "path": "t",
                "stale_after_min": 4,
            },
            {
                "id": "humidity",
                "quantity": "relative_humidity",
                "unit": "%RH",
                "path": "h",
                "stale_after_min": 4,
            },
        ],
        "position": [{"since": "2026-11-01T00:00:00+11:00", "cover_of": batch}],
    }


def _batch(code: str, species: str) -> dict[str, object]:
    return {
        "code": code,
        "species": species,
        "cultivar": "early yellow",
        "rootstock": "local seedling",
        "method": "side_veneer",
        "scion": "leafy",
        "wrap": "tape",
        "cover": "tied_bag",
        "count": 24,
        "grafter": "TQ",
        "grafted_on": "2026-11-03",
        "bench": "b2",
        "plan": "small-bag",
        "stage": [{"stage": "healing", "since": "2026-11-03T10:00:00+11:00", "because": "grafted"}],
    }


def _shift(who: str, start: str, end: str) -> dict[str, object]:
    days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    return {"who": who, "days": days, "start": start, "end": end}


@pytest.fixture(scope="session")
def small_site() -> Site:
    """Return two batches in bags on one bench; a night hand, and a lead for the days."""
    return Site.model_validate(
        {
            "lead": "isaura",
            "site": {
                "title": "Small Hollow",
                "latitude_deg": -24.0,
                "longitude_deg": 160.0,
                "elevation_m": 40.0,
                "time_zone": "Etc/GMT-11",
            },
            "house": [
                {
                    "id": "h1",
                    "title": "Healing house",
                    "shade_fraction": 0.8,
                    "length_m": 18,
                    "width_m": 8,
                }
            ],
            "bench": [
                {
                    "id": "b2",
                    "house": "h1",
                    "title": "bench 2",
                    "x_m": 1,
                    "y_m": 1,
                    "length_m": 6,
                    "width_m": 1.5,
                }
            ],
            "sensor": [_bag(7, "MG-07"), _bag(9, "AV-09")],
            "batch": [_batch("MG-07", "mango"), _batch("AV-09", "avocado")],
            "person": [
                {"id": "corvin", "name": "Corvin Hale", "email": "corvin@small.example.invalid"},
                {
                    "id": "isaura",
                    "name": "Isaura Peñalver",
                    "language": "es",
                    "temperature_unit": "degF",
                    "email": "isaura@small.example.invalid",
                },
            ],
            "shift": [_shift("corvin", "18:00", "06:00"), _shift("isaura", "06:00", "18:00")],
        }
    )


@pytest.fixture(scope="session")
def small_plans() -> Mapping[str, tuple[CarePlan, ...]]:
    """Return one plan with short delays, so that a test needs few minutes."""
    plan = CarePlan.model_validate(
        {
            "id": "small-bag",
            "version": 1,
            "title": {"en": "bag", "es": "bolsa"},
            "scion": "leafy",
            "cover": ["tied_bag"],
            "source": "common practice, no source",
            "stage": {
                "healing": {
                    "vital": ["relative_humidity"],
                    "blind_after_min": 5,
                    "limit": [
                        _limit("air-dry", "relative_humidity", "low", 80.0),
                        _limit("heat", "air_temperature", "high", 38.0, **HOT),
                    ],
                }
            },
        }
    )
    return {plan.id: (plan,)}


@dataclass
class Postbox:
    """What arrived at a real mail server; it can turn all mail away, or that to some people."""

    port: int
    refusal: str | None = None
    refused: frozenset[str] = frozenset()
    mail: list[EmailMessage] = field(default_factory=list)
    recipients: list[list[str]] = field(default_factory=list)

    async def handle_DATA(self, server: object, session: object, envelope: object) -> str:  # noqa: N802
        if self.refusal is not None:
            return self.refusal
        if self.refused & set(envelope.rcpt_tos):  # type: ignore[attr-defined]
            return "550 no such person"
        content = envelope.content  # type: ignore[attr-defined]
        self.mail.append(email.message_from_bytes(content, policy=email.policy.default))
        self.recipients.append(list(envelope.rcpt_tos))  # type: ignore[attr-defined]
        return "250 kept"

    def lines(self) -> list[str]:
        return [str(message["Subject"]) for message in self.mail]


@pytest.fixture
def postbox() -> Iterator[Postbox]:
    """Run a real mail server on a free port of this machine."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    box = Postbox(port)
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield box
    finally:
        controller.stop()


@dataclass
class Nursery:
    """Store, records, watch and alert service over one folder, with a clock turned by hand."""

    folder: Path
    site: Site
    plans: Mapping[str, tuple[CarePlan, ...]]
    channels: Channels
    clock: TurnedClock
    store: SqliteStore
    records: Engine
    watch: Watch
    alerts: AlertService
    records_at: Path | str
    book: Book
    later: list[Nursery] = field(default_factory=list)

    def keep(self, minute: int, **humidity: float | None) -> None:
        """Keep a reading of each probe in the minute after FIRST; None: the probe is silent."""
        self.keep_air(minute, {"MG_07": 95.0, "AV_09": 95.0} | humidity)

    def keep_air(
        self, minute: int, humidity: Mapping[str, float | None], *, second: int = 20
    ) -> None:
        at_ms = (FIRST + minute) * MINUTE_MS + second * 1000
        readings: list[Reading] = []
        for batch, value in humidity.items():
            if value is not None:
                bag = f"bag-{int(batch[-2:])}"
                readings.append(Reading(f"{bag}/humidity", at_ms, value))
                readings.append(Reading(f"{bag}/air", at_ms, 25.0))
        self.store.keep(readings)

    def pass_minutes(self, first: int, humidity: Sequence[float | None]) -> None:
        """Live through minutes one by one: a reading in each of MG-07, then the watch turns."""
        for minute, value in enumerate(humidity, first):
            self.keep(minute, MG_07=value)
            self.close(minute)

    def close(self, minute: int) -> int:
        """Turn the clock to when the minute is due, and take a turn of the watch."""
        self.clock.turn_to(NIGHT + timedelta(minutes=minute + 1, seconds=LATENESS_S))
        return self.watch.turn()

    def db(self) -> Connection:
        """Give a connection to look at the records: use it in a with statement."""
        return reading(self.records)  # type: ignore[return-value]

    def anew(self) -> Nursery:
        """Start all parts again over the same files, as after a crash: nothing was closed."""
        again = _open(
            self.folder,
            self.site,
            self.plans,
            self.channels,
            self.clock,
            records_at=self.records_at,
        )
        self.later.append(again)
        return again

    def shut(self) -> None:
        self.store.close()
        self.records.dispose()

    def shut_all(self) -> None:
        for one in self.later:
            one.shut_all()
        self.shut()


def _open(
    folder: Path,
    site: Site,
    plans: Mapping[str, tuple[CarePlan, ...]],
    channels: Channels,
    clock: TurnedClock,
    *,
    records_at: Path | str,
) -> Nursery:
    store = SqliteStore(folder / "readings.db")
    records = open_records(records_at)
    book = Book(in_force_of(site, plans))
    watch = Watch(book, store, records, clock, lateness_s=LATENESS_S)
    alerts = AlertService(book, records, clock, channels, base_url="http://shed.invalid")
    return Nursery(
        folder,
        site,
        plans,
        channels,
        clock,
        store,
        records,
        watch,
        alerts,
        records_at,
        book,
    )


def mail_to(port: int) -> Channels:
    """Return channels that hand mail to a server on this machine."""
    server = SecretStr(f"smtp://127.0.0.1:{port}")
    return Channels(server, "watch@small.example.invalid", reach={})


@pytest.fixture
def open_nursery(
    tmp_path: Path,
    records_at: Path | str,
    small_site: Site,
    small_plans: Mapping[str, tuple[CarePlan, ...]],
) -> Iterator[Callable[[Channels], Nursery]]:
    """Open nurseries over one folder and one database of records; all are shut at the end."""
    opened: list[Nursery] = []

    def opener(channels: Channels) -> Nursery:
        nursery = _open(
            tmp_path,
            small_site,
            small_plans,
            channels,
            TurnedClock(NIGHT),
            records_at=records_at,
        )
        opened.append(nursery)
        return nursery

    yield opener
    for nursery in opened:
        nursery.shut_all()


@pytest.fixture
def nursery(open_nursery: Callable[[Channels], Nursery], postbox: Postbox) -> Nursery:
    """Return a nursery at 02:00 whose mail lands in `postbox`; the watch has begun."""
    running = open_nursery(mail_to(postbox.port))
    assert running.watch.turn() == 0
    return running


@pytest.fixture
def hot_client(serving: Callable[..., object], hot_bags: object) -> Iterator[httpx.Client]:
    """A client to Tern Hollow after four hot days."""
    with serving(hot_bags.parts) as address, httpx.Client(base_url=address, timeout=30) as one:
        yield one
