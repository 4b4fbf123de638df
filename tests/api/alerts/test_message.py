"""What messages say: they start with the plants, fit a text message, and tell what to do first."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from api.alerts.caution_words import ENGLISH as CARE
from api.alerts.figures import clock_time, measure_of, measure_of_sum
from api.alerts.message import LINE_LENGTH, Addressed, Writer
from api.alerts.phrases import ENGLISH, SPANISH
from api.alerts.reach import reach_in, variable
from api.alerts.text_message import ONE, septets, short_form
from api.records.alarms import AlarmRecord
from api.records.particulars import NOTHING_BESIDE, Particulars
from api.records.watch import WatchGap
from api.site_files import read_nursery
from rules.model.alarm import AlarmState, Priority
from rules.model.batch import Cover, GraftMethod, Stage
from rules.model.dose import DOSE_SHOWN, DoseKind, DoseLimit, Per
from rules.model.people import Person
from rules.model.quantities import FELT_SHOWN, RECKONED, Felt

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rules.model.site import Site

DEMO = Path(__file__).parents[3] / "demo_data"
NIGHT = datetime(2026, 11, 14, 14, 50, tzinfo=UTC)  # 01:50 there
NOON = datetime(2026, 11, 15, 1, 0, tzinfo=UTC)
FIRST_WORDS_REFUSED = ("alert", "warning", "alarm", "alerta", "aviso", "alarma", "low.", "high.")


def alarm_of(condition: str, *, batch: str = "MG-07", value: float | None, **other) -> AlarmRecord:
    fields = {
        "id": 12,
        "batch": batch,
        "condition": condition,
        "priority": Priority.HIGH,
        "state": AlarmState.UNACKNOWLEDGED,
        "opened_at": NIGHT + timedelta(minutes=10),
        "since": NIGHT,
        "ended_at": None,
        "value": value,
        "acknowledged_at": None,
        "acknowledged_by": None,
    }
    return AlarmRecord(**(fields | other))


def person(language: str = "en", unit: str = "degC") -> Person:
    return Person.model_validate(
        {
            "id": "ada",
            "name": "Ada Quill",
            "language": language,
            "temperature_unit": unit,
            "email": "ada@small.example.invalid",
        }
    )


def to(language: str = "en", *, unit: str = "degC", now: datetime | None = None, **other):
    at = now or NIGHT + timedelta(minutes=12)
    return Addressed(
        person=person(language, unit),
        others=other.get("others", ()),
        instead_of=other.get("instead_of"),
        now=at,
    )


@pytest.fixture(scope="module")
def demo() -> Writer:
    """Return a writer for the demo nursery, whose names are as long as names get."""
    checked = read_nursery(DEMO / "site.toml", DEMO / "plans")
    assert checked.faults == ()
    assert checked.site is not None
    return Writer(checked.site, checked.versions, "http://127.0.0.1:8484")


@pytest.fixture(scope="module")
def small(small_site: Site, small_plans) -> Writer:
    return Writer(small_site, small_plans, "http://127.0.0.1:8484")


SUMMED_SINCE = {Per.LOCAL_DAY: NIGHT - timedelta(hours=18), Per.STAGE: NIGHT - timedelta(days=17)}


def beside_of(asked) -> Particulars:
    """Return as many words' worth as can stand beside a value."""
    if isinstance(asked, DoseLimit):
        return Particulars(reckoned=True, unseen_min=55, begun_late=True)
    if asked.quantity is Felt.EXPECTED_PEAK:
        minute = int(NOON.timestamp()) // 60
        return Particulars(True, 37.15, 142.85, minute, minute - 200, 0.25)
    if asked.quantity in RECKONED:
        return Particulars(reckoned=True, low=111.2, high=333.4)
    if asked.quantity is Felt.LEAF_TEMPERATURE:
        return Particulars(reckoned=True)
    return NOTHING_BESIDE


def every_alarm(writer: Writer) -> Iterator[AlarmRecord]:
    """Yield an alarm for every limit and dose that can speak of a batch now, far beyond it."""
    for batch in writer.site.batch:
        stage = batch.stage_at(NIGHT)
        plan = writer.plans[batch.plan][-1]
        if stage not in plan.stage:
            continue
        needs = plan.stage[stage]
        for asked in (*needs.limit, *needs.dose):
            value = asked.bound - 99.87 if asked.side == "low" else asked.bound * 2 + 1234.56
            beside = {"value": value, "particulars": beside_of(asked)}
            if isinstance(asked, DoseLimit):
                beside["since"] = SUMMED_SINCE[asked.per]
            yield alarm_of(asked.id, batch=batch.code, **beside)
        for felt in Felt:
            yield alarm_of(f"blind.{felt}", batch=batch.code, value=None)


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_first_line_of_the_demo_fits_and_starts_with_the_plants(demo: Writer, language: str):
    seen = 0
    for alarm in every_alarm(demo):
        line = demo.opened(alarm, to(language)).line
        assert len(line) <= LINE_LENGTH
        assert not line.endswith("…")
        assert line.startswith(f"{alarm.batch} ")
        assert not line.lower().startswith(FIRST_WORDS_REFUSED)
        over = alarm_of(
            alarm.condition,
            batch=alarm.batch,
            value=alarm.value,
            ended_at=NIGHT + timedelta(hours=1),
            state=AlarmState.RETURNED_UNACKNOWLEDGED,
        )
        assert len(demo.opened(over, to(language)).line) <= LINE_LENGTH
        assert over.ended_at is not None
        closed = demo.closed(over, over.ended_at, to(language)).line
        assert len(closed) <= LINE_LENGTH
        assert not closed.endswith("…")
        gap = WatchGap(1, 29_652_000, 29_652_600, NIGHT)
        unwatched = demo.unwatched([alarm, over], gap, to(language)).line
        assert len(unwatched) <= LINE_LENGTH
        assert unwatched.startswith(f"{alarm.batch} ")
        seen += 1
    assert seen > 100


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_first_line_of_the_demo_says_what_to_do_first(demo: Writer, language: str):
    for alarm in every_alarm(demo):
        batch = next(b for b in demo.site.batch if b.code == alarm.batch)
        if alarm.value is None:
            continue
        stage = batch.stage_at(NIGHT)
        assert stage is not None
        needs = demo.plans[batch.plan][-1].stage[stage]
        asked = (*needs.limit, *needs.dose)
        action = next(x for x in asked if x.id == alarm.condition).action
        assert action.in_language(language) in demo.opened(alarm, to(language)).line


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_first_line_of_the_demo_fits_one_text_message_in_its_own_alphabet(
    demo: Writer, language: str
):
    for alarm in every_alarm(demo):
        text = demo.opened(alarm, to(language, unit="degF"))
        said = short_form(text, most=LINE_LENGTH)
        assert septets(said) <= ONE
        assert septets(said) == len(said), "a sign outside of the alphabet costs two more messages"
        assert said.startswith(f"{alarm.batch} ")


def test_a_person_who_reads_fahrenheit_gets_fahrenheit_throughout(small: Writer):
    text = small.opened(alarm_of("heat", value=40.0), to(unit="degF", now=NOON))
    assert "104.0 °F (should be 100.4 or less)" in text.line
    assert "That is 3.6 °F too high." in text.body
    assert "°C" not in text.line + text.body


def test_spanish_uses_its_own_decimal_mark(small: Writer):
    text = small.opened(alarm_of("heat", value=40.25), to("es", now=NOON))
    assert "40,2 °C (debe ser 38 o menos)" in text.line
    assert "Le sobran 2,2 °C." in text.body


def test_a_value_just_beyond_its_bound_never_looks_like_the_bound(small: Writer):
    text = small.opened(alarm_of("air-dry", value=79.96), to())
    assert "79.96 % (should be 80 or more)" in text.line


def test_by_day_it_speaks_of_heat_and_by_night_of_going_alone(small: Writer):
    hot = alarm_of("heat", value=40.0)
    by_day, by_night = small.opened(hot, to(now=NOON)), small.opened(hot, to())
    assert CARE.heat in by_day.body
    assert CARE.night not in by_day.body
    assert CARE.night in by_night.body
    assert CARE.local in by_day.body


def test_cautions_end_with_the_way_to_all_of_them(small: Writer):
    hot = small.opened(alarm_of("heat", value=40.0), to("es", now=NOON))
    assert hot.body.endswith(f"Todas las precauciones: {small.base_url}/cautions")
    mild = small.opened(alarm_of("cold", value=8.0), to(now=NOON))
    assert "/cautions" not in mild.body


def test_it_says_who_else_knows_and_who_could_not_be_reached(small: Writer):
    text = small.opened(
        alarm_of("air-dry", value=70.0), to(others=("Bo Reed", "Cy Lund"), instead_of="Di Marsh")
    )
    assert "Told: you and Bo Reed, Cy Lund." in text.body
    assert "You are told because Di Marsh could not be reached." in text.body


def test_a_batch_that_left_the_site_file_is_still_named(small: Writer):
    text = small.opened(alarm_of("air-dry", batch="OLD-1", value=70.0), to())
    assert text.line == "OLD-1: outside its limit air-dry since 01:50. Look at the plants."


def test_a_closing_that_needs_nobody_says_so(small: Writer):
    done = alarm_of(
        "air-dry", value=70.0, state=AlarmState.NORMAL, ended_at=NIGHT + timedelta(minutes=30)
    )
    text = small.closed(done, NIGHT + timedelta(minutes=30), to())
    assert text.line.endswith("Nothing more to do.")
    assert "/alarms/12" not in text.body


def test_a_time_of_long_ago_names_its_day(small: Writer):
    place = small.site.site
    assert clock_time(NIGHT, place, now=NIGHT, words=ENGLISH) == "01:50"
    later = NIGHT + timedelta(days=2)
    assert clock_time(NIGHT, place, now=later, words=ENGLISH) == "Sun 01:50"
    assert clock_time(NIGHT, place, now=later, words=SPANISH) == "dom 01:50"


@pytest.mark.parametrize("words", [ENGLISH, SPANISH])
def test_every_word_of_the_model_has_its_phrase(words):
    assert set(words.felt) == set(Felt)
    assert set(words.stage) == set(Stage)
    assert set(words.cover) == set(Cover)
    assert set(words.method) == set(GraftMethod)
    assert set(words.priority) == set(Priority)
    assert set(words.summed) == set(DoseKind)
    assert {felt: measure_of(felt, person()).unit for felt in Felt} == FELT_SHOWN
    assert {kind: measure_of_sum(kind, person()).unit for kind in DoseKind} == DOSE_SHOWN


def test_secret_addresses_come_from_the_environment_or_a_file(small_site: Site, tmp_path: Path):
    reachable = small_site.model_copy(
        update={
            "person": tuple(
                p.model_copy(update={"reach": ("night-phone", "shed")}) for p in small_site.person
            )
        }
    )
    held = tmp_path / "shed"
    held.write_text("way://shed-secret\n")
    found = reach_in(
        {variable("night-phone"): "way://phone-secret", f"{variable('shed')}_FILE": str(held)},
        reachable,
    )
    assert {name: secret.get_secret_value() for name, secret in found.items()} == {
        "night-phone": "way://phone-secret",
        "shed": "way://shed-secret",
    }
    assert "secret" not in repr(found).replace("SecretStr", "")
    assert reach_in({}, reachable) == {}
