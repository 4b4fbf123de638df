"""Recorded files into a store of their own, gone afterwards. The live one is not touched."""

from __future__ import annotations

import contextlib
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from collector.files.detection import detect
from collector.files.load import FileLoader
from collector.files.mapping import mapping_in
from collector.files.refusal import FileRefused
from collector.stores.sqlite import SqliteStore

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from collector.files.detection import Detection
    from collector.files.report import Refused
    from collector.stores.base import ReadingStore
    from rules.model.site import Site

MOST_REFUSED_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Given:
    """A recorded file, and what a person says of it: options as those of `--map`."""

    path: Path
    options: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Loaded:
    """What became of a file: its name, readings kept, rows refused in all and the first of them."""

    name: str
    rows: int
    kept: int
    refused: int
    first_refused: tuple[Refused, ...]
    notices: tuple[str, ...]
    span_ms: tuple[int, int] | None


class GivenRefused(Exception):
    """A file that can't be used, with the reason."""

    def __init__(self, path: Path, refusal: FileRefused) -> None:
        self.path = path
        self.refusal = refusal
        super().__init__(f"{path}: {refusal}")


@contextlib.contextmanager
def scratch_store(beside: Path | None) -> Iterator[ReadingStore]:
    """Give an empty store in a folder of its own, in `beside` if named; both go afterwards."""
    with tempfile.TemporaryDirectory(prefix="graftvigil-replay-", dir=beside) as folder:
        store = SqliteStore(Path(folder) / "readings.sqlite")
        try:
            yield store
        finally:
            store.close()


def detected(given: Given, site: Site, *, now_ms: int) -> Detection:
    """Return how a file is going to be read. Raises GivenRefused."""
    try:
        return detect(
            given.path,
            site.sensor,
            mapping_in(given.options, []),
            site_zone=site.site.time_zone,
            now_ms=now_ms,
        )
    except FileRefused as refusal:
        raise GivenRefused(given.path, refusal) from refusal


def load_files(
    every: Sequence[Given],
    store: ReadingStore,
    site: Site,
    *,
    clock_ms: Callable[[], int],
    rest: Callable[[float], bool],
    moved: Callable[[int, int, int], None],
) -> Iterator[Loaded]:
    """Load files one after another as `graftvigil load` does, and tell what became of each.

    Parameters
    ----------
    rest
        Called after every batch with the seconds it took; returns whether to stop.
    moved
        Hears the place of the file, how much of it was read, and of how much.

    Raises GivenRefused, and LoadStopped when `rest` says so.
    """
    loader = FileLoader(store, together=contextlib.nullcontext, clock_ms=clock_ms, rest=rest)
    for place, given in enumerate(every):
        detection = detected(given, site, now_ms=loader.latest_ms())

        def told(done: int, whole: int, *, place: int = place) -> None:
            moved(place, done, whole)

        try:
            report = loader.load(detection, dry=False, moved=told)
        except FileRefused as refusal:
            raise GivenRefused(given.path, refusal) from refusal
        span = None
        if report.first_ms is not None and report.last_ms is not None:
            span = (report.first_ms, report.last_ms)
        yield Loaded(
            name=given.path.name,
            rows=report.rows,
            kept=report.kept,
            refused=report.refused.total(),
            first_refused=tuple(report.refused.first[:MOST_REFUSED_SHOWN]),
            notices=tuple(report.notices),
            span_ms=span,
        )
        report.refused.close()


def span_loaded(every: Sequence[Loaded]) -> tuple[int, int] | None:
    """Return the first and the last instant in files, ms since the epoch; None without readings."""
    spans = [one.span_ms for one in every if one.span_ms is not None]
    if not spans:
        return None
    return min(first for first, _ in spans), max(last for _, last in spans)
