"""Nodes over one set of records, and the leases by which one of them at a time sees to a house.

A lease has a term that grows with every taking. Whoever writes what the watch says asks in the same
transaction whether its term still holds, so that one who slept through the end of its lease writes
nothing. Times are the database's: no node's own clock decides who holds what.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import BigInteger, cast, delete, func, insert, select, update

from api.records.node_tables import house_leases, nodes, shared_keys

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from sqlalchemy import Connection

NURSERY = ""
"""The lease for what is done once for the whole nursery: no house has this name."""


class LeaseLost(Exception):
    """What was about to be written is no longer ours to write; nothing of it is."""


@dataclass(frozen=True, slots=True)
class NodeRow:
    """A node as it last said it was. `unfit` says why it should not watch; "": it is fit.

    `folder` names its data folder. `base` is what its files hold, since `base_since_ms`. Of one
    that was asked to stop `ended_ms` is set. `watches`: it may see to houses at all.
    """

    name: str
    folder: str
    began_ms: int
    seen_ms: int
    ended_ms: int | None
    watches: bool
    unfit: str
    base: str
    base_since_ms: int


@dataclass(frozen=True, slots=True)
class Lease:
    """Who sees to a house, since when, and until when unless it is renewed. `holder`: a node."""

    house: str
    holder: str
    term: int
    since_ms: int
    until_ms: int


def database_ms(db: Connection) -> int:
    """Return the present instant by the clock of the records' PostgreSQL, in ms."""
    seconds = func.extract("epoch", func.clock_timestamp())
    told = select(cast(func.floor(seconds * 1000), BigInteger))
    found: int = db.execute(told).scalar_one()
    return found


def nodes_known(db: Connection) -> tuple[NodeRow, ...]:
    """Return every node that is kept, by name."""
    return tuple(NodeRow(*row) for row in db.execute(select(nodes).order_by(nodes.c.name)))


def keep_node(db: Connection, node: NodeRow) -> None:
    """Keep a node as it is now."""
    row = {field: getattr(node, field) for field in NodeRow.__slots__}
    if db.execute(update(nodes).where(nodes.c.name == node.name).values(**row)).rowcount == 0:
        db.execute(insert(nodes).values(**row))


def forget_nodes(db: Connection, *, seen_before_ms: int) -> None:
    """Forget nodes that have not been seen for so long: nobody waits for them any more."""
    db.execute(delete(nodes).where(nodes.c.seen_ms < seen_before_ms))


def leases(db: Connection) -> tuple[Lease, ...]:
    """Return every lease ever given, run out or not, by house."""
    found = select(house_leases).order_by(house_leases.c.house)
    return tuple(Lease(*row) for row in db.execute(found))


def renew_leases(db: Connection, held: Iterable[tuple[str, int]], *, until_ms: int) -> None:
    """Let leases last until an instant. Whoever calls has just read that they hold."""
    for house, term in held:
        db.execute(
            update(house_leases)
            .where(house_leases.c.house == house, house_leases.c.term == term)
            .values(until_ms=until_ms)
        )


def take_lease(
    db: Connection, house: str, *, holder: str, before: Lease | None, now_ms: int, until_ms: int
) -> int:
    """Take a lease after the one `before` it, within a write transaction; return its term."""
    term = 1 if before is None else before.term + 1
    row = {"holder": holder, "term": term, "since_ms": now_ms, "until_ms": until_ms}
    if before is None:
        db.execute(insert(house_leases).values(house=house, **row))
    else:
        db.execute(update(house_leases).where(house_leases.c.house == house).values(**row))
    return term


def demand_leases(db: Connection, held: Mapping[str, int], *, holder: str, now_ms: int) -> None:
    """Raise LeaseLost unless every one of these leases, of these terms, holds now.

    Within a write transaction, before anything is written: nobody can take one until it ends.
    """
    found = select(house_leases.c.house, house_leases.c.term).where(
        house_leases.c.house.in_(held),
        house_leases.c.holder == holder,
        house_leases.c.until_ms > now_ms,
    )
    holding = {(house, term) for house, term in db.execute(found)}
    if lost := sorted(set(held.items()) - holding):
        msg = f"no longer ours: {', '.join(house or 'the nursery' for house, _ in lost)}"
        raise LeaseLost(msg)


def shared_key(db: Connection, name: str, *, ours: bytes) -> bytes:
    """Return the key that all nodes share under a name; ours, if nobody has given one yet."""
    found = db.execute(select(shared_keys.c.key).where(shared_keys.c.name == name)).scalar()
    if found is not None:
        return bytes(found)
    db.execute(insert(shared_keys).values(name=name, key=ours))
    return ours
