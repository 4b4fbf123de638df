"""What an account of water means: the hours left, the night to come, and what people see."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from rules.drying import FRESH, Account, Surroundings, spend
from rules.model.batch import Seen
from rules.model.drying import Drying, Ranged
from rules.model.plan import CarePlan
from rules.reserve import (
    EFFECTS,
    MOST_HOURS,
    Effect,
    film_open_in,
    hours_to_critical,
    observed,
    reserve_pct,
    through,
    through_last_hours,
)
from rules.scion import CENTRAL, FAST, SLOW, drying_figures

PLANS = Path(__file__).parents[2] / "demo_data" / "plans"
BORN = 29_662_560  # a full hour


def text_of(name: str) -> dict:
    return tomllib.loads((PLANS / f"{name}.toml").read_text(encoding="utf-8"))


def plan(name: str) -> CarePlan:
    return CarePlan.model_validate(text_of(name))


FIGURES = drying_figures(plan("leafy-bag").drying, BORN, pressure_kpa=100.8, scion_diameter_mm=None)


def dry_air(first: int, minutes: int, humidity: float = 60.0) -> Surroundings:
    unknown = np.full(minutes, np.nan)
    return Surroundings(
        minute=first + np.arange(minutes),
        air_temperature_c=np.full(minutes, 26.0),
        relative_humidity_pct=np.full(minutes, humidity),
        ppfd_umol_m2_s=unknown,
        leaf_temperature_c=unknown,
        air_speed_m_s=unknown,
        sun_up=np.zeros(minutes, dtype=bool),
        film_open=np.zeros(minutes, dtype=bool),
    )


def test_a_fresh_scion_has_all_its_reserve_and_one_at_its_critical_share_none():
    spendable = np.array(FIGURES.spendable_ng)[:, None]
    assert reserve_pct(FIGURES, 0 * spendable).central.tolist() == [100.0]
    assert reserve_pct(FIGURES, spendable).central.tolist() == [0.0]
    assert reserve_pct(FIGURES, 3 * spendable).low.tolist() == [0.0]
    assert reserve_pct(FIGURES, spendable // 4).central[0] == pytest.approx(75.0, abs=1e-6)


def test_at_the_same_pace_the_hours_told_are_the_hours_that_pass():
    spending = spend(FIGURES, FRESH, dry_air(BORN, 6000))
    told = hours_to_critical(FIGURES, spending)
    ended = int(np.argmax(spending.spent_ng[CENTRAL] >= FIGURES.spendable_ng[CENTRAL]))
    assert ended > 600
    assert told.central[60] == pytest.approx((ended - 60) / 60, abs=0.05)
    assert told.central[ended:].tolist() == [0.0] * (6000 - ended)
    assert told.low[60] < told.central[60] < told.high[60]


def test_damp_air_leaves_no_end_in_sight():
    told = hours_to_critical(FIGURES, spend(FIGURES, FRESH, dry_air(BORN, 5, humidity=100.0)))
    assert told.central.tolist() == [MOST_HOURS] * 5


def test_a_forecast_says_when_the_reserve_ends_and_what_is_left():
    course = dry_air(BORN, 4000)
    ahead = through(FIGURES, FRESH, course)
    spending = spend(FIGURES, FRESH, course)
    at = int(np.argmax(spending.spent_ng[CENTRAL] >= FIGURES.spendable_ng[CENTRAL]))
    assert ahead.likely == BORN + at
    assert ahead.soonest is not None
    assert ahead.soonest < ahead.likely
    assert ahead.latest is None
    assert ahead.until_minute == BORN + 3999
    assert ahead.reserve_pct.central.tolist() == [0.0]


@given(st.integers(0, 59), st.integers(1, 1440), st.sampled_from([55.0, 75.0, 92.0]))
def test_a_steady_day_goes_on_through_the_night_as_it_was(late, ahead_min, humidity):
    begun = spend(FIGURES, FRESH, dry_air(BORN, 1440 + 60 + late, humidity)).account
    now = BORN + 1440 + 60 + late - 1
    told = through_last_hours(FIGURES, begun, now, until_minute=now + ahead_min)
    truth = through(FIGURES, begun, dry_air(now + 1, ahead_min, humidity))
    assert told is not None
    for ours, theirs in ((told.soonest, truth.soonest), (told.likely, truth.likely)):
        assert (ours is None) == (theirs is None)
        if ours is not None and theirs is not None:
            assert abs(ours - theirs) <= 1
    assert told.reserve_pct.central == pytest.approx(truth.reserve_pct.central, abs=1e-3)
    assert told.reserve_pct.low <= told.reserve_pct.central <= told.reserve_pct.high


def test_the_night_to_come_dries_as_the_same_hours_of_last_night_did():
    day = spend(FIGURES, FRESH, dry_air(BORN, 720, humidity=100.0)).account
    night = spend(FIGURES, day, dry_air(BORN + 720, 720, humidity=65.0)).account
    next_day = spend(FIGURES, night, dry_air(BORN + 1440, 720, humidity=100.0)).account
    told = through_last_hours(FIGURES, next_day, BORN + 2159, until_minute=BORN + 2879)
    truth = through(FIGURES, next_day, dry_air(BORN + 2160, 720, humidity=65.0))
    assert told is not None
    assert told.reserve_pct.central == pytest.approx(truth.reserve_pct.central, abs=1e-3)
    assert told.reserve_pct.central[0] < reserve_pct(FIGURES, _column(next_day)).central[0] - 10.0


def _column(account: Account) -> np.ndarray:
    return np.array(account.spent_ng)[:, None]


def test_the_night_is_not_foretold_from_hours_never_seen_whole():
    begun = spend(FIGURES, FRESH, dry_air(BORN + 30, 1200)).account
    now = BORN + 30 + 1200 - 1
    assert through_last_hours(FIGURES, begun, now, until_minute=now + 600) is None
    assert through_last_hours(FIGURES, begun, now, until_minute=now + 20) is not None


@pytest.mark.parametrize("ahead", [0, -5, 1441])
def test_a_night_longer_than_a_day_is_refused(ahead):
    with pytest.raises(ValueError, match="within the day"):
        through_last_hours(FIGURES, FRESH, BORN, until_minute=BORN + ahead)


def test_every_word_for_what_is_seen_has_its_effect():
    assert set(EFFECTS) == set(Seen)
    changing = {seen for seen, effect in EFFECTS.items() if effect is not Effect.NOTHING}
    assert changing == {
        Seen.GRAFTED, Seen.DROOP, Seen.FILM_SPLIT, Seen.FILM_OFF, Seen.REWRAPPED
    }  # fmt: skip


def test_droop_brings_the_account_to_where_leaves_lose_their_stiffness():
    after = observed(FIGURES, FRESH, Seen.DROOP)
    share = 1.0 - after.spent_ng[CENTRAL] / FIGURES.fresh_ng[CENTRAL]
    assert share == pytest.approx(0.82)
    assert after.spent_ng[SLOW] < after.spent_ng[CENTRAL] < after.spent_ng[FAST]
    band = reserve_pct(FIGURES, _column(after))
    assert 40.0 < band.central[0] < 60.0
    emptier = Account((5 * 10**9,) * 3, 0, 0, 0, (None,) * 24)
    assert observed(FIGURES, emptier, Seen.DROOP) == emptier


@pytest.mark.parametrize(
    "seen",
    [Seen.WATERED, Seen.CONDENSATION, Seen.COVER_CLOSED, Seen.NEW_GROWTH, Seen.BAG_DRY,
     Seen.REWRAPPED],
)  # fmt: skip
def test_watering_misting_and_retying_give_no_credit(seen):
    account = Account((1, 2, 3), 4, 5, 6, ((7, 8, 9),) * 24)
    assert observed(FIGURES, account, seen) == account


def test_grafting_begins_the_account_anew():
    assert observed(FIGURES, Account((1, 2, 3), 4, 5, 6, (None,) * 24), Seen.GRAFTED) == FRESH


def test_a_film_is_open_from_the_split_until_it_is_wrapped_again():
    minutes = np.arange(BORN, BORN + 10)
    seen = [(BORN + 6, Seen.REWRAPPED), (BORN + 2, Seen.FILM_SPLIT), (BORN + 4, Seen.WATERED)]
    flags = film_open_in(seen, minutes, wrapped=True)
    assert flags.tolist() == [False, False, True, True, True, True, False, False, False, False]
    assert film_open_in([], minutes, wrapped=False).all()
    assert not film_open_in([], minutes, wrapped=True).any()


def test_the_plans_of_the_demonstration_name_a_source_for_every_figure():
    for name in ("leafy-bag", "leafless-film"):
        drying = plan(name).drying
        assert drying is not None
        parts = [drying, drying.leaves or drying.stick]
        figures = [figure for part in parts for _, figure in part if isinstance(figure, Ranged)]
        assert len(figures) == 15
        assert all(len(figure.source) > 10 for figure in figures)


def changed(**changes) -> dict:
    return text_of("leafy-bag")["drying"] | changes


def figure(central: float, low: float, high: float) -> dict:
    return {"central": central, "low": low, "high": high, "source": "given"}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"critical_share": figure(0.6, 0.7, 0.8)}, "central: must lie between low and high"),
        ({"critical_share": figure(0.9, 0.9, 0.95)}, "turgor_loss_share: may nowhere be below"),
        ({"absorbed_share": figure(40, 30, 50)}, "absorbed_share: low and high must lie from 0"),
        ({"uptake_full_d": figure(5, 5, 5)}, "uptake_full_d: may nowhere be below uptake_from_d"),
        ({"leaves": None}, "needs either leaves or a stick"),
    ],
)
def test_figures_that_cannot_be_are_refused_with_a_way_out(changes, said):
    with pytest.raises(ValidationError, match=said):
        Drying.model_validate(changed(**changes))


def test_a_leafy_plan_is_not_described_by_a_stick():
    text = text_of("leafy-bag") | {"drying": text_of("leafless-film")["drying"]}
    with pytest.raises(ValidationError, match="a leafy scion is described by its leaves"):
        CarePlan.model_validate(text)
