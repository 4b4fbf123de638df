"""The houses that this node holds, by its leases: taken up, moved on, and handed over.

Every write here asks first, in its own transaction, whether the leases still hold. So one who was
stopped and wakes after another has taken over writes nothing, and what is kept of a house is always
one story: told by one node up to a cell, and from that cell on by the next.
"""

from __future__ import annotations

import logging
from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

from api.records.house_positions import (
    HousePosition,
    begin_house,
    forget_houses,
    house_positions_kept,
    parts_of,
    save_house,
)
from api.records.session import writing
from api.records.states import joined, keep_house_milestone, packed
from api.records.watch import WatchPosition, whole_position
from api.watch.clock import milliseconds
from api.watch.consequences import forget_open
from api.watch.ground import Ground, house_watched_with
from api.watch.lots import Lot, readable
from rules.conditions import houses_of
from rules.evaluator import start

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlalchemy import Connection, Engine

    from api.book import InForce
    from api.watch.clock import Clock
    from collector.stores.base import ReadingStore
    from rules.evaluator import EvaluatorState
    from rules.state import BatchState

log = logging.getLogger(__name__)

REMEMBERED = 900
"""How many looks at our own file are remembered, about one a second."""

SLACK_MS = 2_000
"""How far the clocks of two nodes may differ without a late reading going unmarked."""


class Holder(Protocol):
    """Who holds leases: the data folder it works over, and what is its own."""

    folder: str

    def held(self) -> Mapping[str, int]:
        """Return the houses that are most likely ours, with the terms of their leases."""
        ...

    def demand(self, db: Connection, terms: Mapping[str, int]) -> None:
        """Raise LeaseLost, within a write transaction, unless all of these are ours now."""
        ...


class HeldHouses:
    """The lots of one node among others. One thread calls it."""

    shared = True

    def __init__(self, records: Engine, store: ReadingStore, clock: Clock, leases: Holder) -> None:
        self._records = records
        self._store = store
        self._clock = clock
        self._leases = leases
        self._taken_up: Mapping[str, int] | None = None
        self._looks: deque[tuple[int, int]] = deque(maxlen=REMEMBERED)

    def have_changed(self) -> bool:
        """Return whether the leases are others than those of the lots that were taken up.

        Called once a turn: how far our own file has come is remembered, so that on a taking over
        it is known which readings nobody had seen when the last cell was closed.
        """
        self._looks.append((milliseconds(self._clock), self._store.last_sequence()))
        return self._leases.held() != self._taken_up

    def take_up(self, by: InForce, *, first_minute: int) -> list[Lot]:
        """Return a lot for each cell before which houses of ours stand, the furthest first."""
        terms = self._leases.held()
        if not terms:
            self._taken_up = terms
            return []
        site_houses = [house.id for house in by.site.house]
        with writing(self._records) as db:
            self._leases.demand(db, terms)
            kept = house_positions_kept(db) or self._out_of_the_whole(db, by)
            gone = tuple(house for house in kept if house not in site_houses)
            first = min((one.next_minute for one in kept.values()), default=first_minute)
            for house in sorted(set(terms) - set(kept)):
                kept[house] = self._begin(db, house, first, by)
            states = {house: self._state_in(db, position, by) for house, position in kept.items()}
        self._taken_up = terms
        owner = _furthest(kept, states, by)
        lots = []
        for minute in sorted({kept[house].next_minute for house in terms}, reverse=True):
            houses = [house for house in sorted(terms) if kept[house].next_minute == minute]
            lots.append(self._lot(houses, kept, states, owner, terms, by, gone=gone))
            gone = ()  # the furthest lot says the last words on what has left with its house
        return lots

    def save(self, db: Connection, lot: Lot, moved: WatchPosition, state: EvaluatorState) -> None:
        """Move each house of the lot on; raises LeaseLost or HouseMovedOn if it is not ours to."""
        self._leases.demand(db, lot.terms)
        if lot.elsewhere:
            taken = self._taken_elsewhere(db, lot)
            lot.elsewhere = {
                house: {code: one for code, one in left.items() if code not in taken}
                for house, left in lot.elsewhere.items()
            }
        forget_houses(db, lot.gone)
        now_ms = milliseconds(self._clock)
        for house, kept in self._parts(lot, state).items():
            position = HousePosition(
                house=house,
                began_minute=moved.began_minute,
                next_minute=moved.next_minute,
                revision=moved.revision,
                state=kept,
                folder=self._leases.folder,
                sequence=moved.sequence,
                saved_ms=now_ms,
            )
            save_house(db, position, from_minute=lot.position.next_minute)

    def demand(self, db: Connection, lot: Lot) -> None:
        """Raise LeaseLost unless every house of the lot is ours now."""
        self._leases.demand(db, lot.terms)

    def keep_milestone(self, db: Connection, lot: Lot, minute: int, state: EvaluatorState) -> None:
        """Keep the state of each house before a cell."""
        for house, kept in self._parts(lot, state).items():
            keep_house_milestone(db, house, minute, kept)

    def _taken_elsewhere(self, db: Connection, lot: Lot) -> set[str]:
        """Return the batches that the houses they were moved to have taken up by now."""
        taken: set[str] = set()
        for house, position in house_positions_kept(db).items():
            if house not in lot.terms and (state := readable(position.state, position)):
                here = {
                    code
                    for code in state.batches
                    if house_watched_with(lot.ground.site, lot.ground.houses, code) == house
                }
                taken |= here
        return taken

    def _parts(self, lot: Lot, state: EvaluatorState) -> dict[str, bytes]:
        site = lot.ground.site
        house_of = {
            code: house_watched_with(site, lot.ground.houses, code) for code in state.batches
        }
        found = parts_of(state, house_of, sorted(lot.terms))
        return {
            house: packed(replace(part, batches={**lot.elsewhere.get(house, {}), **part.batches}))
            for house, part in found.items()
        }

    def _lot(
        self,
        houses: Sequence[str],
        kept: Mapping[str, HousePosition],
        states: Mapping[str, EvaluatorState],
        owner: Mapping[str, str],
        terms: Mapping[str, int],
        by: InForce,
        *,
        gone: Sequence[str],
    ) -> Lot:
        ground = Ground(by.site, by.watchlist, seen_to=frozenset(houses))
        here: dict[str, BatchState] = {}
        elsewhere: dict[str, dict[str, BatchState]] = {}
        for code, house in owner.items():
            state = states[house].batches[code]
            if code in ground.houses:
                if ground.is_ours(code):
                    here[code] = state  # also what stood in another house until now
                elif house in houses or house in gone:
                    kept_by = house if house in houses else houses[0]
                    elsewhere.setdefault(kept_by, {})[code] = state
            elif house in houses or house in gone:
                here[code] = state  # it has left the site: the last words on it are to be said
        first = houses[0]
        position = kept[first]
        watched = tuple(one for one in by.watchlist.batches if ground.is_ours(one.code))
        return Lot(
            WatchPosition(
                began_minute=min(kept[house].began_minute for house in houses),
                next_minute=position.next_minute,
                sequence=self._seen_up_to([kept[house] for house in houses]),
                revision=position.revision,
                state=b"",
            ),
            replace(joined([states[house] for house in houses]), batches=here),
            replace(by.watchlist, batches=watched),
            ground,
            terms={house: terms[house] for house in houses},
            elsewhere=elsewhere,
            gone=gone,
        )

    def _seen_up_to(self, positions: Sequence[HousePosition]) -> int:
        """Return up to which reading of our own file the cells of these houses have seen.

        Of what another node closed, that is what we had kept when it kept its last cell. Where we
        remember nothing of that moment, all that is kept counts as seen.
        """
        newest = self._store.last_sequence()
        found = newest
        for one in positions:
            if one.folder == self._leases.folder:
                found = min(found, one.sequence)
                continue
            before = [seen for at_ms, seen in self._looks if at_ms <= one.saved_ms - SLACK_MS]
            found = min(found, before[-1] if before else newest)
        return found

    def _out_of_the_whole(self, db: Connection, by: InForce) -> dict[str, HousePosition]:
        """Share out what one watch of the whole site has kept; nothing if there was none."""
        whole = whole_position(db)
        state = None if whole is None else readable(whole.state, whole)
        if whole is None:
            return {}
        if state is None:
            log.error("watch_state_unreadable next_minute=%d", whole.next_minute)
            forget_open(db, now=self._clock.now(), ground=Ground(by.site, by.watchlist))
            state = start(by.watchlist)
        found = houses_of(by.site)
        house_of = {code: house_watched_with(by.site, found, code) for code in state.batches}
        houses = [house.id for house in by.site.house]
        shared = {
            house: HousePosition(
                house=house,
                began_minute=whole.began_minute,
                next_minute=whole.next_minute,
                revision=whole.revision,
                state=packed(part),
                folder=self._leases.folder,
                sequence=min(whole.sequence, self._store.last_sequence()),
                saved_ms=whole.next_minute * 60_000,
            )
            for house, part in parts_of(state, house_of, houses).items()
        }
        for position in shared.values():
            begin_house(db, position)
        log.info("watch_shared_out houses=%d next_minute=%d", len(shared), whole.next_minute)
        return shared

    def _begin(self, db: Connection, house: str, first: int, by: InForce) -> HousePosition:
        nothing = replace(start(by.watchlist), batches={})
        position = HousePosition(
            house=house,
            began_minute=first,
            next_minute=first,
            revision=by.revision,
            state=packed(nothing),
            folder=self._leases.folder,
            sequence=self._store.last_sequence(),
            saved_ms=milliseconds(self._clock),
        )
        begin_house(db, position)
        keep_house_milestone(db, house, first, position.state)
        log.info("watch_began house=%s minute=%d", house, first)
        return position

    def _state_in(self, db: Connection, position: HousePosition, by: InForce) -> EvaluatorState:
        """Return the state that was kept, or a fresh one if another version wrote it."""
        state = readable(position.state, position)
        if state is not None:
            return state
        log.error(
            "watch_state_unreadable house=%s next_minute=%d", position.house, position.next_minute
        )
        ground = Ground(by.site, by.watchlist, seen_to=frozenset([position.house]))
        forget_open(db, now=self._clock.now(), ground=ground)
        return replace(start(by.watchlist), batches={})


def _furthest(
    kept: Mapping[str, HousePosition], states: Mapping[str, EvaluatorState], by: InForce
) -> dict[str, str]:
    """Return for each batch the house whose state of it counts.

    That is its own house's; of one that was moved there and is not taken up yet, the furthest.
    """
    owner: dict[str, str] = {}
    for house in sorted(kept, key=lambda house: kept[house].next_minute):
        owner.update(dict.fromkeys(states[house].batches, house))
    found = houses_of(by.site)
    for code in owner:
        own = house_watched_with(by.site, found, code)
        if code in found and own in states and code in states[own].batches:
            owner[code] = own
    return owner
