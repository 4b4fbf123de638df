"""How far each house has been watched, where nodes share the houses out among themselves.

A house's state is the evaluator's with the batches of that house alone, but with every channel's
memory: neighbours are held against each other across houses.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sqlalchemy import delete, insert, select, update

from api.records.node_tables import house_positions

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from sqlalchemy import Connection

    from rules.evaluator import EvaluatorState


@dataclass(frozen=True, slots=True)
class HousePosition:
    """How far one house has been watched; see `api.records.watch.WatchPosition`.

    `sequence` counts in the file of readings of the data folder `folder`; `saved_ms` is when the
    newest cell was kept, by that node's clock.
    """

    house: str
    began_minute: int
    next_minute: int
    revision: str
    state: bytes
    folder: str
    sequence: int
    saved_ms: int


class HouseMovedOn(Exception):
    """Another watch has closed the same cell of a house: load its position anew."""


def house_positions_kept(db: Connection) -> dict[str, HousePosition]:
    """Return the position of every house that has one."""
    found = select(house_positions).order_by(house_positions.c.house)
    return {row.house: HousePosition(*row) for row in db.execute(found)}


def begin_house(db: Connection, position: HousePosition) -> None:
    """Keep the first position of a house; `sqlalchemy.exc.IntegrityError` if it has one."""
    db.execute(insert(house_positions).values(**_columns(position)))


def save_house(db: Connection, position: HousePosition, *, from_minute: int) -> None:
    """Move on from exactly this cell, else raise HouseMovedOn."""
    moved = (
        update(house_positions)
        .where(
            house_positions.c.house == position.house,
            house_positions.c.next_minute == from_minute,
        )
        .values(**_columns(position))
    )
    if db.execute(moved).rowcount != 1:
        msg = f"cell {from_minute} of {position.house} was closed by another watch"
        raise HouseMovedOn(msg)


def forget_houses(db: Connection, houses: Iterable[str]) -> None:
    """Forget the positions of houses that are no longer there."""
    db.execute(delete(house_positions).where(house_positions.c.house.in_(list(houses))))


def parts_of(
    state: EvaluatorState, house_of: Mapping[str, str], houses: Sequence[str]
) -> dict[str, EvaluatorState]:
    """Return each house's own part of a state; a batch of no house goes with the first."""
    return {
        house: replace(
            state,
            batches={
                code: batch
                for code, batch in state.batches.items()
                if house_of.get(code, houses[0]) == house
            },
        )
        for house in houses
    }


def _columns(position: HousePosition) -> dict[str, object]:
    return {field: getattr(position, field) for field in HousePosition.__slots__}
