"""Nights on which the clock is changed: hours shown twice, hours that never were.

Madrid went from 03:00 back to 02:00 on 25 October 2026 at 01:00 UTC, and from 02:00 on to 03:00 on
29 March 2026 at 01:00 UTC. Lord Howe Island moves by half an hour: back from 02:00 to 01:30 on
5 April 2026 (15:00 UTC of the fourth), on from 02:00 to 02:30 on 4 October 2026 (15:30 UTC of the
third). Worked out from the rules in the IANA time-zone database (files europe and australasia).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.files.times import wall_ms
from collector.files.wall_clock import NEVER_WAS, SHOWN_TWICE, Placer, WallClock, zone_named

HOWE = "Australia/Lord_Howe"
MADRID = "Europe/Madrid"


def wall(text: str) -> int:
    return wall_ms(datetime.fromisoformat(text))


def utc(text: str) -> int:
    return round(datetime.fromisoformat(text + "+00:00").timestamp() * 1000)


def placed(zone: str, walls: list[str], *, every_min: int, newest_first: bool = False):
    placer: Placer[str] = Placer(
        WallClock(ZoneInfo(zone)), interval_ms=every_min * 60_000, newest_first=newest_first
    )
    rows = ((text, wall(text), False) for text in walls)
    return [
        datetime.fromtimestamp(one.at_ms / 1000, UTC).strftime("%H:%M")
        if one.at_ms is not None
        else one.trouble
        for one in placer.place(rows)
    ]


@pytest.mark.parametrize(
    ("zone", "at", "meant"),
    [
        (MADRID, "2026-10-25T01:59:59", ["2026-10-24T23:59:59"]),
        (MADRID, "2026-10-25T02:00:00", ["2026-10-25T00:00:00", "2026-10-25T01:00:00"]),
        (MADRID, "2026-10-25T02:59:59", ["2026-10-25T00:59:59", "2026-10-25T01:59:59"]),
        (MADRID, "2026-10-25T03:00:00", ["2026-10-25T02:00:00"]),
        (MADRID, "2026-03-29T01:59:59", ["2026-03-29T00:59:59"]),
        (MADRID, "2026-03-29T02:00:00", []),
        (MADRID, "2026-03-29T02:59:59", []),
        (MADRID, "2026-03-29T03:00:00", ["2026-03-29T01:00:00"]),
        (HOWE, "2026-04-05T01:29:59", ["2026-04-04T14:29:59"]),
        (HOWE, "2026-04-05T01:30:00", ["2026-04-04T14:30:00", "2026-04-04T15:00:00"]),
        (HOWE, "2026-04-05T02:00:00", ["2026-04-04T15:30:00"]),
        (HOWE, "2026-10-04T02:15:00", []),
        (HOWE, "2026-10-04T02:30:00", ["2026-10-03T15:30:00"]),
    ],
)
@pytest.mark.published("IANA time-zone database, files europe and australasia")
def test_what_the_clock_can_have_meant(zone, at, meant):
    assert list(WallClock(ZoneInfo(zone)).instants(wall(at))) == [utc(one) for one in meant]


@given(
    st.sampled_from(
        [MADRID, HOWE, "America/New_York", "Asia/Kathmandu", "UTC", "Africa/Casablanca"]
    ),
    st.integers(978_307_200, 2_145_830_400),
)
def test_every_instant_is_among_what_its_wall_can_mean(zone, at):
    instant = datetime.fromtimestamp(at, UTC)
    shown = instant.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    meant = WallClock(ZoneInfo(zone)).instants(wall_ms(shown))
    assert round(instant.timestamp() * 1000) in meant


BACK = "2026-10-25T"


def night(*times: str) -> list[str]:
    return [BACK + one for one in times]


def test_an_hour_told_twice_is_told_apart_by_its_order():
    walls = night("01:40", "02:00", "02:20", "02:40", "02:00", "02:20", "02:40", "03:00")
    assert placed(MADRID, walls, every_min=20) == [
        *("23:40", "00:00", "00:20", "00:40", "01:00", "01:20", "01:40", "02:00")
    ]


def test_newest_first_is_told_apart_as_well():
    walls = night("03:00", "02:40", "02:20", "02:00", "02:40", "02:20", "02:00", "01:40")
    assert placed(MADRID, walls, every_min=20, newest_first=True) == [
        *("02:00", "01:40", "01:20", "01:00", "00:40", "00:20", "00:00", "23:40")
    ]


def test_an_hourly_logger_writes_the_same_time_twice():
    walls = night("01:00", "02:00", "02:00", "03:00")
    assert placed(MADRID, walls, every_min=60) == ["23:00", "00:00", "01:00", "02:00"]


def test_a_file_that_ends_in_the_first_pass_or_begins_in_the_second():
    assert placed(MADRID, night("01:40", "02:00", "02:20"), every_min=20) == [
        *("23:40", "00:00", "00:20")
    ]
    assert placed(MADRID, night("02:20", "02:40", "03:00"), every_min=20) == [
        *("01:20", "01:40", "02:00")
    ]


def test_an_hour_told_once_could_be_either_and_is_reported():
    walls = night("01:40", "02:00", "02:20", "02:40", "03:00")
    assert placed(MADRID, walls, every_min=20) == ["23:40", *[SHOWN_TWICE] * 3, "02:00"]


def test_a_lone_row_in_the_hour_is_reported():
    assert placed(MADRID, night("02:20"), every_min=0) == [SHOWN_TWICE]


def test_a_row_out_of_its_turn_is_no_second_pass():
    walls = night("01:50", "02:00", "02:10", "02:20", "02:15", "02:30")
    said = placed(MADRID, walls, every_min=10)
    assert said[0] == "23:50"
    assert set(said[1:]) == {SHOWN_TWICE}


def test_time_that_runs_back_twice_in_the_hour_is_reported():
    walls = night("02:00", "02:40", "02:10", "02:50", "02:20", "03:00")
    assert placed(MADRID, walls, every_min=10) == [*[SHOWN_TWICE] * 5, "02:00"]


def test_an_hour_leapt_over_never_was():
    walls = ["2026-03-29T01:50", "2026-03-29T02:10", "2026-03-29T03:10"]
    assert placed(MADRID, walls, every_min=20) == ["00:50", NEVER_WAS, "01:10"]


def test_half_an_hour_at_lord_howe():
    walls = [f"2026-04-05T{one}" for one in ("01:15", "01:30", "01:45", "01:30", "01:45", "02:00")]
    assert placed(HOWE, walls, every_min=15) == [
        *("14:15", "14:30", "14:45", "15:00", "15:15", "15:30")
    ]
    assert placed(HOWE, ["2026-10-04T02:10"], every_min=15) == [NEVER_WAS]


@given(st.sampled_from([MADRID, HOWE]), st.sampled_from([1, 5, 10, 15, 30]), st.booleans())
def test_a_whole_night_of_steady_rows_comes_back_as_it_was(zone, every_min, newest_first):
    start = (
        datetime(2026, 10, 24, 18, tzinfo=UTC)
        if zone == MADRID
        else datetime(2026, 4, 4, 9, tzinfo=UTC)
    )
    instants = [start + timedelta(minutes=every_min * n) for n in range(12 * 60 // every_min)]
    if newest_first:
        instants.reverse()
    walls = [at.astimezone(ZoneInfo(zone)).replace(tzinfo=None).isoformat() for at in instants]
    assert placed(zone, walls, every_min=every_min, newest_first=newest_first) == [
        at.strftime("%H:%M") for at in instants
    ]


def test_instants_that_are_known_need_no_clock():
    placer: Placer[int] = Placer(WallClock(ZoneInfo(MADRID)), interval_ms=0, newest_first=False)
    at_ms = utc("2026-10-25T00:30:00")
    assert [one.at_ms for one in placer.place([(1, at_ms, True)])] == [at_ms]


@pytest.mark.parametrize(
    ("name", "hours"),
    [
        ("+02:00", 2),
        ("UTC+5:30", 5.5),
        ("GMT-3", -3),
        ("UTC", 0),
        ("−04:00", -4),
        ("Etc/GMT-10", 10),
    ],
)
def test_zones_by_offset_or_name(name, hours):
    at = datetime(2026, 3, 5, tzinfo=zone_named(name))
    assert at.utcoffset() == timedelta(hours=hours)


@pytest.mark.parametrize("name", ["", "summer", "+25:00", "Europe", "../etc/passwd", "+02:75"])
def test_what_is_no_zone_is_refused(name):
    with pytest.raises(ValueError, match="is no time zone"):
        zone_named(name)


def test_a_file_over_the_night_keeps_both_passes_and_reports_what_never_was(load, written):
    rows = ["time,air"]
    at = datetime(2026, 10, 24, 22, tzinfo=UTC)
    for n in range(0, 360, 10):
        shown = (at + timedelta(minutes=n)).astimezone(ZoneInfo(MADRID))
        rows.append(f"{shown:%d.%m.%Y %H:%M},{10 + n / 10:.1f}")
    loaded = load(written("\n".join(rows) + "\n"))
    first = utc("2026-10-24T22:00:00")
    assert loaded.values == {
        ("bag-07/air", first + n * 60_000): 10 + n / 10 for n in range(0, 360, 10)
    }
    assert loaded.refused == []
    never = load(written("time,air\n2026-03-29 01:50,20\n2026-03-29 02:10,20.5\n", "bag-07 b.csv"))
    assert never.refused == [[3, "", "time that never was"]]
    once = load(
        written(
            "time,air\n"
            + "".join(f"2026-10-25 0{h}:{m}0,9.5\n" for h in (1, 2, 3) for m in range(6)),
            "bag-07 c.csv",
        )
    )
    assert [one[2] for one in once.refused].count("time shown twice") == 6
