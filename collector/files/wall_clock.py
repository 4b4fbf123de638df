"""From the clock on the wall to instants: zones, hours shown twice, hours leapt over."""

from __future__ import annotations

import itertools
import re
from datetime import timedelta, timezone, tzinfo
from typing import TYPE_CHECKING, Generic, NamedTuple, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from collector.files.times import wall_time

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

Item = TypeVar("Item")

_BUCKET_MS = 900_000
_MS = timedelta(milliseconds=1)
_MOST_HELD = 200_000
_OFFSET = re.compile(r"(?:UTC|GMT)?\s*(?:([+\-−])\s*(\d{1,2})(?::?(\d{2}))?)?", re.IGNORECASE)


def zone_named(name: str) -> tzinfo:
    """Return a zone by its name in the time-zone list, or a fixed offset as "+02:00" or "UTC-5".

    Raises ValueError with what to write.

    >>> zone_named("UTC+2").utcoffset(None)
    datetime.timedelta(seconds=7200)
    """
    found = _OFFSET.fullmatch(name.strip())
    if found and name.strip():
        minutes = int(found[2] or 0) * 60 + int(found[3] or 0)
        if minutes <= 14 * 60 and int(found[3] or 0) < 60:
            return timezone(timedelta(minutes=-minutes if found[1] in {"-", "−"} else minutes))
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        msg = f'"{name}" is no time zone; write it as in "+02:00" or as in "Europe/Madrid"'
        raise ValueError(msg) from None


class WallClock:
    """The clock on one wall: which instants it can have meant by what it showed."""

    def __init__(self, zone: tzinfo) -> None:
        self.zone = zone
        self._offsets: dict[int, int | None] = {}

    def instants(self, wall_ms: int) -> tuple[int, ...]:
        """Return the one instant, two where the clock was put back over it, none in a leap."""
        bucket = wall_ms // _BUCKET_MS
        offset = self._offsets.get(bucket, -1)
        if offset == -1:
            offset = self._offset_throughout(bucket)
            if len(self._offsets) > 100_000:
                self._offsets.clear()
            self._offsets[bucket] = offset
        if offset is not None:
            return (wall_ms - offset,)
        first, second = self._two_offsets(wall_ms)
        if first == second:
            return (wall_ms - first,)
        # Put back: the first pass has the larger offset. Put forward: neither pass was.
        return (wall_ms - first, wall_ms - second) if first > second else ()

    def _offset_throughout(self, bucket: int) -> int | None:
        """Return the one offset of a whole quarter hour; None when it changes or is doubtful."""
        found = {
            *self._two_offsets(bucket * _BUCKET_MS),
            *self._two_offsets((bucket + 1) * _BUCKET_MS - 1),
        }
        return found.pop() if len(found) == 1 else None

    def _two_offsets(self, wall_ms: int) -> tuple[int, int]:
        at = wall_time(wall_ms).replace(tzinfo=self.zone)
        offsets = []
        for fold in (0, 1):
            offset = at.replace(fold=fold).utcoffset()
            offsets.append(0 if offset is None else offset // _MS)
        return offsets[0], offsets[1]


class Placed(NamedTuple, Generic[Item]):
    """A row with its instant. `at_ms` is None, and `trouble` says why, when it has none."""

    item: Item
    at_ms: int | None
    trouble: str


SHOWN_TWICE = (
    "the clock showed this time twice, being put back, and the order of the file does not tell "
    "which is meant"
)
NEVER_WAS = "this time never was: the clock was put forward over it"


class Placer(Generic[Item]):
    """Gives the rows of one file their instants, in the order of the file.

    A time that the clock showed twice is told apart by the rows around it: rows go forward in time
    and are about `interval_ms` apart. Rows of such an hour are held until it is over.

    Parameters
    ----------
    interval_ms
        The usual distance of rows; 0 when it is not known.
    newest_first
        Whether the file runs backward.
    """

    def __init__(self, clock: WallClock, *, interval_ms: int, newest_first: bool) -> None:
        self._clock = clock
        self._interval_ms = interval_ms
        self._newest_first = newest_first
        self._before: int | None = None
        self._held: list[tuple[Item, tuple[int, ...]]] = []

    def place(self, rows: Iterable[tuple[Item, int, bool]]) -> Iterator[Placed[Item]]:
        """Yield every (item, ms, whether ms is an instant's) with its instant, in order."""
        instants = self._clock.instants
        held = self._held
        for item, ms, is_instant in rows:
            if is_instant:
                at_ms = ms
            else:
                meant = instants(ms)
                if len(meant) == 2:
                    held.append((item, meant))
                    if len(held) >= _MOST_HELD:
                        yield from self._let_go(None)
                    continue
                if not meant:
                    yield Placed(item, None, NEVER_WAS)
                    continue
                at_ms = meant[0]
            if held:
                yield from self._let_go(at_ms)
            self._before = at_ms
            yield Placed(item, at_ms, "")
        yield from self._let_go(None)

    def _let_go(self, after: int | None) -> Iterator[Placed[Item]]:
        held, before = list(self._held), self._before
        self._held.clear()
        if self._newest_first:
            held.reverse()
            before, after = after, before
        first_pass = _rows_of_first_pass(
            [meant for _, meant in held], before, after, self._interval_ms
        )
        placed = [
            Placed(item, None, SHOWN_TWICE)
            if first_pass is None
            else Placed(item, meant[0] if number < first_pass else meant[1], "")
            for number, (item, meant) in enumerate(held)
        ]
        yield from reversed(placed) if self._newest_first else placed


def _rows_of_first_pass(
    meant: Sequence[tuple[int, ...]], before: int | None, after: int | None, interval_ms: int
) -> int | None:
    """Return how many rows belong to the hour's first pass; None when nothing tells.

    Each number of rows is tried: time must not run back. Of those that are left the one without a
    hole is right, if the others have one.
    """
    if not meant:
        return 0
    first = [one[0] for one in meant]
    back = [n for n in range(1, len(first)) if first[n] < first[n - 1]]
    level = [n for n in range(1, len(first)) if first[n] == first[n - 1]]
    ways = back or [0, *level, len(first)]
    fitting: list[tuple[int, int]] = []
    for split in ways:
        path = [one[0] if n < split else one[1] for n, one in enumerate(meant)]
        path = [*([] if before is None else [before]), *path, *([] if after is None else [after])]
        steps = [later - earlier for earlier, later in itertools.pairwise(path)]
        if all(step >= 0 for step in steps):
            fitting.append((max(steps, default=0), split))
    allowed = interval_ms * 3 // 2
    if back:
        split = back[0]
        over_the_step = meant[split][1] - meant[split - 1][0]
        fold = meant[0][1] - meant[0][0]
        # A row that merely stands before its turn would leave most of an hour empty.
        return split if fitting and over_the_step <= max(allowed, fold // 2) else None
    whole = [split for hole, split in fitting if 0 < hole <= allowed]
    return whole[0] if len(whole) == 1 else None


class Direction(NamedTuple):
    """How the rows of a sample follow each other: usual distance, and whether newest first."""

    interval_ms: int
    newest_first: bool


def direction_of(stretches: Sequence[Sequence[int]]) -> Direction:
    """Return how the times of each stretch of neighbouring rows follow each other."""
    steps = [
        later - earlier
        for stretch in stretches
        for earlier, later in itertools.pairwise(stretch)
        if later != earlier
    ]
    if not steps:
        return Direction(interval_ms=0, newest_first=False)
    newest_first = sum(step < 0 for step in steps) * 2 > len(steps)
    sizes = sorted(abs(step) for step in steps)
    return Direction(sizes[len(sizes) // 2], newest_first)
