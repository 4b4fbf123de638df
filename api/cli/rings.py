"""`graftvigil rings`: how often alarms ring, and which limit of the plans cries wolf."""

from __future__ import annotations

import json
import sys
from argparse import RawDescriptionHelpFormatter
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn
from api.cli.options import take_data, take_site

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from api.v1.rings import BesideBody, LimitBody, LoadBody, RateBody
    from rules.model.site import Site

DESCRIPTION = """\
Counts what alarms really asked of people: rings and messages by ten minutes, hour, day and night,
what stood for long, what chattered, floods, and the mix of priorities, each beside the published
figure and its source. Then every limit of the care plans, the one that cries wolf most first: how
often it rang, how long it was true, how soon somebody answered, and which share was over by itself.

Without --from, the last thirty days that were watched. Dates are local days of the site, both
included. Where there are too few to say, it says so.

  graftvigil rings
  graftvigil rings --from 2026-11-01 --to 2026-11-30 --json
"""

UNITS = {
    "per_10_min": ("in ten minutes, on average", 1.0),
    "per_hour": ("an hour, on average", 1.0),
    "per_day": ("a day, on average", 1.0),
    "most_in_10_min": ("most in any ten minutes", 1.0),
    "over_ten_share": ("% of ten-minute periods with more than ten", 100.0),
    "flood_share": ("% of time in a flood", 100.0),
    "chattering": ("alarms that chattered", 1.0),
    "stale": ("true for more than a day, on the worst day", 1.0),
    "top_share": ("% of rings from the ten alarms that rang most", 100.0),
    "high_share": ("% of rings are of high priority", 100.0),
    "medium_share": ("% of rings are of medium priority", 100.0),
    "low_share": ("% of rings are of low priority", 100.0),
}


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    command = subcommands.add_parser(
        "rings",
        help="count what alarms ask of people, and which limit cries wolf",
        description=DESCRIPTION,
        formatter_class=RawDescriptionHelpFormatter,
    )
    take_site(command)
    take_data(command)
    command.add_argument("--from", dest="first", metavar="DATE", help="first local day")
    command.add_argument("--to", dest="last", metavar="DATE", help="last local day")
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the load of the span."""
    from api.cli import given
    from api.records.session import reading
    from api.v1.rings import NothingWatched, load_body, watched_load

    site = given.site(arguments.site)
    start, end = local_span(arguments.first, arguments.last, site)
    records = given.records(arguments.data)
    try:
        with reading(records) as db:
            load = load_body(watched_load(db, site, start=start, end=end))
    except NothingWatched as trouble:
        msg = f"{trouble}. Name another time with --from and --to"
        raise CannotGoOn(msg) from trouble
    finally:
        records.dispose()
    if arguments.json:
        sys.stdout.write(json.dumps(load.model_dump(mode="json"), indent=2) + "\n")
    else:
        sys.stdout.write("\n".join(load_lines(load, site)) + "\n")
    return GOOD


def local_span(
    first: str | None, last: str | None, site: Site
) -> tuple[datetime | None, datetime | None]:
    """Return the instants between which local days lie, both days included; None where unnamed."""
    from api.cli import given
    from rules.local_time import day_span_ms

    start = end = None
    if first is not None:
        ms, _ = day_span_ms(given.day(first, "--from"), site.site)
        start = datetime.fromtimestamp(ms / 1000, UTC)
    if last is not None:
        _, ms = day_span_ms(given.day(last, "--to"), site.site)
        end = datetime.fromtimestamp(ms / 1000, UTC)
    if start is not None and end is not None and end <= start:
        msg = f"--to: {last} lies before --from {first}; write the earlier day under --from"
        raise CannotGoOn(msg)
    return start, end


def local_minutes(first: str | None, last: str | None, site: Site) -> tuple[int | None, int | None]:
    """Return the same as minutes: the first, and the end."""
    from api.records.tables import as_ms
    from rules.model.reading import minute_of

    start, end = local_span(first, last, site)
    return (
        None if start is None else minute_of(as_ms(start)),
        None if end is None else minute_of(as_ms(end)),
    )


def load_lines(load: LoadBody, site: Site) -> Iterator[str]:
    """Yield a load as lines for a person."""
    from rules.local_time import to_local

    local = [to_local(at, site.site) for at in (load.start, load.end)]
    first, last = (f"{at:%Y-%m-%d %H:%M}" for at in local)
    yield f"{first} to {last} at the site, {load.days:.1f} days"
    if load.days < load.assessed_days:
        yield (
            f"too short to judge by: the published figures ask for {load.assessed_days} days "
            "or more"
        )
    yield ""
    yield f"{load.rings.count} rings, as if one person were told all of them"
    yield from _rate_lines(load.rings)
    yield f"  {load.standing_mean:.2f} true at once on average, {load.standing_most} at most"
    for one in load.figures:
        yield _beside_line(one)
    for name, rate in load.messages.items():
        yield ""
        yield f"{rate.count} messages to {name}"
        yield from _rate_lines(rate)
    yield ""
    yield "limits, the one that cries wolf most first:"
    for limit in load.limits:
        yield from _limit_lines(limit, load.brief_min)
    if not load.limits:
        yield "  none has rung"


def _rate_lines(rate: RateBody) -> Iterator[str]:
    if rate.per_night is None:
        yield "  no whole night in this time"
    else:
        yield f"  {rate.per_night:.2f} a night, on average (no published figure)"
    for one in rate.figures:
        yield _beside_line(one)


def _beside_line(one: BesideBody) -> str:
    unit, scale = UNITS[one.figure.value]
    if one.value is None:
        return f"  too few to say: {unit} ({one.source})"
    bounds = f"well up to {one.good * scale:g}, too much beyond {one.most * scale:g}"
    if one.verdict.value == "aim":
        bounds = f"aim: {one.good * scale:g}"
    elif one.good == one.most:
        bounds = f"well up to {one.good * scale:g}"
    said = {"good": "well", "borderline": "borderline", "beyond": "TOO MUCH", "aim": "see aim"}
    value = f"{one.value * scale:.3g}"
    return f"  {value} {unit}: {said[one.verdict.value]} ({bounds}; {one.source})"


def _limit_lines(one: LimitBody, brief_min: int) -> Iterator[str]:
    name = ", ".join(part for part in (one.plan, one.stage) if part)
    yield (
        f"  {one.condition} ({name}; {one.priority}): rang {one.rings} times, of {one.batches} "
        f"batches, true for {one.open_min / 60:.1f} h in all, {one.longest_open_min} min at most"
    )
    if one.brief_share is None:
        yield "    too few rings to say more"
        return
    parts = [f"{one.brief_share:.0%} over by itself within {brief_min} min"]
    if one.unanswered_share is not None:
        parts.append(f"{one.unanswered_share:.0%} acknowledged by nobody")
    if one.chatter_share is not None:
        parts.append(f"{one.chatter_share:.0%} chattering")
    if one.median_open_min is not None:
        parts.append(f"half of them over within {one.median_open_min:g} min")
    waited = "too few answers to say how soon"
    if one.median_answer_min is not None:
        waited = f"half of the answers within {one.median_answer_min:g} min"
    yield f"    {'; '.join([*parts, waited])}"
