"""A little nursery for sentences a grower could say, and a watch that is told minute by minute."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import pytest

from rules.cells import MICRO, Cell
from rules.evaluator import outlook, start, step, watchlist
from rules.model.event import ConditionClosed, ConditionOpened, StandingChanged
from rules.model.plan import CarePlan
from rules.model.site import Site

EVENING = datetime(2026, 5, 4, 13, 0, tzinfo=UTC)  # 20:00 at the nursery: night
MORNING = datetime(2026, 5, 5, 3, 0, tzinfo=UTC)  # 10:00: day
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
WORDS = {"en": "words", "es": "palabras"}


def limit(name, quantity, side, bound, **changes):
    """A limit as a plan writes it; a deadband of 2 and delays of 5 and 3 minutes unless told."""
    return {
        "id": name,
        "quantity": quantity,
        "side": side,
        "bound": bound,
        "deadband": 2.0,
        "on_delay_min": 5,
        "off_delay_min": 3,
        "full_margin": 10.0,
        "priority": "high",
        "says": WORDS,
        "action": WORDS,
        **changes,
    }


def plan(**stages) -> dict[str, CarePlan]:
    return {
        "leafy": CarePlan.model_validate(
            {
                "id": "leafy",
                "version": 1,
                "title": WORDS,
                "scion": "leafy",
                "cover": ["tied_bag"],
                "source": "common practice, no source",
                "stage": stages,
            }
        )
    }


def batch(code="MG-07", **changes):
    return {
        "code": code,
        "species": "mango",
        "cultivar": "any",
        "rootstock": "any",
        "method": "cleft",
        "scion": "leafy",
        "wrap": "stretch_film",
        "cover": "tied_bag",
        "count": 40,
        "grafter": "QX",
        "grafted_on": "2026-05-01",
        "bench": "bench-2",
        "plan": "leafy",
        "stage": [{"stage": "healing", "since": "2026-05-01T00:00:00Z", "because": "grafted"}],
        **changes,
    }


def sensor(name="bag-07", quantities=("air_temperature", "relative_humidity"), **place):
    units = {
        "air_temperature": "degC",
        "leaf_temperature": "degC",
        "relative_humidity": "%RH",
        "ppfd": "umol/m2/s",
        "illuminance": "lx",
        "irradiance": "W/m2",
        "air_speed": "m/s",
        "substrate_moisture": "%",
    }
    where = place.pop("position", None) or [
        {"since": "2026-05-01T00:00:00Z", **(place or {"cover_of": "MG-07"})}
    ]
    return {
        "id": name,
        "title": name,
        "topic": f"site/{name}",
        "channel": [
            {
                "id": quantity,
                "quantity": quantity,
                "unit": units[quantity],
                "path": "v",
                "stale_after_min": 5,
                "source": "sun" if quantity in {"illuminance", "irradiance"} else None,
            }
            for quantity in quantities
        ],
        "position": where,
    }


def site(**changes) -> Site:
    bench = {"house": "north", "title": "B", "x_m": 1, "y_m": 1, "length_m": 4, "width_m": 1}
    house = {"title": "H", "shade_fraction": 0.5, "length_m": 20, "width_m": 8}
    return Site.model_validate(
        {
            "site": {
                "title": "A nursery",
                "latitude_deg": 14.0,
                "longitude_deg": 100.5,
                "elevation_m": 20.0,
                "time_zone": "Asia/Bangkok",
            },
            "lead": "lead",
            "house": [{"id": "north", **house}, {"id": "south", **house}],
            "bench": [{"id": "bench-2", **bench}, {"id": "bench-3", **bench}],
            "person": [{"id": "lead", "name": "The lead", "email": "lead@example.org"}],
            "sensor": [sensor()],
            "batch": [batch()],
            **changes,
        }
    )


@dataclass
class Night:
    """A watch that is told what the sensors say, minute by minute, and remembers what it said."""

    site: Site
    plans: dict[str, CarePlan]
    at: datetime = EVENING
    events: list = field(default_factory=list)

    def __post_init__(self):
        self.minute = (self.at - EPOCH) // timedelta(minutes=1)
        self.first = self.minute
        self.watched = watchlist(self.site, self.plans)
        self.state = start(self.watched)

    def tell(self, minutes: int = 1, **values: float):
        """Let `minutes` pass while every named channel says its value; the others are silent."""
        means = {
            key.replace("__", "/").replace("_of_", "-"): round(value * MICRO)
            for key, value in values.items()
        }
        for _ in range(minutes):
            self.state, said = step(self.watched, self.state, Cell(self.minute, means))
            self.events.extend(said)
            self.minute += 1
        return self

    def bag(self, minutes: int = 1, *, temperature: float = 26.0, humidity: float = 95.0):
        """Let the probe under the bag speak for `minutes`."""
        return self.tell(
            minutes,
            bag_of_07__air_temperature=temperature,
            bag_of_07__relative_humidity=humidity,
        )

    def silence(self, minutes: int = 1):
        return self.tell(minutes)

    def now(self, code="MG-07"):
        shown = outlook(self.watched, self.state, self.minute - 1)
        return next(one for one in shown if one.code == code)

    def opened(self):
        """What opened, as (condition, minutes after the start, minutes after the start since)."""
        return [
            (e.condition, e.minute - self.first, e.since_minute - self.first)
            for e in self.events
            if isinstance(e, ConditionOpened)
        ]

    def closed(self):
        return [
            (e.condition, e.minute - self.first)
            for e in self.events
            if isinstance(e, ConditionClosed)
        ]

    def standings(self):
        return [e.after for e in self.events if isinstance(e, StandingChanged)]


@dataclass(frozen=True)
class Makers:
    """What tests build nurseries from."""

    site: object = staticmethod(site)
    batch: object = staticmethod(batch)
    sensor: object = staticmethod(sensor)
    plan: object = staticmethod(plan)
    limit: object = staticmethod(limit)
    night: type = Night
    evening: datetime = EVENING
    morning: datetime = MORNING


@pytest.fixture(scope="session")
def make() -> Makers:
    return Makers()


@pytest.fixture
def night(make) -> Night:
    """A night over one bagged batch that must not fall below 80 % for five minutes."""
    stage = {
        "vital": ["relative_humidity"],
        "blind_after_min": 4,
        "limit": [limit("air_too_dry", "relative_humidity", "low", 80.0)],
    }
    return Night(site(), plan(healing=stage))
