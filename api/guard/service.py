"""The guard turns: it looks, decides, keeps alarms of the tool itself, and ends what hangs.

It shares nothing with the watch but the records, so that it goes on when the watch does not.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from sqlalchemy.exc import SQLAlchemyError

from api.guard.direct import BY_HAND
from api.records.guarded import keep_closed, keep_opened, keep_standing, open_findings
from api.records.nodes import LeaseLost
from api.records.runs import begin_run, end_run
from api.records.session import reading, writing
from rules.vital_delays import DELAYS_S, resumed, turn
from rules.vital_facts import Facts, HouseRules
from rules.vital_signs import examine, is_essential_well

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from sqlalchemy import Connection

    from api.guard.direct import Direct
    from api.guard.ending import Ending
    from api.guard.facts import Senses
    from api.guard.heartbeat import Heartbeat
    from rules.vital_delays import Lasting, Turned
    from rules.vital_signs import Finding, Sign

log = logging.getLogger(__name__)

TURN_S = 5.0
FRESH_S = 60.0
"""What the guard saw longer ago than this says nothing of now."""

HUNG_S = 900.0
"""A part that has shown no sign of life for so long is given up: the process ends, to be started
again by the service manager. Common practice, no source."""


def _always() -> bool:
    return True


def _nobody_else(_db: Connection) -> None:
    """Stand in where there is one process."""


@dataclass(slots=True)
class Guard:
    """Looks after the tool. One thread runs it; `facts` and `is_well` may be asked from any.

    `threads` are those that must not die. `speaks` tells whether this one keeps alarms of the tool:
    of several nodes one does, and tells of the others too. `demand` raises LeaseLost, within the
    transaction in which they are kept, if it is not this one any more.
    """

    senses: Senses
    direct: Direct
    rules: HouseRules
    ending: Ending
    threads: tuple[threading.Thread, ...] = ()
    heartbeat: Heartbeat | None = None
    speaks: Callable[[], bool] = _always
    demand: Callable[[Connection], None] = _nobody_else
    delays_s: Mapping[Sign, tuple[float, float]] = field(default_factory=lambda: DELAYS_S)
    facts: Facts | None = None
    looked_s: float | None = None
    _stopping: threading.Event = field(default_factory=threading.Event)
    _lasting: dict[str, Lasting] | None = None
    _spoke: bool = True
    _by_hand: set[str] = field(default_factory=set)
    _unkept: dict[str, Finding] = field(default_factory=dict)

    def own_threads(self, stop: threading.Event) -> list[threading.Thread]:
        """Return the threads that the guard itself runs on; none is started yet.

        They may wait for an answer from outside, so the end of the process does not wait for them.
        """
        named = {"guard": self.run}
        if self.heartbeat is not None:
            named["heartbeat"] = self.heartbeat.run
        return [
            threading.Thread(target=run, args=(stop,), name=name, daemon=True)
            for name, run in named.items()
        ]

    def begin(self, *others: threading.Thread | None) -> None:
        """Keep that the program has begun; `others` are more threads that must not die."""
        self.threads += tuple(one for one in others if one is not None)
        with writing(self.senses.body.records) as db:
            self.senses.run = begin_run(db, at=self.senses.clock.now())

    def end(self) -> None:
        """Keep that the program ends because it was asked to."""
        if self.senses.run is None or self.ending.why:
            return
        try:
            with writing(self.senses.body.records) as db:
                end_run(db, self.senses.run, at=self.senses.clock.now())
        except SQLAlchemyError as trouble:
            log.warning("guard_end_not_kept kind=%s", type(trouble).__name__)

    @property
    def is_fresh(self) -> bool:
        """Whether it has looked just now: what was seen longer ago says nothing of now."""
        looked_s = self.looked_s
        return looked_s is not None and self.senses.steady.seconds() - looked_s <= FRESH_S

    def is_well(self) -> bool:
        """Return whether all that is essential turned when last looked at, just now."""
        facts = self.facts
        if facts is None:
            return False
        return self.is_fresh and not self._dead() and is_essential_well(facts, self.rules)

    def turn(self) -> None:
        """Look at everything once, and keep and say what follows."""
        beat = self.heartbeat
        facts = self.senses.look(
            heartbeat_failed=None if beat is None else beat.failed,
            heartbeat_error="" if beat is None else beat.error,
        )
        at_s = self.senses.steady.seconds()
        self.facts, self.looked_s = facts, at_s
        speaks = self.speaks()
        if self._lasting is None or (speaks and not self._spoke):
            # Also when we begin to speak: what the one before us kept open is ours to end.
            self._lasting = self._taken_up()
        self._spoke = speaks
        turned = turn(self._lasting or {}, examine(facts, self.rules), at_s, delays_s=self.delays_s)
        for one in turned.opened:
            log.warning("guard_found what=%s said=%s", one.key, one.said)
        for key in turned.closed:
            log.info("guard_over what=%s", key)
        self._tell_directly((*turned.opened, *turned.standing), turned.closed, at_s)
        if self._keep(turned):
            self._lasting = dict(turned.lasting)
        else:
            self._lasting = self._as_if_not_turned(turned)
        self._give_up_what_hangs(facts)

    def run(self, stop: threading.Event) -> None:
        """Turn every few seconds until `stop`; faults are logged, then tried again."""
        self._stopping = stop
        while not stop.is_set():
            try:
                self.turn()
            except Exception:
                log.exception("guard_failed")
            stop.wait(TURN_S)

    def _taken_up(self) -> dict[str, Lasting] | None:
        try:
            with reading(self.senses.body.records) as db:
                return resumed(open_findings(db))
        except SQLAlchemyError:
            return None

    def _keep(self, turned: Turned) -> bool:
        """Keep what opened and what is over, all or nothing; return whether it was kept."""
        now, site = self.senses.clock.now(), self.senses.body.book.now.site
        # What the records could not take while they failed is kept once they do.
        late = [self._unkept[key] for key in turned.closed if key in self._unkept]
        if not self.speaks():
            return True  # another node keeps what it finds; this one only ends itself if it hangs
        if not turned.opened and not turned.closed and not turned.standing:
            return True
        try:
            with writing(self.senses.body.records) as db:
                self.demand(db)
                keep_opened(db, (*late, *turned.opened), now=now)
                keep_closed(db, turned.closed, site=site, now=now)
                keep_standing(db, turned.standing)
        except (SQLAlchemyError, LeaseLost) as trouble:
            log.warning("guard_not_kept kind=%s", type(trouble).__name__)
            return False
        for key in turned.closed:
            self._unkept.pop(key, None)
        return True

    def _as_if_not_turned(self, turned: Turned) -> dict[str, Lasting]:
        """Return what lasts after a turn that could not be kept: it is found, and kept, later.

        What is told directly counts as raised all the same: it has been said.
        """
        before = self._lasting or {}
        lasting = dict(turned.lasting) | {
            key: before[key] for key in turned.closed if key in before
        }
        for one in turned.opened:
            if one.sign in BY_HAND:
                self._unkept[one.key] = one
            else:
                lasting[one.key] = replace(lasting[one.key], raised=False)
        return lasting

    def _tell_directly(
        self, lasting: tuple[Finding, ...], closed: tuple[str, ...], at_s: float
    ) -> None:
        now = self.senses.clock.now()
        for one in lasting:
            if one.sign in BY_HAND:
                self._by_hand.add(one.key)
                self.direct.tell(one, now=now, at_s=at_s)
        for key in closed:
            if key in self._by_hand:
                self._by_hand.discard(key)
                self.direct.over(key, now=now)

    def _dead(self) -> tuple[str, ...]:
        return tuple(one.name for one in self.threads if one.ident and not one.is_alive())

    def _give_up_what_hangs(self, facts: Facts) -> None:
        """End the process if a thread has died, or a part hangs for good.

        Failing is not hanging: a watch that fails on a store that is away turns on, and is left.
        Once the program is asked to stop, its threads end one after another, as they are to.
        """
        dead = self._dead()
        if self._stopping.is_set():
            return
        for name in dead:
            self.ending.give_up(f"thread {name} has died")
        for name, still in (("watch", facts.watch_still_s), ("alerts", facts.alerts_still_s)):
            if still is not None and still > HUNG_S:
                self.ending.give_up(f"{name} hangs")
