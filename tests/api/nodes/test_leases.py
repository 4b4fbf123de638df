"""Leases in a real PostgreSQL: many who want one house, one who gets it, and what a term is for."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from api.nodes.leases import Leases, NameTaken
from api.nodes.sharing import LEASE_MS
from api.records.nodes import LeaseLost, database_ms, leases
from api.records.session import open_records, reading, writing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Engine

pytestmark = pytest.mark.service


@dataclass
class Time:
    """Both clocks: that of the database, in ms, and our own."""

    ms: int = 1_800_000_000_000

    def seconds(self) -> float:
        return self.ms / 1000


@dataclass(frozen=True)
class House:
    id: str


@dataclass(frozen=True)
class Base:
    revision: str


class SmallBook:
    """As much of a book as leases look into: the houses, and what the files hold."""

    def __init__(self, *houses: str, base: str = "files") -> None:
        self.now = self
        self.site = self
        self.house = [House(one) for one in houses]
        self.base = Base(base)


@pytest.fixture
def records(postgresql_server) -> Iterator[Engine]:
    engine = open_records(postgresql_server.make_database())
    yield engine
    engine.dispose()


def node(records: Engine, name: str, at: Time, *houses: str, **more) -> Leases:
    given = {
        "name": name,
        "folder": f"folder-{name}",
        "watches": True,
        "unfit": lambda: "",
        "now_ms": lambda _db: at.ms,
    }
    book = more.pop("book", None) or SmallBook(*houses)
    return Leases(records, book, at, **(given | more))


def test_of_eight_who_reach_for_one_house_at_once_one_gets_it_each_time(records):
    at = Time()
    nodes = [node(records, f"n{number}", at, "east") for number in range(8)]
    for one in nodes:
        one.begin()
    holders = []
    for _ in range(4):
        ready = threading.Barrier(len(nodes))

        def turn(one: Leases, ready: threading.Barrier = ready) -> None:
            ready.wait()
            one.turn()

        threads = [threading.Thread(target=turn, args=(one,)) for one in nodes]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        holders.append([one.name for one in nodes if one.held()])
        at.ms += LEASE_MS  # everything has run out: all reach for it again
    assert [len(each) for each in holders] == [1, 1, 1, 1]
    with reading(records) as db:
        found = {one.house: one.term for one in leases(db)}
    assert found == {"": 4, "east": 4}


def test_who_has_lost_a_term_writes_nothing_though_the_house_is_free_again(records):
    at = Time()
    first, second = node(records, "a", at, "east"), node(records, "b", at, "east")
    first.turn()
    old = dict(first.held())
    at.ms += LEASE_MS
    second.turn()
    second.end()
    with writing(records) as db, pytest.raises(LeaseLost, match="no longer ours: east"):
        first.demand(db, old)
    first.turn()
    assert first.held() == {"east": old["east"] + 2}
    with writing(records) as db:
        first.demand(db, first.held())
        with pytest.raises(LeaseLost):
            first.demand(db, old)


def test_a_lease_ends_to_the_millisecond_and_by_our_own_count_sooner(records):
    at = Time()
    one = node(records, "a", at, "east")
    one.turn()
    held = dict(one.held())
    at.ms += LEASE_MS - 1
    with writing(records) as db:
        one.demand(db, held)
    assert one.held() == {}  # by our own clock we stop reaching before the records would refuse
    at.ms += 1
    with writing(records) as db, pytest.raises(LeaseLost):
        one.demand(db, held)


def test_a_node_that_stops_when_asked_is_replaced_at_once_and_not_missed(records):
    at = Time()
    first, second = node(records, "a", at, "east"), node(records, "b", at, "east")
    first.turn()
    second.turn()
    assert (dict(first.held()), dict(second.held())) == ({"east": 1}, {})
    first.end()
    second.turn()
    assert second.held() == {"east": 2}
    with reading(records) as db:
        assert second.others(db) == ()


def test_a_node_that_dies_is_missed_after_its_lease(records):
    at = Time()
    first, second = node(records, "a", at, "east"), node(records, "b", at, "east")
    first.turn()
    at.ms += LEASE_MS - 1
    with reading(records) as db:
        assert [(one.name, one.trouble) for one in second.others(db)] == [("a", "")]
    at.ms += 1
    with reading(records) as db:
        assert [(one.name, one.trouble) for one in second.others(db)] == [("a", "gone")]


def test_two_processes_of_one_name_are_refused_while_the_first_lives(records):
    at = Time()
    first = node(records, "a", at, "east")
    first.turn()
    copy = node(records, "a", at, "east", folder="folder-copy")
    with pytest.raises(NameTaken, match="GRAFTVIGIL_NODE"):
        copy.begin()
    at.ms += LEASE_MS
    copy.begin()  # the other has died
    node(records, "a", at, "east", folder="folder-copy").begin()  # started again over its folder


def test_old_files_do_not_count_until_they_are_changed_while_running(records):
    at = Time()
    right, wrong = SmallBook("east", base="right"), SmallBook("east", base="wrong")
    first = node(records, "a", at, book=right)
    first.turn()
    at.ms += 1000
    second = node(records, "b", at, book=wrong)
    second.turn()  # comes late, with files nobody has taken up
    first.turn()
    with reading(records) as db:
        assert [one.trouble for one in first.others(db)] == ["files"]
    assert first.held()
    at.ms += 1000
    wrong.base = Base("newest")  # edited there first, as it happens when all nodes are to get it
    second.turn()
    first.turn()
    second.turn()
    assert (bool(first.held()), bool(second.held())) == (False, True)
    right.base = Base("newest")
    first.turn()
    with reading(records) as db:
        assert [one.trouble for one in second.others(db)] == [""]


def test_leases_run_by_the_clock_of_the_database(records):
    with reading(records) as db:
        before = database_ms(db)
        said = db.execute(text("SELECT extract(epoch FROM clock_timestamp()) * 1000")).scalar_one()
        assert before <= said < before + 10_000
