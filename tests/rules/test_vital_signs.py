"""What is found wrong with the tool from facts, and what is not said because something greater is.

The thresholds are common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model.alarm import Priority
from rules.vital_delays import DELAYS_S, resumed, turn
from rules.vital_facts import DiskFacts, Facts, HouseRules, SensorFacts
from rules.vital_signs import Examined, Finding, Sign, examine, is_essential_well

RULES = HouseRules()
GB = 10**9
DISK = DiskFacts(free=50 * GB, inodes=10**6, loss_bytes_s=None, measured_s=0.0, writable=True)
WELL = Facts(
    sensors=(),
    watched=frozenset({"MG-07", "AV-09"}),
    broker="",
    keeping="",
    archive="",
    records="",
    disk=DISK,
    jumped_s=0.0,
    clock_set=True,
    lag_s=0.0,
    watch_still_s=0.0,
    alerts_still_s=0.0,
    alerts_idle_s=0.0,
    waiting=0,
    heartbeat_failed=0,
    backup_age_s=3600.0,
    nodes=(),
)


def sensor(name: str, heard_ago_s: float | None = 10.0, **other: object) -> SensorFacts:
    facts: dict[str, object] = {
        "house": "h1",
        "batches": frozenset({f"MG-{name[-2:]}"}),
        "silent_after_s": 900.0,
        **other,
    }
    return SensorFacts(id=name, heard_ago_s=heard_ago_s, **facts)  # type: ignore[arg-type]


def openings(facts: Facts) -> dict[str, Finding]:
    return {one.key: one for one in examine(facts, RULES).findings if one.opens}


def test_a_tool_in_good_health_has_nothing_to_say():
    heard = tuple(sensor(f"bag-0{n}") for n in range(6))
    examined = examine(replace(WELL, sensors=heard), RULES)
    assert examined == Examined((), frozenset())


def test_several_sensors_that_fall_silent_together_are_one_cause_with_its_batches():
    silent = [sensor(f"bag-0{n}", 1000.0 + 30 * n) for n in range(4)]
    heard = [sensor("bag-08"), sensor("bag-09")]
    found = openings(replace(WELL, sensors=(*silent, *heard), watched=frozenset({"MG-02"})))
    assert list(found) == ["hub.h1"]
    hub = found["hub.h1"]
    assert hub.sensors == ("bag-00", "bag-01", "bag-02", "bag-03")
    assert hub.batches == ("MG-00", "MG-01", "MG-02", "MG-03")
    assert (hub.priority, hub.since_ago_s) == (Priority.HIGH, 1000.0)


def test_sensors_that_fell_silent_hours_apart_are_each_their_own():
    silent = [sensor(f"bag-0{n}", 1000.0 + 3600 * n) for n in range(3)]
    found = openings(replace(WELL, sensors=(*silent, sensor("bag-08"))))
    assert sorted(found) == ["sensor.bag-00", "sensor.bag-01", "sensor.bag-02"]
    assert {one.priority for one in found.values()} == {Priority.LOW}


def test_a_hub_that_serves_two_houses_is_one_cause():
    silent = [sensor(f"bag-0{n}", 1000.0, house=f"h{1 + n % 2}") for n in range(6)]
    found = openings(replace(WELL, sensors=(*silent, sensor("bag-08"))))
    assert list(found) == ["hub.several"]
    assert len(found["hub.several"].sensors) == 6


def test_when_all_are_silent_nothing_arrives_at_all():
    found = openings(replace(WELL, sensors=tuple(sensor(f"bag-0{n}", 1000.0) for n in range(5))))
    assert list(found) == ["arrivals"]
    assert found["arrivals"].priority is Priority.HIGH


def test_a_broker_that_is_away_explains_every_silence():
    silent = tuple(sensor(f"bag-0{n}", 1000.0) for n in range(5))
    found = openings(replace(WELL, sensors=silent, broker="connection refused"))
    assert list(found) == ["broker"]
    assert found["broker"].batches == ("AV-09", "MG-07")


def test_a_sensor_whose_batch_is_blind_already_is_told_by_the_batch():
    facts = replace(WELL, sensors=(sensor("bag-07", 1000.0), sensor("bag-09")))
    assert list(openings(facts)) == ["sensor.bag-07"]
    assert openings(replace(facts, blind=frozenset({"MG-07"}))) == {}


def test_sensors_get_their_turn_after_an_outage_before_they_are_missed():
    silent = tuple(sensor(f"bag-0{n}", 4000.0, listened_s=600.0) for n in range(5))
    examined = examine(replace(WELL, sensors=silent), RULES)
    assert openings(replace(WELL, sensors=silent)) == {}
    assert "arrivals" in {one.key for one in examined.findings}  # what stands is not over
    late = tuple(replace(one, listened_s=901.0) for one in silent)
    assert list(openings(replace(WELL, sensors=late))) == ["arrivals"]


def test_a_sensor_that_someone_works_on_is_not_missed():
    silent = (sensor("bag-07", 1000.0, excused=True), sensor("bag-09"))
    assert openings(replace(WELL, sensors=silent)) == {}


def test_a_clock_that_is_off_is_the_sensors_unless_most_are_off_the_same_way():
    good = [sensor(f"bag-0{n}", clock_behind_s=2.0) for n in range(4)]
    one = sensor("bag-08", clock_behind_s=-7200.0)
    assert list(openings(replace(WELL, sensors=(*good, one)))) == ["device_clock.bag-08"]
    off = [sensor(f"bag-0{n}", clock_behind_s=3600.0 + n) for n in range(4)]
    found = openings(replace(WELL, sensors=(*off, sensor("bag-09", clock_behind_s=1.0))))
    assert list(found) == ["clock_doubt"]
    assert found["clock_doubt"].figure == pytest.approx(3602.0)
    both = [sensor(f"bag-0{n}", clock_behind_s=3600.0 * (-1) ** n) for n in range(4)]
    assert sorted(openings(replace(WELL, sensors=tuple(both)))) == [
        f"device_clock.bag-0{n}" for n in range(4)
    ]


def test_a_battery_is_low_only_where_the_site_says_what_low_is():
    weak = sensor("bag-07", battery=3.1)
    assert openings(replace(WELL, sensors=(weak,))) == {}
    found = openings(replace(WELL, sensors=(replace(weak, battery_low=3.3),)))
    assert found["battery.bag-07"].figure == 3.1


@pytest.mark.parametrize(
    ("disk", "expected"),
    [
        (replace(DISK, free=900_000_000), "disk_low"),
        (replace(DISK, free=100_000_000), "disk_out"),
        (replace(DISK, inodes=4000), "disk_low"),
        (replace(DISK, inodes=400), "disk_out"),
        (replace(DISK, inodes=None), None),
        (replace(DISK, writable=False, trouble="Read-only file system"), "disk_out"),
        (replace(DISK, loss_bytes_s=50 * GB / (48 * 3600)), "disk_low"),
        (replace(DISK, loss_bytes_s=50 * GB / (5 * 3600)), "disk_out"),
        (replace(DISK, loss_bytes_s=50 * GB / (400 * 3600)), None),
        (replace(DISK, loss_bytes_s=-1e9), None),
    ],
)
def test_a_disk_is_told_by_room_files_pace_and_whether_it_takes_writing(disk, expected):
    assert list(openings(replace(WELL, disk=disk))) == ([] if expected is None else [expected])


def test_at_the_present_pace_it_says_when_the_disk_is_full():
    disk = replace(DISK, free=864_000_000, loss_bytes_s=10_000.0)
    assert openings(replace(WELL, disk=disk))["disk_low"].lasts_s == pytest.approx(86_400)


@pytest.mark.parametrize(
    ("waiting", "waited_s", "expected"),
    [
        (999, 0.5, set()),
        (1000, 0.5, {"backlog"}),
        (5, 59.0, set()),
        (5, 61.0, {"backlog"}),
        (0, 61.0, set()),  # all that waited so long has been kept
    ],
)
def test_more_coming_in_than_is_kept_is_a_backlog(waiting, waited_s, expected):
    facts = replace(WELL, waiting=waiting, waited_s=waited_s)
    assert set(openings(facts)) == expected
    # While nothing can be kept at all, that is what is said.
    assert "backlog" not in openings(replace(facts, keeping="disk full"))


def test_what_nobody_can_know_is_neither_wrong_nor_right():
    examined = examine(Facts(), RULES)
    assert examined.findings == ()
    assert examined.unknown == frozenset(Sign) - {Sign.RESTORED}  # nobody looks for that


def test_the_outside_is_told_that_all_is_well_only_while_it_is_known_to_be():
    assert is_essential_well(WELL, RULES)
    ills = {
        "records": ("database is locked", None),
        "keeping": ("disk full", None),
        "lag_s": (301.0, None),
        "watch_still_s": (301.0, None),
        "alerts_idle_s": (301.0, None),
        "disk": (replace(DISK, writable=False), None),
    }
    for name, values in ills.items():
        for value in values:
            assert not is_essential_well(replace(WELL, **{name: value}), RULES), (name, value)


BROKER_AWAY = Examined((Finding(Sign.BROKER, "", Priority.HIGH),), frozenset())
NOTHING = Examined((), frozenset())


def test_it_is_said_once_it_has_lasted_and_over_once_it_is_gone_for_long_enough():
    on_s, off_s = DELAYS_S[Sign.BROKER]
    lasting, said = {}, []
    for at_s in range(0, 600, 5):
        away = at_s < 300 and at_s != 100  # a blink at 100 s begins the delay anew
        turned = turn(lasting, BROKER_AWAY if away else NOTHING, at_s)
        lasting = dict(turned.lasting)
        said += [(at_s, "opened", one.key) for one in turned.opened]
        said += [(at_s, "closed", key) for key in turned.closed]
    assert said == [(105 + on_s, "opened", "broker"), (300 + off_s, "closed", "broker")]


def test_what_stood_open_at_a_start_is_over_only_once_it_has_been_looked_for():
    lasting = resumed(["broker", "moon"])
    unknown = Examined((), frozenset({Sign.BROKER}))
    for at_s in range(0, 1000, 5):
        turned = turn(lasting, unknown, at_s)
        lasting = dict(turned.lasting)
        assert turned.closed == ()
    closed = [turn(lasting, NOTHING, 1000.0), None]
    closed[1] = turn(closed[0].lasting, NOTHING, 1060.0)
    assert [one.closed for one in closed] == [(), ("broker",)]


def test_a_silence_that_something_greater_explains_opens_nothing_but_keeps_what_stands():
    told = Finding(Sign.SENSOR, "bag-07", Priority.LOW)
    explained = Examined((replace(told, opens=False),), frozenset())
    lasting = {}
    for at_s in range(0, 1000, 5):
        turned = turn(lasting, explained, at_s)
        lasting = dict(turned.lasting)
        assert turned.opened == ()
    lasting = resumed([told.key])
    for at_s in range(0, 1000, 5):
        turned = turn(lasting, explained, at_s)
        lasting = dict(turned.lasting)
        assert (turned.closed, turned.opened) == ((), ())


@given(st.lists(st.sampled_from(["away", "well", "unknown"]), max_size=200), st.integers(1, 90))
def test_openings_and_closings_take_turns_whatever_happens(course, step_s):
    lasting, said = {}, []
    unknown = Examined((), frozenset({Sign.BROKER}))
    for number, one in enumerate(course):
        examined = {"away": BROKER_AWAY, "well": NOTHING, "unknown": unknown}[one]
        turned = turn(lasting, examined, float(number * step_s))
        lasting = dict(turned.lasting)
        said += ["opened"] * len(turned.opened) + ["closed"] * len(turned.closed)
    assert said[::2] == ["opened"] * len(said[::2])
    assert said[1::2] == ["closed"] * len(said[1::2])
