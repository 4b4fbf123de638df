"""Guessing is slowed down, and nobody can use that to keep the night hand out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import httpx
from hypothesis import given
from hypothesis import strategies as st

from api.accounts.addresses import caller, networks
from api.accounts.roles import Role
from api.accounts.waiting import FIRST_WAIT, LONGEST_WAIT, wait_after
from api.records.sign_ins import Failures

NOW = datetime(2026, 11, 14, tzinfo=UTC)


def try_in(one: httpx.Client, name: str, password: str, **headers: str) -> httpx.Response:
    return one.post("/sign-in", data={"name": name, "password": password}, headers=headers)


@given(st.integers(0, 10_000), st.integers(0, 30), st.integers(-100_000, 100_000))
def test_a_wait_is_never_longer_than_the_longest_whatever_the_clock_does(count, free, passed_s):
    failures = Failures(count, NOW - timedelta(seconds=passed_s))
    wait = wait_after(failures, free=free, now=NOW)
    assert timedelta(0) <= wait <= LONGEST_WAIT
    if count < free or timedelta(seconds=passed_s) >= LONGEST_WAIT:
        assert wait == timedelta(0)


def test_the_wait_doubles_from_half_a_minute_to_a_quarter_of_an_hour():
    waits = [wait_after(Failures(n, NOW), free=5, now=NOW).total_seconds() for n in range(12)]
    assert waits == [0, 0, 0, 0, 0, 30, 60, 120, 240, 480, 900, 900]


def test_the_sixth_try_must_wait_and_is_told_how_long_in_words(house, password):
    one = house.browser()
    for _ in range(5):
        assert try_in(one, "wren", "wrong").status_code == 401
    waits = try_in(one, "wren", password)
    assert waits.status_code == 429
    assert waits.headers["retry-after"] == "30"
    assert "Wait 30 s, then try again" in waits.text
    house.clock.turn_by(FIRST_WAIT)
    assert try_in(one, "wren", "wrong").status_code == 401
    assert try_in(one, "wren", password).headers["retry-after"] == "60"
    house.clock.turn_by(timedelta(seconds=60))
    assert try_in(one, "wren", password).status_code == 303
    house.clock.turn_by(timedelta(seconds=1))
    assert try_in(house.browser(), "wren", "wrong").status_code == 401, "a success clears them"


def test_a_name_without_an_account_waits_just_the_same(house):
    one = house.browser()
    statuses = [try_in(one, "nobody", "wrong").status_code for _ in range(6)]
    assert statuses == [401] * 5 + [429]


def test_a_stranger_who_guesses_all_night_shuts_out_strangers_alone(house, password):
    """The night hand's phone has signed in before: it is counted by itself."""
    house.invite("tobin", Role.TEND)
    phone = house.signed_in("tobin")
    assert phone.post("/sign-out").status_code == 303
    stranger = house.browser()
    for _ in range(40):
        house.clock.turn_by(timedelta(minutes=4))
        try_in(stranger, "tobin", "wrong")
    assert try_in(stranger, "tobin", password).status_code == 429
    assert try_in(phone, "tobin", password).status_code == 303
    # And a phone that is new: it waits, never longer than a quarter of an hour.
    house.clock.turn_by(LONGEST_WAIT)
    assert try_in(house.browser(), "tobin", password).status_code == 303


def test_a_known_device_is_slowed_down_too_and_knows_only_its_own_person(house, password):
    house.invite("tobin", Role.TEND)
    phone = house.signed_in("tobin")
    statuses = [try_in(phone, "tobin", "wrong").status_code for _ in range(11)]
    assert statuses == [401] * 10 + [429]
    others = [try_in(phone, "wren", "wrong").status_code for _ in range(6)]
    assert others == [401] * 5 + [429], "for somebody else it is a stranger's device"


def test_tries_under_many_names_from_one_address_are_slowed_down(house):
    one = house.browser()
    statuses = [try_in(one, f"name-{n}", "wrong").status_code for n in range(22)]
    assert statuses[:20] == [401] * 20
    assert statuses[20:] == [429] * 2


def test_no_header_makes_an_address_new_unless_a_proxy_is_trusted(house):
    one = house.browser()
    for number in range(20):
        try_in(one, f"name-{number}", "wrong", **{"x-forwarded-for": f"192.0.2.{number}"})
    made_up = {"x-forwarded-for": "192.0.2.200", "forwarded": "for=192.0.2.201"}
    assert try_in(one, "another", "wrong", **made_up).status_code == 429


def test_behind_a_trusted_proxy_each_address_is_counted_by_itself(opened, set_up_lead):
    house = set_up_lead(opened(trusted_proxy="127.0.0.1"))
    one = house.browser()
    for number in range(20):
        try_in(one, f"name-{number}", "wrong", **{"x-forwarded-for": "6.6.6.6, 192.0.2.1"})
    here = {"x-forwarded-for": "7.7.7.7, 192.0.2.1"}
    assert try_in(one, "another", "wrong", **here).status_code == 429
    there = {"x-forwarded-for": "192.0.2.2"}
    assert try_in(one, "another", "wrong", **there).status_code == 401


@given(st.lists(st.text(max_size=40), max_size=6))
def test_whatever_a_header_says_an_untrusted_caller_is_who_it_is(said):
    assert caller("192.0.2.9", said, networks("127.0.0.1 10.0.0.0/8")) == "192.0.2.9"
    assert len(caller("127.0.0.1", said, networks("127.0.0.1 10.0.0.0/8"))) <= 64


def test_tries_at_the_same_moment_count_one_another(house):
    from concurrent.futures import ThreadPoolExecutor

    def one_try(_number: int) -> int:
        return try_in(house.browser(), "wren", "wrong").status_code

    with ThreadPoolExecutor(12) as pool:
        statuses = sorted(pool.map(one_try, range(12)))
    assert statuses.count(401) == 5
    assert statuses.count(429) == 7
