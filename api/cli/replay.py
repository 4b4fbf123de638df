"""`graftvigil replay`: what would have been said of a record, as it happened or with hindsight."""

from __future__ import annotations

import contextlib
import json
import sys
import tempfile
from argparse import RawDescriptionHelpFormatter
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli import what_if
from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn
from api.cli.options import take_data, take_plans, take_site

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping, Sequence
    from typing import TextIO

    from sqlalchemy import Engine

    from api.replaying import Stretch, Watched
    from collector.stores.base import ReadingStore
    from rules.model.plan import CarePlan
    from rules.model.site import Site
    from rules.replay import Passage

DESCRIPTION = """\
Plays stored readings, or files that loggers wrote, through the same judgement as the watch, and
prints what was or would have been said: alarms with their worst value, how long each batch stood
how, what sums came to, the lowest reserve of water, for how long nobody could see, and how many
messages each person would have had: if nobody had answered, and with the answers people gave.

Stored readings are replayed as it happened: what the watch did not have in time is left out, and
each minute is judged with the site, the plans and the observations that the watch knew then.
--plans judges all of it by other plans, --hindsight counts every reading and all that was entered.
Nothing in the data folder is changed; files go into a store of their own that is gone afterwards.
Dates are local days of the site, both included.

  graftvigil replay
  graftvigil replay --from 2026-11-01 --to 2026-11-14 --plans stricter --rings
  graftvigil replay --hindsight --json
  graftvigil replay --site site.toml --minutes standings.csv bag-07.csv house.csv
  graftvigil replay --sweep healing/air-dry.bound=80:95:1 --picture trade.svg
  graftvigil replay --suppose hotter=2 --suppose silent=bag-07@2026-11-14T22:00:00+11:00
"""
WARM_UP_MIN = 360


@dataclass(frozen=True, slots=True)
class _Span:
    """What is judged, from `first` on, and what is told of it, from `told_from` on."""

    first: int
    told_from: int
    end: int


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "replay",
        help="play a record through again and say what it comes to",
        description=DESCRIPTION,
        formatter_class=RawDescriptionHelpFormatter,
    )
    command.add_argument(
        "files", type=Path, nargs="*", metavar="FILE", help="a recorded file, as load reads it"
    )
    take_site(command)
    take_plans(command)
    take_data(command)
    command.add_argument("--from", dest="first", metavar="DATE", help="first local day")
    command.add_argument("--to", dest="last", metavar="DATE", help="last local day")
    command.add_argument(
        "--hindsight", action="store_true", help="count readings that came late as well"
    )
    command.add_argument(
        "--map",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="how to read the files, as for load",
    )
    command.add_argument(
        "--rings", action="store_true", help="add what the alarms would have asked of people"
    )
    command.add_argument(
        "--minutes", type=Path, metavar="FILE", help="write how each batch stood in each minute"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    what_if.add_arguments(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Replay, and print what it comes to; Ctrl-C leaves nothing behind."""
    try:
        return _replayed(arguments)
    except KeyboardInterrupt:
        sys.stderr.write("\ngraftvigil replay: stopped; nothing was changed\n")
        return FOUND_TROUBLE


def _replayed(arguments: argparse.Namespace) -> int:
    from api.cli import given
    from api.cli.replay_told import replayed_lines, replayed_values
    from api.replaying import Stretch, book_of, stretches_of, watched_in
    from api.settings import READINGS_FILE
    from collector.stores.sqlite import SqliteStore
    from rules.replay import Tally

    several = what_if.is_asked(arguments)
    nursery, site = given.nursery(arguments.site, arguments.plans)
    plans: Mapping[str, Sequence[CarePlan]] = nursery.versions
    with contextlib.ExitStack() as open_things:
        records: Engine | None = None
        span_ms: tuple[int, int] | None = None
        if arguments.files:
            store = open_things.enter_context(_temporary_store())
            span_ms = _loaded(store, arguments, site)
        else:
            given.readings_file(arguments.data)
            store = SqliteStore(arguments.data / READINGS_FILE)
            open_things.callback(store.close)
            records = given.records_if_any(arguments.data)
            if records is not None:
                open_things.callback(records.dispose)
                now = given.book(arguments.site, arguments.plans, records).now
                site, plans = now.site, now.plans
        watched = None if records is None else watched_in(records)
        lateness_s = given.settings(arguments.data).lateness_s
        book = book_of(site, plans, records, lateness_s=lateness_s)
        span = _span(arguments, site, watched, span_ms)
        late_in = None if arguments.hindsight else records
        stretches: tuple[Stretch, ...] = (Stretch(span.first, span.end, book, plans),)
        if late_in is not None and arguments.plans is None:
            stretches, lost = stretches_of(
                book, late_in, first_minute=span.first, end_minute=span.end, plans=plans
            )
            for line in lost:
                sys.stderr.write(f"graftvigil replay: {line}; today's is used there\n")
        if several:
            told_of = (span.told_from, span.end)
            from api.cli.what_if_run import compared

            return compared(arguments, site, plans, stretches, store, told=told_of, late_in=late_in)
        out = open_things.enter_context(_writable(arguments.minutes))
        tally = Tally(span.told_from)
        for passage in _passages(stretches, store, late_in, quiet=arguments.json):
            tally.take(passage)
            if out is not None:
                _write_minutes(out, passage, span.told_from)
    gaps = () if watched is None or arguments.hindsight else watched.gaps
    told = replayed_values(
        book,
        tally,
        (span.told_from, span.end),
        minutes=range(span.first, span.end),
        gaps=gaps,
        lateness_min=-(-lateness_s // 60),
        rings=arguments.rings,
        as_it_happened=late_in is not None,
    )
    if arguments.json:
        sys.stdout.write(json.dumps(told, indent=2) + "\n")
    else:
        sys.stdout.write("\n".join(replayed_lines(told, site)) + "\n")
    return GOOD


def _passages(
    stretches: Sequence[Stretch], store: ReadingStore, late_in: Engine | None, *, quiet: bool
) -> Iterator[Passage]:
    """Yield what each block says; a bar on a terminal tells how far it is."""
    from tqdm import tqdm

    from api.replaying import BLOCK_MIN, replayed

    minutes = stretches[-1].end_minute - stretches[0].first_minute
    shown = tqdm(
        total=round(minutes / BLOCK_MIN, 2),
        unit="day",
        desc="replay",
        leave=False,
        disable=True if quiet else None,
    )
    with shown:
        for passage in replayed(stretches, store, late_in=late_in):
            yield passage
            shown.update(passage.minutes / BLOCK_MIN)


def _span(
    arguments: argparse.Namespace,
    site: Site,
    watched: Watched | None,
    loaded_ms: tuple[int, int] | None,
) -> _Span:
    """Return the minutes to judge: what was watched or loaded, cut to the days asked for.

    Judging begins where the watch began, so that sums and delays are those it had.
    """
    from api.cli.rings import local_span
    from api.records.tables import as_ms
    from rules.model.reading import minute_of

    start, end = local_span(arguments.first, arguments.last, site)
    from_minute = None if start is None else minute_of(as_ms(start))
    to_minute = None if end is None else minute_of(as_ms(end))
    if loaded_ms is not None:
        first, last = minute_of(loaded_ms[0]), minute_of(loaded_ms[1]) + 1
    elif watched is not None:
        first, last = watched.first_minute, watched.end_minute
    elif from_minute is None or to_minute is None:
        msg = "nobody has watched these readings; name their days with --from and --to"
        raise CannotGoOn(msg)
    else:
        first, last = from_minute - WARM_UP_MIN, to_minute
    told_from = first if from_minute is None else max(first, from_minute)
    until = last if to_minute is None else min(last, to_minute)
    if told_from >= until:
        there = " to ".join(
            datetime.fromtimestamp(minute * 60, UTC).isoformat() for minute in (first, last)
        )
        msg = f"there is nothing in those days; there is a record of {there}"
        raise CannotGoOn(msg)
    return _Span(first, told_from, until)


@contextlib.contextmanager
def _temporary_store() -> Iterator[ReadingStore]:
    from collector.stores.sqlite import SqliteStore

    with tempfile.TemporaryDirectory(prefix="graftvigil-replay-") as folder:
        store = SqliteStore(Path(folder) / "readings.sqlite")
        try:
            yield store
        finally:
            store.close()


def _loaded(store: ReadingStore, arguments: argparse.Namespace, site: Site) -> tuple[int, int]:
    """Load the files as `graftvigil load` does; return the first and the last instant in them."""
    from api.watch.clock import WallClock, milliseconds
    from collector.files.detection import detect
    from collector.files.load import FileLoader
    from collector.files.mapping import mapping_in
    from collector.files.refusal import FileRefused

    def clock_ms() -> int:
        return milliseconds(WallClock())

    loader = FileLoader(
        store, together=contextlib.nullcontext, clock_ms=clock_ms, rest=lambda _took_s: False
    )
    spans: list[int] = []
    reading_now = Path()
    try:
        mapping = mapping_in(arguments.map, [])
        for path in arguments.files:
            reading_now = path
            detection = detect(
                path,
                site.sensor,
                mapping,
                site_zone=site.site.time_zone,
                now_ms=loader.latest_ms(),
            )
            report = loader.load(detection, dry=False, moved=lambda _done, _whole: None)
            refused = report.refused.total()
            report.refused.close()
            if refused:
                sys.stderr.write(
                    f"{path}: {refused} rows refused; `graftvigil load --dry-run` names them\n"
                )
            spans += [at for at in (report.first_ms, report.last_ms) if at is not None]
    except FileRefused as refusal:
        msg = f"{reading_now}: {refusal}. `graftvigil load --dry-run` explains"
        raise CannotGoOn(msg) from refusal
    if not spans:
        msg = "there is no reading in the files; `graftvigil load --dry-run` says why"
        raise CannotGoOn(msg)
    return min(spans), max(spans)


@contextlib.contextmanager
def _writable(path: Path | None) -> Iterator[TextIO | None]:
    if path is None:
        yield None
        return
    try:
        file = path.open("w", encoding="utf-8", newline="\n")
    except OSError as trouble:
        msg = f"--minutes: {path} cannot be written ({trouble.strerror})"
        raise CannotGoOn(msg) from trouble
    with file:
        file.write("time,batch,standing\n")
        yield file


def _write_minutes(out: TextIO, passage: Passage, told_from: int) -> None:
    from rules.replay import standing_minutes

    first = passage.first_minute
    times = [
        datetime.fromtimestamp((first + row) * 60, UTC).isoformat()
        for row in range(passage.minutes)
    ]
    for code, standings in standing_minutes(passage).items():
        skip = max(0, told_from - first)
        out.writelines(
            f"{at},{code},{'unwatched' if standing is None else standing.value}\n"
            for at, standing in list(zip(times, standings, strict=True))[skip:]
        )
