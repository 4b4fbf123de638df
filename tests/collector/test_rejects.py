"""The log of rejects: newest first, counted for ever, bounded whatever comes."""

from __future__ import annotations

from collector.ingest import Message
from collector.rejects import MOST_A_BATCH, MOST_KEPT, Kind, problem, readable
from rules.model.reading import Reject


def reject(number: int, kind: Kind = Kind.UNKNOWN_TOPIC, payload: bytes = b"{}") -> Reject:
    return Reject(number, "t", payload, "topic", problem(kind, f"number {number}"), "do this")


def test_the_newest_come_first_and_survive_a_restart(make_kept):
    kept = make_kept()
    kept.rejects.add([reject(1), reject(2, Kind.NOT_JSON)])
    kept.store.close()
    again = make_kept(path=kept.path)
    assert [r.at_ms for r in again.rejects.newest(5)] == [2, 1]
    assert again.rejects.newest(1) == [reject(2, Kind.NOT_JSON)]
    assert again.rejects.counts() == {"not JSON": 1, "unknown topic": 1}


def test_only_the_head_of_a_payload_is_kept(make_kept):
    kept = make_kept()
    kept.rejects.add([reject(1, payload=b"x" * 5000)])
    assert kept.rejects.newest(1)[0].payload == b"x" * 200


def test_a_storm_is_counted_in_full_but_kept_in_part(make_kept):
    kept = make_kept()
    for first in range(0, 200_000, 1000):
        kept.rejects.add([reject(number) for number in range(first, first + 1000)])
    assert kept.rejects.counts() == {"unknown topic": 200_000}
    rows = kept.rejects.newest(1_000_000)
    assert len(rows) == MOST_KEPT
    assert rows[0].at_ms == 199_999
    assert rows[MOST_A_BATCH].at_ms == 198_999
    size_mb = sum(f.stat().st_size for f in kept.path.parent.glob("readings.db*")) / 1e6
    assert size_mb < 15


def test_a_storm_of_rejects_does_not_hold_good_readings_back(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    storm = [Message("nobody", b"\x00" * 100, kept.now_ms) for _ in range(999)]
    good = Message("shed/bag-07", b'{"ts": %d, "light": [3]}' % kept.now_ms, kept.now_ms)
    taken = kept.ingest.take([*storm, good])
    assert taken.kept == 1
    assert kept.store.count() == 1
    assert len(kept.rejects.newest(5000)) == MOST_A_BATCH
    assert kept.rejects.counts() == {"unknown topic": 999}


def test_a_payload_is_shown_without_anything_a_terminal_would_obey():
    shown = readable(b'{"t": "\x1b[2J\r\n"}\xff\x00' + "\u202egnp".encode() + b"y" * 400)
    assert "\\x1b[2J\\r\\n" in shown
    assert "\\u202e" in shown
    assert all(mark.isprintable() for mark in shown)
    assert len(shown) < 300
