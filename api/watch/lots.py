"""What is watched together: the whole site from one position, or the houses that this node holds.

A lot is a set of houses that stand before the same cell. They are judged at once, as the whole site
is, and each keeps its own part. Where one process is all there is, there is one lot, of everything.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Protocol

from api.records.house_positions import forget_houses, house_positions_kept
from api.records.session import reading, writing
from api.records.states import joined, keep_milestone, packed, unpacked
from api.records.watch import WatchPosition, begin_position, save_position, whole_position
from api.watch.consequences import forget_open
from api.watch.ground import Ground
from rules.evaluator import start

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlalchemy import Connection, Engine

    from api.book import InForce
    from api.records.house_positions import HousePosition
    from api.watch.clock import Clock
    from collector.stores.base import ReadingStore
    from rules.evaluator import EvaluatorState, Watchlist
    from rules.state import BatchState

log = logging.getLogger(__name__)


@dataclass(slots=True)
class Lot:
    """Where what is watched together stands: the state before cell `position.next_minute`.

    `ground` says whose batches are judged, `terms` by which leases. `sequence` of the position is
    always of this process's own file of readings. `elsewhere` are, by house, states of batches that
    were moved to a house of another lot and have not been taken up there. `gone` are houses that
    have left the site, whose positions are forgotten with the next cell.
    """

    position: WatchPosition
    state: EvaluatorState
    watchlist: Watchlist
    ground: Ground
    terms: Mapping[str, int] = field(default_factory=dict)
    elsewhere: Mapping[str, Mapping[str, BatchState]] = field(default_factory=dict)
    gone: Sequence[str] = ()


class Lots(Protocol):
    """Where the lots of one process are kept. `shared`: other processes have lots beside ours."""

    shared: bool

    def have_changed(self) -> bool:
        """Return whether what was taken up is not all that is ours any more."""
        ...

    def take_up(self, by: InForce, *, first_minute: int) -> list[Lot]:
        """Return the lots as they were kept; what has no position yet begins at `first_minute`."""
        ...

    def save(self, db: Connection, lot: Lot, moved: WatchPosition, state: EvaluatorState) -> None:
        """Move a lot on within a write transaction; raises if that is not ours to do."""
        ...

    def demand(self, db: Connection, lot: Lot) -> None:
        """Raise, within a write transaction, if the lot is not ours to write of."""
        ...

    def keep_milestone(self, db: Connection, lot: Lot, minute: int, state: EvaluatorState) -> None:
        """Keep the state before a cell for charts of later days."""
        ...


class WholeSite:
    """The whole site from one position: the one process there is."""

    shared = False

    def __init__(self, records: Engine, store: ReadingStore, clock: Clock) -> None:
        self._records = records
        self._store = store
        self._clock = clock

    def have_changed(self) -> bool:
        """Return False: nobody shares with us."""
        return False

    def take_up(self, by: InForce, *, first_minute: int) -> list[Lot]:
        """Return one lot of everything; before the first start it is made."""
        with reading(self._records) as db:
            position = whole_position(db)
            shared = house_positions_kept(db)
        ground = Ground(by.site, by.watchlist)
        if shared:
            position = self._out_of_houses(tuple(shared.values()), position, ground)
        if position is None:
            position = self._begin(by, first_minute)
        state = self._state_in(position, by, ground)
        # Where it stands goes on without the bytes: they are of the state that it began with.
        return [Lot(replace(position, state=b""), state, by.watchlist, ground)]

    def save(self, db: Connection, lot: Lot, moved: WatchPosition, state: EvaluatorState) -> None:
        """Move the lot on; raises WatchMovedOn if another watch did."""
        save_position(db, replace(moved, state=packed(state)), moved_from=lot.position)

    def demand(self, db: Connection, lot: Lot) -> None:
        """Let be: it is ours."""

    def keep_milestone(
        self,
        db: Connection,
        lot: Lot,  # noqa: ARG002 - there is one
        minute: int,
        state: EvaluatorState,
    ) -> None:
        """Keep the state of the whole site before a cell."""
        keep_milestone(db, minute, packed(state))

    def _begin(self, by: InForce, first: int) -> WatchPosition:
        position = WatchPosition(
            began_minute=first,
            next_minute=first,
            sequence=self._store.last_sequence(),
            revision=by.revision,
            state=packed(start(by.watchlist)),
        )
        with writing(self._records) as db:
            begin_position(db, position)
            keep_milestone(db, first, position.state)
        log.info("watch_began minute=%d sequence=%d", first, position.sequence)
        return position

    def _out_of_houses(
        self, shared: Sequence[HousePosition], before: WatchPosition | None, ground: Ground
    ) -> WatchPosition:
        """Go on as one from what nodes kept house by house: their records came into a file.

        From the cell of the house least far; of what can't be read, as if nothing were kept.
        """
        first = min(shared, key=lambda one: one.next_minute)
        states = [readable(one.state, one) for one in shared]
        known = [state for state in states if state is not None]
        whole = WatchPosition(
            began_minute=min(one.began_minute for one in shared),
            next_minute=first.next_minute,
            sequence=self._store.last_sequence(),
            revision=first.revision,
            state=packed(joined(known)) if known else b"",
        )
        with writing(self._records) as db:
            if len(known) < len(shared):
                forget_open(db, now=self._clock.now(), ground=ground)
            if before is None:
                begin_position(db, whole)
            else:
                save_position(db, whole, moved_from=before)
            forget_houses(db, [one.house for one in shared])
        log.info("watch_made_one houses=%d next_minute=%d", len(shared), whole.next_minute)
        return whole

    def _state_in(self, position: WatchPosition, by: InForce, ground: Ground) -> EvaluatorState:
        """Return the state that was kept, or a fresh one if another version wrote it."""
        state = readable(position.state, position)
        if state is not None:
            return state
        # Watching must go on: delays begin anew, and so does what stands open.
        log.error("watch_state_unreadable next_minute=%d", position.next_minute)
        fresh = start(by.watchlist)
        with writing(self._records) as db:
            forget_open(db, now=self._clock.now(), ground=ground)
            keep_milestone(db, position.next_minute, packed(fresh))
        return fresh


def readable(kept: bytes, position: WatchPosition | HousePosition) -> EvaluatorState | None:
    """Return the state of a position; None if it is another version's, or of another cell."""
    last = position.next_minute - 1
    try:
        state = unpacked(kept)
    except ValueError:
        return None
    return state if state.minute == (last if last >= position.began_minute else None) else None
