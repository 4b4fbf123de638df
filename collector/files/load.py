"""Rows of a file into the store: placed in time, read, compared with what is kept, kept."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from collector.files.cells import Look, look_of
from collector.files.dialect import is_time_word
from collector.files.order import OrderWatch, duration
from collector.files.report import Refused, Report, Why
from collector.files.times import NoTime, instant_time
from collector.files.values import ColumnReader, NoReading
from collector.files.wall_clock import NEVER_WAS, SHOWN_TWICE, Placer
from collector.gate import MOST_AHEAD_MS
from rules.model.reading import Reading

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from contextlib import AbstractContextManager

    from collector.files.detection import Detection
    from collector.files.table import Row
    from collector.stores.base import ReadingStore

BATCH = 4_096
_WINDOW_MS = 6 * 3_600_000
_CLOCK_SET_MS = 946_771_200_000  # 2000-01-02: loggers that lost their clock begin a day before
_LIKE = 1e-9
_OFTEN = 3

_TWICE_FIX = (
    "If the logger's clock is never changed for summer, write its offset, as --map zone=+01:00; "
    "else split the file there and load each part with its own offset"
)


class LoadStopped(Exception):
    """Loading ended before the end of the file; loading it again goes on where it stopped."""


class FileLoader:
    """Loads detected files into one store.

    Parameters
    ----------
    together
        Opens a transaction of the store, so that nothing comes between comparing and keeping.
    clock_ms
        The present, in ms since the epoch: nothing can have been recorded after it.
    rest
        Called after every batch with the seconds it took; may wait, to let others at the store.
        Returns whether to stop.
    """

    def __init__(
        self,
        store: ReadingStore | None,
        *,
        together: Callable[[], AbstractContextManager[object]],
        clock_ms: Callable[[], int],
        rest: Callable[[float], bool],
    ) -> None:
        self._store = store
        self._together = together
        self._clock_ms = clock_ms
        self._rest = rest

    def load(self, detection: Detection, *, dry: bool, moved: Callable[[int, int], None]) -> Report:
        """Keep every reading of a file that can be kept, and return what became of it.

        Loading a file again changes nothing. `dry`: nothing is kept, only counted; doubles within
        the file are then not told beyond a stretch of it. `moved` hears how far it has come.
        Raises StoreFailure, and LoadStopped when `rest` says so; what was kept until then is kept.
        """
        return _Loading(self, detection, dry=dry).run(moved)

    def keep(
        self, batch: Mapping[tuple[str, int], tuple[float, int, str]], report: Report, *, dry: bool
    ) -> None:
        """Keep the readings of a batch that are new; count or refuse the others."""  # fmt: skip
        if not batch:
            return
        began = time.monotonic()
        refused: list[Refused] = []
        known = 0
        with self._together():
            there = {} if self._store is None else _kept_of(self._store, batch)
            fresh = []
            for (channel, at_ms), (value, line, column) in batch.items():
                kept = there.get((channel, at_ms))
                if kept is None:
                    fresh.append(Reading(channel, at_ms, value))
                elif abs(kept - value) <= _LIKE * max(1.0, abs(kept)):
                    known += 1
                else:
                    refused.append(_contradiction(line, column, at_ms, value=value, kept=kept))
            if self._store is not None and not dry:
                self._store.keep(fresh)
        report.kept += len(fresh)
        report.known += known
        for one in refused:
            report.refused.add(one)
        if self._rest(time.monotonic() - began):
            msg = "told to stop; what was kept until then is kept"
            raise LoadStopped(msg)

    def now_ms(self) -> int:
        """Return the present, in ms since the epoch."""
        return self._clock_ms()

    def latest_ms(self) -> int:
        """Return the last instant that a logger can have recorded, its clock a little fast."""
        return self._clock_ms() + MOST_AHEAD_MS


def _kept_of(
    store: ReadingStore, batch: Mapping[tuple[str, int], object]
) -> dict[tuple[str, int], float]:
    """Return what is kept under the keys of a batch. Asked in windows, so that memory is bounded.

    A file of daily figures must not fetch all the minutes between them.
    """
    channels = sorted({channel for channel, _ in batch})
    there: dict[tuple[str, int], float] = {}
    first = last = None
    for at_ms in sorted({at_ms for _, at_ms in batch}):
        if first is None or last is None:
            first = last = at_ms
        elif at_ms - first < _WINDOW_MS:
            last = at_ms
        else:
            _add_span(store, channels, (first, last + 1), batch, there)
            first = last = at_ms
    if first is not None and last is not None:
        _add_span(store, channels, (first, last + 1), batch, there)
    return there


def _add_span(
    store: ReadingStore,
    channels: Sequence[str],
    span_ms: tuple[int, int],
    batch: Mapping[tuple[str, int], object],
    there: dict[tuple[str, int], float],
) -> None:
    for reading in store.span(channels, *span_ms):
        key = (reading.channel, reading.at_ms)
        if key in batch:
            there[key] = reading.value


def _contradiction(line: int, column: str, at_ms: int, *, value: float, kept: float) -> Refused:
    at = instant_time(at_ms).isoformat(timespec="milliseconds")
    problem = f"{value:g} at {at}, where {kept:g} is kept"
    fix = "What is kept stays; see which of the two is right, and whose clock"
    return Refused(line, column, Why.CONTRADICTS, problem, fix)


def _bare(text: str) -> str:
    """Return a line without separators and quotation marks, to compare by."""
    return "".join(mark for mark in text if mark.isalnum())


class _Loading:
    """One pass over one file."""

    def __init__(self, loader: FileLoader, detection: Detection, *, dry: bool) -> None:
        self._loader = loader
        self._detection = detection
        self._dry = dry
        self._report = Report()
        self._readers = [
            ColumnReader(one, decimal=detection.table.decimal, missing=detection.missing)
            for one in detection.columns
        ]
        self._names = [column.name for column in detection.table.columns]
        self._units = [column.unit for column in detection.table.columns]
        self._above = {_bare(line) for line in detection.table.preamble}
        self._other_heading = 0
        self._batch: dict[tuple[str, int], tuple[float, int, str]] = {}

    def run(self, moved: Callable[[int, int], None]) -> Report:
        report, table = self._report, self._detection.table
        order = OrderWatch(report.notice, newest_first=self._detection.direction.newest_first)
        placer: Placer[Row] = Placer(
            self._detection.clock(),
            interval_ms=self._detection.direction.interval_ms,
            newest_first=self._detection.direction.newest_first,
        )
        latest_ms = self._loader.latest_ms()
        for row, at_ms, trouble in placer.place(self._stamped()):
            if at_ms is None:
                self._refuse_time(row.line, trouble)
            elif at_ms > latest_ms or at_ms < _CLOCK_SET_MS:
                self._refuse_clock(row.line, at_ms)
            else:
                order.follow(row.line, at_ms)
                self._take(row, at_ms)
                if len(self._batch) >= BATCH:
                    self._flush()
                    moved(*table.progress())
        self._flush()
        moved(*table.progress())
        order.end()
        self._tell_of_figures()
        return report

    def _stamped(self) -> Iterator[tuple[Row, int, bool]]:
        """Yield the rows that hold a time, with it; the others are counted or refused."""
        timing, report = self._detection.timing, self._report
        reader = timing.reader()
        read, cells_of = reader.read, timing.cells_of
        for row in self._detection.table.rows():
            report.rows += 1
            if row.problem:
                self._refuse(row.line, Why.UNREADABLE, row.problem, "Correct the line")
                continue
            cells = cells_of(row.cells)
            if cells is None:
                if not self._is_heading(row):
                    problem = f"{len(row.cells)} cells, and the time is not among them"
                    self._refuse(row.line, Why.CUT_SHORT, problem, "Export the file again")
                continue
            try:
                ms, is_instant = read(cells)
            except NoTime as error:
                if not self._is_heading(row):
                    self._refuse(row.line, Why.BAD_TIME, str(error), "Correct the time")
                continue
            if self._other_heading:
                problem = f"from line {self._other_heading} on the columns are called otherwise"
                fix = "Put the rows from there on into a file of their own"
                self._refuse(row.line, Why.OTHER_HEADING, problem, fix)
                continue
            yield row, ms, is_instant

    def _is_heading(self, row: Row) -> bool:
        """Return whether a row without a time repeats the heading; note when it is another one."""
        cells = [str(cell).strip() if cell is not None else "" for cell in row.cells]
        while cells and not cells[-1]:
            cells.pop()
        if not cells:
            self._report.heading_rows += 1
            return True
        if cells == self._names[: len(cells)] and len(cells) > 1:
            self._report.heading_rows += 1
            self._other_heading = 0
            return True
        if cells == self._units[: len(cells)]:
            self._report.heading_rows += 1
            return True
        if _bare("".join(cells)) in self._above:
            self._report.heading_rows += 1
            return True
        like = sum(cell in self._names for cell in cells if cell)
        place = self._detection.timing.columns[0].index
        of_time = place < len(cells) and is_time_word(cells[place])
        if (
            (like or of_time)
            and len(cells) > 1
            and not any(look_of(cell) is Look.NUMBER for cell in cells)
        ):
            self._other_heading = row.line
            self._report.notice(
                f"line {row.line}: another heading ({', '.join(cells)[:120]}); rows under it are "
                "refused, as their columns may mean something else"
            )
        return False

    def _take(self, row: Row, at_ms: int) -> None:
        """Add the values of a row to the batch."""
        batch, report, cells = self._batch, self._report, row.cells
        width = len(cells)
        had_value = said_none = False
        for reader in self._readers:
            if reader.index >= width:
                continue
            value = reader.read(cells[reader.index])
            if isinstance(value, NoReading):
                if value.why is None:
                    if value.problem:
                        said_none = True
                        self._count_no_value(reader.name, value.problem)
                else:
                    had_value = True
                    report.refused.add(
                        Refused(row.line, reader.name, value.why, value.problem, value.fix)
                    )
                continue
            had_value = True
            key = (reader.key, at_ms)
            before = batch.get(key)
            if before is None:
                batch[key] = (value, row.line, reader.name)
            elif before[0] == value:
                report.known += 1
            else:
                report.refused.add(
                    _contradiction(row.line, reader.name, at_ms, value=value, kept=before[0])
                )
        if had_value:
            report.spanned(at_ms)
        elif not said_none:
            report.event_rows += 1

    def _count_no_value(self, column: str, text: str) -> None:
        said = f"{column}: {text[:20]}"
        if said in self._report.no_value or len(self._report.no_value) < 100:
            self._report.no_value[said] += 1
        else:
            self._report.no_value["others"] += 1

    def _flush(self) -> None:
        self._loader.keep(self._batch, self._report, dry=self._dry)
        self._batch.clear()

    def _refuse(self, line: int, why: Why, problem: str, fix: str) -> None:
        self._report.refused.add(Refused(line, "", why, problem, fix))

    def _refuse_time(self, line: int, trouble: str) -> None:
        if trouble == SHOWN_TWICE:
            self._refuse(line, Why.SHOWN_TWICE, trouble, _TWICE_FIX)
        else:
            zone = self._detection.timing.zone_name
            fix = f"See whether the logger's clock ran by {zone}; else write --map zone="
            self._refuse(line, Why.NEVER_WAS, NEVER_WAS, fix)

    def _refuse_clock(self, line: int, at_ms: int) -> None:
        at = instant_time(at_ms).isoformat(timespec="seconds")
        if at_ms < _CLOCK_SET_MS:
            fix = "Set the logger's clock; if you know when it began, correct the times"
            self._refuse(line, Why.CLOCK_UNSET, f"{at}, as after a loss of its clock", fix)
        else:
            ahead = duration(at_ms - self._loader.latest_ms() + MOST_AHEAD_MS)
            fix = "Set the logger's clock, or choose another zone or date order with --map"
            self._refuse(line, Why.CLOCK_AHEAD, f"{at} is {ahead} ahead of now", fix)

    def _tell_of_figures(self) -> None:
        for reader in self._readers:
            often = ((one, n) for one, n in reader.doubtful.items() if n >= _OFTEN)
            for figure, count in often:
                self._report.notice(
                    f'column "{reader.name}": {figure:g} stands {count} times and was kept; many '
                    f"loggers write it for no value. If yours does: --map missing={figure:g}"
                )
