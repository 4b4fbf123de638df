"""The recorded night, judged by the program: the three things that went wrong, and no other."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from rules.cells import block_of
from rules.evaluator import start, sweep, watchlist
from rules.model.batch import Cover, Scion, Stage
from rules.model.event import ConditionClosed, ConditionOpened
from rules.model.people import WEEK
from rules.model.plan import CarePlan
from rules.model.reading import Reading
from rules.model.site import Site

FIRST_MINUTE = int(datetime(2026, 11, 14, 1, 0, tzinfo=UTC).timestamp()) // 60
MINUTES = 36 * 60
AHEAD = timedelta(hours=11)


@pytest.fixture(scope="module")
def site(site_text) -> Site:
    return Site.model_validate(site_text)


@pytest.fixture(scope="module")
def plans(plan_texts) -> dict[str, CarePlan]:
    read = [CarePlan.model_validate(text) for text in plan_texts]
    return {plan.id: plan for plan in read}


def value_at(payload: dict, path: str):
    for name in path.split("."):
        payload = payload[name]
    return payload


@pytest.fixture(scope="module")
def readings(site, night) -> list[Reading]:
    by_topic = {sensor.topic: sensor for sensor in site.sensor}
    first: dict[tuple[str, int], Reading] = {}
    for message in night:
        sensor = by_topic[message["topic"]]
        stamp = value_at(message["payload"], sensor.time_path)
        seconds = stamp if isinstance(stamp, int) else datetime.fromisoformat(stamp).timestamp()
        for channel in sensor.channel:
            value = float(value_at(message["payload"], channel.path))
            reading = Reading(f"{sensor.id}/{channel.id}", int(seconds) * 1000, value)
            first.setdefault((reading.channel, reading.at_ms), reading)
    return list(first.values())


@pytest.fixture(scope="module")
def events(site, plans, readings):
    watched = watchlist(site, {name: (plan,) for name, plan in plans.items()})
    _, said, _ = sweep(watched, start(watched), block_of(site, FIRST_MINUTE, MINUTES, readings))
    return said


def local(minute: int) -> str:
    return (datetime.fromtimestamp(minute * 60, UTC) + AHEAD).strftime("%d %H:%M")


def test_exactly_the_three_mishaps_are_said(events):
    opened = [
        (event.batch, event.condition, str(event.priority))
        for event in events
        if isinstance(event, ConditionOpened)
    ]
    assert opened == [
        ("CI-15", "blind.vapour_pressure_deficit", "high"),
        ("MG-07", "air-dry", "medium"),
        ("MG-07", "air-dry-danger", "high"),
        ("PE-03", "light-strong", "medium"),
        ("PE-03", "light-danger", "high"),
        ("PE-03", "direct-sun", "medium"),
        ("PE-03", "light-sum-high", "low"),
    ]


@pytest.mark.parametrize(
    ("batch", "condition", "earliest", "latest"),
    [
        ("CI-15", "blind.vapour_pressure_deficit", "14 22:45", "14 23:05"),
        ("MG-07", "air-dry", "15 01:10", "15 01:50"),
        ("MG-07", "air-dry-danger", "15 01:50", "15 02:15"),
        ("PE-03", "light-danger", "15 09:00", "15 09:15"),
    ],
)
def test_each_is_said_at_its_hour(events, batch, condition, earliest, latest):
    (at,) = (
        local(event.minute)
        for event in events
        if isinstance(event, ConditionOpened)
        and (event.batch, event.condition) == (batch, condition)
    )
    assert earliest <= at <= latest


def test_what_was_mended_ends_and_the_dead_probe_stays_dead(events):
    ended = {
        (event.batch, event.condition): local(event.minute)
        for event in events
        if isinstance(event, ConditionClosed)
    }
    assert "15 02:40" < ended.pop(("MG-07", "air-dry-danger")) < "15 03:00"
    assert "15 02:40" < ended.pop(("MG-07", "air-dry")) < "15 03:05"
    assert "15 09:50" < ended.pop(("PE-03", "light-danger")) < "15 10:05"
    assert "15 09:50" < ended.pop(("PE-03", "light-strong")) < "15 10:05"
    assert ended == {}


def test_every_name_in_the_site_file_points_somewhere(site, plans):
    houses = {house.id for house in site.house}
    benches = {bench.id for bench in site.bench}
    codes = {batch.code for batch in site.batch}
    people = {person.id for person in site.person}
    assert site.lead in people
    assert {bench.house for bench in site.bench} <= houses
    assert {batch.bench for batch in site.batch} <= benches
    assert {shift.who for shift in site.shift} == people
    for batch in site.batch:
        plan = plans[batch.plan]
        assert plan.scion is batch.scion
        assert batch.cover in plan.cover
        assert all(move.stage in plan.stage for move in batch.stage)
    for sensor in site.sensor:
        for position in sensor.position:
            assert position.cover_of is None or position.cover_of in codes
            assert position.bench is None or position.bench in benches
            assert position.house is None or position.house in houses


def test_benches_stand_inside_their_houses_and_apart(site):
    size = {house.id: house for house in site.house}
    for bench in site.bench:
        assert bench.x_m + bench.length_m <= size[bench.house].length_m
        assert bench.y_m + bench.width_m <= size[bench.house].width_m
    for bench in site.bench:
        for other in site.bench:
            if bench.id < other.id and bench.house == other.house:
                apart_x = (
                    bench.x_m + bench.length_m <= other.x_m
                    or other.x_m + other.length_m <= bench.x_m
                )
                apart_y = (
                    bench.y_m + bench.width_m <= other.y_m or other.y_m + other.width_m <= bench.y_m
                )
                assert apart_x or apart_y


def test_someone_is_on_duty_at_every_minute_of_the_week(site):
    covered = set()
    for shift in site.shift:
        for day in shift.days:
            start_min = WEEK.index(day) * 1440 + shift.start.hour * 60 + shift.start.minute
            length = (
                shift.end.hour * 60 + shift.end.minute - shift.start.hour * 60 - shift.start.minute
            ) % 1440 or 1440
            covered.update((start_min + minute) % 10_080 for minute in range(length))
    assert len(covered) == 10_080


def test_the_nursery_shows_every_kind_of_batch(site):
    at = datetime(2026, 11, 14, 12, 0, tzinfo=UTC)
    assert {batch.stage_at(at) for batch in site.batch} == {
        Stage.HEALING,
        Stage.NEW_GROWTH,
        Stage.EASING,
        Stage.HARDENING,
    }
    assert {batch.scion for batch in site.batch} == {Scion.LEAFY, Scion.LEAFLESS}
    assert {batch.cover for batch in site.batch} == {Cover.TIED_BAG, Cover.NONE}
    for batch in site.batch:
        assert timedelta(0) < at - batch.stage[0].since < timedelta(weeks=5)


def test_nobody_can_be_reached_by_mistake(site):
    assert all(person.email.endswith(".example.invalid") for person in site.person)
    assert {person.language for person in site.person} == {"en", "es"}


def test_the_first_line_of_a_message_fits_one_text(site, plans):
    longest_batch = max(len(f"{batch.code} {batch.species}") for batch in site.batch)
    longest_bench = max(len(bench.title) for bench in site.bench)
    # ": " + ", " + value and unit + ", should be at most ..." + " since 00:00. " in either language
    frame = len(", : , 1439 µmol m⁻² s⁻¹ (debe ser 1100 o menos) desde las 02:00. ")
    for plan in plans.values():
        for stage in plan.stage.values():
            for limit in stage.limit:
                for language in ("en", "es"):
                    words = len(limit.says.in_language(language))
                    words += len(limit.action.in_language(language))
                    assert longest_batch + longest_bench + frame + words <= 160, limit.id


def test_every_stage_warns_before_it_shouts(plans):
    for plan in plans.values():
        for stage in plan.stage.values():
            for limit in stage.limit:
                milder = stage.limit
                if not limit.id.endswith("-danger"):
                    continue
                for other in milder:
                    same = (other.quantity, other.side) == (limit.quantity, limit.side)
                    if same and other is not limit:
                        inward = other.bound - limit.bound
                        assert inward > 0 if limit.side == "low" else inward < 0
