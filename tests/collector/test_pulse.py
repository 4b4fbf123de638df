"""How regularly a channel speaks, its gaps, and how far a clock is off."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.gate import Message
from collector.pulse import CLOCKS_KEPT, GAPS_KEPT, Pulses
from collector.stores.base import StoreFailure

NOW_MS = 1_772_000_000_000
MINUTE = 60_000


def pulse(*instants: int):
    pulses = Pulses()
    pulses.note([("a/b", at) for at in instants])
    return pulses.regularity()["a/b"]


def test_the_usual_interval_is_the_median_and_a_jitter_is_no_gap():
    steps = [60, 61, 59, 60, 62, 58, 60, 60, 75, 60]
    instants = [sum(steps[:n]) * 1000 for n in range(len(steps) + 1)]
    one = pulse(*instants)
    assert (one.last_ms, one.usual_ms, one.gaps) == (instants[-1], 60_000, ())


def test_too_few_readings_tell_no_interval():
    assert pulse(1, 2, 3, 4, 5).usual_ms is None
    assert pulse(0, 10, 20, 30, 40, 50).usual_ms == 10


def test_a_gap_is_two_messages_missed_in_a_row():
    regular = [n * MINUTE for n in range(10)]
    assert pulse(*regular, regular[-1] + 2 * MINUTE).gaps == ()
    end = regular[-1] + 3 * MINUTE
    assert pulse(*regular, end).gaps == ((regular[-1], end),)


def test_readings_that_come_late_fill_the_gap():
    regular = [n * MINUTE for n in range(10)]
    last = regular[-1]
    after = last + 10 * MINUTE
    late = [last + n * MINUTE for n in range(1, 10)]
    assert pulse(*regular, after, *late[:4]).gaps == ((late[3], after),)
    assert pulse(*regular, after, *late).gaps == ()
    assert pulse(*regular, after, late[4]).gaps == ((last, late[4]), (late[4], after))


def test_one_gap_does_not_change_what_is_usual():
    regular = [n * MINUTE for n in range(20)]
    assert pulse(*regular, regular[-1] + 600 * MINUTE).usual_ms == MINUTE


def test_a_device_set_to_speak_more_rarely_is_believed_after_a_while():
    instants = [n * MINUTE for n in range(40)]
    instants += [instants[-1] + n * 10 * MINUTE for n in range(1, 60)]
    one = pulse(*instants)
    assert one.usual_ms == 10 * MINUTE
    assert len(one.gaps) <= GAPS_KEPT


@given(st.lists(st.integers(-(2**62), 2**62), max_size=300))
def test_whatever_comes_the_memory_is_bounded_and_gaps_are_in_order(instants):
    pulses = Pulses()
    pulses.note([("a", at) for at in instants])
    for one in pulses.regularity().values():
        assert len(one.gaps) <= GAPS_KEPT
        assert all(start < end for start, end in one.gaps)
        assert list(one.gaps) == sorted(one.gaps)


def test_a_clock_is_judged_by_the_message_that_came_fastest():
    pulses = Pulses()
    # Stored for an hour, then sent: the newest says that the clock is 2 s behind at most.
    pulses.note_clocks([("a", 3_600_000), ("a", 1_800_000), ("a", 2_000)])
    pulses.note_clocks([("ahead", -30_000), ("ahead", -29_000)])
    assert pulses.clock_behind_ms() == {"a": 2_000, "ahead": -30_000}
    pulses.note_clocks([("a", 90_000)] * CLOCKS_KEPT)
    assert pulses.clock_behind_ms()["a"] == 90_000


def say(kept, behind_ms: int, **more: object) -> None:
    said = {"ts": kept.now_ms - behind_ms, "air": {"temp": 21.5, "rh": 90}}
    body = json.dumps(said).encode()
    kept.ingest.take([Message("shed/bag-07", body, kept.now_ms, **more)])


def test_a_clock_so_far_off_that_its_readings_are_refused_is_told_too(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    say(kept, -7_200_000)
    assert kept.store.count() == 0
    assert kept.ingest.pulses.clock_behind_ms() == {"bag-07": -7_200_000}
    assert kept.rejects.of_sensors() == {"bag-07": {"clock ahead": 1}}


def test_an_old_copy_says_nothing_of_the_clock(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    say(kept, 3_600_000, retained=True)
    assert kept.ingest.pulses.clock_behind_ms() == {}


def test_nothing_is_noted_of_what_could_not_be_kept(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    kept.store.close()
    with pytest.raises(StoreFailure):
        say(kept, 0)
    assert kept.ingest.pulses.regularity() == {}
    assert kept.ingest.pulses.clock_behind_ms() == {}


def test_the_lag_is_how_long_the_oldest_message_waited(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    assert kept.ingest.health().lag_ms is None
    body = b'{"ts": %d, "light": [3]}' % NOW_MS
    kept.ingest.take(
        [
            Message("shed/bag-07", body, NOW_MS - 700),
            Message("shed/bag-07", body, NOW_MS - 2_500),
        ]
    )
    assert kept.ingest.health().lag_ms == 2_500
    kept.ingest.take([])
    assert kept.ingest.health().lag_ms == 2_500


def test_rejects_of_a_sensor_are_counted_for_ever_and_by_kind(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    bad = [Message("shed/bag-07", b"?", NOW_MS)] * 150
    kept.ingest.take([*bad, Message("elsewhere", b"{}", NOW_MS)])
    kept.ingest.take([Message("shed/bag-07", b'{"ts": "x"}', NOW_MS)])
    assert kept.rejects.of_sensors() == {"bag-07": {"not JSON": 150, "bad time": 1}}
    assert {reject.sensor for reject in kept.rejects.newest(200)} == {"bag-07", ""}
