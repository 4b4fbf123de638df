"""Limits and trends of batches that are judged alike, weighed side by side.

A nursery's batches share a few plans. To weigh twenty-five of them takes little longer than one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules import limits
from rules.trend import head_out, onto_rings, trends_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from rules.cover_watch import Told
    from rules.limits import Verdicts
    from rules.model.quantities import Felt
    from rules.moments import Moments
    from rules.reckoning import Kit
    from rules.record import Columns
    from rules.speaking import Span
    from rules.trend import Ring
    from rules.watchlist import StageWatch

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEVER = 1 << 40


@dataclass(frozen=True, slots=True)
class Part:
    """Rows of a block in which one batch keeps its stage, before they are judged.

    `minute` is that of the first row. `spans` are told with their own rows, `film_open` is by row.
    `rings` are those from before it.
    """

    code: str
    watch: StageWatch
    kit: Kit
    minute: int
    rows: slice
    spans: Sequence[tuple[Span, slice]]
    moments: Moments
    film_open: Flags
    columns: Columns
    rings: Mapping[Felt, Ring]

    @property
    def length(self) -> int:
        """How many rows there are."""
        many: int = self.rows.stop - self.rows.start
        return many

    @property
    def sun_up(self) -> Flags:
        """Return for each row whether the sun is up."""
        return self.moments.sun_up[self.rows]

    def read(self, felt: Felt) -> Told:
        """Return what the batch feels in these rows."""
        return self.columns.read(felt, self.rows)


@dataclass(frozen=True, slots=True)
class Weight:
    """What is said of one part: of its limits as limits by rows, of its drift by row.

    `broken` tells of each limit whether some row is beyond it. `rings` are those after it.
    """

    said: Verdicts
    values: Wholes
    margin: Floats
    broken: Sequence[bool]
    drifting: Flags
    rings: Mapping[Felt, Ring]


def alike(parts: Iterable[Part]) -> Iterator[list[Part]]:
    """Yield the parts in groups that can be weighed at once: the same figures, the same rows."""
    groups: dict[tuple[str, int, int], list[Part]] = {}
    for part in parts:
        key = (part.watch.key, part.rows.start, part.rows.stop)
        groups.setdefault(key, []).append(part)
    yield from groups.values()


def weigh(parts: Sequence[Part]) -> Iterator[Weight]:
    """Weigh parts that are alike, one at least; yields one weight a part, in order."""
    watch = parts[0].watch
    film_open = np.stack([part.film_open for part in parts])[:, None]
    speaking = watch.table.speaking(sun_up=parts[0].sun_up, film_open=film_open)
    told = _stacked(parts, [limit.quantity for limit in watch.limits])
    values, present = told[0].reshape(speaking.shape), told[1].reshape(speaking.shape)
    weighed = limits.weighed(watch.table, values, present, speaking)
    broken: list[list[bool]] = (weighed.said == limits.Verdict.BEYOND).any(axis=2).tolist()
    drifting, rings = _drift(parts, speaking)
    for place in range(len(parts)):
        yield Weight(
            said=weighed.said[place],
            values=values[place],
            margin=weighed.margin[place],
            broken=broken[place],
            drifting=drifting[place],
            rings=rings[place],
        )


def _stacked(parts: Sequence[Part], quantities: Sequence[Felt]) -> tuple[Wholes, Flags]:
    """Return what the parts feel, each its quantities in turn, by rows; and where it is known."""
    shape = (len(parts) * len(quantities), parts[0].length)
    told = [part.read(felt) for part in parts for felt in quantities]
    values = np.array([one for one, _ in told], dtype=np.int64).reshape(shape)
    present = np.array([there for _, there in told], dtype=np.bool_).reshape(shape)
    return values, present


def _drift(parts: Sequence[Part], speaking: Flags) -> tuple[Flags, list[dict[Felt, Ring]]]:
    """Return by part and row whether it heads out of some limit, and each part's rings after it."""
    heading, trended = parts[0].watch.heading, parts[0].watch.trended
    count, many = len(parts), len(trended)
    drifting = np.zeros((count, parts[0].length), dtype=np.bool_)
    if not trended:
        return drifting, [{} for _ in parts]
    values, present = _stacked(parts, trended)
    before = [part.rings.get(felt, ()) for part in parts for felt in trended]
    since = np.concatenate([_since(part) for part in parts])
    trends = trends_of(before, since, values, present)
    rows = np.arange(count)[:, None] * many + heading.felt
    out = speaking[:, heading.limits] & head_out(heading.table, trends.of(rows))
    after = onto_rings(before, values, present)
    rings = [
        dict(zip(trended, after[place : place + many], strict=True))
        for place in range(0, count * many, many)
    ]
    drifting |= out.any(axis=1)
    return drifting, rings


def _since(part: Part) -> Wholes:
    """Return the first row that may be used for each trended quantity at each row.

    That is the first in which the sensor spoke that speaks now; none may be where none speaks.
    """
    begins = [
        [
            NEVER if speaker is None else speaker.since_minute - part.minute
            for speaker in map(span.speakers.get, part.watch.trended)
        ]
        for span, _ in part.spans
    ]
    lengths = [rows.stop - rows.start for _, rows in part.spans]
    return np.repeat(np.array(begins, dtype=np.int64).T, lengths, axis=1)
