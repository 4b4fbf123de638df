"""Small sites, plans and stretches of cells, with values drawn from the edges of the limits.

One file because every agreement test draws from all of it, and test files do not import each other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import strategies as st

from rules.air import vapour_pressure_deficit_kpa
from rules.cells import MICRO, CellBlock
from rules.cover import CoverRecord
from rules.cover_ahead import HouseHours
from rules.cover_watch import CoverWatch
from rules.doubt import FIGURES, Figures
from rules.evaluator import EvaluatorState, Watchlist, start, watchlist
from rules.local_time import day_span_ms
from rules.model.plan import CarePlan, StagePlan
from rules.model.quantities import Felt, Quantity
from rules.model.site import Site
from rules.quality import PLAUSIBLE
from rules.reckoning import Reckoned
from rules.state import NEW
from rules.sun import sunrise_and_sunset

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

PLACES = (
    # One zone whose clock leaps on the drawn day, one whose clock falls back, one without either.
    ("Europe/Berlin", 52.0, 12.0, date(2026, 3, 29)),
    ("America/New_York", 40.0, -75.0, date(2026, 11, 1)),
    ("Asia/Bangkok", 14.0, 100.5, date(2026, 5, 4)),
)

BOUNDS = {
    Felt.AIR_TEMPERATURE: (20.0, 32.0, 38.0),
    Felt.RELATIVE_HUMIDITY: (80.0, 90.0, 99.9),
    Felt.VAPOUR_PRESSURE_DEFICIT: (0.3, 0.6, 1.2),
    Felt.PPFD: (300.0, 600.0),
    Felt.LEAF_TEMPERATURE: (42.0,),
    Felt.AIR_SPEED: (2.0,),
    Felt.SUBSTRATE_MOISTURE: (30.0,),
    Felt.LEAF_DEFICIT: (0.3, 1.0, 2.0),
    Felt.RESERVE: (60.0, 97.0, 99.0, 100.0),
    Felt.HOURS_TO_CRITICAL: (1.0, 6.0, 24.0, 1000.0),
    Felt.EXPECTED_PEAK: (36.0, 41.0),
}
DEADBANDS = {
    Felt.AIR_TEMPERATURE: (0.0, 0.5, 2.0),
    Felt.RELATIVE_HUMIDITY: (0.0, 0.1, 3.0),
    Felt.VAPOUR_PRESSURE_DEFICIT: (0.0, 0.05, 0.2),
    Felt.PPFD: (0.0, 50.0),
    Felt.LEAF_TEMPERATURE: (0.0, 1.0),
    Felt.AIR_SPEED: (0.0, 0.3),
    Felt.SUBSTRATE_MOISTURE: (0.0, 2.0),
    Felt.LEAF_DEFICIT: (0.0, 0.1),
    Felt.RESERVE: (0.0, 1.0),
    Felt.HOURS_TO_CRITICAL: (0.0, 0.5),
    Felt.EXPECTED_PEAK: (0.0, 0.5),
}
PER_FIGURE = {"source": "drawn"}
DRYING = {
    name: {"low": low, "central": central, "high": high, **PER_FIGURE}
    for name, (low, central, high) in {
        "conductance_mmol_m2_s": (3.0, 5.0, 9.0),
        "absorbed_share": (0.3, 0.4, 0.5),
        "air_speed_m_s": (0.02, 0.05, 0.15),
        "critical_share": (0.55, 0.6, 0.65),
        "turgor_loss_share": (0.75, 0.82, 0.9),
        "uptake_first_mg_h": (5.0, 20.0, 40.0),
        "uptake_full_mg_h": (150.0, 300.0, 600.0),
        "uptake_from_d": (0.0, 1.0, 2.0),
        "uptake_full_d": (1.0, 2.0, 3.0),
        "humidity_error_pct": (-2.0, 0.0, 2.0),
        "leaf_temperature_error_c": (-0.5, 0.0, 0.5),
    }.items()
} | {
    # Little water: a reserve that moves within the hour.
    "leaves": {
        name: {"low": low, "central": central, "high": high, **PER_FIGURE}
        for name, (low, central, high) in {
            "area_cm2": (250.0, 300.0, 350.0),
            "breadth_cm": (5.0, 7.0, 9.0),
            "water_g_m2": (20.0, 25.0, 30.0),
            "wood_water_g": (0.0, 0.1, 0.2),
        }.items()
    }
}
STICK = {name: figure for name, figure in DRYING.items() if name != "leaves"} | {
    "stick": {
        name: {"low": low, "central": central, "high": high, **PER_FIGURE}
        for name, (low, central, high) in {
            "diameter_mm": (5.0, 6.0, 7.0),
            "length_mm": (90.0, 100.0, 120.0),
            "water_g_cm3": (0.05, 0.06, 0.07),
            "film_conductance_mmol_m2_s": (0.5, 1.0, 2.0),
        }.items()
    }
}
DOSES = (
    {"kind": "light_sum", "quantity": "ppfd", "bound_mol_m2": 0.18},
    {"kind": "light_sum", "quantity": "ppfd", "bound_mol_m2": 0.02},
    {
        "kind": "drying_dose",
        "quantity": "vapour_pressure_deficit",
        "base_kpa": 0.3,
        "bound_kpa_h": 0.05,
    },
    {
        "kind": "drying_dose",
        "quantity": "leaf_vapour_pressure_deficit",
        "base_kpa": 0.1,
        "bound_kpa_h": 0.1,
    },
    {"kind": "heat_dose", "quantity": "air_temperature", "base_c": 20.0, "bound_c_h": 0.5},
    {
        "kind": "hours_beyond",
        "quantity": "relative_humidity",
        "base": 90.0,
        "beyond": "low",
        "bound_h": 0.1,
    },
    {
        "kind": "hours_beyond",
        "quantity": "moisture_reserve",
        "base": 97.0,
        "beyond": "low",
        "bound_h": 0.05,
    },
    {"kind": "direct_sun", "quantity": "ppfd", "bound_min": 3.0},
)
# What a channel of each quantity reads when the batch feels `value`.
FROM_FELT = {
    Quantity.AIR_TEMPERATURE: (Felt.AIR_TEMPERATURE, 1.0),
    Quantity.RELATIVE_HUMIDITY: (Felt.RELATIVE_HUMIDITY, 1.0),
    Quantity.PPFD: (Felt.PPFD, 1.0),
    Quantity.ILLUMINANCE: (Felt.PPFD, 54.0),
    Quantity.IRRADIANCE: (Felt.PPFD, 0.5),
    Quantity.LEAF_TEMPERATURE: (Felt.LEAF_TEMPERATURE, 1.0),
    Quantity.AIR_SPEED: (Felt.AIR_SPEED, 1.0),
    Quantity.SUBSTRATE_MOISTURE: (Felt.SUBSTRATE_MOISTURE, 1.0),
}
WORDS = {"en": "words", "es": "palabras"}

SHORT = Figures(
    run_gap_min=5,
    stuck_min=8,
    stuck_moved_c=0.1,
    dark_min=6,
    wet_min=4,
    wet_from_pct=96.0,
    wet_swing_c=0.1,
    apart_min=4,
    glow_min=3,
)
"""Windows about as long as the rows of equal values that are drawn."""


@dataclass(frozen=True)
class Case:
    """A site, its plans, and the cells to judge; `cut` is somewhere inside the block.

    With `learnt` the first batch's cover has been watched for days before the first cell.
    `figures` are those of the quality tests, with windows as short as the block, or the usual ones.
    """

    site: Site
    plans: dict[str, tuple[CarePlan, ...]]
    block: CellBlock
    cut: int
    learnt: bool
    figures: Figures

    def watchlist(self) -> Watchlist:
        return watchlist(self.site, self.plans, figures=self.figures)

    def start(self) -> EvaluatorState:
        watched = self.watchlist()
        state = start(watched)
        probe = (
            watched.batches[0].span_at(self.block.first_minute).speakers.get(Felt.AIR_TEMPERATURE)
        )
        if not self.learnt or probe is None:
            return state
        # Three days of light and warmth, in half hours of whole numbers, and two of house air.
        first = self.block.first_minute // 30 * 30
        spans = tuple(
            (first - 30 * back, 40 + 20 * (back % 20), 120 + 60 * (back % 20) + 7 * (back % 3))
            for back in range(140, 0, -1)
        )
        hours = tuple(2000 + 40 * hour for hour in range(24))
        reckoned = Reckoned(
            cover=CoverWatch(
                record=CoverRecord(spans=spans),
                since=probe.since_minute,
                house=HouseHours(last=hours, before=tuple(hour - 150 for hour in hours)),
            )
        )
        code = watched.batches[0].code
        return replace(state, batches={**state.batches, code: replace(NEW, reckoned=reckoned)})


@st.composite
def limits(draw, name: str):
    felt = draw(st.sampled_from(tuple(Felt)))
    bound = draw(st.sampled_from(BOUNDS[felt]))
    if felt is Felt.VAPOUR_PRESSURE_DEFICIT and draw(st.booleans()):
        # A deficit that some drawn temperature and humidity give to the millionth.
        air = vapour_pressure_deficit_kpa(np.array([32.0]), np.array([90.0]))
        bound = float(np.rint(air[0] * MICRO) / MICRO)
    return {
        "id": name,
        "quantity": felt,
        "side": draw(st.sampled_from(("low", "high"))),
        "bound": bound,
        "when": draw(st.sampled_from(("always", "always", "day", "night"))),
        "film": draw(st.sampled_from((None, None, None, "open"))),
        "deadband": draw(st.sampled_from(DEADBANDS[felt])),
        "on_delay_min": draw(st.integers(0, 5)),
        "off_delay_min": draw(st.integers(0, 4)),
        "full_margin": draw(st.sampled_from((0.5, 5.0))),
        "priority": draw(st.sampled_from(("high", "medium", "low"))),
        "says": WORDS,
        "action": WORDS,
    }


@st.composite
def doses(draw, name: str):
    dose = dict(draw(st.sampled_from(DOSES)))
    side, per = draw(
        st.sampled_from((("high", "local_day"), ("low", "local_day"), ("high", "stage")))
    )
    when = draw(st.sampled_from(("always", "always", "day", "night")))
    priority = draw(st.sampled_from(("high", "medium", "low")))
    words = {"says": WORDS, "action": WORDS}
    return {
        "id": name,
        **dose,
        "side": side,
        "per": per,
        "when": when,
        "priority": priority,
    } | words


@st.composite
def stage_plans(draw):
    count = draw(st.sampled_from((4, 3, 2, 1, 0)))
    return {
        "vital": draw(
            st.sampled_from(
                (
                    [Felt.AIR_TEMPERATURE],
                    [Felt.RELATIVE_HUMIDITY],
                    [],
                    [Felt.VAPOUR_PRESSURE_DEFICIT, Felt.PPFD],
                    [Felt.AIR_TEMPERATURE, Felt.SUBSTRATE_MOISTURE],
                )
            )
        ),
        "blind_after_min": draw(st.integers(0, 5)),
        "limit": [draw(limits(f"limit-{i}")) for i in range(count)],
        "dose": [draw(doses(f"dose-{i}")) for i in range(draw(st.sampled_from((0, 1, 2))))],
    }


@st.composite
def moments(draw, start: datetime, minutes: int):
    """An instant shortly before, inside or shortly after the block, often off the minute."""
    minute = draw(st.integers(-5, minutes + 5))
    second = draw(st.sampled_from((0, 0, 1, 30)))
    return start + timedelta(minutes=minute, seconds=second)


@st.composite
def positions(draw, start: datetime, minutes: int):
    found = []
    if draw(st.sampled_from((True, True, True, False))):
        until = draw(st.one_of(st.none(), st.none(), moments(start, minutes)))
        found.append({"since": start - timedelta(days=2), "until": until, "cover_of": "b-0"})
    for _ in range(draw(st.integers(0 if found else 1, 2))):
        place = draw(
            st.sampled_from(
                (
                    {"cover_of": "b-0"},
                    {"bench": "bench-0"},
                    {"cover_of": "b-1"},
                    {"house": "house-0"},
                    {"house": "house-1"},
                    {"open_sky": True},
                )
            )
        )
        since = draw(st.one_of(st.just(start - timedelta(days=2)), moments(start, minutes)))
        until = draw(st.one_of(st.none(), moments(start, minutes)))
        if until is not None and until <= since:
            until = None
        found.append({"since": since, "until": until, **place})
    return found


@st.composite
def sensors(draw, index: int, start: datetime, minutes: int):
    quantities = draw(
        st.sampled_from(
            (
                (Quantity.AIR_TEMPERATURE, Quantity.RELATIVE_HUMIDITY),
                (Quantity.AIR_TEMPERATURE, Quantity.RELATIVE_HUMIDITY),
                (Quantity.AIR_TEMPERATURE, Quantity.RELATIVE_HUMIDITY, Quantity.LEAF_TEMPERATURE),
                (Quantity.RELATIVE_HUMIDITY,),
                (Quantity.AIR_TEMPERATURE, Quantity.ILLUMINANCE),
                (Quantity.PPFD, Quantity.AIR_SPEED),
                (Quantity.IRRADIANCE, Quantity.SUBSTRATE_MOISTURE),
            )
        )
    )
    units = {
        Quantity.AIR_TEMPERATURE: "degC",
        Quantity.LEAF_TEMPERATURE: "degC",
        Quantity.RELATIVE_HUMIDITY: "%RH",
        Quantity.PPFD: "umol/m2/s",
        Quantity.ILLUMINANCE: "lx",
        Quantity.IRRADIANCE: "W/m2",
        Quantity.AIR_SPEED: "m/s",
        Quantity.SUBSTRATE_MOISTURE: "%",
    }
    return {
        "id": f"s-{index}",
        "title": "A sensor",
        "topic": f"site/s-{index}",
        "channel": [
            {
                "id": quantity.value,
                "quantity": quantity,
                "unit": units[quantity],
                "path": "value",
                "stale_after_min": draw(st.integers(1, 4)),
                "source": "sun"
                if quantity in {Quantity.ILLUMINANCE, Quantity.IRRADIANCE}
                else None,
            }
            for quantity in quantities
        ],
        "position": draw(positions(start, minutes)),
    }


def settled_sensor(start: datetime):
    """A probe of temperature and humidity that has long been in the first batch's bag."""
    quantities = (("air_temperature", "degC"), ("relative_humidity", "%RH"))
    return {
        "id": "settled",
        "title": "A sensor",
        "topic": "site/settled",
        "channel": [
            {"id": quantity, "quantity": quantity, "unit": unit, "path": "v", "stale_after_min": 2}
            for quantity, unit in quantities
        ],
        "position": [{"since": start - timedelta(days=2), "cover_of": "b-0"}],
    }


@st.composite
def batches(draw, index: int, start: datetime, minutes: int):
    stages = draw(
        st.lists(
            st.sampled_from(("healing", "easing", "healing", "easing", "hardening", "closed")),
            min_size=1,
            max_size=3,
        )
    )
    first = draw(st.sampled_from((start - timedelta(days=1), start - timedelta(days=1), start)))
    since = sorted({first, *(draw(moments(start, minutes)) for _ in stages[1:])})
    moves = [
        {"stage": stage, "since": at, "because": "seen"}
        for stage, at in zip(stages, since, strict=False)
    ]
    seen = []
    if draw(st.booleans()):
        turns = draw(
            st.lists(st.sampled_from(["cover_off", "cover_closed"]), min_size=1, max_size=3)
        )
        seen = [{"at": draw(moments(start, minutes)), "seen": turn} for turn in turns]
    told = st.sampled_from(("grafted", "droop", "film_split", "film_off", "rewrapped", "watered"))
    for what in draw(st.lists(told, max_size=2)):
        seen.append({"at": draw(moments(start, minutes)), "seen": what})
    cover = draw(st.sampled_from(("tied_bag", "none")))
    return {
        "code": f"b-{index}",
        "species": "mango",
        "cultivar": "any",
        "rootstock": "any",
        "method": "cleft",
        "scion": "leafy",
        "wrap": draw(st.sampled_from(("stretch_film", "none"))) if cover != "none" else "tape",
        "cover": cover,
        "count": 10,
        "grafter": "QX",
        "grafted_on": start.date() - timedelta(days=draw(st.integers(0, 2))),
        "bench": f"bench-{index}",
        "plan": "leafy",
        "stage": moves,
        "observation": seen,
    }


@st.composite
def columns(draw, quantity: Quantity, minutes: int):
    """A channel's means: rows of equal or rising values, and gaps, about as long as the delays."""
    felt, factor = FROM_FELT[quantity]
    edges = sorted(
        {
            int(np.rint((bound + sign * deadband) * factor * MICRO)) + nudge
            for bound in BOUNDS[felt]
            for deadband in DEADBANDS[felt]
            for sign in (-1, 0, 1)
            for nudge in (-100_000, -1, 0, 1, 100_000)
        }
    )
    bounds = PLAUSIBLE[quantity]
    low, high = int(bounds.floor * MICRO), int(bounds.ceiling * MICRO)
    values = np.zeros(minutes, dtype=np.int64)
    present = np.zeros(minutes, dtype=np.bool_)
    if draw(st.booleans()):
        # One slow slope with a few gaps: what makes a batch drift.
        pace = draw(st.sampled_from((0, -20_000, 20_000, -60_000, 60_000)))
        begin = draw(st.sampled_from(edges)) - pace * draw(st.integers(0, 100))
        values = np.clip(begin + pace * np.arange(minutes, dtype=np.int64), low, high)
        present = ~np.isin(np.arange(minutes), draw(st.lists(st.integers(0, minutes), max_size=4)))
        return np.where(present, values, 0), present
    at = 0
    while at < minutes:
        length = draw(st.sampled_from((1, 2, 3, 4, 5, 6, 9, 14, 35)))
        kind = draw(st.sampled_from(("row", "slope", "row", "slope", "flicker", "gap")))
        value = draw(st.sampled_from(edges))
        rows = slice(at, min(at + length, minutes))
        place = np.arange(rows.stop - rows.start)
        match kind:
            case "gap":
                pass
            case "flicker":
                values[rows] = np.where(place % 2 == 0, value, draw(st.sampled_from(edges)))
                present[rows] = True
            case "slope":
                values[rows] = value + place * draw(
                    st.sampled_from((-400_000, -20_000, 30_000, 200_000))
                )
                present[rows] = True
            case _:
                values[rows] = value
                present[rows] = True
        at += length
    return np.where(present, np.clip(values, low, high), 0), present


@st.composite
def calm_limits(draw):
    """Limits with room between them, so that a slow change drifts before it breaks one."""
    bounds = (
        (Felt.AIR_TEMPERATURE, "high", 38.0, 0.5),
        (Felt.AIR_TEMPERATURE, "low", 20.0, 0.5),
        (Felt.RELATIVE_HUMIDITY, "low", 80.0, 1.0),
        (Felt.VAPOUR_PRESSURE_DEFICIT, "high", 1.2, 0.05),
    )
    return {
        "vital": [Felt.AIR_TEMPERATURE],
        "limit": [
            {
                **draw(limits(f"calm-{i}")),
                "quantity": felt,
                "side": side,
                "bound": bound,
                "deadband": deadband,
                "priority": draw(st.sampled_from(("high", "medium", "low"))),
            }
            for i, (felt, side, bound, deadband) in enumerate(bounds)
        ],
    }


@st.composite
def calm_columns(draw, quantity: Quantity, minutes: int):
    """A channel that changes slowly from a comfortable value, with a few gaps."""
    begin = {Quantity.AIR_TEMPERATURE: 28.0, Quantity.RELATIVE_HUMIDITY: 90.0}.get(quantity, 10.0)
    pace = draw(st.sampled_from((0, 40_000, -40_000, 90_000, -90_000, 150_000)))
    values = int(begin * MICRO) + pace * np.arange(minutes, dtype=np.int64)
    gaps = draw(st.lists(st.integers(0, minutes), max_size=6))
    present = ~np.isin(np.arange(minutes), gaps)
    bounds = PLAUSIBLE[quantity]
    low, high = int(bounds.floor * MICRO), int(bounds.ceiling * MICRO)
    return np.where(present, np.clip(values, low, high), 0), present


def one_limit_edited(plan: StagePlan) -> StagePlan:
    """Return the same with another delay of its first limit: all others go on."""
    if not plan.limit:
        return plan
    first, *rest = plan.limit
    later = first.model_copy(update={"on_delay_min": first.on_delay_min + 1})
    return plan.model_copy(update={"limit": (later, *rest)})


@st.composite
def cases(draw, *, calm: bool | None = None) -> Case:
    """A case of any kind; `calm` asks for slow changes under a probe that stays in its bag."""
    settled = calm is True
    zone, latitude, longitude, day = draw(st.sampled_from(PLACES))
    minutes = draw(st.sampled_from((120, 80) if settled else (80, 120, 40, 8, 1)))
    place = {
        "title": "A nursery",
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "elevation_m": 20.0,
        "time_zone": zone,
    }
    house = {"title": "A house", "shade_fraction": 0.5, "length_m": 20.0, "width_m": 8.0}
    bench = {"title": "A bench", "x_m": 1, "y_m": 1, "length_m": 5, "width_m": 1}
    bare = {
        "site": place,
        "lead": "lead",
        "house": [{"id": "house-0", **house}, {"id": "house-1", **house}],
        "bench": [
            {"id": "bench-0", "house": "house-0", **bench},
            {"id": "bench-1", "house": "house-1", **bench},
        ],
        "person": [{"id": "lead", "name": "The lead", "email": "lead@example.org"}],
    }
    here = Site.model_validate(bare).site
    midnight = day_span_ms(day, here)[1] // 60_000
    turn = draw(st.sampled_from((*sunrise_and_sunset(here, day), midnight)))
    first = turn - draw(st.integers(0, minutes))
    start = EPOCH + timedelta(minutes=first)
    site = Site.model_validate(
        {
            **bare,
            "sensor": [draw(sensors(i, start, minutes)) for i in range(draw(st.integers(2, 4)))],
            "batch": [draw(batches(i, start, minutes)) for i in range(draw(st.integers(1, 2)))],
        }
    )
    calm = settled or draw(st.sampled_from((False, True, False)))
    scion = draw(st.sampled_from(("leafy", "leafless")))
    plan = CarePlan.model_validate(
        {
            "id": "leafy",
            "drying": STICK if scion == "leafless" else DRYING,
            "version": 1,
            "title": WORDS,
            "scion": scion,
            "cover": ["tied_bag"],
            "source": "drawn",
            "stage": {
                "healing": draw(calm_limits() if calm else stage_plans()),
                "easing": draw(stage_plans()),
            },
        }
    )
    plans = (plan,)
    if draw(st.booleans()):
        as_it_was = plan.stage["healing"]
        edited = draw(
            st.one_of(stage_plans(), st.sampled_from((as_it_was, one_limit_edited(as_it_was))))
        )
        begins = draw(moments(start, minutes))
        newer = {"version": 2, "in_force_from": begins, "stage": {**plan.stage, "healing": edited}}
        plans = (plan, CarePlan.model_validate(plan.model_dump() | newer))
    column = calm_columns if calm else columns
    drawn = [draw(column(channel.quantity, minutes)) for channel in site.channels.values()]
    present = np.stack([present for _, present in drawn], axis=1)
    # Some of the silences are of sensors that spoke, but nothing that could be believed.
    unbelieved = draw(st.sampled_from((0, 0, 2, 3)))
    refused = ~present & (np.arange(present.size).reshape(present.shape) % 4 < unbelieved)
    block = CellBlock(
        first_minute=first,
        channels=tuple(site.channels),
        means=np.stack([values for values, _ in drawn], axis=1),
        present=present,
        refused=refused,
    )
    return Case(
        site,
        {"leafy": plans},
        block,
        cut=draw(st.integers(0, minutes)),
        learnt=draw(st.booleans()),
        figures=draw(st.sampled_from((FIGURES, SHORT))),
    )


@pytest.fixture(scope="session")
def drawn_cases():
    """The strategy for whole cases; drawn inside a test, as test files do not import each other."""
    return cases()


@pytest.fixture(scope="session")
def calm_cases():
    """The strategy for cases in which little happens, slowly: batches drift in many of them."""
    return cases(calm=True)
