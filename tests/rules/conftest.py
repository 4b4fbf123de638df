"""A little nursery for sentences a grower could say, and a watch that is told minute by minute."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from rules.care_today import care_today
from rules.cells import MICRO, Cell, block_of, cell_in
from rules.evaluator import outlook, start, step, watchlist
from rules.model.batch import Batch, Seen, Stage
from rules.model.event import ConditionClosed, ConditionOpened, StandingChanged
from rules.model.plan import CarePlan
from rules.model.site import Site
from rules.progress import progress_on, way_out
from rules.release import release_plan
from rules.stages import found, judge_deed, judge_move

EVENING = datetime(2026, 5, 4, 13, 0, tzinfo=UTC)  # 20:00 at the nursery: night
MORNING = datetime(2026, 5, 5, 3, 0, tzinfo=UTC)  # 10:00: day
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
DEMO_PLANS = Path(__file__).parents[2] / "demo_data" / "plans"
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


def plan(drying=None, **stages) -> dict[str, tuple[CarePlan, ...]]:
    """One version of one plan; `drying` is the name of a demonstration plan to take it from."""
    text = {
        "id": "leafy",
        "version": 1,
        "title": WORDS,
        "scion": "leafy",
        "cover": ["tied_bag"],
        "source": "common practice, no source",
        "stage": stages,
    }
    if drying is not None:
        taken = tomllib.loads((DEMO_PLANS / f"{drying}.toml").read_text(encoding="utf-8"))
        text |= {"drying": taken["drying"], "scion": taken["scion"]}
    return {"leafy": (CarePlan.model_validate(text),)}


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
    plans: dict[str, tuple[CarePlan, ...]]
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


def cell(site, minute, readings):
    return cell_in(block_of(site, minute, 1, readings), minute)


@dataclass(frozen=True)
class Makers:
    """What tests build nurseries from."""

    cell: object = staticmethod(cell)
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


GRAFTED = date(2026, 5, 1)
RELEASE = {
    "source": "common practice, no source",
    "firm_days": 5,
    "open_share": [0.15, 0.4, 0.7],
    "open_every_days": 2,
    "ease_at_least_days": 7,
    "normal_days": 2,
    "light_step": 0.333,
    "light_every_days": 4,
    "least_light_share": 0.1,
    "covered_light_share": 0.25,
    "droop_hold_days": 3,
    "overdue_after_days": 3,
    "film_on_at_most_days": 365,
}
METHOD = {
    "source": "common practice, no source",
    "look_from_days": 10,
    "look_until_days": 35,
    "union_days": 30,
    "bud": "exposed",
    "says": WORDS,
}


class WayOutTold:
    """A batch to which things happen, by days since grafting, as a grower would tell it."""

    def __init__(self, make, *, cover="tied_bag", shade=0.88, begun=True):
        self.make = make
        self.cover = cover
        house = {"title": "H", "length_m": 20, "width_m": 8, "shade_fraction": shade}
        self.site = make.site(house=[{"id": "north", **house}, {"id": "south", **house}])
        plan = make.plan(healing={"vital": []})["leafy"][0].model_dump(mode="json")
        plan |= {"cover": [cover], "release": RELEASE, "method": {"cleft": METHOD}}
        self.plan = CarePlan.model_validate(plan)
        self.observations: list[dict] = []
        self.moves = [("healing", 0)] if begun else []

    @staticmethod
    def at(day: int, hour: int = 9) -> str:
        local = datetime(2026, 5, 1, hour, tzinfo=UTC) + timedelta(days=day, hours=-7)
        return local.isoformat()

    def seen(self, day: int, what: str, **more):
        self.observations.append({"at": self.at(day), "seen": what, **more})
        return self

    def moved(self, day: int, stage: str):
        self.moves.append((stage, day))
        return self

    def grown(self, day: int = 12):
        return self.seen(day, "new_growth").moved(day, "new_growth")

    def eased(self, day: int = 18):
        """Opened in three steps two days apart, and taken off a week after the first."""
        for later, share in enumerate((0.15, 0.4, 0.7)):
            self.seen(day + 2 * later, "cover_opened", share=share)
        return self.moved(day, "easing").seen(day + 7, "cover_off")

    def batch(self) -> Batch:
        stages = [
            {"stage": stage, "since": self.at(day, 10), "because": "seen"}
            for stage, day in self.moves
        ]
        written = self.make.batch(cover=self.cover, stage=stages, observation=self.observations)
        return Batch.model_validate(written)

    def way(self):
        way = way_out(self.batch(), self.plan, self.site)
        assert way is not None
        return way

    def now(self, day: int):
        today = GRAFTED + timedelta(days=day)
        return progress_on(self.batch(), self.way(), self.site, today=today)

    def asks(self, day: int, deed: Seen, share: float | None = None):
        return judge_deed(self.now(day), self.way(), deed, share=share)

    def declares(self, day: int, stage: Stage, because: str = "seen"):
        return judge_move(self.now(day), self.way(), stage, because=because)

    def steps(self, day: int):
        """Every step still to come, and how many days after grafting each is due."""
        return release_plan(self.now(day), self.way())

    def told(self, day: int):
        return [(step.kind, (step.on - GRAFTED).days) for step in self.steps(day)]

    def today(self, day: int):
        """What the batch asks of people on a day, all in one."""
        today = GRAFTED + timedelta(days=day)
        return care_today(self.batch(), self.plan, self.site, today=today)

    def found(self, day: int):
        today = GRAFTED + timedelta(days=day)
        return [
            (one.verdict.guard, (one.on - GRAFTED).days)
            for one in found(self.batch(), self.way(), self.site, today=today)
        ]


@pytest.fixture
def bench(make):
    """Return a maker of batches that are told day by day: bench(cover="none", shade=0.7)."""
    return lambda **how: WayOutTold(make, **how)
