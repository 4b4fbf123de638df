"""`graftvigil reach`: how each person is reached, and a real test message to one of them."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from api.cli.main import FOUND_TROUBLE, GOOD, CannotGoOn
from api.cli.options import take_data, take_site

if TYPE_CHECKING:
    import argparse
    from collections.abc import Mapping

    from pydantic import SecretStr

    from api.alerts.channels import Channels
    from api.settings import Settings
    from rules.model.people import Person
    from rules.model.site import Site

DESCRIPTION = """\
Lists each person's ways in the order in which they are tried, and whether the settings hold what
each needs. No address is printed. With --test, sends a real message to that person by every way,
or by the one that --by names, and says what came of it; this works while graftvigil runs.

With --light, lights that [[lamp]] for some seconds, then tells it again what it should be. Warn
whoever is near a siren first.

Exit code 0: every way is set up, or every test went out. 1: one is not, or did not.
2: faults in the site file, or no such person, way or lamp.

  graftvigil reach --site site.toml
  graftvigil reach --site site.toml --test wren
  graftvigil reach --site site.toml --test wren --by night-phone --json
  graftvigil reach --site site.toml --light shed-lamp --seconds 10
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    from argparse import RawDescriptionHelpFormatter

    command = subcommands.add_parser(
        "reach",
        help="list how people are reached, and send one of them a test message",
        description=DESCRIPTION,
        formatter_class=RawDescriptionHelpFormatter,
    )
    take_site(command)
    take_data(command)
    asked = command.add_mutually_exclusive_group()
    asked.add_argument("--test", metavar="PERSON", help="send this person a test message")
    asked.add_argument("--light", metavar="LAMP", help="light this lamp or siren")
    command.add_argument("--by", metavar="WAY", help='by this way alone: "email" or a reach name')
    command.add_argument(
        "--seconds", type=int, default=5, metavar="N", help="light it for so long (default: 5)"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """List ways or send a test; return 1 when one is not set up or did not go out."""
    import os

    from api.alerts.reach import reach_in
    from api.cli import given
    from api.settings import SettingsUnusable, load_settings

    if arguments.by is not None and arguments.test is None:
        msg = "--by: goes with --test PERSON; name the person to write to"
        raise CannotGoOn(msg)
    site = given.site_in_force(arguments.site, arguments.data)
    try:
        settings = load_settings(os.environ, {})
        addresses = reach_in(os.environ, site)
    except (SettingsUnusable, OSError) as trouble:
        raise CannotGoOn(str(trouble)) from trouble
    if arguments.light is not None:
        from api.cli.reach_lamp import light

        seconds: int = arguments.seconds
        return light(site, settings, arguments.light, seconds=seconds, as_json=arguments.json)
    if arguments.test is None:
        return _list(site, settings, addresses, as_json=arguments.json)

    from api.alerts.channels import Channels

    channels = Channels(settings.mail_server, settings.mail_from, reach=addresses)
    person = _person(site, arguments.test)
    return _test(site, channels, person, _ways(person, arguments.by), as_json=arguments.json)


def _list(
    site: Site, settings: Settings, addresses: Mapping[str, SecretStr], *, as_json: bool
) -> int:
    from api.alerts.reach import variable
    from rules.model.people import EMAIL

    mail = settings.mail_server is not None and bool(settings.mail_server.get_secret_value())
    missing: dict[str, dict[str, str | None]] = {}
    for person in site.person:
        missing[person.id] = {}
        for way in person.ways:
            needed = "GRAFTVIGIL_MAIL_SERVER" if way == EMAIL else variable(way)
            there = mail if way == EMAIL else way in addresses
            missing[person.id][way] = None if there else needed
    if as_json:
        ways = [
            {"person": name, "way": way, "needs": needs}
            for name, of_one in missing.items()
            for way, needs in of_one.items()
        ]
        lamps = [{"lamp": lamp.id, "topic": lamp.topic} for lamp in site.lamp]
        print(json.dumps({"ways": ways, "lamps": lamps}, indent=2))
    else:
        for person in site.person:
            said = "; ".join(
                way if needs is None else f"{way} (set {needs})"
                for way, needs in missing[person.id].items()
            )
            print(f"{person.id}, {person.name}: {said}")
        for lamp in site.lamp:
            print(f"{lamp.id}, {lamp.title}: a lamp on {lamp.topic}")
    lacking = any(needs for of_one in missing.values() for needs in of_one.values())
    return FOUND_TROUBLE if lacking else GOOD


def _test(
    site: Site, channels: Channels, person: Person, ways: tuple[str, ...], *, as_json: bool
) -> int:
    from api.alerts.channels import Failed
    from api.alerts.wording import words_of_test
    from api.watch.clock import WallClock

    outcomes: dict[str, str | None] = {}
    for way in ways:
        text = words_of_test(site, person, way, asked_at=WallClock().now())
        outcome = channels.send(person, way, text)
        outcomes[way] = outcome.cause if isinstance(outcome, Failed) else None
    if as_json:
        sent = [{"way": way, "error": error} for way, error in outcomes.items()]
        print(json.dumps({"person": person.id, "sent": sent}, indent=2))
    else:
        for way, error in outcomes.items():
            print(f"{way}: {'sent' if error is None else error}")
        if None in outcomes.values():
            sys.stdout.write(f"Ask {person.name} whether it arrived: sent is not yet read.\n")
    return FOUND_TROUBLE if any(outcomes.values()) else GOOD


def _person(site: Site, name: str) -> Person:
    for person in site.person:
        if person.id == name:
            return person
    known = ", ".join(person.id for person in site.person)
    msg = f'--test: there is no person "{name}". Known are {known}'
    raise CannotGoOn(msg)


def _ways(person: Person, by: str | None) -> tuple[str, ...]:
    if by is None:
        return person.ways
    if by not in person.ways:
        msg = f'--by: {person.id} has no way "{by}". There is {", ".join(person.ways)}'
        raise CannotGoOn(msg)
    return (by,)
