"""Says that this node is alive, renews its leases and takes what is free, every two seconds.

Only the records say what is held. What this process remembers of it is for deciding what to try;
each write asks again, in its own transaction, with `Leases.demand`.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy.exc import SQLAlchemyError

from api.nodes.sharing import (
    FILES,
    GONE,
    LEASE_MS,
    RENEW_S,
    STARTING,
    files_in_force,
    is_alive,
    moves_of,
)
from api.records.nodes import (
    NURSERY,
    NodeRow,
    database_ms,
    demand_leases,
    forget_nodes,
    keep_node,
    leases,
    nodes_known,
    renew_leases,
    take_lease,
)
from api.records.session import writing
from rules.vital_facts import NodeFacts

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from sqlalchemy import Connection, Engine

    from api.book import Book
    from api.watch.clock import Steady

log = logging.getLogger(__name__)

FORGOTTEN_AFTER_MS = 30 * 86_400_000
"""A node that nobody has seen for so long is forgotten. Common practice, no source."""

LOCAL_MARGIN_S = 3.0
"""So much sooner than the records do, a node takes its own lease for over."""


class NameTaken(Exception):
    """Another process goes by this node's name; the message says what to do."""


class Leases:
    """What this node holds. One thread calls `turn`; the rest may be asked from any.

    Parameters
    ----------
    name
        What people call this node; no two over one set of records may share it.
    folder
        Names the data folder: a process started again over it goes on where the last one stood.
    watches
        Whether this node sees to houses; one that does not never holds anything.
    unfit
        Returns why this node should not watch now, "" if it may; see `api.nodes.sharing`.
    now_ms
        Tells the time by which leases run; that of the records' database.
    """

    def __init__(
        self,
        records: Engine,
        book: Book,
        steady: Steady,
        *,
        name: str,
        folder: str,
        watches: bool,
        unfit: Callable[[], str],
        now_ms: Callable[[Connection], int] = database_ms,
    ) -> None:
        self.name = name
        self.folder = folder
        self._records = records
        self._book = book
        self._steady = steady
        self._watches = watches
        self._unfit = unfit
        self._now_ms = now_ms
        self._me: NodeRow | None = None
        self._held: Mapping[str, int] = {}
        self._until_s = 0.0

    def held(self) -> Mapping[str, int]:
        """Return the houses that this node may take itself to hold, with the terms."""
        held = self._held if self._steady.seconds() < self._until_s else {}
        return {house: term for house, term in held.items() if house != NURSERY}

    def sees_to_nursery(self) -> bool:
        """Return whether what is done once for the whole nursery is this node's to do."""
        return NURSERY in self._held and self._steady.seconds() < self._until_s

    def speaks(self) -> bool:
        """Return whether the nursery was ours when the records last answered."""
        return NURSERY in self._held

    def demand_nursery(self, db: Connection) -> None:
        """Raise LeaseLost unless the nursery is ours now; within a write transaction."""
        self.demand(db, {NURSERY: self._held.get(NURSERY, 0)})

    def now_ms(self, db: Connection) -> int:
        """Return the instant by the clock that leases run by."""
        return self._now_ms(db)

    def others(self, db: Connection) -> tuple[NodeFacts, ...]:
        """Return how the other nodes are; those that were asked to stop are not missed."""
        now_ms = self._now_ms(db)
        return tuple(
            NodeFacts(one.name, one.unfit if is_alive(one, now_ms) else GONE)
            for one in nodes_known(db)
            if one.name != self.name and one.ended_ms is None
        )

    def demand(self, db: Connection, terms: Mapping[str, int]) -> None:
        """Raise LeaseLost unless these leases are ours now; within a write transaction."""
        demand_leases(db, terms, holder=self.folder, now_ms=self._now_ms(db))

    def begin(self) -> None:
        """Take our place among the nodes. Raises NameTaken if another one goes by our name."""
        with writing(self._records) as db:
            now_ms = self._now_ms(db)
            forget_nodes(db, seen_before_ms=now_ms - FORGOTTEN_AFTER_MS)
            known = nodes_known(db)
            before = next((one for one in known if one.name == self.name), None)
            if before and before.folder != self.folder and is_alive(before, now_ms):
                msg = (
                    f"another graftvigil called {self.name} is at work on these records. Give each "
                    "node a name of its own with GRAFTVIGIL_NODE, or stop the other one"
                )
                raise NameTaken(msg)
            base = self._book.now.base.revision
            in_force = files_in_force([one for one in known if one is not before], now_ms)
            since_ms = now_ms
            if before is not None and before.base == base:
                since_ms = before.base_since_ms
            elif in_force is not None and in_force != base:
                since_ms = 0  # who comes late does not overrule those at work
            self._me = NodeRow(
                name=self.name,
                folder=self.folder,
                began_ms=now_ms,
                seen_ms=now_ms,
                ended_ms=None,
                watches=self._watches,
                unfit=STARTING,
                base=base,
                base_since_ms=since_ms,
            )
            keep_node(db, self._me)

    def turn(self) -> None:
        """Say that we are alive; renew, let go and take. Raises what the records raise."""
        if self._me is None:
            self.begin()
        asked_s = self._steady.seconds()
        why, base = self._unfit(), self._book.now.base.revision
        with writing(self._records) as db:
            now_ms = self._now_ms(db)
            me = replace(self._known_me(), seen_ms=now_ms, ended_ms=None)
            if base != me.base:
                me = replace(me, base=base, base_since_ms=now_ms)
            others = [one for one in nodes_known(db) if one.name != self.name]
            if not why and files_in_force([me, *others], now_ms) != base:
                why = FILES
            me = replace(me, unfit=why)
            keep_node(db, me)
            known = {lease.house: lease for lease in leases(db)}
            houses = [house.id for house in self._book.now.site.house]
            moves = moves_of(me, others, houses=houses, known=known, held=self._held, now_ms=now_ms)
            until_ms = now_ms + LEASE_MS
            held = {house: self._held[house] for house in moves.keep}
            renew_leases(db, held.items(), until_ms=until_ms)
            renew_leases(db, [(one, self._held[one]) for one in moves.let_go], until_ms=now_ms)
            for house in moves.take:
                held[house] = take_lease(
                    db,
                    house,
                    holder=self.folder,
                    before=known.get(house),
                    now_ms=now_ms,
                    until_ms=until_ms,
                )
        self._me, self._held = me, held
        # Counted from before we asked: by our own clock it can only end too early.
        self._until_s = asked_s + LEASE_MS / 1000 - LOCAL_MARGIN_S
        for what, which in (("let_go", moves.let_go), ("taken", moves.take)):
            for house in which:
                log.info("lease_%s node=%s house=%s", what, self.name, house or "(nursery)")

    def run(self, stop: threading.Event) -> None:
        """Turn every two seconds until `stop`; what the records refuse is tried again."""
        while not stop.is_set():
            try:
                self.turn()
            except (SQLAlchemyError, NameTaken) as trouble:
                log.warning("leases_not_renewed kind=%s", type(trouble).__name__)
            except Exception:
                log.exception("leases_failed")
            stop.wait(RENEW_S)

    def end(self) -> None:
        """Let go of everything, and say that we end because we were asked to."""
        if self._me is None:
            return
        try:
            with writing(self._records) as db:
                now_ms = self._now_ms(db)
                held = [
                    (one.house, one.term)
                    for one in leases(db)
                    if one.holder == self.folder and self._held.get(one.house) == one.term
                ]
                renew_leases(db, held, until_ms=now_ms)
                keep_node(db, replace(self._known_me(), seen_ms=now_ms, ended_ms=now_ms))
        except SQLAlchemyError as trouble:
            log.warning("leases_not_let_go kind=%s", type(trouble).__name__)
        self._held = {}

    def _known_me(self) -> NodeRow:
        if self._me is None:
            msg = "a node begins before it turns"
            raise RuntimeError(msg)
        return self._me
