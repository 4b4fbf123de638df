"""Days on end of the demonstration's own plans, judged minute by minute and all at once.

What takes days to come about (tomorrow's heat, sums of whole days, the stock's gift) is too slow
for drawn cases; here it all comes about, on a bag that is tied, then slips, then is mended.
"""

import itertools
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from api.site_files import read_plans
from rules.cells import CellBlock, cell_in
from rules.evaluator import EvaluatorState, start, step, sweep, watchlist
from rules.model.event import ConditionOpened
from rules.model.site import Site
from rules.sky import clear_sky_by_day_umol_m2_s

PLANS = Path(__file__).parents[2] / "demo_data" / "plans"
BEGINS = datetime(2026, 10, 22, 15, 17, tzinfo=UTC)
FIRST = int(BEGINS.timestamp()) // 60
DAYS = 6
QUANTITIES = {
    "air": ("air_temperature", "degC"),
    "damp": ("relative_humidity", "%RH"),
    "light": ("ppfd", "umol/m2/s"),
}


def sensor(name: str, channels, **place) -> dict:
    return {
        "id": name,
        "title": name,
        "topic": f"site/{name}",
        "channel": [
            {"id": one, "quantity": QUANTITIES[one][0], "unit": QUANTITIES[one][1], "path": one}
            for one in channels
        ],
        "position": [{"since": BEGINS, **place}],
    }


def batch(code: str, **changes) -> dict:
    return {
        "code": code,
        "species": "mango",
        "cultivar": "any",
        "rootstock": "any",
        "method": "cleft",
        "scion": "leafy",
        "wrap": "stretch_film",
        "cover": "tied_bag",
        "count": 10,
        "grafter": "QX",
        "grafted_on": "2026-10-21",
        "bench": "bench",
        "plan": "leafy-bag",
        "stage": [{"stage": "healing", "since": BEGINS, "because": "grafted"}],
        **changes,
    }


@pytest.fixture(scope="module")
def site() -> Site:
    place = {"title": "A nursery", "latitude_deg": 52.0, "longitude_deg": 13.0, "elevation_m": 30.0}
    house = {"id": "house", "title": "House", "shade_fraction": 0.6, "length_m": 20, "width_m": 8}
    bench = {"id": "bench", "house": "house", "title": "Bench", "x_m": 1, "y_m": 1}
    split = [{"at": "2026-10-24T11:00:00Z", "seen": "film_split"}]
    moved = {"stage": "new_growth", "since": "2026-10-26T09:30:00Z", "because": "a bud opened"}
    stages = batch("x")["stage"]
    return Site.model_validate(
        {
            "site": {**place, "time_zone": "Europe/Berlin"},  # its clock falls back on 25 October
            "lead": "lead",
            "house": [house],
            "bench": [{**bench, "length_m": 9, "width_m": 1}],
            "person": [{"id": "lead", "name": "The lead", "email": "lead@example.org"}],
            "sensor": [
                sensor("bag", ("air", "damp"), cover_of="B-1"),
                sensor("house", ("air", "damp", "light"), house="house"),
            ],
            "batch": [
                batch("B-1", stage=[*stages, moved]),
                batch(
                    "F-1",
                    scion="leafless",
                    cover="none",
                    plan="leafless-film",
                    observation=split,
                ),
            ],
        }
    )


@pytest.fixture(scope="module")
def block(site) -> CellBlock:
    chance = np.random.default_rng(11)
    minutes = FIRST + np.arange(DAYS * 1440)
    cloud = np.repeat(chance.uniform(0.5, 1.3, DAYS + 1), 1440)[: len(minutes)]
    light = clear_sky_by_day_umol_m2_s(site.site, minutes) * 0.4 * cloud
    house = 19.0 + 0.012 * light + chance.normal(0, 0.1, len(minutes))
    slipped = (np.arange(len(minutes)) // 600) % 4 == 2
    columns = {
        "bag/air": house + 0.02 * light,
        "bag/damp": np.where(slipped, 62.0, 97.0) - 0.02 * light,
        "house/air": house,
        "house/damp": 70.0 - 0.03 * light,
        "house/light": light,
    }
    means = np.stack([np.rint(columns[key] * 100) * 10_000 for key in site.channels], axis=1)
    present = chance.random(means.shape) > 0.02
    present[3000:3100] = False
    return CellBlock(FIRST, tuple(site.channels), np.where(present, means, 0).astype(int), present)


@pytest.fixture(scope="module")
def watched(site):
    plans, faults = read_plans(PLANS)
    assert not faults
    return watchlist(site, {name: (plan,) for name, plan in plans.items()})


@pytest.fixture(scope="module")
def live(watched, block):
    state, said = start(watched), []
    for minute in range(FIRST, FIRST + len(block.means)):
        state, events = step(watched, state, cell_in(block, minute))
        said.extend(events)
    return state, tuple(said)


def test_days_say_the_same_live_and_replayed(watched, block, live):
    state, events, record = sweep(watched, start(watched), block)
    assert events == live[1]
    assert state == live[0]
    opened = {(e.batch, e.condition) for e in events if isinstance(e, ConditionOpened)}
    # What the days were made for came about: else this test would prove nothing.
    assert ("B-1", "hours-short") in opened
    assert ("B-1", "reserve-low") in opened
    assert ("B-1", "drying-dose") in opened
    assert ("F-1", "film-open-dry") in opened
    assert ("F-1", "light-sum-low") in opened
    peaks = record.batches["B-1"].felt["expected_peak"]
    assert np.isnan(peaks[: 2 * 1440]).all()
    assert len(set(peaks[np.isfinite(peaks)].tolist())) >= 2


@pytest.mark.parametrize("cuts", [(1,), (720, 2881), (3050, 3051, 6000)])
def test_days_cut_and_resumed_from_text_go_on_as_if_they_had_not_been(watched, block, live, cuts):
    state, said = start(watched), []
    edges = (0, *cuts, len(block.means))
    for begin, end in itertools.pairwise(edges):
        piece = CellBlock(
            FIRST + begin, block.channels, block.means[begin:end], block.present[begin:end]
        )
        state, events, _ = sweep(watched, EvaluatorState.from_json(state.to_json()), piece)
        said.extend(events)
    assert tuple(said) == live[1]
    assert state == live[0]
