"""Sums over time: when one breaks its limit, when it begins again, what makes it unsure."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from rules.doses import DaySpan, DoseBound, dose_bound, step, sweep
from rules.local_time import local_days
from rules.model.batch import Stage
from rules.model.dose import DoseLimit
from rules.model.event import ConditionOpened
from rules.model.place import Place

WORDS = {"en": "words", "es": "palabras"}
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
BERLIN = Place(
    title="A shed", latitude_deg=52.0, longitude_deg=13.0, elevation_m=30, time_zone="Europe/Berlin"
)


def dose(**figures) -> DoseLimit:
    return DoseLimit.model_validate(
        {"id": "sum", "priority": "medium", "says": WORDS, "action": WORDS, **figures}
    )


def light(bound: float, **figures) -> DoseBound:
    limit = dose(kind="light_sum", quantity="ppfd", bound_mol_m2=bound, **figures)
    return dose_bound(limit, Stage.HEALING)


def days_of(place: Place, first: int, minutes: int) -> tuple[DaySpan, ...]:
    return tuple(
        DaySpan(day.toordinal(), start, end)
        for day, start, end in local_days(place, first, minutes)
    )


def over(bound, values, *, first, place=BERLIN, sun_up=True, direct_from=0.0, state=None):
    """Sweep values in the quantity's unit, None where missing."""
    minutes = len(values)
    return sweep(
        bound,
        state,
        first,
        values=np.array([0 if v is None else round(v * 1e6) for v in values], dtype=np.int64),
        present=np.array([v is not None for v in values]),
        days=days_of(place, first, minutes),
        sun_up=np.full(minutes, sun_up),
        direct_from=np.full(minutes, round(direct_from * 1e6), dtype=np.int64),
    )


def midnight(day: date, place: Place = BERLIN) -> int:
    first = (datetime(day.year, day.month, day.day, 12, tzinfo=UTC) - EPOCH) // timedelta(minutes=1)
    return next(start for here, start, _ in local_days(place, first, 1) if here == day)


MAY = midnight(date(2026, 5, 4))


@pytest.mark.published("definition of the daily light integral: 1 µmol m⁻² s⁻¹ for a day, 0.0864")
def test_a_day_of_steady_light_sums_to_what_the_definition_says():
    swept = over(light(100.0), [200.0] * 1440, first=MAY)
    assert light(100.0).shown(int(swept.total[-1])) == pytest.approx(200 * 0.0864, abs=1e-12)


def test_a_sum_breaks_its_limit_in_the_cell_that_passes_the_bound_not_on_it():
    # 250 µmol for a minute are 0.015 mol; six of them are 0.09, which is the bound.
    swept = over(light(0.09), [250.0] * 8, first=MAY)
    assert swept.raised.tolist() == [False] * 6 + [True] * 2
    (turn,) = swept.turns
    assert (turn.minute, turn.opened, turn.since_minute) == (MAY + 6, True, MAY)
    assert light(0.09).shown(turn.total) == pytest.approx(0.105)


def test_the_next_local_day_begins_with_nothing():
    first = MAY + 1430
    swept = over(light(0.09), [250.0] * 20, first=first)
    assert [turn.opened for turn in swept.turns] == [True, False, True]
    assert [turn.minute for turn in swept.turns] == [first + 6, MAY + 1440, MAY + 1446]
    assert swept.state.since_minute == MAY + 1440


@pytest.mark.parametrize(
    ("day", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 5, 4), 24)]
)
def test_a_day_on_which_the_clock_changes_has_all_of_its_light(day, hours):
    first = midnight(day)
    swept = over(light(500.0), [100.0] * (hours * 60 + 1), first=first)
    of_day = light(500.0).shown(int(swept.total[-2]))
    assert of_day == pytest.approx(100 * hours * 3600 / 1e6)
    assert swept.state.total == 100 * 60 * 10**6


def test_a_day_with_too_little_light_is_said_when_it_is_over():
    need = light(3.0, side="low")
    dim = over(need, [20.0] * 1441, first=MAY)
    (turn,) = dim.turns
    assert (turn.minute, turn.opened, turn.since_minute) == (MAY + 1440, True, MAY)
    assert need.shown(turn.total) == pytest.approx(20 * 0.0864)
    enough = over(need, [40.0] * 1441, first=MAY)
    assert enough.turns == ()


def test_a_day_too_dim_is_made_good_when_the_next_reaches_the_bound():
    need = light(3.0, side="low")
    swept = over(need, [20.0] * 1440 + [1000.0] * 60, first=MAY)
    opened, closed = swept.turns
    assert opened.opened
    assert not closed.opened
    assert closed.minute == MAY + 1440 + 49  # 0.06 mol a minute: fifty minutes make three


@pytest.mark.parametrize(("unseen", "told"), [(60, True), (61, False)])
def test_a_day_not_seen_nearly_whole_proves_no_lack_of_light(unseen, told):
    need = light(3.0, side="low")
    swept = over(need, [None] * unseen + [20.0] * (1441 - unseen), first=MAY)
    assert bool(swept.turns) is told


def test_a_day_that_the_watch_joined_late_proves_no_lack_of_light():
    need = light(3.0, side="low")
    assert over(need, [20.0] * 1440, first=MAY + 1).turns == ()
    assert over(need, [20.0] * 1441, first=MAY).turns != ()


def test_a_sum_of_the_stage_goes_on_over_midnight():
    wear = dose_bound(
        dose(kind="direct_sun", quantity="ppfd", per="stage", bound_min=25.0), Stage.HEALING
    )
    swept = over(wear, [900.0] * 40, first=MAY + 1420, direct_from=900.0)
    assert [turn.minute for turn in swept.turns] == [MAY + 1445]
    assert swept.state.total == 40


def test_light_below_the_mark_is_not_direct_sun():
    sun = dose_bound(dose(kind="direct_sun", quantity="ppfd", bound_min=5.0), Stage.HEALING)
    assert over(sun, [899.9] * 10, first=MAY, direct_from=900.0).state.total == 0
    assert over(sun, [900.0] * 10, first=MAY, direct_from=900.0).state.total == 10


@pytest.mark.parametrize(("light_umol", "added"), [(899.999999, 0), (900.0, 1)])
def test_a_live_cell_on_the_mark_is_direct_sun_as_in_a_replay(light_umol, added):
    sun = dose_bound(dose(kind="direct_sun", quantity="ppfd", bound_min=5.0), Stage.HEALING)
    value = round(light_umol * 1e6)
    ask = {"day": days_of(BERLIN, MAY, 1)[0], "sun_up": True, "direct_from": 900_000_000}
    live, _ = step(sun, None, MAY, value=value, **ask)
    assert live.total == added
    assert over(sun, [light_umol], first=MAY, direct_from=900.0).state == live


@pytest.mark.parametrize(
    ("figures", "value", "an_hour"),
    [
        (
            {
                "kind": "drying_dose",
                "quantity": "vapour_pressure_deficit",
                "base_kpa": 0.3,
                "bound_kpa_h": 9.0,
            },
            0.8,
            0.5,
        ),
        (
            {"kind": "heat_dose", "quantity": "air_temperature", "base_c": 32.0, "bound_c_h": 9.0},
            35.0,
            3.0,
        ),
        (
            {"kind": "heat_dose", "quantity": "air_temperature", "base_c": 32.0, "bound_c_h": 9.0},
            31.0,
            0.0,
        ),
        (
            {
                "kind": "hours_beyond",
                "quantity": "relative_humidity",
                "base": 80.0,
                "beyond": "low",
                "bound_h": 9.0,
            },
            79.9,
            1.0,
        ),
        (
            {
                "kind": "hours_beyond",
                "quantity": "relative_humidity",
                "base": 80.0,
                "beyond": "low",
                "bound_h": 9.0,
            },
            80.0,
            0.0,
        ),
    ],
)
def test_an_hour_adds_what_its_name_says(figures, value, an_hour):
    bound = dose_bound(dose(**figures), Stage.HEALING)
    swept = over(bound, [value] * 60, first=MAY)
    assert bound.shown(swept.state.total) == pytest.approx(an_hour)


def test_only_the_part_of_the_day_it_speaks_in_is_added_or_missed():
    by_day = light(100.0, when="day")
    assert over(by_day, [200.0] * 60, first=MAY, sun_up=False).state.total == 0
    assert over(by_day, [None] * 60, first=MAY, sun_up=False).state.unseen_min == 0
    assert over(by_day, [None] * 60, first=MAY, sun_up=True).state.unseen_min == 60


def test_another_figure_begins_another_sum():
    day = days_of(BERLIN, MAY + 30, 1)[0]
    kept = over(light(1.0), [200.0] * 30, first=MAY).state
    ask = {"value": 200_000_000, "day": day, "sun_up": True, "direct_from": 0}
    goes_on, _ = step(light(1.0), kept, MAY + 30, **ask)
    begins, _ = step(light(2.0), kept, MAY + 30, **ask)
    assert goes_on.total == 31 * 200 * 60 * 10**6
    assert begins.total == 200 * 60 * 10**6
    assert begins.begun_late


def test_a_broken_sum_is_told_with_its_unit_and_makes_the_batch_strained(make):
    heat = {
        "id": "heat-dose",
        "kind": "heat_dose",
        "quantity": "air_temperature",
        "base_c": 30.0,
        "bound_c_h": 1.0,
        "priority": "medium",
        "says": WORDS,
        "action": WORDS,
    }
    night = make.night(make.site(), make.plan(healing={"vital": [], "dose": [heat]}))
    night.bag(61, temperature=31.0)
    (opened,) = [e for e in night.events if isinstance(e, ConditionOpened)]
    assert (opened.condition, opened.minute - night.first) == ("heat-dose", 60)
    assert opened.value == pytest.approx(61 / 60)
    assert night.standings()[-1] == "strained"
    (now,) = night.now().doses
    assert now.raised
    assert now.total == pytest.approx(61 / 60)
    assert not now.whole


def test_a_sum_outlives_an_edit_of_another_limit(make):
    wear = {
        "id": "wear",
        "kind": "hours_beyond",
        "quantity": "air_temperature",
        "base": 30.0,
        "beyond": "high",
        "per": "stage",
        "bound_h": 1.0,
        "priority": "low",
        "says": WORDS,
        "action": WORDS,
    }
    dry = make.limit("dry", "relative_humidity", "low", 80.0)
    edited = dry | {"bound": 79.0}
    night = make.night(
        make.site(), make.plan(healing={"vital": [], "dose": [wear], "limit": [dry]})
    )
    night.bag(70, temperature=31.0)
    night.watched = make.night(
        make.site(), make.plan(healing={"vital": [], "dose": [wear], "limit": [edited]})
    ).watched
    night.bag(1, temperature=31.0)
    assert night.now().doses[0].total == pytest.approx(71 / 60)
    assert [name for name, _ in night.closed()] == ["wear"]
    assert [name for name, _, _ in night.opened()] == ["wear", "wear"]
