"""`graftvigil replay`: what would have been said of a record, as it happened or with hindsight."""

from __future__ import annotations

import contextlib
import json
import sys
from argparse import RawDescriptionHelpFormatter
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic_core import PydanticSerializationError

from api.cli import what_if
from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn
from api.cli.options import take_data, take_plans, take_site

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping, Sequence
    from typing import TextIO

    from sqlalchemy import Engine

    from api.replaying import Stretch
    from api.replays.files import Loaded
    from api.replays.told import Told
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
    except (KeyboardInterrupt, PydanticSerializationError) as stopped:
        # Ctrl-C while a model is written as JSON comes out of the library as an error of its own.
        if "KeyboardInterrupt" not in repr(stopped):
            raise
        sys.stderr.write("\ngraftvigil replay: stopped; nothing was changed\n")
        return FOUND_TROUBLE


def _replayed(arguments: argparse.Namespace) -> int:
    from api.cli import given
    from api.cli.replay_told import replayed_lines
    from api.cli.rings import local_minutes
    from api.replays.files import scratch_store
    from api.replays.record import recorded_in, told_of
    from api.replays.span import DaysUnnamed, NothingToJudge
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
            store = open_things.enter_context(scratch_store(None))
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
        try:
            recorded = recorded_in(
                site,
                plans,
                records,
                between=local_minutes(arguments.first, arguments.last, site),
                loaded_ms=span_ms,
                hindsight=arguments.hindsight,
                one_book=arguments.plans is not None,
                lateness_s=given.settings(arguments.data).lateness_s,
            )
        except NothingToJudge as trouble:
            how = " with --from and --to" if isinstance(trouble, DaysUnnamed) else ""
            msg = f"{trouble}{how}"
            raise CannotGoOn(msg) from trouble
        span = recorded.span
        for line in recorded.lost:
            sys.stderr.write(f"graftvigil replay: {line}; today's is used there\n")
        if several:
            from api.cli.what_if_run import compared

            return compared(
                arguments,
                site,
                plans,
                recorded.stretches,
                store,
                told=(span.told_from, span.end),
                late_in=recorded.late_in,
            )
        out = open_things.enter_context(_writable(arguments.minutes))
        tally = Tally(span.told_from)
        for passage in _passages(recorded.stretches, store, recorded.late_in, quiet=arguments.json):
            tally.take(passage)
            if out is not None:
                _write_minutes(out, passage, span.told_from)
    told = told_of(recorded, tally, rings=arguments.rings)
    if arguments.json:
        sys.stdout.write(json.dumps(_as_json(told), indent=2) + "\n")
    else:
        sys.stdout.write("\n".join(replayed_lines(told, site)) + "\n")
    return GOOD


def _as_json(told: Told) -> dict[str, object]:
    from api.v1.rings import load_body

    values: dict[str, object] = {**told}
    if "rings" in told:
        values["rings"] = load_body(told["rings"]).model_dump(mode="json")
    return values


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


def _loaded(store: ReadingStore, arguments: argparse.Namespace, site: Site) -> tuple[int, int]:
    """Load the files as `graftvigil load` does; return the first and the last instant in them."""
    from api.replays.files import Given, GivenRefused, load_files, span_loaded
    from api.watch.clock import WallClock, milliseconds

    def clock_ms() -> int:
        return milliseconds(WallClock())

    every = [Given(path, tuple(arguments.map)) for path in arguments.files]
    loaded: list[Loaded] = []
    try:
        for one in load_files(
            every,
            store,
            site,
            clock_ms=clock_ms,
            rest=lambda _took_s: False,
            moved=lambda _place, _done, _whole: None,
        ):
            if one.refused:
                sys.stderr.write(
                    f"{every[len(loaded)].path}: {one.refused} rows refused; "
                    "`graftvigil load --dry-run` names them\n"
                )
            loaded.append(one)
    except GivenRefused as refusal:
        msg = f"{refusal}. `graftvigil load --dry-run` explains"
        raise CannotGoOn(msg) from refusal
    span = span_loaded(loaded)
    if span is None:
        msg = "there is no reading in the files; `graftvigil load --dry-run` says why"
        raise CannotGoOn(msg)
    return span


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
