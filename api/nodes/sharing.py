"""Which houses a node keeps, lets go and takes: from what all nodes said last, and nothing else.

Each node decides for itself alone, in the one write transaction that may be open, so that what it
has read still holds when it takes. Nothing here reads a clock or the records.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from api.records.nodes import NURSERY

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from api.records.nodes import Lease, NodeRow

LEASE_MS = 18_000
"""How long a lease lasts from its last renewal: a node that dies is replaced so much later."""

RENEW_S = 2.0
"""How often a node renews what it holds and looks for what is free."""

STARTING, DEAF, FILES, STUCK, GONE = "starting", "deaf", "files", "stuck", "gone"
"""Why a node should not watch: it has just come up, hears no broker, has old files, its watch fails
or hangs; or, as others see it, it has not been seen."""


@dataclass(frozen=True, slots=True)
class Moves:
    """What one node does with leases now: those it renews, lets go, and takes."""

    keep: tuple[str, ...]
    let_go: tuple[str, ...]
    take: tuple[str, ...]


def is_alive(node: NodeRow, now_ms: int) -> bool:
    """Return whether a node has been seen within the length of a lease, and did not end since."""
    return node.ended_ms is None and node.seen_ms > now_ms - LEASE_MS


def files_in_force(nodes: Sequence[NodeRow], now_ms: int) -> str | None:
    """Return the base of the files that count: of the living, those that were changed last."""
    alive = [node for node in nodes if is_alive(node, now_ms)]
    newest = max(alive, key=lambda node: (node.base_since_ms, node.name), default=None)
    return None if newest is None else newest.base


def moves_of(
    me: NodeRow,
    others: Sequence[NodeRow],
    *,
    houses: Sequence[str],
    known: Mapping[str, Lease],
    held: Mapping[str, int],
    now_ms: int,
) -> Moves:
    """Return what a node does with the leases.

    A node that is unfit stands back for one that is fit, and sees to everything where none is.
    What runs out is taken by whoever comes first; nobody takes more than their even share, and who
    has more lets go.

    Parameters
    ----------
    known
        Every lease ever given, by house.
    held
        The terms of those that this process has taken, by house.
    """
    ours = tuple(
        house for house, term in held.items() if _holds(known.get(house), me, term, now_ms)
    )
    rivals = [one for one in others if one.watches and is_alive(one, now_ms)]
    fit = [one for one in rivals if not one.unfit]
    if not me.watches or (me.unfit and fit):
        return Moves((), tuple(sorted(ours)), ())
    if not me.unfit:
        rivals = fit
    share = ceil(len(houses) / (1 + len(rivals)))
    keep = [house for house in ours if house in houses][:share]
    free = [
        house for house in houses if house not in ours and _is_free(known.get(house), me, now_ms)
    ]
    take = free[: share - len(keep)]
    if NURSERY in ours:
        keep.append(NURSERY)
    elif _is_free(known.get(NURSERY), me, now_ms):
        take.append(NURSERY)
    return Moves(tuple(keep), tuple(sorted(set(ours) - set(keep))), tuple(take))


def _holds(lease: Lease | None, me: NodeRow, term: int, now_ms: int) -> bool:
    return (
        lease is not None
        and lease.holder == me.folder
        and lease.term == term
        and lease.until_ms > now_ms
    )


def _is_free(lease: Lease | None, me: NodeRow, now_ms: int) -> bool:
    """Return whether nobody holds it; what an earlier process of this node held counts as free."""
    return lease is None or lease.until_ms <= now_ms or lease.holder == me.folder
