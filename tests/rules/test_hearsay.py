"""What speaks against a record: checks that came later, dry bags that read damp, words unheard."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from rules.cells import block_of
from rules.evaluator import start, sweep, watchlist
from rules.hearsay import doubts_of
from rules.life import Bounded, LifeTape
from rules.model.plan import CarePlan
from rules.model.quantities import Felt, Quantity
from rules.model.reading import MINUTE_MS, Reading
from rules.model.site import Site

PLANS = Path(__file__).parents[2] / "demo_data" / "plans"
SINCE = datetime(2026, 11, 3, 0, 0, tzinfo=UTC)
FIRST = int(SINCE.timestamp()) // 60
HOURS = 30


def site(*, unit: str = "degC", air=(), humidity=(), seen=()) -> Site:
    channels = [
        {
            "id": "air",
            "quantity": "air_temperature",
            "unit": unit,
            "path": "t",
            "calibration": list(air),
        },
        {
            "id": "rh",
            "quantity": "relative_humidity",
            "unit": "%RH",
            "path": "h",
            "calibration": list(humidity),
        },
    ]
    since = SINCE.isoformat()
    return Site.model_validate(
        {
            "lead": "wren",
            "site": {
                "title": "Hollow",
                "latitude_deg": -24,
                "longitude_deg": 160,
                "elevation_m": 40,
                "time_zone": "Etc/GMT-11",
            },
            "house": [
                {"id": "h", "title": "h", "shade_fraction": 0.8, "length_m": 9, "width_m": 5}
            ],
            "bench": [
                {
                    "id": "b",
                    "house": "h",
                    "title": "b",
                    "x_m": 1,
                    "y_m": 1,
                    "length_m": 3,
                    "width_m": 1,
                }
            ],
            "sensor": [
                {
                    "id": "bag",
                    "title": "bag",
                    "topic": "bag",
                    "channel": channels,
                    "position": [{"since": since, "cover_of": "MG-07"}],
                }
            ],
            "batch": [
                {
                    "code": "MG-07",
                    "species": "mango",
                    "cultivar": "early yellow",
                    "rootstock": "local seedling",
                    "method": "cleft",
                    "scion": "leafy",
                    "wrap": "tape",
                    "cover": "tied_bag",
                    "count": 24,
                    "grafter": "TQ",
                    "grafted_on": "2026-11-03",
                    "bench": "b",
                    "plan": "leafy-bag",
                    "stage": [{"stage": "healing", "since": since, "because": "grafted"}],
                    "observation": [{"at": since, "seen": "grafted"}, *seen],
                }
            ],
            "person": [{"id": "wren", "name": "Wren", "email": "wren@example.invalid"}],
        }
    )


def after(hours: float) -> str:
    return (SINCE + timedelta(hours=hours)).isoformat()


def looked_back(made: Site, *, warm=25.0, damp=97.0, silent=()):
    plan = CarePlan.model_validate(tomllib.loads((PLANS / "leafy-bag.toml").read_text()))
    watched = watchlist(made, {"leafy-bag": (plan,)})
    readings = [
        Reading(f"bag/{key}", (FIRST + minute) * MINUTE_MS, value)
        for minute in range(HOURS * 60)
        if not any(a * 60 <= minute < b * 60 for a, b in silent)
        for key, value in (("air", warm + 0.01 * (minute % 7)), ("rh", damp + 0.1 * (minute % 5)))
    ]
    block = block_of(made, FIRST, HOURS * 60, readings)
    _, _, record = sweep(watched, start(watched), block)
    (batch,) = watched.batches
    tape = LifeTape(batch, made.site, first_minute=FIRST, end_minute=FIRST + HOURS * 60)
    tape.take(block, record.batches["MG-07"])
    life = tape.life()
    return life, doubts_of(made, made.batch[0], batch, life)


def test_a_record_that_is_whole_leaves_no_doubt():
    life, doubts = looked_back(site())
    assert (doubts.shifted, doubts.gainsaid, doubts.expired) == ((), (), ())
    assert doubts.watched_h == pytest.approx(HOURS)
    assert doubts.blind_h < 0.1
    assert life.bounds[Bounded.HOT][0] == 38.0
    assert life.bounds[Bounded.DAMP][0] == 90.0
    assert life.bounds[Bounded.DRY][0] == pytest.approx(0.3)


def test_silence_is_blind_and_nothing_was_said_that_could_be_disbelieved():
    life, doubts = looked_back(site(), silent=[(10, 16)])
    assert doubts.blind_h == pytest.approx(6.0, abs=0.5)
    assert doubts.unbelieved_h == 0.0
    assert doubts.seen_share == pytest.approx(24 / 30, abs=0.02)
    assert bool(np.isnan(life.felt[Felt.AIR_TEMPERATURE][13 * 60]))


def test_a_probe_that_says_the_impossible_is_heard_and_not_believed():
    _, doubts = looked_back(site(), damp=130.0)
    assert doubts.blind_h == pytest.approx(HOURS)
    assert doubts.unbelieved_h == pytest.approx(HOURS)


def test_a_later_check_tells_how_far_readings_were_off_in_our_unit():
    jar = {"since": after(40), "offset": -12.0}
    warm = {"since": after(40), "offset": 9.0}
    _, doubts = looked_back(site(unit="degF", air=[warm], humidity=[jar]), warm=77.0)
    by = {one.quantity: one.by for one in doubts.shifted}
    assert by[Quantity.AIR_TEMPERATURE] == pytest.approx(5.0)
    assert by[Quantity.RELATIVE_HUMIDITY] == pytest.approx(-12.0)


def test_a_check_that_changes_the_slope_is_told_at_what_had_been_read():
    steeper = {"since": after(40), "gain": 1.06}
    _, doubts = looked_back(site(unit="degF", air=[steeper]), warm=77.0)
    (shift,) = doubts.shifted
    assert shift.by == pytest.approx(77.0 * 0.06 * 5 / 9, rel=0.01)


def test_a_check_is_held_against_the_one_before_and_small_ones_are_not_worth_saying():
    early = {"since": after(-24), "offset": -10.0}
    late = {"since": after(40), "offset": -12.0}
    _, doubts = looked_back(site(humidity=[early, late]), damp=100.0)
    assert doubts.shifted == ()


def test_a_dry_bag_gainsays_only_air_that_read_damp_beyond_its_error():
    dry = {"at": after(20), "seen": "bag_dry"}
    _, told = looked_back(site(seen=[dry]))
    assert [round(one.humidity_pct) for one in told.gainsaid] == [97]
    _, near = looked_back(site(seen=[dry]), damp=91.0)
    assert near.gainsaid == ()


def test_a_calibration_that_had_run_out_is_said():
    old = {"since": after(-99), "expires": after(3), "offset": 0.5}
    _, doubts = looked_back(site(humidity=[old]))
    assert doubts.expired == ("bag/rh",)
