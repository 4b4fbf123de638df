"""What people are shown of nodes: how each is, and which of them sees to which house since when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.nodes.sharing import GONE, is_alive
from api.records.nodes import NURSERY, leases, nodes_known
from api.records.tables import instant

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy import Connection

ENDED = "ended"
"""It was asked to stop, and has not been started since."""


@dataclass(frozen=True, slots=True)
class HouseSeenTo:
    """Who sees to a house, and since when; `node` "" for nobody at this moment."""

    house: str
    node: str
    since: datetime | None


@dataclass(frozen=True, slots=True)
class NodeSeen:
    """How a node is: "" well, else what is wrong, as in `rules.vital_facts.NodeFacts`, or ended.

    `speaks`: what is done once for the whole nursery is done by this one.
    """

    name: str
    seen_at: datetime
    trouble: str
    watches: bool
    speaks: bool


def houses_seen_to(
    db: Connection, houses: Sequence[str], *, now_ms: int
) -> tuple[HouseSeenTo, ...]:
    """Return who sees to each of these houses by the leases that hold now."""
    names = {node.folder: node.name for node in nodes_known(db)}
    held = {one.house: one for one in leases(db) if one.until_ms > now_ms}
    return tuple(
        HouseSeenTo(house, names.get(held[house].holder, ""), instant(held[house].since_ms))
        if house in held
        else HouseSeenTo(house, "", None)
        for house in houses
    )


def nodes_seen(db: Connection, *, now_ms: int) -> tuple[NodeSeen, ...]:
    """Return how every node is, by name."""
    speaking = {one.holder for one in leases(db) if one.house == NURSERY and one.until_ms > now_ms}
    return tuple(
        NodeSeen(
            node.name,
            instant(node.seen_ms),
            ENDED if node.ended_ms else node.unfit if is_alive(node, now_ms) else GONE,
            node.watches,
            node.folder in speaking,
        )
        for node in nodes_known(db)
    )
