"""How a scion dries: no water from nothing, one by one as all at once, a band round the truth."""

from __future__ import annotations

import tomllib
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.drying import FRESH, Account, Surroundings, in_one_minute, spend, uptake_ng
from rules.model.drying import Drying
from rules.model.plan import CarePlan
from rules.reserve import hours_to_critical, reserve_pct
from rules.scion import CENTRAL, FAST, SLOW, drying_figures

PLANS = Path(__file__).parents[2] / "demo_data" / "plans"
BORN = 29_662_560


def drying_of(name: str) -> Drying:
    text = (PLANS / f"{name}.toml").read_text(encoding="utf-8")
    drying = CarePlan.model_validate(tomllib.loads(text)).drying
    assert drying is not None
    return drying


LEAFY, FILM = drying_of("leafy-bag"), drying_of("leafless-film")


def figures(drying: Drying = LEAFY):
    return drying_figures(drying, BORN, pressure_kpa=100.8, scion_diameter_mm=None)


def without_uptake(drying: Drying = LEAFY):
    kept = figures(drying)
    nothing = np.zeros((3, 1))
    return replace(kept, uptake_first_ng=nothing, uptake_full_ng=nothing)


def held(minutes: int = 1, **values) -> Surroundings:
    """Minutes that are all alike; what is not named is not known."""
    nan = np.nan
    told = {
        "air_temperature_c": 26.0,
        "relative_humidity_pct": 95.0,
        "ppfd_umol_m2_s": nan,
        "leaf_temperature_c": nan,
        "air_speed_m_s": nan,
        **values,
    }
    lit = told.pop("sun_up", False)
    opened = told.pop("film_open", False)
    first = told.pop("first", BORN)
    return Surroundings(
        minute=first + np.arange(minutes),
        sun_up=np.full(minutes, lit),
        film_open=np.full(minutes, opened),
        **{name: np.full(minutes, value) for name, value in told.items()},
    )


def lost(drying: Drying = LEAFY, **values) -> list[int]:
    return spend(figures(drying), FRESH, held(**values)).lost_ng[:, 0].tolist()


some_air = st.floats(2.0, 42.0)
some_humidity = st.floats(10.0, 100.0)
some_light = st.floats(0.0, 1500.0)
both_kinds = st.sampled_from([LEAFY, FILM])


@st.composite
def stretches(draw):
    """A stretch of minutes with holes, bright and dark, and where it begins."""
    count = draw(st.integers(1, 200))
    chance = np.random.default_rng(draw(st.integers(0, 10_000)))
    hole = draw(st.sampled_from([0.0, 0.1, 0.7]))

    def told(values):
        return np.where(chance.random(count) < hole, np.nan, values)

    return Surroundings(
        minute=BORN + draw(st.integers(0, 40 * 1440)) + np.arange(count),
        air_temperature_c=told(chance.uniform(-25.0, 65.0, count)),
        relative_humidity_pct=told(chance.uniform(0.0, 104.0, count)),
        ppfd_umol_m2_s=told(chance.uniform(-2.0, 2000.0, count)),
        leaf_temperature_c=np.where(
            chance.random(count) < draw(st.sampled_from([0.0, 0.5])),
            chance.uniform(-25.0, 65.0, count),
            np.nan,
        ),
        air_speed_m_s=np.where(
            chance.random(count) < draw(st.sampled_from([0.0, 0.5])),
            chance.uniform(0.0, 5.0, count),
            np.nan,
        ),
        sun_up=chance.random(count) < 0.5,
        film_open=chance.random(count) < draw(st.sampled_from([0.0, 0.3])),
    )


def cut(around: Surroundings, rows: slice) -> Surroundings:
    return Surroundings(**{one.name: getattr(around, one.name)[rows] for one in fields(around)})


accounts = st.sampled_from(
    [
        FRESH,
        Account((1, 2, 3), 7, 9, 4, ((5, 6, 7),) * 24),
        Account((10**9, 2 * 10**9, 4 * 10**9), 10**6, 10**7, 0, (None, (1, 2, 3)) * 12),
    ]
)


@given(stretches(), accounts, both_kinds, st.integers(0, 200))
def test_minute_by_minute_spends_exactly_what_all_at_once_does(around, before, drying, where):
    figured = figures(drying)
    at_once = spend(figured, before, around)
    account, spent, known, leaves = before, [], [], []
    for i in range(len(around.minute)):
        one = spend(figured, account, cut(around, slice(i, i + 1)))
        account = one.account
        spent.append(one.spent_ng[:, 0].tolist())
        known.append(bool(one.known[0]))
        leaves.append(float(one.leaf_temperature_c[0]))
    assert account == at_once.account
    assert spent == at_once.spent_ng.T.tolist()
    assert known == at_once.known.tolist()
    assert np.array_equal(np.array(leaves), at_once.leaf_temperature_c, equal_nan=True)
    if 0 < where < len(around.minute):
        half = spend(figured, before, cut(around, slice(None, where))).account
        assert spend(figured, half, cut(around, slice(where, None))).account == at_once.account


def test_the_live_form_takes_the_same_minute():
    around = held(1, ppfd_umol_m2_s=100.0, sun_up=True)
    now = in_one_minute(
        BORN,
        air_temperature_c=26.0,
        relative_humidity_pct=95.0,
        ppfd_umol_m2_s=100.0,
        leaf_temperature_c=None,
        air_speed_m_s=None,
        sun_up=True,
        film_open=False,
    )
    assert spend(figures(), FRESH, now).account == spend(figures(), FRESH, around).account


def test_long_stretches_are_worked_in_pieces_that_do_not_show():
    around = held(20_000, ppfd_umol_m2_s=150.0, sun_up=True)
    whole = spend(figures(), FRESH, around).account
    first = spend(figures(), FRESH, cut(around, slice(None, 8191))).account
    assert spend(figures(), first, cut(around, slice(8191, None))).account == whole


@given(stretches(), accounts, both_kinds)
def test_no_water_from_nothing(around, before, drying):
    spending = spend(figures(drying), before, around)
    start = np.array(before.spent_ng)[:, None]
    spent = np.concatenate((start, spending.spent_ng), axis=1)
    taken = spending.lost_ng - np.diff(spent, axis=1)
    assert (spending.lost_ng >= 0).all()
    assert (spent >= 0).all()
    # What came back came from the stock, and never more than it could give or was missing.
    assert (taken >= 0).all()
    assert (taken <= spending.uptake_ng).all()


@given(stretches(), both_kinds)
def test_without_a_stock_the_reserve_never_rises(around, drying):
    figured = without_uptake(drying)
    band = reserve_pct(figured, spend(figured, FRESH, around).spent_ng)
    for line in (band.low, band.central, band.high):
        assert (np.diff(line) <= 0.0).all()
        assert (line <= 100.0).all()


@given(some_air, some_humidity, st.floats(0.1, 40.0), some_light, both_kinds)
def test_drier_air_never_dries_slower(air_c, humidity, drier, light, drying):
    damp = lost(drying, air_temperature_c=air_c, relative_humidity_pct=humidity,
                ppfd_umol_m2_s=light)  # fmt: skip
    dry = lost(drying, air_temperature_c=air_c, relative_humidity_pct=max(0.0, humidity - drier),
               ppfd_umol_m2_s=light)  # fmt: skip
    assert all(less <= more for less, more in zip(damp, dry, strict=True))


@given(some_air, some_humidity, st.floats(0.01, 10.0), both_kinds)
def test_a_larger_leaf_to_air_deficit_never_dries_slower(leaf_c, humidity, warmer, drying):
    cool = lost(drying, relative_humidity_pct=humidity, leaf_temperature_c=leaf_c)
    warm = lost(drying, relative_humidity_pct=humidity, leaf_temperature_c=leaf_c + warmer)
    assert all(less <= more for less, more in zip(cool, warm, strict=True))


@given(some_air, both_kinds)
def test_no_deficit_no_drying(air_c, drying):
    exact = drying.model_copy(
        update={
            "humidity_error_pct": drying.humidity_error_pct.model_copy(
                update={"low": 0.0, "high": 0.0}
            )
        }
    )
    assert lost(exact, air_temperature_c=air_c, relative_humidity_pct=100.0) == [0, 0, 0]


@given(some_air, st.floats(60.0, 100.0), st.floats(0.6, 5.0), both_kinds)
def test_condensation_gives_a_scion_nothing(leaf_c, humidity, cooler, drying):
    figured = without_uptake(drying)
    dew = held(30, air_temperature_c=leaf_c + cooler + 15.0, relative_humidity_pct=humidity,
               leaf_temperature_c=leaf_c - 15.0)  # fmt: skip
    before = Account((10, 20, 30), 0, 0, 0, (None,) * 24)
    after = spend(figured, before, dew)
    assert after.account.spent_ng == before.spent_ng
    assert spend(figured, FRESH, dew).account.spent_ng == (0, 0, 0)


@given(st.floats(5.0, 40.0), st.floats(20.0, 1500.0))
def test_a_leaf_warmed_by_light_dries_even_in_saturated_air(air_c, light):
    slow, central, fast = lost(air_temperature_c=air_c, relative_humidity_pct=100.0,
                               ppfd_umol_m2_s=light)  # fmt: skip
    assert 0 < slow <= central <= fast


@given(some_air, some_humidity, some_light, both_kinds)
def test_the_fast_row_loses_most_and_the_slow_row_least(air_c, humidity, light, drying):
    slow, central, fast = lost(drying, air_temperature_c=air_c, relative_humidity_pct=humidity,
                               ppfd_umol_m2_s=light)  # fmt: skip
    # Wind cuts both ways at night, by next to nothing: it warms a leaf that evaporation cools.
    slack = max(5, central // 500)
    assert slow <= central + slack
    assert central <= fast + slack


@given(stretches(), accounts, both_kinds)
def test_the_band_always_holds_the_likely_value(around, before, drying):
    figured = figures(drying)
    spending = spend(figured, before, around)
    for band in (
        reserve_pct(figured, spending.spent_ng),
        hours_to_critical(figured, spending),
    ):
        assert (band.low <= band.central).all()
        assert (band.central <= band.high).all()
        assert (band.low >= 0.0).all()
    assert (reserve_pct(figured, spending.spent_ng).high <= 100.0).all()


def narrowed(drying: Drying, only: str) -> Drying:
    """The same figures without doubt, but for one, which may be up to a fifth off."""

    def narrow(figure: dict, *, doubtful: bool) -> dict:
        middle = figure["central"]
        off = max(abs(middle) * 0.2, 0.4 if middle == 0 else 0.0) if doubtful else 0.0
        return figure | {"low": middle - off, "high": middle + off}

    text = drying.model_dump(exclude_none=True)
    for part in (text, text.get("leaves", {}), text.get("stick", {})):
        for name, written in part.items():
            if "central" in written:
                part[name] = narrow(written, doubtful=name == only)
    return Drying.model_validate(text)


SPENDING_FIGURES = [
    ("leafy", name)
    for name in (
        "conductance_mmol_m2_s", "absorbed_share", "air_speed_m_s", "uptake_first_mg_h",
        "uptake_full_mg_h", "uptake_from_d", "uptake_full_d", "humidity_error_pct",
        "critical_share", "area_cm2", "breadth_cm", "water_g_m2", "wood_water_g",
    )
] + [
    ("film", name)
    for name in (
        "conductance_mmol_m2_s", "absorbed_share", "air_speed_m_s", "humidity_error_pct",
        "diameter_mm", "length_mm", "water_g_cm3", "film_conductance_mmol_m2_s",
    )
]  # fmt: skip


@pytest.mark.parametrize(("kind", "name"), SPENDING_FIGURES)
def test_each_doubt_alone_puts_the_fast_row_below_the_likely_and_the_slow_above(kind, name):
    figured = figures(narrowed(LEAFY if kind == "leafy" else FILM, name))
    # In light and dry air. The stock gives some by then, less than is lost; a film is split but
    # where the film itself is in doubt, and that before the stock gives more than it passes.
    whole = name == "film_conductance_mmol_m2_s"
    age_d = 1 if whole else 20 if kind == "leafy" else 15
    around = held(400, first=BORN + age_d * 1440, relative_humidity_pct=40.0,
                  air_temperature_c=32.0, ppfd_umol_m2_s=500.0, sun_up=True,
                  film_open=not whole)  # fmt: skip
    spent = spend(figured, FRESH, around).account.spent_ng
    share = [one / most for one, most in zip(spent, figured.spendable_ng, strict=True)]
    assert 0.0 < share[SLOW] < share[CENTRAL] < share[FAST]


def test_a_leaf_thermometers_doubt_counts_where_it_speaks():
    drying = narrowed(LEAFY, "leaf_temperature_error_c")
    slow, central, fast = lost(drying, leaf_temperature_c=28.0)
    assert slow < central < fast
    blind = lost(drying)
    assert blind[SLOW] == blind[CENTRAL] == blind[FAST]


@pytest.mark.parametrize("drying", [LEAFY, FILM], ids=["leafy", "film"])
def test_an_anemometer_that_stands_still_does_not_stop_the_drying(drying):
    light = {"ppfd_umol_m2_s": 200.0, "sun_up": True}
    stalled = lost(drying, air_speed_m_s=0.0, **light)
    breath = lost(drying, air_speed_m_s=drying.air_speed_m_s.low, **light)
    assert stalled == breath
    assert stalled[CENTRAL] > 0


def test_minutes_that_are_not_known_open_the_band():
    known = spend(figures(), FRESH, held(60, relative_humidity_pct=70.0)).account
    gap = spend(figures(), known, held(30, first=BORN + 60, air_temperature_c=np.nan))
    assert not gap.known.any()
    assert gap.lost_ng[SLOW].tolist() == [0] * 30
    assert gap.lost_ng[CENTRAL].tolist() == [known.last_ng] * 30
    assert gap.lost_ng[FAST].tolist() == [known.fastest_ng] * 30
    assert gap.account.guessed_min == 30
    assert np.isnan(gap.leaf_temperature_c).all()


def test_a_scion_of_which_nothing_was_ever_seen_is_not_full_but_not_told():
    unseen = held(30, air_temperature_c=np.nan)
    gap = spend(figures(), FRESH, unseen)
    assert not gap.told.any()
    seen = spend(figures(), gap.account, held(1, first=BORN + 30, relative_humidity_pct=70.0))
    assert seen.told.all()
    after = spend(figures(), seen.account, held(5, first=BORN + 31, air_temperature_c=np.nan))
    assert after.told.all(), "once seen, the band tells what may have become of it"


def test_light_that_is_not_known_matters_by_day_only():
    assert spend(figures(), FRESH, held(sun_up=False)).known.all()
    assert not spend(figures(), FRESH, held(sun_up=True)).known.any()
    assert spend(figures(), FRESH, held(sun_up=True, leaf_temperature_c=27.0)).known.all()


def test_uptake_grows_from_the_wet_cut_to_full_as_the_union_forms():
    days = np.array([0, 10, 20, 30, 60])
    grown = uptake_ng(figures(), BORN + days * 1440)[CENTRAL] * 60 / 1e6
    assert grown.round(3).tolist() == [25.0, 25.0, 162.5, 300.0, 300.0]
    rows = uptake_ng(figures(), BORN + np.arange(0, 60 * 1440, 60))
    assert (rows[FAST] <= rows[CENTRAL]).all()
    assert (rows[CENTRAL] <= rows[SLOW]).all()
    assert (np.diff(rows, axis=1) >= 0).all()


def test_a_whole_film_holds_the_water_that_a_split_one_lets_go():
    whole = lost(FILM, relative_humidity_pct=50.0)[CENTRAL]
    split = lost(FILM, relative_humidity_pct=50.0, film_open=True)[CENTRAL]
    assert split > 100 * whole > 0


def test_a_batchs_own_scion_diameter_stands_before_the_plans():
    thick = drying_figures(FILM, BORN, pressure_kpa=100.8, scion_diameter_mm=12.0)
    assert thick.fresh_ng[CENTRAL] == pytest.approx(4 * figures(FILM).fresh_ng[CENTRAL], rel=1e-6)


def test_an_empty_stretch_is_refused():
    with pytest.raises(ValueError, match="one minute at least"):
        spend(figures(), FRESH, held(0))
