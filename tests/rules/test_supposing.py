"""A recording as it would have been: what each change does to cells and to what is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.cells import MICRO, CellBlock
from rules.cover import CoverFit
from rules.evaluator import start, sweep, watchlist
from rules.model.event import Standing
from rules.standing import BY_SEVERITY
from rules.supposed_cells import Cells, OutOfReach
from rules.supposing import (
    Hotter,
    Opened,
    Shade,
    Silent,
    Uncovered,
    grounds_of,
    refusal,
    site_supposed,
)

FIRST = 29_631_840  # 2026-05-04 16:00 UTC, 23:00 at the nursery
AT = datetime(2026, 5, 4, 18, 0, tzinfo=UTC)
AT_ROW = 120
MINUTES = 300
BAG = ("air_temperature", "relative_humidity")
FIT = CoverFit(0.02, 1.0, -1.0, 1.0, 300.0, 40, 3)


@pytest.fixture(scope="module")
def nursery(make):
    """One bag with its probe; the house's own air and light."""
    return make.site(sensor=[make.sensor(), make.sensor("house", (*BAG, "ppfd"), house="north")])


@pytest.fixture(scope="module")
def watched(make):
    plans = make.plan(
        healing={
            "vital": ["relative_humidity"],
            "blind_after_min": 4,
            "limit": [
                make.limit("dry", "relative_humidity", "low", 80.0),
                make.limit("hot", "air_temperature", "high", 38.0),
            ],
        }
    )
    return lambda site: watchlist(site, plans)


@pytest.fixture(scope="module")
def night(nursery):
    row = np.arange(MINUTES)
    columns = {
        "bag-07/air_temperature": 26.0 + row % 3 / 10,
        "bag-07/relative_humidity": 95.0 + row % 7 / 10,
        "house/air_temperature": 22.0 + row % 2 / 10,
        "house/relative_humidity": 70.0 + row % 5 / 10,
        "house/ppfd": 100.0 + row % 4,
    }
    assert tuple(columns) == tuple(nursery.channels)
    means = np.rint(np.stack(list(columns.values()), axis=1) * MICRO).astype(np.int64)
    return CellBlock(FIRST, tuple(columns), means, np.ones(means.shape, dtype=np.bool_))


def cells(supposed, site, block, fits=None):
    return Cells(supposed, fits or {}).of(site, block)


def value(block, key):
    column = block.channels.index(key)
    known = block.present[:, column]
    return np.where(known, block.means[:, column] / MICRO, np.nan)


def judged(watched, site, block):
    _, events, record = sweep(watched(site), start(watched(site)), block)
    return events, record.batches["MG-07"].standing


def same(one, other):
    return (one.means == other.means).all() and (one.present == other.present).all()


@pytest.mark.parametrize(
    "nothing", [Hotter(0.0), Shade("north", 0.5), Silent("bag-07", None, AT, None)]
)
@settings(max_examples=15)
@given(holes=st.sets(st.integers(0, 5 * MINUTES - 1), max_size=200), jump=st.floats(-3, 3))
def test_a_change_that_changes_nothing_gives_the_very_same(
    nothing, holes, jump, nursery, watched, night
):
    # A probe that falls silent after the record ends is no change either.
    if isinstance(nothing, Silent):
        nothing = replace(nothing, at=AT + timedelta(days=2))
    there = night.present.copy().ravel()
    there[list(holes)] = False
    there = there.reshape(night.present.shape)
    means = np.where(there, night.means + round(jump * MICRO), 0)
    means[:, [1, 3]] = np.clip(means[:, [1, 3]], 0, 100 * MICRO)
    holed = replace(night, means=np.where(there, means, 0), present=there)
    changed = cells(nothing, nursery, holed, {"MG-07": FIT})
    assert same(changed, holed)
    assert site_supposed(nothing, nursery) == nursery
    assert judged(watched, nursery, changed)[0] == judged(watched, nursery, holed)[0]


def test_a_silent_probe_makes_its_batch_blind_and_never_steady(nursery, watched, night):
    changed = cells(Silent("bag-07", "relative_humidity", AT, None), nursery, night)
    assert np.isnan(value(changed, "bag-07/relative_humidity")[AT_ROW:]).all()
    assert (
        value(changed, "bag-07/air_temperature") == value(night, "bag-07/air_temperature")
    ).all()
    events, standing = judged(watched, nursery, changed)
    # Its last word speaks for five minutes more, and for none after that.
    blind = BY_SEVERITY.index(Standing.BLIND)
    assert standing[AT_ROW + 4] == BY_SEVERITY.index(Standing.STEADY)
    assert (standing[AT_ROW + 5 :] == blind).all()
    assert [e.condition for e in events if hasattr(e, "condition")] == ["blind.relative_humidity"]


def test_a_silent_probe_speaks_again_from_the_instant_named(nursery, night):
    until = AT + timedelta(minutes=30)
    changed = cells(Silent("bag-07", None, AT, until), nursery, night)
    gone = np.isnan(value(changed, "bag-07/air_temperature"))
    assert np.flatnonzero(gone).tolist() == list(range(AT_ROW, AT_ROW + 30))


def test_humidity_without_a_temperature_to_follow_is_missing(nursery, night):
    there = night.present.copy()
    there[50:, 0] = False  # the bag's temperature; it is fresh for five minutes more
    changed = cells(Hotter(2.0), nursery, replace(night, present=there))
    damp = value(changed, "bag-07/relative_humidity")
    assert np.flatnonzero(np.isnan(damp)).tolist() == list(range(55, MINUTES))
    assert not np.isnan(value(changed, "house/relative_humidity")).any()


def test_what_is_fresh_over_the_edge_of_a_block_is_still_followed(nursery, night):
    there = night.present.copy()
    there[100, 0] = False
    holed = replace(night, present=there)
    whole = cells(Hotter(2.0), nursery, holed)
    in_parts = Cells(Hotter(2.0), {})
    parts = [
        in_parts.of(
            nursery,
            CellBlock(FIRST + a, night.channels, night.means[a:b], there[a:b]),
        )
        for a, b in ((0, 100), (100, MINUTES))
    ]
    assert (np.concatenate([one.means for one in parts]) == whole.means).all()
    assert (np.concatenate([one.present for one in parts]) == whole.present).all()


def test_cooler_air_is_full_at_a_hundred(nursery, night):
    changed = cells(Hotter(-5.0), nursery, night)
    assert (value(changed, "bag-07/relative_humidity") == 100.0).all()


def test_heat_beyond_what_the_sums_hold_for_is_refused(nursery, night):
    hot = replace(night, means=night.means + np.array([30, 0, 0, 0, 0]) * MICRO)
    with pytest.raises(OutOfReach, match="suppose less"):
        cells(Hotter(10.0), nursery, hot)


def test_less_shade_lets_in_more_light_and_warms_the_bag_by_its_line(nursery, night):
    changed = cells(Shade("north", 0.25), nursery, night, {"MG-07": FIT})
    # 0.5 passed, now 0.75 does: half as much again; 100 µmol more is worth 2 °C on this line.
    assert value(changed, "house/ppfd").tolist() == (1.5 * value(night, "house/ppfd")).tolist()
    more = value(changed, "bag-07/air_temperature") - value(night, "bag-07/air_temperature")
    assert more == pytest.approx(0.5 * 0.02 * value(night, "house/ppfd"), abs=1e-6)
    assert (value(changed, "bag-07/relative_humidity") < 95.6).all()
    assert (value(changed, "house/air_temperature") == value(night, "house/air_temperature")).all()
    assert site_supposed(Shade("north", 0.25), nursery).house[0].shade_fraction == 0.25
    other = cells(Shade("south", 0.25), nursery, night, {"MG-07": FIT})
    assert same(other, night)


def test_without_a_line_the_bag_stays_as_recorded_and_is_called_a_guess(nursery, night):
    changed = cells(Shade("north", 0.25), nursery, night)
    assert (
        value(changed, "bag-07/air_temperature") == value(night, "bag-07/air_temperature")
    ).all()
    said = grounds_of(Shade("north", 0.25), nursery, fits={})
    assert ("bag air as recorded, no line is learnt yet: MG-07", True) in [
        (one.words, one.guess) for one in said
    ]


def test_a_batch_whose_cover_is_off_feels_the_house_from_then_on(nursery, watched, night):
    site = site_supposed(Uncovered("MG-07", AT), nursery)
    watch = watched(site)
    _, _, record = sweep(watch, start(watch), cells(Uncovered("MG-07", AT), nursery, night))
    felt = record.batches["MG-07"].felt
    damp = next(values for name, values in felt.items() if name == "relative_humidity")
    assert damp[:AT_ROW].tolist() == value(night, "bag-07/relative_humidity")[:AT_ROW].tolist()
    assert damp[AT_ROW:].tolist() == value(night, "house/relative_humidity")[AT_ROW:].tolist()


def test_a_batch_whose_cover_is_off_in_an_unmeasured_house_is_blind(make, watched, night):
    site = make.site()
    off = site_supposed(Uncovered("MG-07", AT), site)
    assert "can't be seen" in grounds_of(Uncovered("MG-07", AT), site, fits={})[0].words
    alone = replace(
        night, channels=night.channels[:2], means=night.means[:, :2], present=night.present[:, :2]
    )
    standing = judged(watched, off, alone)[1]
    assert (standing[AT_ROW:] == BY_SEVERITY.index(Standing.BLIND)).all()


def test_an_open_bag_holds_the_mix_until_it_is_closed_again(make, nursery, night):
    closed = {"at": (AT + timedelta(minutes=40)).isoformat(), "seen": "cover_closed"}
    site = nursery.model_copy(
        update={"batch": make.site(batch=[make.batch(observation=[closed])]).batch}
    )
    changed = cells(Opened("MG-07", AT, 0.25), site, night)
    air = value(changed, "bag-07/air_temperature")
    bag, house = (value(night, f"{name}/air_temperature") for name in ("bag-07", "house"))
    rows = slice(AT_ROW, AT_ROW + 40)
    assert air[rows] == pytest.approx(0.75 * bag[rows] + 0.25 * house[rows], abs=1e-6)
    assert air[:AT_ROW].tolist() == bag[:AT_ROW].tolist()
    assert air[AT_ROW + 40 :].tolist() == bag[AT_ROW + 40 :].tolist()
    assert site_supposed(Opened("MG-07", AT, 0.25), site).batch[0].covered_at(AT)


def test_an_open_bag_is_not_known_while_the_house_is_not(nursery, night):
    there = night.present.copy()
    there[:, 3] = False
    changed = cells(Opened("MG-07", AT, 0.25), nursery, replace(night, present=there))
    assert np.isnan(value(changed, "bag-07/relative_humidity")[AT_ROW:]).all()
    assert not np.isnan(value(changed, "bag-07/relative_humidity")[:AT_ROW]).any()


@pytest.mark.parametrize(
    ("supposed", "said"),
    [
        (Hotter(16.0), "hotter: 16 °C is too much"),
        (Hotter(float("nan")), "hotter: nan"),
        (Shade("west", 0.5), 'shade: "west" is no house of the site; there are north, south'),
        (Shade("north", 1.0), "shade: 1 is no shade fraction"),
        (Opened("MG-07", AT, 1.0), "opened: 1 is no share"),
        (Opened("MG-99", AT, 0.5), 'opened: "MG-99" is no batch'),
        (Uncovered("MG-99", AT), 'uncovered: "MG-99" is no batch'),
        (Silent("bag-9", None, AT, None), 'silent: "bag-9" is no sensor'),
        (Silent("bag-07", "wind", AT, None), 'silent: bag-07 has no channel "wind"'),
        (Silent("bag-07", None, AT, AT), "silent: bag-07 ends before it begins"),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(supposed, said, nursery):
    why_not = refusal(supposed, nursery)
    assert why_not is not None
    assert why_not.startswith(said)
    assert ";" in why_not or "there are" in why_not


def test_a_cover_that_is_off_or_was_never_there_is_neither_opened_nor_taken_off(make, nursery):
    gone = site_supposed(Uncovered("MG-07", AT), nursery)
    assert "is off by then" in (refusal(Uncovered("MG-07", AT), gone) or "")
    assert "is off by then" in (refusal(Opened("MG-07", AT, 0.5), gone) or "")
    bare = make.site(batch=[make.batch(cover="none")])
    assert "has no cover" in (refusal(Uncovered("MG-07", AT), bare) or "")
    assert "no sensor tells" in (refusal(Opened("MG-07", AT, 0.5), make.site()) or "")
