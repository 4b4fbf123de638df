"""Many waiters, one commit; and no more waiters than there is room for."""

from __future__ import annotations

import asyncio

import pytest

from collector import group_commit
from collector.group_commit import GroupCommit
from collector.ingest import Message


def message(kept, number: int) -> Message:
    return Message("shed/bag-07", b'{"ts": %d, "light": [3]}' % (kept.now_ms - number), kept.now_ms)


def test_what_arrives_during_a_commit_is_kept_together_next(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    sizes: list[int] = []
    take = kept.ingest.take
    kept.ingest.take = lambda messages: sizes.append(len(messages)) or take(messages)

    async def play() -> None:
        commit = GroupCommit(kept.ingest)
        commit.start()
        await asyncio.gather(*(commit.keep(message(kept, n)) for n in range(2500)))
        assert kept.store.count() == 2500
        await commit.stop()

    asyncio.run(play())
    assert sizes == [1000, 1000, 500]


def test_there_is_no_room_while_too_much_waits(make_kept, make_sensor, monkeypatch):
    monkeypatch.setattr(group_commit, "MOST_WAITING", 10)
    kept = make_kept(make_sensor())

    async def play() -> None:
        commit = GroupCommit(kept.ingest)
        waiting = [asyncio.create_task(commit.keep(message(kept, n))) for n in range(10)]
        await asyncio.sleep(0)
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(commit.room(), 0.05)
        commit.start()
        await asyncio.wait_for(commit.room(), 5)
        await asyncio.gather(*waiting)
        await commit.stop()

    asyncio.run(play())
    assert kept.store.count() == 10


def test_large_payloads_fill_the_room_too(make_kept, make_sensor, monkeypatch):
    monkeypatch.setattr(group_commit, "MOST_WAITING_BYTES", 1000)
    kept = make_kept(make_sensor())

    async def play() -> None:
        commit = GroupCommit(kept.ingest)
        commit.keep_soon(Message("shed/bag-07", b" " * 1000, kept.now_ms))
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(commit.room(), 0.05)
        commit.start()
        await asyncio.wait_for(commit.room(), 5)
        await commit.stop()

    asyncio.run(play())


def test_stopping_lets_nobody_believe_a_message_was_kept(make_kept, make_sensor):
    kept = make_kept(make_sensor())
    kept.store.close()

    async def play() -> None:
        commit = GroupCommit(kept.ingest)
        commit.start()
        waiting = asyncio.create_task(commit.keep(message(kept, 1)))
        await asyncio.sleep(0.1)
        await commit.stop()
        with pytest.raises(asyncio.CancelledError):
            await waiting

    asyncio.run(play())
