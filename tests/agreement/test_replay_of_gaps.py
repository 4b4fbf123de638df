"""A replay never calls a batch steady in a gap, wherever the gaps are and however it is cut."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.cells import MICRO, CellBlock
from rules.evaluator import watchlist
from rules.model.event import Standing
from rules.model.plan import CarePlan
from rules.model.site import Site
from rules.replay import Book, Tally, begin, replay, standing_minutes

FIRST = 29_653_260
MINUTES = 360
STALE_MIN = 5
BATCHES = ("MG-07", "AV-09")


def batch(code: str) -> dict[str, object]:
    return {
        "code": code,
        "species": "mango",
        "cultivar": "early yellow",
        "rootstock": "local seedling",
        "method": "side_veneer",
        "scion": "leafy",
        "wrap": "tape",
        "cover": "tied_bag",
        "count": 24,
        "grafter": "TQ",
        "grafted_on": "2026-05-01",
        "bench": "b",
        "plan": "bag",
        "stage": [{"stage": "healing", "since": "2026-05-01T10:00:00+11:00", "because": "x"}],
    }


def sensor(code: str) -> dict[str, object]:
    return {
        "id": code.lower(),
        "title": code,
        "topic": f"gaps/{code}",
        "channel": [
            {
                "id": "humidity",
                "quantity": "relative_humidity",
                "unit": "%RH",
                "path": "h",
                "stale_after_min": STALE_MIN,
            }
        ],
        "position": [{"since": "2026-05-01T00:00:00+11:00", "cover_of": code}],
    }


@pytest.fixture(scope="module")
def book() -> Book:
    site = Site.model_validate(
        {
            "lead": "isaura",
            "site": {
                "title": "Tern Hollow",
                "latitude_deg": -24.0,
                "longitude_deg": 160.0,
                "elevation_m": 40.0,
                "time_zone": "Etc/GMT-11",
            },
            "house": [
                {"id": "h", "title": "H", "shade_fraction": 0.8, "length_m": 9, "width_m": 9}
            ],
            "bench": [
                {
                    "id": "b",
                    "house": "h",
                    "title": "bench",
                    "x_m": 1,
                    "y_m": 1,
                    "length_m": 6,
                    "width_m": 1,
                }
            ],
            "person": [{"id": "isaura", "name": "Isaura", "email": "isaura@example.invalid"}],
            "sensor": [sensor(code) for code in BATCHES],
            "batch": [batch(code) for code in BATCHES],
        }
    )
    return Book(site, watchlist(site, {"bag": (plan(80.0),)}))


def plan(bound: float) -> CarePlan:
    return CarePlan.model_validate(
        {
            "id": "bag",
            "version": 1,
            "title": {"en": "bag", "es": "bolsa"},
            "scion": "leafy",
            "cover": ["tied_bag"],
            "source": "common practice, no source",
            "stage": {
                "healing": {
                    "vital": ["relative_humidity"],
                    "blind_after_min": 10,
                    "limit": [
                        {
                            "id": "air-dry",
                            "quantity": "relative_humidity",
                            "side": "low",
                            "bound": bound,
                            "deadband": 2.0,
                            "on_delay_min": 3,
                            "off_delay_min": 3,
                            "full_margin": 10.0,
                            "priority": "medium",
                            "says": {"en": "dry", "es": "seco"},
                            "action": {"en": "Mist.", "es": "Rocíe."},
                        }
                    ],
                }
            },
        }
    )


GAPS = st.lists(
    st.tuples(st.integers(0, 1), st.integers(0, MINUTES), st.integers(1, 90)), max_size=6
)
CUTS = st.lists(st.integers(1, MINUTES - 1), max_size=4, unique=True)


def block_of(gaps, seed: int) -> CellBlock:
    chance = np.random.default_rng(seed)
    means = np.rint(chance.uniform(74.0, 99.0, (MINUTES, 2)) * 10).astype(np.int64) * MICRO // 10
    present = np.ones((MINUTES, 2), dtype=bool)
    for column, begins, lasts in gaps:
        present[begins : begins + lasts, column] = False
    keys = tuple(f"{code.lower()}/humidity" for code in BATCHES)
    return CellBlock(FIRST, keys, np.where(present, means, 0), present)


def cut(block: CellBlock, cuts) -> list[CellBlock]:
    edges = [0, *sorted(cuts), MINUTES]
    return [
        replace(
            block,
            first_minute=FIRST + a,
            means=block.means[a:b],
            present=block.present[a:b],
        )
        for a, b in itertools.pairwise(edges)
    ]


@given(gaps=GAPS, cuts=CUTS, seed=st.integers(0, 99))
@settings(deadline=None)
def test_in_a_gap_no_batch_is_ever_steady(book, gaps, cuts, seed):
    block = block_of(gaps, seed)
    stood = {code: [] for code in BATCHES}
    for _, passage in replay(book, cut(block, cuts)):
        for code, standings in standing_minutes(passage).items():
            stood[code] += standings
    for column, code in enumerate(BATCHES):
        assert len(stood[code]) == MINUTES
        silent = 0
        for row in range(MINUTES):
            silent = 0 if block.present[row, column] else silent + 1
            never_heard = not block.present[: row + 1, column].any()
            if silent > STALE_MIN or never_heard:
                assert stood[code][row] in {Standing.BLIND, Standing.IN_DANGER}


@given(gaps=GAPS, cuts=CUTS, seed=st.integers(0, 99))
@settings(deadline=None)
def test_however_a_record_is_cut_it_comes_to_the_same(book, gaps, cuts, seed):
    block = block_of(gaps, seed)
    whole, pieces = Tally(FIRST), Tally(FIRST)
    for _, passage in replay(book, [block]):
        whole.take(passage)
    for _, passage in replay(book, cut(block, cuts)):
        pieces.take(passage)
    assert whole == pieces
    blind = {code: one.blind_min for code, one in whole.batches.items()}
    assert all(sum(one.standing_min.values()) == MINUTES for one in whole.batches.values())
    assert set(blind) == set(BATCHES)


def test_two_plans_stand_side_by_side_in_one_loop(book):
    stricter = replace(book, watchlist=watchlist(book.site, {"bag": (plan(90.0),)}))
    block = block_of([(0, 100, 60)], 3)
    tallies = []
    for each in (book, stricter):
        tally = Tally(FIRST)
        for _, passage in replay(each, [block], state=begin(each)):
            tally.take(passage)
        tallies.append(tally)
    mild, strict = tallies
    assert len(strict.conditions) > len(mild.conditions)
    assert strict.batches["MG-07"].blind_min == mild.batches["MG-07"].blind_min > 50


def test_what_came_before_the_first_minute_asked_for_is_not_counted(book):
    tally = Tally(FIRST + 100)
    for _, passage in replay(book, cut(block_of([(0, 0, 90)], 5), [40, 220])):
        tally.take(passage)
    assert sum(tally.batches["MG-07"].standing_min.values()) == MINUTES - 100
    assert tally.batches["MG-07"].blind_min == 0
