"""Messages on sums, on water left, on heat to expect: with what is known of how sure they are."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from api.alerts.caution_words import ENGLISH as CARE
from api.alerts.message import Addressed, Writer
from api.records.alarms import AlarmRecord
from api.records.particulars import NOTHING_BESIDE, Particulars
from rules.model.alarm import AlarmState, Priority
from rules.model.people import Person
from rules.model.plan import CarePlan

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.model.site import Site

DUSK = datetime(2026, 11, 14, 7, 5, tzinfo=UTC)  # 18:05 there, a Saturday
NOON = datetime(2026, 11, 15, 1, 0, tzinfo=UTC)
MIDNIGHT = datetime(2026, 11, 14, 13, 0, tzinfo=UTC)
ACTION = {"en": "Shade it.", "es": "Dé sombra."}


def minute(at: datetime) -> int:
    return int(at.timestamp()) // 60


def _limit(name: str, quantity: str, side: str, bound: float) -> dict[str, object]:
    return {
        "id": name,
        "quantity": quantity,
        "side": side,
        "bound": bound,
        "deadband": 0.0,
        "on_delay_min": 1,
        "off_delay_min": 1,
        "full_margin": 10.0,
        "priority": "high",
        "says": {"en": f"{name} said", "es": f"{name} dicho"},
        "action": ACTION,
    }


def _dose(name: str, kind: str, quantity: str, **other: object) -> dict[str, object]:
    return {
        "id": name,
        "kind": kind,
        "quantity": quantity,
        "priority": "medium",
        "says": {"en": f"{name} said", "es": f"{name} dicho"},
        "action": ACTION,
        **other,
    }


def ranged(value: float) -> dict[str, object]:
    return {"central": value, "low": value, "high": value, "source": "for the test"}


@pytest.fixture(scope="module")
def plans(small_plans: Mapping[str, tuple[CarePlan, ...]]) -> Mapping[str, tuple[CarePlan, ...]]:
    """Return the small plan with every kind of sum, and limits on all that is reckoned."""
    ((plan,),) = small_plans.values()
    whole = plan.model_dump(mode="json", exclude_none=True)
    healing = whole["stage"]["healing"]
    healing["limit"] += [
        _limit("reserve", "moisture_reserve", "low", 60.0),
        _limit("hours", "hours_to_critical", "low", 24.0),
        _limit("peak", "expected_peak", "high", 38.0),
        _limit("pull", "leaf_vapour_pressure_deficit", "high", 1.0),
        _limit("leaf", "leaf_temperature", "high", 42.0),
    ]
    healing["dose"] = [
        _dose("sun-sum", "light_sum", "ppfd", bound_mol_m2=8.0),
        _dose("sun-lack", "light_sum", "ppfd", bound_mol_m2=3.0, side="low"),
        _dose(
            "dry-sum", "drying_dose", "leaf_vapour_pressure_deficit", base_kpa=0.3, bound_kpa_h=2
        ),
        _dose("heat-sum", "heat_dose", "air_temperature", base_c=32.0, bound_c_h=6.0, per="stage"),
        _dose(
            "cold-hours", "hours_beyond", "air_temperature", base=12.0, beyond="low", bound_h=2.0
        ),
        _dose("gap", "direct_sun", "ppfd", bound_min=20.0),
    ]
    names = (
        *("conductance_mmol_m2_s", "absorbed_share", "air_speed_m_s", "critical_share"),
        *("turgor_loss_share", "uptake_first_mg_h", "uptake_full_mg_h", "uptake_from_d"),
        *("uptake_full_d", "humidity_error_pct", "leaf_temperature_error_c"),
    )
    whole["drying"] = {
        **{name: ranged(0.5) for name in names},
        "leaves": {
            name: ranged(20.0) for name in ("area_cm2", "breadth_cm", "water_g_m2", "wood_water_g")
        },
    }
    return {plan.id: (CarePlan.model_validate(whole),)}


@pytest.fixture(scope="module")
def writer(small_site: Site, plans: Mapping[str, tuple[CarePlan, ...]]) -> Writer:
    return Writer(small_site, plans, "http://127.0.0.1:8484")


def alarm(condition: str, value: float, beside: Particulars = NOTHING_BESIDE, **other: object):
    fields = {
        "id": 12,
        "batch": "MG-07",
        "condition": condition,
        "priority": Priority.HIGH,
        "state": AlarmState.UNACKNOWLEDGED,
        "opened_at": DUSK,
        "since": DUSK,
        "ended_at": None,
        "value": value,
        "acknowledged_at": None,
        "acknowledged_by": None,
        "particulars": beside,
    }
    return AlarmRecord(**(fields | other))


def to(language: str = "en", *, unit: str = "degC", now: datetime = DUSK) -> Addressed:
    person = {"id": "ada", "name": "Ada", "language": language, "temperature_unit": unit}
    told = Person.model_validate(person | {"email": "ada@small.example.invalid"})
    return Addressed(person=told, others=(), instead_of=None, now=now)


PLANTS = "MG-07 mango under bag, bench 2: "
PEAK = Particulars(
    reckoned=True,
    low=37.1,
    high=42.0,
    at_minute=minute(NOON + timedelta(hours=1, minutes=20)),
    shade_by_minute=minute(NOON - timedelta(hours=1, minutes=20)),
    stop_share=0.22,
)


def test_water_left_is_said_with_its_band_and_as_an_estimate(writer: Writer):
    text = writer.opened(alarm("hours", 18.2, Particulars(True, 11.4, 30.1)), to())
    assert text.line == (
        f"{PLANTS}hours said, 18 h, 11 to 30 (should be 24 or more) since 18:05. Shade it."
    )
    assert "It may be 11 to 30 h. This is an estimate" in text.body
    assert CARE.water in text.body
    reserve = writer.opened(alarm("reserve", 55.0, Particulars(True, 45.0, 63.0)), to("es"))
    assert "55 %, de 45 a 63 (debe ser 60 o más) desde 18:05." in reserve.line
    assert "Puede ser de 45 a 63 %. Es una estimación" in reserve.body


def test_water_left_whose_band_is_not_known_is_still_said_to_be_reckoned(writer: Writer):
    line = writer.opened(alarm("hours", 18.2, Particulars(reckoned=True)), to()).line
    assert "18 h, reckoned (should be 24 or more)" in line


def test_heat_to_expect_says_when_by_when_to_shade_and_how_much_light_to_stop(writer: Writer):
    text = writer.opened(alarm("peak", 39.5, PEAK), to())
    assert text.line == (
        f"{PLANTS}peak said, 39.5 °C, 37.1 to 42.0 (should be 38 or less) expected about Sun 13:20."
        " Shade up before 10:40. Shade it."
    )
    assert "from 37.1 to 42.0 °C, if the sky stays clear." in text.body
    assert "To stay at 38 °C, stop 22 % more of the light." in text.body
    spanish = writer.opened(alarm("peak", 39.5, PEAK), to("es")).line
    assert "hacia dom 13:20. Sombra antes de 10:40." in spanish


def test_heat_to_expect_is_said_in_fahrenheit_to_those_who_read_it(writer: Writer):
    text = writer.opened(alarm("peak", 39.5, PEAK), to(unit="degF"))
    assert "103.1 °F, 98.8 to 107.6 (should be 100.4 or less)" in text.line
    assert "That is 2.7 °F too high." in text.body
    assert "To stay at 100.4 °F" in text.body
    assert "°C" not in text.line + text.body


def test_shade_that_is_late_is_asked_for_now_and_not_once_it_is_over(writer: Writer):
    late = writer.opened(alarm("peak", 39.5, PEAK), to(now=NOON))
    assert "Shade it now." in late.line
    assert CARE.heat in late.body
    over = alarm("peak", 39.5, PEAK, ended_at=NOON, state=AlarmState.RETURNED_UNACKNOWLEDGED)
    line = writer.opened(over, to(now=NOON)).line
    assert "(should be 38 or less) 18:05 to 12:00, over now." in line
    assert "hade" not in line


def test_where_no_shade_helps_that_is_said_instead_of_a_share(writer: Writer):
    beside = Particulars(True, 37.1, 42.0, PEAK.at_minute, PEAK.shade_by_minute, None, True)
    body = writer.opened(alarm("peak", 39.5, beside), to()).body
    assert "Shade alone does not keep it at 38 °C" in body
    assert "stop" not in body


def test_the_sum_of_a_day_is_said_since_midnight_with_what_is_missing(writer: Writer):
    beside = Particulars(unseen_min=125)
    text = writer.opened(alarm("sun-sum", 8.4, beside, since=MIDNIGHT), to(now=NOON))
    assert text.line == (
        f"{PLANTS}sun-sum said, 8.4 mol m⁻² (should be 8 or less) since midnight. Shade it."
    )
    assert "Light added up: 8.4 mol m⁻² when this was raised; should be 8 mol m⁻²" in text.body
    assert "That is 0.4 mol m⁻² too high." in text.body
    assert "Added up over the day, since Sun 15 November, 00:00 nursery time" in text.body
    assert "2 h of that time could not be seen" in text.body
    assert "Counting began" not in text.body
    assert CARE.heat in text.body


def test_a_day_counted_from_its_middle_says_since_when(writer: Writer):
    begun = MIDNIGHT + timedelta(hours=8)
    beside = Particulars(unseen_min=30, begun_late=True)
    text = writer.opened(alarm("gap", 21.0, beside, since=begun), to(now=NOON))
    assert "21 min (should be 20 or less) since 08:00." in text.line
    assert "Counting began after the day had" in text.body
    assert "30 min of that time could not be seen" in text.body


def test_a_day_that_had_too_little_is_named_by_its_date(writer: Writer):
    lack = alarm("sun-lack", 2.1, since=MIDNIGHT - timedelta(days=1), opened_at=MIDNIGHT)
    text = writer.opened(lack, to(now=MIDNIGHT + timedelta(minutes=3)))
    assert "2.1 mol m⁻² (should be 3 or more) on 14 November. Shade it." in text.line
    assert CARE.heat not in text.body


def test_the_sum_of_a_stage_is_said_since_its_date(writer: Writer):
    since = datetime(2026, 11, 2, 23, 0, tzinfo=UTC)
    text = writer.opened(alarm("heat-sum", 7.5, since=since), to(now=NOON))
    assert "7.5 °C·h (should be 6 or less) since 3 November." in text.line
    assert "Air temperature above 32 °C added up: 7.5 °C·h" in text.body
    assert "Added up over this stage, since Tue 3 November, 10:00" in text.body


def test_degree_hours_and_what_they_count_from_are_in_fahrenheit_too(writer: Writer):
    since = datetime(2026, 11, 2, 23, 0, tzinfo=UTC)
    text = writer.opened(alarm("heat-sum", 7.5, since=since), to(unit="degF", now=NOON))
    assert "13.5 °F·h (should be 10.8 or less)" in text.line
    assert "Air temperature above 89.6 °F added up" in text.body
    assert "That is 2.7 °F·h too high." in text.body
    assert "°C" not in text.line + text.body


def test_hours_below_a_cold_bound_are_no_heat(writer: Writer):
    text = writer.opened(alarm("cold-hours", 2.5, since=MIDNIGHT), to(now=NOON))
    assert "Hours of air temperature below 12 °C: 2.5 h" in text.body
    assert CARE.heat not in text.body


def test_a_leaf_that_no_sensor_touches_is_said_to_be_reckoned(writer: Writer):
    reckoned, told = Particulars(reckoned=True), NOTHING_BESIDE
    text = writer.opened(alarm("leaf", 43.0, reckoned), to(now=NOON))
    assert "43.0 °C, reckoned (should be 42 or less)" in text.line
    assert "No sensor is on a leaf" in text.body
    assert "reckoned" not in writer.opened(alarm("leaf", 43.0, told), to(now=NOON)).body
    pull = writer.opened(alarm("pull", 1.42, reckoned), to(now=NOON))
    assert "1.42 kPa, reckoned (should be 1 or less)" in pull.line
    summed = writer.opened(alarm("dry-sum", 2.4, reckoned, since=MIDNIGHT), to(now=NOON))
    assert "Drying power at the leaf above 0.3 kPa added up: 2.4 kPa·h" in summed.body
    assert "No sensor is on a leaf" in summed.body


def test_a_sum_that_ended_says_so_and_not_that_it_came_back(writer: Writer):
    ended = MIDNIGHT + timedelta(days=1)
    over = alarm(
        "sun-sum", 8.4, since=MIDNIGHT, ended_at=ended, state=AlarmState.RETURNED_UNACKNOWLEDGED
    )
    line = writer.closed(over, ended, to(now=ended + timedelta(minutes=3))).line
    assert line == (
        f"{PLANTS}that sum ended at 00:00 (sun-sum said, on 15 November). Still needs"
        " acknowledging."
    )
    reached = alarm(
        "sun-lack", 2.1, since=MIDNIGHT, ended_at=NOON, state=AlarmState.RETURNED_UNACKNOWLEDGED
    )
    assert "back inside since 12:00" in writer.closed(reached, NOON, to(now=NOON)).line
