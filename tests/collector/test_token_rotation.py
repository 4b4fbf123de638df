"""A device gets a new token while the old one still counts, and at no time is it shut out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.stores.sqlite_file import SqliteFile
from collector.tokens import DeviceTokens, NameTaken, NoToken

DAY_MS = 86_400_000


@pytest.fixture
def tokens(tmp_path):
    file = SqliteFile(tmp_path / "readings.sqlite")
    yield DeviceTokens(file)
    file.close()


def test_both_count_until_the_new_one_is_used_then_the_old_one_is_over(tokens):
    old = tokens.make("bag-07", sensor="bag-07", at_ms=0)
    new = tokens.rotate("bag-07", at_ms=1000, until_ms=1000 + DAY_MS)
    assert new != old
    assert tokens.holder(old, at_ms=2000).sensor == "bag-07"
    assert tokens.holder(old, at_ms=3000) is not None, "using the old one ends nothing"
    assert tokens.holder(new, at_ms=4000).sensor == "bag-07"
    assert tokens.holder(old, at_ms=4000) is None
    assert tokens.holder(new, at_ms=10 * DAY_MS) is not None


def test_an_old_one_that_is_never_replaced_ends_at_its_time(tokens):
    old = tokens.make("gate", sensor=None, at_ms=0)
    new = tokens.rotate("gate", at_ms=1000, until_ms=5000)
    assert tokens.holder(old, at_ms=4999) is not None
    assert tokens.holder(old, at_ms=5000) is None
    assert tokens.holder(new, at_ms=5000) is not None


def test_a_successor_that_never_reached_the_device_is_replaced_and_the_device_is_not(tokens):
    in_use = tokens.make("gate", sensor=None, at_ms=0)
    lost = tokens.rotate("gate", at_ms=1000, until_ms=1000 + DAY_MS)
    second = tokens.rotate("gate", at_ms=2000, until_ms=2000 + DAY_MS)
    assert tokens.holder(lost, at_ms=3000) is None
    assert tokens.holder(in_use, at_ms=1500 + DAY_MS) is not None
    assert tokens.holder(second, at_ms=3000) is not None
    assert tokens.holder(in_use, at_ms=3001) is None


def test_revoking_ends_both(tokens):
    old = tokens.make("gate", sensor=None, at_ms=0)
    new = tokens.rotate("gate", at_ms=1000, until_ms=DAY_MS)
    with pytest.raises(NameTaken):
        tokens.make("gate", sensor=None, at_ms=1500)
    assert tokens.revoke("gate", at_ms=2000)
    assert [tokens.holder(one, at_ms=2000) for one in (old, new)] == [None, None]
    assert not tokens.revoke("gate", at_ms=2001)
    with pytest.raises(NoToken):
        tokens.rotate("gate", at_ms=3000, until_ms=DAY_MS)


def test_other_devices_are_left_alone(tokens):
    other = tokens.make("other", sensor=None, at_ms=0)
    tokens.make("gate", sensor=None, at_ms=0)
    new = tokens.rotate("gate", at_ms=1, until_ms=DAY_MS)
    tokens.holder(new, at_ms=2)
    assert tokens.holder(other, at_ms=3) is not None


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("rotate"), st.integers(0, 3)),
        st.tuples(st.just("arrives"), st.just(0)),
        st.tuples(st.just("pass"), st.integers(1, 4)),
    ),
    max_size=12,
)


@given(STEPS)
def test_a_device_is_never_shut_out_while_each_new_token_comes_within_its_time(
    tmp_path_factory, steps
):
    """The device uses its token each step; a new one reaches it, or is lost and made again."""
    file = SqliteFile(tmp_path_factory.mktemp("t") / "r.sqlite")
    tokens, now = DeviceTokens(file), 0
    has = newest = tokens.make("gate", sensor=None, at_ms=now)
    ends = None
    for step, amount in steps:
        now += 1
        if step == "rotate":
            newest, ends = tokens.rotate("gate", at_ms=now, until_ms=now + 5 + amount), now + 5
        elif step == "pass":
            # Whoever rotates brings the token to the device before the old one ends.
            now += amount if ends is None else min(amount, max(0, ends - now - 1))
        if step == "arrives" or (ends is not None and now >= ends - 1):
            has, ends = newest, None
        assert tokens.holder(has, at_ms=now) is not None
    counting = [one for one in tokens.listed() if one.counts(now)]
    assert 1 <= len(counting) <= 2
    file.close()
