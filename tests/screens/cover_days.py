"""A small nursery after four days, in which what is reckoned matters: heat, water, sums.

MG-07 heats up in its bag and its leaves dry; AV-09 was bagged an hour ago; WL-03 stands in film
that has split. Three days are swept, as a replay would; from dusk on the watch closes every cell.
Loaded by the conftest of each folder that tests pages or the API. One file because its site, its
plans and its weather only mean something together.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from api.book import Book, in_force_of, revision_of
from api.parts import Parts
from api.records.session import open_records, writing
from api.records.states import keep_milestone, packed
from api.records.watch import WatchPosition, begin_position
from api.settings import Settings
from api.watch.clock import TurnedClock, milliseconds
from api.watch.loop import Watch
from collector.gate import Gate
from collector.ingest import Ingest
from collector.rejects import RejectLog
from collector.stores.sqlite import SqliteStore
from rules.cells import block_of
from rules.evaluator import start, sweep
from rules.model.plan import CarePlan
from rules.model.reading import MINUTE_MS, Reading
from rules.model.site import Site

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

BEGAN = datetime(2026, 11, 10, 19, 0, tzinfo=UTC)  # 06:00 at the nursery
DUSK = datetime(2026, 11, 14, 7, 0, tzinfo=UTC)  # 18:00
MORNING = datetime(2026, 11, 14, 22, 10, tzinfo=UTC)  # 09:10
SPLIT = "2026-11-15T07:00:00+11:00"
BAGGED = "2026-11-15T08:10:00+11:00"
LATENESS_S = 90
SINCE = "2026-11-11T00:00:00+11:00"


def ranged(low: float, central: float, high: float) -> dict[str, object]:
    return {"low": low, "central": central, "high": high, "source": "common practice, no source"}


BOTH = {
    "absorbed_share": ranged(0.39, 0.42, 0.45),
    "air_speed_m_s": ranged(0.04, 0.05, 0.07),
    "critical_share": ranged(0.55, 0.6, 0.65),
    "turgor_loss_share": ranged(0.75, 0.82, 0.9),
    "uptake_full_mg_h": ranged(150, 300, 600),
    "uptake_from_d": ranged(7, 10, 14),
    "uptake_full_d": ranged(24, 30, 42),
    "humidity_error_pct": ranged(-0.5, 0, 0.5),
    "leaf_temperature_error_c": ranged(-0.5, 0, 0.5),
}
LEAVES = {
    "area_cm2": ranged(290, 300, 310),
    "breadth_cm": ranged(5, 7, 9),
    "water_g_m2": ranged(145, 150, 155),
    "wood_water_g": ranged(1, 1.5, 2),
}
STICK = {
    "diameter_mm": ranged(6, 8, 10),
    "length_mm": ranged(80, 100, 120),
    "water_g_cm3": ranged(0.45, 0.5, 0.55),
    "film_conductance_mmol_m2_s": ranged(0.01, 0.02, 0.04),
}


def limit(
    name: str, quantity: str, side: str, bound: float, *, says: str, **other: object
) -> dict[str, object]:
    return {
        "id": name,
        "quantity": quantity,
        "side": side,
        "bound": bound,
        "deadband": 0.0,
        "on_delay_min": 3,
        "off_delay_min": 3,
        "full_margin": 10.0,
        "priority": "high",
        "says": {"en": says, "es": f"{says} (es)"},
        "action": {"en": "Add shade and mist inside.", "es": "Ponga sombra y rocíe por dentro."},
        **other,
    }


def dose(name: str, kind: str, quantity: str, *, says: str, **other: object) -> dict[str, object]:
    return {
        "id": name,
        "kind": kind,
        "quantity": quantity,
        "priority": "medium",
        "says": {"en": says, "es": f"{says} (es)"},
        "action": {"en": "Add a layer of shade.", "es": "Ponga otra capa de sombra."},
        **other,
    }


def plans() -> dict[str, tuple[CarePlan, ...]]:
    """Return a plan for a bag and one for film, both with all that is reckoned."""
    heat = ("air_temperature", "high")
    bag = {
        "vital": ["relative_humidity"],
        "limit": [
            limit("warm", *heat, 33.0, says="bag is warm", priority="medium", on_delay_min=20),
            limit("heat-danger", *heat, 38.0, says="bag far too hot"),
            limit("cold", "air_temperature", "low", 4.0, says="bag too cold"),
            limit("peak", "expected_peak", "high", 38.0, says="too hot tomorrow"),
            limit("reserve", "moisture_reserve", "low", 30.0, says="scion is running dry"),
            limit("hours", "hours_to_critical", "low", 36.0, says="little water left"),
            limit(
                "pull", "leaf_vapour_pressure_deficit", "high", 1.8, says="air pulls at the leaves"
            ),
            limit("leaf", "leaf_temperature", "high", 44.0, says="leaves are scorching"),
        ],
        "dose": [
            dose("light-sum", "light_sum", "ppfd", says="too much light today", bound_mol_m2=2.5),
            dose(
                "light-lack", "light_sum", "ppfd", says="little light", side="low", bound_mol_m2=1
            ),
            dose(
                "heat-sum",
                "heat_dose",
                "air_temperature",
                says="too much heat in this stage",
                base_c=33.0,
                bound_c_h=90.0,
                per="stage",
            ),
            dose("gap", "direct_sun", "ppfd", says="sun through a gap", bound_min=20.0),
        ],
    }
    film = {
        "vital": ["relative_humidity"],
        "limit": [
            limit(
                "bare",
                "vapour_pressure_deficit",
                "high",
                0.5,
                says="bare wood dries",
                film="open",
            ),
            limit("reserve", "moisture_reserve", "low", 30.0, says="scion is running dry"),
        ],
        "dose": [
            dose(
                "hot-hours",
                "hours_beyond",
                "air_temperature",
                says="hours of heat",
                base=31.0,
                beyond="high",
                bound_h=9.0,
            )
        ],
    }
    made = [
        {
            "id": "bag",
            "version": 1,
            "title": {"en": "bag", "es": "bolsa"},
            "scion": "leafy",
            "cover": ["tied_bag"],
            "source": "common practice, no source",
            "stage": {"healing": bag},
            "drying": {
                **BOTH,
                "conductance_mmol_m2_s": ranged(4.6, 4.9, 5.3),
                "uptake_first_mg_h": ranged(35, 38, 41),
                "leaves": LEAVES,
            },
        },
        {
            "id": "film",
            "version": 1,
            "title": {"en": "film", "es": "cinta"},
            "scion": "leafless",
            "cover": ["none"],
            "source": "common practice, no source",
            "stage": {"healing": film},
            "drying": {
                **BOTH,
                "conductance_mmol_m2_s": ranged(2.0, 3.0, 4.0),
                "uptake_first_mg_h": ranged(0.0, 0.2, 0.4),
                "stick": STICK,
            },
        },
    ]
    return {str(plan["id"]): (CarePlan.model_validate(plan),) for plan in made}


def sensor(name: str, quantities: dict[str, tuple[str, str]], **where: object) -> dict[str, object]:
    return {
        "id": name,
        "title": f"probe {name}",
        "topic": f"small/{name}",
        "channel": [
            {"id": key, "quantity": quantity, "unit": unit, "path": key}
            for key, (quantity, unit) in quantities.items()
        ],
        "position": [where],
    }


AIR = {"air": ("air_temperature", "degC"), "humidity": ("relative_humidity", "%RH")}


def batch(code: str, species: str, since: str, **other: object) -> dict[str, object]:
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
        "grafted_on": since[:10],
        "bench": "b2",
        "plan": "bag",
        "stage": [{"stage": "healing", "since": since, "because": "grafted"}],
        **other,
    }


def site() -> Site:
    """Return three batches on one bench, with sensors in bags, in the house, and for light."""
    shade, bench = {"length_m": 18, "width_m": 8}, {"x_m": 1, "y_m": 1}
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
            "house": [{"id": "h1", "title": "Healing house", "shade_fraction": 0.75, **shade}],
            "bench": [
                {
                    "id": "b2",
                    "house": "h1",
                    "title": "bench 2",
                    "length_m": 6,
                    "width_m": 1.5,
                    **bench,
                }
            ],
            "sensor": [
                sensor("bag-7", AIR, since=SINCE, cover_of="MG-07"),
                sensor("bag-9", AIR, since=BAGGED, cover_of="AV-09"),
                sensor("house", AIR, since=SINCE, house="h1"),
                sensor("light", {"ppfd": ("ppfd", "umol/m2/s")}, since=SINCE, house="h1"),
            ],
            "batch": [
                batch("MG-07", "mango", "2026-11-11T06:00:00+11:00"),
                batch("AV-09", "avocado", BAGGED),
                batch(
                    "WL-03",
                    "walnut",
                    "2026-11-11T06:00:00+11:00",
                    scion="leafless",
                    wrap="stretch_film",
                    cover="none",
                    plan="film",
                    observation=[{"at": SPLIT, "by": "isaura", "seen": "film_split"}],
                ),
            ],
            "person": [
                {"id": "isaura", "name": "Isaura Peñalver", "email": "isaura@small.example.invalid"}
            ],
        }
    )


def weather(minutes: int) -> dict[str, np.ndarray]:
    """Return every channel minute by minute from BEGAN on; day two cloudy, day four warmer."""
    chance = np.random.default_rng(20261115)
    hour = 6.0 + np.arange(minutes) / 60.0
    day = np.maximum(0.0, np.sin((hour % 24 - 5.2) / 13.6 * np.pi)) * ((hour % 24) < 18.8)
    cloud = np.where((hour > 24) & (hour < 48), 0.45, 0.95) + chance.normal(0, 0.04, minutes)
    light = np.maximum(0.0, 480.0 * day * cloud)
    lag = np.convolve(light, np.ones(20) / 20.0)[:minutes]
    mild = 17.5 + 3.5 * np.clip((hour - 76.0) / 4.0, 0.0, 1.0)
    house = mild + 9.0 * np.sin((hour - 9.0) / 24 * 2 * np.pi) + chance.normal(0, 0.1, minutes)
    bag = house + 0.016 * lag + chance.normal(0, 0.15, minutes)
    return {
        "bag-7/air": bag,
        "bag-7/humidity": 96.5 - 0.012 * lag + chance.normal(0, 0.4, minutes),
        "bag-9/air": bag - 1.0,
        "bag-9/humidity": np.full(minutes, 97.0),
        "house/air": house,
        "house/humidity": np.minimum(97.0, 78.0 - 2.2 * (house - 21.0)),
        "light/ppfd": light,
    }


def minute_of(at: datetime) -> int:
    return int(at.timestamp()) // 60


def readings(until: datetime) -> Sequence[Reading]:
    first = minute_of(BEGAN)
    count = minute_of(until) - first
    bagged = minute_of(datetime.fromisoformat(BAGGED)) - first
    # For forty minutes of the second night nobody could see into the bag.
    lost = range(24 * 60 + 15 * 60, 24 * 60 + 15 * 60 + 40)
    return [
        Reading(key, (first + at) * MINUTE_MS + 20_000, round(float(value), 2))
        for key, values in weather(count).items()
        for at, value in enumerate(values)
        if not (key.startswith("bag-9") and at < bagged)
        and not (key.startswith("bag-7") and at in lost)
    ]


def opened(folder: Path) -> object:
    """Open the nursery whose stores lie in a folder, on the fifth morning."""
    made, versions = site(), plans()
    store = SqliteStore(folder / "readings.db")
    records = open_records(folder / "records.db")
    clock = TurnedClock(MORNING)
    rejects = RejectLog(store.file)
    book = Book(in_force_of(made, versions))
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
    watch = Watch(
        book,
        store,
        records,
        clock,
        lateness_s=LATENESS_S,
        unwatched_after_min=100_000,
    )
    return sys.modules["pages_nursery"].Nursery(parts, store, watch, clock)


def fill(folder: Path) -> None:
    """Sweep three days and a half, then let the watch close the night and the morning."""
    nursery = opened(folder)
    parts = nursery.parts
    nursery.store.keep(readings(MORNING + timedelta(hours=8)))
    state, at, dusk = start(parts.watchlist), minute_of(BEGAN), minute_of(DUSK)
    while at < dusk:
        count = min(360 - at % 360, dusk - at)
        found = nursery.store.span(
            sorted(parts.site.channels), at * MINUTE_MS, (at + count) * MINUTE_MS
        )
        state, _, _ = sweep(parts.watchlist, state, block_of(parts.site, at, count, found))
        at += count
        with writing(parts.records) as db:
            keep_milestone(db, at, packed(state))
    with writing(parts.records) as db:
        begin_position(
            db,
            WatchPosition(
                began_minute=minute_of(BEGAN),
                next_minute=dusk,
                sequence=0,
                revision=revision_of(parts.site, parts.plans),
                state=packed(state),
            ),
        )
    nursery.watch.turn()
    nursery.close()


def watch_on(parts: Parts, *, minutes: int) -> None:
    """Let a watch of these parts close some more minutes, as after an edit of the plans."""
    watch = Watch(
        parts.book,
        parts.store,
        parts.records,
        parts.clock,
        lateness_s=LATENESS_S,
        unwatched_after_min=100_000,
    )
    parts.clock.turn_by(timedelta(minutes=minutes))
    watch.turn()
