"""`graftvigil work`: what is being done on purpose, so that it is not told as trouble."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn
from api.cli.options import take_data, take_site

if TYPE_CHECKING:
    import argparse
    from datetime import datetime

    from sqlalchemy import Engine

    from rules.model.site import Site
    from rules.model.work import Work


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "work",
        help="begin, end or list work that makes sensors tell of more than the weather",
        description="Without an option it lists the work that is in hand. While a cover is open "
        "on purpose, a house is sprayed or washed, or a sensor is calibrated, the alarms that this "
        "alone brings about are held back; they are kept, and told if they are still true when it "
        "is over. Work ends by itself. Heat and cold are always told, but for what a sensor that "
        "is being calibrated says.",
    )
    take_site(command)
    take_data(command)
    command.add_argument(
        "--begin", metavar="KIND", help="cover_open, spraying, washing or calibrating"
    )
    command.add_argument("--at", metavar="PLACE", help="batch, house or sensor it is done to")
    command.add_argument("--end", type=int, metavar="N", help="end work number N now")
    command.add_argument("--by", metavar="PERSON", help="id of who begins or ends it")
    command.add_argument("--minutes", type=int, metavar="N", help="for how long, else as usual")
    command.add_argument("--note", metavar="TEXT", help="what others should know")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Begin, end or list work; print what is in hand."""
    from api.cli import given
    from api.records.session import reading
    from api.records.works import works_in_hand
    from api.watch.clock import WallClock

    now = WallClock().now()
    records = given.records(arguments.data)
    try:
        site = given.book(arguments.site, None, records).now.site
        if arguments.begin is not None:
            _begin(records, site, arguments, now)
        if arguments.end is not None:
            _end(records, site, arguments, now)
        with reading(records) as db:
            works = works_in_hand(db, now)
    finally:
        records.dispose()
    if arguments.json:
        sys.stdout.write(json.dumps({"works": [_as_json(one) for one in works]}, indent=2) + "\n")
    else:
        for one in works:
            note = f" ({one.note})" if one.note else ""
            said = f"{one.id}: {one.kind} {one.place}, {one.who}, until {one.until.isoformat()}"
            sys.stdout.write("".join(c if c.isprintable() else "?" for c in said + note) + "\n")
        sys.stdout.write(f"{len(works)} in hand\n")
    return GOOD


def _begin(records: Engine, site: Site, arguments: argparse.Namespace, now: datetime) -> None:
    from api.cli import given
    from api.records.session import writing
    from api.records.works import InHandAlready
    from api.watch.working import WorkNotPossible, begin
    from rules.model.work import WorkKind

    kind = given.word(arguments.begin, WorkKind, "--begin")
    if arguments.at is None:
        msg = "--at: is missing; name the batch, house or sensor that the work is done to"
        raise CannotGoOn(msg)
    who = _person(site, arguments.by)
    with writing(records) as db:
        try:
            begin(
                db,
                site,
                kind,
                place=arguments.at,
                who=who,
                at=now,
                minutes=arguments.minutes,
                note=arguments.note,
            )
        except WorkNotPossible as trouble:
            raise CannotGoOn(str(trouble)) from trouble
        except InHandAlready as trouble:
            msg = f"{trouble}; end it first with --end {trouble.work.id}"
            raise CannotGoOn(msg) from trouble


def _end(records: Engine, site: Site, arguments: argparse.Namespace, now: datetime) -> None:
    from api.records.session import writing
    from api.records.works import UnknownWork, WorkOver, end_work

    by = _person(site, arguments.by)
    with writing(records) as db:
        try:
            end_work(db, arguments.end, by=by, at=now)
        except (UnknownWork, WorkOver) as trouble:
            msg = f"--end: {trouble}; `graftvigil work` lists what is in hand"
            raise CannotGoOn(msg) from trouble


def _person(site: Site, named: str | None) -> str:
    known = [person.id for person in site.person]
    if named is None or named not in known:
        said = "is missing" if named is None else f'nobody has the id "{named}"'
        msg = f"--by: {said}; write one of {', '.join(known)}"
        raise CannotGoOn(msg)
    return named


def _as_json(work: Work) -> dict[str, object]:
    return {
        "id": work.id,
        "kind": work.kind.value,
        "place": work.place,
        "began": work.began.isoformat(),
        "until": work.until.isoformat(),
        "who": work.who,
        "note": work.note,
    }
