"""The body says how fast it gets worse and how long there is, in each reader's words and unit."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from api.alerts.message import Addressed, Writer
from api.records.alarms import AlarmRecord
from api.records.particulars import NOTHING_BESIDE, Particulars
from rules.model.alarm import AlarmState, Priority
from rules.model.people import Person
from rules.model.plan import CarePlan

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.model.site import Site

NIGHT = datetime(2026, 11, 14, 14, 50, tzinfo=UTC)  # 01:50 there
MINUTE = int(NIGHT.timestamp()) // 60


@pytest.fixture(scope="module")
def writer(small_site: Site, small_plans: Mapping[str, tuple[CarePlan, ...]]) -> Writer:
    """Return the small nursery, with a limit that is of low priority and one on light."""
    ((plan,),) = small_plans.values()
    whole = plan.model_dump(mode="json", exclude_none=True)
    first = whole["stage"]["healing"]["limit"][0]
    whole["stage"]["healing"]["limit"] += [
        first | {"id": "damp", "side": "high", "bound": 99.0, "priority": "low"},
        first | {"id": "bright", "quantity": "ppfd", "side": "high", "bound": 300.0},
    ]
    return Writer(small_site, {plan.id: (CarePlan.model_validate(whole),)}, "http://shed.invalid")


def body(writer: Writer, condition: str, value: float, known: Particulars, **how) -> list[str]:
    at = how.pop("now", NIGHT)
    person = Person.model_validate(
        {
            "id": "ada",
            "name": "Ada Quill",
            "email": "ada@small.example.invalid",
            **how.pop("to", {}),
        }
    )
    fields = {
        "priority": Priority.HIGH,
        "state": AlarmState.UNACKNOWLEDGED,
        "opened_at": NIGHT,
        "since": NIGHT - timedelta(minutes=10),
        "ended_at": None,
        "acknowledged_at": None,
        "acknowledged_by": None,
        **how,
    }
    about = AlarmRecord(
        id=12, batch="MG-07", condition=condition, value=value, particulars=known, **fields
    )
    to = Addressed(person=person, others=(), instead_of=None, now=at)
    return writer.opened(about, to).body.splitlines()


DRYING = Particulars(
    change=-10.04,
    graver=70.0,
    graver_minute=MINUTE + 25,
    hours=5.4,
    hours_low=2.55,
    hours_high=90.0,
)


def test_dry_air_says_how_fast_when_it_is_graver_and_how_long_the_water_lasts(writer: Writer):
    lines = body(writer, "air-dry", 71.0, DRYING)
    assert "How fast: it fell by 10.0 % in 20 minutes." in lines
    assert "If it goes on like that, it passes 70 % about 02:15." in lines
    water = (
        "At that minute's pace the scions' water lasts about 5 h, 2.5 to 72+; at the earliest "
        "until 04:23. An estimate: look at the leaves and the wood."
    )
    assert water in lines
    # What to do first comes after it, and the figures before.
    first = next(place for place, line in enumerate(lines) if line.startswith("Do first:"))
    assert lines.index(water) < first


def test_it_says_so_in_spanish(writer: Writer):
    lines = body(writer, "air-dry", 71.0, DRYING, to={"language": "es"})
    assert "A qué ritmo: bajó 10,0 % en 20 minutos." in lines
    assert "Si sigue así, pasa de 70 % hacia las 02:15." in lines
    assert any(
        "dura unas 5 h, de 2,5 a 72+; lo más pronto, hasta las 04:23." in line for line in lines
    )


def test_a_reader_of_fahrenheit_is_told_differences_in_fahrenheit(writer: Writer):
    rising = Particulars(change=2.5, graver=42.0, graver_minute=MINUTE + 40)
    lines = body(writer, "heat", 38.5, rising, to={"temperature_unit": "degF"})
    assert "How fast: it rose by 4.5 °F in 20 minutes." in lines
    assert "If it goes on like that, it passes 107.6 °F about 02:30." in lines


def test_a_message_written_later_names_the_same_times(writer: Writer):
    at_once = body(writer, "air-dry", 71.0, DRYING)
    later = body(writer, "air-dry", 71.0, DRYING, now=NIGHT + timedelta(minutes=40))
    told = [line for line in at_once if "02:15" in line or "04:23" in line]
    assert len(told) == 2
    assert all(line in later for line in told)


def test_what_is_not_known_is_said_to_be_not_known(writer: Writer):
    lines = body(writer, "air-dry", 71.0, NOTHING_BESIDE)
    assert "How fast: not known, as it was not seen for long enough." in lines
    assert not any("water lasts" in line for line in lines)


def test_what_stays_is_said_to_stay(writer: Writer):
    lines = body(writer, "air-dry", 71.0, Particulars(change=-0.04))
    assert "How fast: it is as it was 20 minutes before." in lines


@pytest.mark.parametrize(
    ("hours", "says"),
    [
        ((0.0, 0.0, 3.0), "The scions' water is used up by now"),
        ((80.0, 200.0, 1000.0), "lasts more than 72 h."),
        ((9.4, 90.0, 1000.0), "lasts more than 72 h, at worst 9 h, until 11:14. An estimate"),
        ((30.0, 51.0, 1000.0), "lasts about 51 h, 30 to 72+. An estimate"),
    ],
)
def test_water_that_is_gone_or_lasts_for_days_is_said_plainly(writer: Writer, hours, says: str):
    low, central, high = hours
    known = Particulars(hours=central, hours_low=low, hours_high=high)
    assert any(says in line for line in body(writer, "air-dry", 71.0, known))


def test_light_damp_of_low_priority_blindness_and_what_is_over_have_no_pace(writer: Writer):
    for condition in ("bright", "damp", "blind.relative_humidity"):
        assert not any(
            "How fast" in line for line in body(writer, condition, 400.0, NOTHING_BESIDE)
        )
    over = {
        "state": AlarmState.RETURNED_UNACKNOWLEDGED,
        "ended_at": NIGHT + timedelta(minutes=5),
        "now": NIGHT + timedelta(minutes=9),
    }
    assert not any("How fast" in line for line in body(writer, "air-dry", 71.0, DRYING, **over))
