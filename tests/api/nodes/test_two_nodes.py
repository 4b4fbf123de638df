"""Two nodes over one set of records, as they are put together: one nursery to whoever asks."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest
from pydantic import SecretStr
from sqlalchemy import update

from api.accounts.keeping import Granted
from api.accounts.roles import Role
from api.alerts.links import Link
from api.assemble import CannotStart, assemble
from api.book import Book, in_force_of
from api.nodes.sharing import LEASE_MS
from api.records.guarded import open_findings
from api.records.house_positions import house_positions_kept
from api.records.node_tables import nodes
from api.records.session import reading, writing
from api.records.states import (
    keep_house_milestone,
    milestone_before,
    packed,
    state_of,
    unpacked,
)
from api.records.tables import as_ms
from api.records.watch import load_position, standing_history
from api.settings import Settings, SettingsUnusable, load_settings
from api.v1.sight import Sight
from api.watch.clock import TurnedClock
from api.watch.loop import Watch
from api.web.app import accounts_in
from rules.evaluator import EvaluatorState
from rules.model.reading import Reading, minute_of
from rules.model.site import Site
from rules.state import NEW

DEMO = Path(__file__).parents[3] / "demo_data"
AT = datetime(2026, 11, 14, 16, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def settings(folder: Path, address: str, name: str, **more: object):
    given = {
        "site": DEMO / "site.toml",
        "plans": DEMO / "plans",
        "data": folder / name,
        "listen": "127.0.0.1:0",
        "broker": "mqtt://127.0.0.1:9",
        "node": name,
        "records_url": SecretStr(address),
        **more,
    }
    return load_settings(os.environ, given)


class Pair:
    """Two nodes whose broker is away, turned by hand one after the other."""

    def __init__(self, folder: Path, address: str) -> None:
        self.folder, self.address = folder, address
        self.clock = TurnedClock(AT)
        self.shed, self.office = (
            assemble(
                settings(folder, address, name, accounts="off"),
                self.clock,
                notice=None,
                first_minute=None,
            )
            for name in ("shed", "office")
        )
        for node in (self.shed, self.office):
            node.leases.begin()
        for _ in range(2):
            self.turn()

    def turn(self) -> None:
        for node in (self.shed, self.office):
            node.turn()


@pytest.fixture(scope="module")
def pair(postgresql_server, tmp_path_factory):
    made = Pair(tmp_path_factory.mktemp("nodes"), postgresql_server.make_database())
    yield made
    made.shed.stop()
    made.office.stop()


pytestmark = pytest.mark.service


def test_each_watches_a_house_and_both_see_the_whole_nursery(pair):
    """What each says of every batch is the same, from states that two processes keep."""
    held = sorted((*pair.shed.leases.held(), *pair.office.leases.held()))
    assert held == ["film", "healing"]
    assert len(pair.shed.leases.held()) == 1
    for _ in range(4):
        pair.clock.turn_by(MINUTE)
        at_ms = as_ms(pair.clock.now())
        for node in (pair.shed, pair.office):
            node.parts.store.keep([Reading("bag-07/humidity", at_ms - 1, 99.0)])
        pair.turn()
    seen = [Sight(node.parts).present() for node in (pair.shed, pair.office)]
    assert seen[0].minute == seen[1].minute == minute_of(as_ms(AT)) + 1
    assert seen[0].state == seen[1].state
    codes = {batch.code for batch in pair.shed.parts.site.batch}
    assert set(seen[0].state.batches) == set(seen[0].outlooks) == codes


def test_page_and_api_of_either_say_who_watches_which_house_since_when(pair, pages_nursery):
    holders = {
        house: name
        for name, node in (("shed", pair.shed), ("office", pair.office))
        for house in node.leases.held()
    }
    for node in (pair.shed, pair.office):
        with (
            pages_nursery.serving(node.parts) as address,
            httpx.Client(base_url=address) as browser,
        ):
            told = browser.get("/api/v1/watch").json()
            assert {one["house"]: one["node"] for one in told["houses"]} == holders
            assert all(one["since"] for one in told["houses"])
            assert [one["name"] for one in told["nodes"]] == ["office", "shed"]
            assert sum(one["speaks"] for one in told["nodes"]) == 1
            assert told["last_sequence_seen"] is None
            page = browser.get("/settings").text
            for name in holders.values():
                assert f"watched by {name} since" in page
            assert "Process office" in page
            spanish = browser.get("/settings", headers={"accept-language": "es"}).text
            assert "la vigila office desde" in spanish


def test_a_link_that_one_node_signed_is_read_by_the_other(pair):
    link = Link(7, 9, "corvin", AT + timedelta(days=1))
    token = pair.shed.parts.links.token(link)
    assert pair.office.parts.links.read(token, now=AT) == link


def test_who_signed_in_on_one_node_is_signed_in_and_out_on_the_other(pair, pages_nursery):
    """Behind a proxy a reader meets now this node, now that."""
    guarded = [
        replace(node.parts, settings=with_accounts(node.parts.settings))
        for node in (pair.shed, pair.office)
    ]
    password = "moss bucket under third table"
    _, keeping = accounts_in(guarded[0])
    secret = keeping.invite("odell", Granted(Role.TEND, None), by="machine")
    with (
        pages_nursery.serving(guarded[0]) as shed,
        pages_nursery.serving(guarded[1]) as office,
        httpx.Client(headers={"sec-fetch-site": "same-origin"}) as browser,
    ):
        form = {"password": password, "again": password}
        told = browser.post(f"{office}/invited/{secret}", data=form, headers={"origin": office})
        assert told.status_code == 303, told.text
        browser.cookies.clear()
        form = {"name": "odell", "password": password}
        assert browser.get(f"{office}/alarms").status_code == 303
        told = browser.post(f"{shed}/sign-in", data=form, headers={"origin": shed})
        assert told.status_code == 303, told.text
        assert browser.get(f"{office}/alarms").status_code == 200
        kept = dict(browser.cookies)
        told = browser.post(f"{office}/sign-out", headers={"origin": office})
        assert told.status_code == 303, told.text
        browser.cookies.update(kept)
        assert browser.get(f"{shed}/alarms").status_code == 303


def with_accounts(settings: Settings) -> Settings:
    return settings.model_copy(update={"accounts": "on"})


def test_a_batch_that_is_moved_to_the_other_house_takes_its_state_along(pair):
    """Nothing of it begins anew, and only the house it stands in keeps it in the end."""
    now = pair.shed.parts.book.now
    bench = {one.id: one.house for one in now.site.bench}
    moved = next(one for one in now.site.batch if one.code == "MG-07")
    away = next(one.id for one in now.site.bench if one.house != bench[moved.bench])
    before = Sight(pair.shed.parts).present().state.batches["MG-07"]
    assert before.standing is not None
    assert before.conditions or before.rings
    batches = [
        one.model_copy(update={"bench": away}) if one is moved else one for one in now.site.batch
    ]
    site = now.site.model_copy(update={"batch": tuple(batches)})
    with reading(pair.shed.parts.records) as db:
        changes = len(standing_history(db, "MG-07", first_minute=0, end_minute=2**40))
    for node in (pair.shed, pair.office):
        node.parts.book.put(in_force_of(site, now.plans))
    for _ in range(4):
        pair.clock.turn_by(MINUTE)
        pair.turn()
    with reading(pair.shed.parts.records) as db:
        kept = {
            house: unpacked(position.state).batches
            for house, position in house_positions_kept(db).items()
        }
        # Begun anew, it would have been told to read differently, from nothing known.
        new = standing_history(db, "MG-07", first_minute=0, end_minute=2**40)[changes:]
    assert [house for house, states in kept.items() if "MG-07" in states] == [bench[away]]
    assert all(change.before is not None for change in new)
    rings = kept[bench[away]]["MG-07"].rings
    assert rings.keys() == before.rings.keys()
    assert sum(map(len, kept.values())) == len(site.batch)


def test_one_of_the_two_speaks_for_the_tool_and_tells_when_the_other_is_gone(pair):
    speaker, listener = (
        (pair.shed, pair.office) if pair.shed.leases.speaks() else (pair.office, pair.shed)
    )
    assert not listener.leases.speaks()
    for node in (speaker, listener):
        node.parts.guard.delays_s = dict.fromkeys(node.parts.guard.delays_s, (0.0, 0.0))

    def standing() -> list[str]:
        with reading(speaker.parts.records) as db:
            return sorted(open_findings(db))

    assert standing() == []
    listener.parts.guard.turn()
    assert standing() == []
    speaker.parts.guard.turn()
    ours = standing()
    assert "broker" in ours
    gone = f"node.{listener.leases.name}"
    assert gone not in ours
    with writing(speaker.parts.records) as db:
        db.execute(update(nodes).values(seen_ms=nodes.c.seen_ms - LEASE_MS))
    speaker.parts.guard.turn()
    assert gone in standing()
    listener.parts.guard.turn()  # it keeps nothing, and ends nothing that another found
    assert gone in standing()
    listener.leases.turn()
    speaker.parts.guard.turn()
    assert standing() == ours


def test_lamps_are_told_by_the_node_that_sees_to_the_nursery_alone(pair):
    pair.turn()
    now = pair.shed.parts.book.now
    lamp = {"id": "shed", "title": "Lamp in the shed", "topic": "yard/shed"}
    written = now.site.model_dump(mode="json")
    site = Site.model_validate(written | {"lamp": [*written["lamp"], lamp]})
    told = []
    for node in (pair.shed, pair.office):
        node.lamps._book = Book(in_force_of(site, now.plans))
        told.append(node.lamps.turn())
        node.lamps._book = node.parts.book
    ours = [node.leases.sees_to_nursery() for node in (pair.shed, pair.office)]
    assert sorted(told) == [0, 1]
    assert [bool(one) for one in told] == ours


def test_a_second_node_of_the_same_name_is_refused_and_told_what_to_do(pair, tmp_path):
    pair.turn()
    again = settings(tmp_path, pair.address, "shed")
    copy = assemble(again, pair.clock, notice=None, first_minute=None)
    with pytest.raises(CannotStart, match=r"called shed .* GRAFTVIGIL_NODE"):
        copy.start(turned_by_hand=True)
    copy.stop()


def test_what_one_watch_kept_of_the_whole_site_is_gone_on_with_house_by_house(
    postgresql_server, tmp_path
):
    clock = TurnedClock(AT)
    given = settings(tmp_path, postgresql_server.make_database(), "shed")
    node = assemble(given, clock, notice=None, first_minute=None)
    parts = node.parts
    watch = Watch(parts.book, parts.store, parts.records, clock, lateness_s=90)
    for _ in range(4):
        parts.store.keep([Reading("bag-07/humidity", as_ms(clock.now()), 99.0)])
        watch.turn()
        clock.turn_by(MINUTE)
    watch.turn()
    with reading(parts.records) as db:
        before = load_position(db)
    node.turn()
    with reading(parts.records) as db:
        after = load_position(db)
        assert set(house_positions_kept(db)) == {"film", "healing"}
    assert after.next_minute == before.next_minute > before.began_minute
    assert state_of(after) == state_of(before)
    clock.turn_by(MINUTE)
    node.turn()
    with reading(parts.records) as db:
        shared = load_position(db)
    assert shared.next_minute == before.next_minute + 1
    # And back, as when a backup of it is restored into a file.
    clock.turn_by(MINUTE)
    Watch(parts.book, parts.store, parts.records, clock, lateness_s=90).turn()
    with reading(parts.records) as db:
        whole = load_position(db)
        assert house_positions_kept(db) == {}
    assert whole.next_minute == shared.next_minute + 1
    assert whole.began_minute == before.began_minute
    assert state_of(whole).batches.keys() == state_of(shared).batches.keys()
    node.stop()


def test_a_milestone_counts_once_every_house_has_it(pair):
    known = {house: EvaluatorState(batches={house: NEW}) for house in ("film", "healing")}
    with writing(pair.shed.parts.records) as db:
        for house, at in (("film", 360), ("healing", 360), ("film", 720)):
            keep_house_milestone(db, house, at, packed(replace(known[house], minute=at - 1)))
    with reading(pair.shed.parts.records) as db:
        assert milestone_before(db, 359) is None
        minute, state = milestone_before(db, 800)
    assert (minute, state.minute, set(state.batches)) == (360, 359, {"film", "healing"})


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"node": "shed", "broker": "mqtt://h"}, "can't share records in a file"),
        ({"only": "watch"}, "can't share records in a file"),
        ({"node": "shed", "records_url": "postgresql://h/x"}, "built-in broker is heard by one"),
        ({"node": "Shed!", "records_url": "postgresql://h/x"}, "GRAFTVIGIL_NODE"),
    ],
)
def test_nodes_that_could_not_share_are_refused(given, said):
    with pytest.raises(SettingsUnusable, match=said):
        load_settings({}, given)


def test_every_node_has_a_session_of_its_own_at_the_broker(tmp_path):
    named = [settings(tmp_path, "postgresql://h/x", name).broker_session for name in ("a", "b")]
    alone = load_settings({}, {}).broker_session
    assert len({alone, *named}) == 3
    assert alone == "graftvigil-collector"  # as it always was: the broker knows it
