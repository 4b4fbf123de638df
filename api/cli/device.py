"""`graftvigil device`: tokens for devices that push their readings over HTTP."""

from __future__ import annotations

import argparse
import json
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn
from api.cli.options import take_data

if TYPE_CHECKING:
    from collector.tokens import DeviceToken, DeviceTokens

DEVICE = """\
Make, list, rotate and revoke the tokens with which devices push readings over HTTP. A token is
shown once, when it is made; only a hash of it is kept. A change counts at once, also while
graftvigil runs.

  graftvigil device add shed-gateway --all-sensors
  graftvigil device add bag-07 --sensor bag-07 --site site.toml
  graftvigil device rotate bag-07
  graftvigil device list
  graftvigil device revoke bag-07

Rotating makes a new token beside the old one, which counts until the device first uses the new one,
or for the days given. Put the new one into the device meanwhile.

Until the first token is made, programs on this machine itself may push without one.
"""
_MOST_DAYS = 90
_DAY_MS = 86_400_000
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}", re.ASCII)


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `device` to the command line."""
    command = subcommands.add_parser(
        "device",
        help="make, list, rotate and revoke the tokens of devices that push readings",
        description=DEVICE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("do", choices=("add", "list", "rotate", "revoke"), help="what to do")
    command.add_argument("name", nargs="?", help="of the device, as you like to call it")
    speaks = command.add_mutually_exclusive_group()
    speaks.add_argument("--sensor", metavar="ID", help="the one sensor the token may speak for")
    speaks.add_argument(
        "--all-sensors", action="store_true", help="the token may speak for every sensor"
    )
    command.add_argument(
        "--site",
        type=Path,
        default=Path("site.toml"),
        metavar="FILE",
        help="the site file, in which --sensor is looked up (default: site.toml)",
    )
    command.add_argument(
        "--days",
        type=float,
        default=7.0,
        metavar="N",
        help="rotate: how long the old token counts if the new one is not used (default: 7)",
    )
    take_data(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Do what was asked; a token that was made is printed."""
    from api.cli.given import readings_file
    from collector.stores.sqlite_file import SqliteFile
    from collector.tokens import DeviceTokens

    if (arguments.do == "list") != (arguments.name is None):
        msg = "name the device" if arguments.name is None else "list takes no name"
        raise CannotGoOn(msg)
    file = SqliteFile(readings_file(arguments.data))
    try:
        tokens = DeviceTokens(file)
        if arguments.do == "add":
            _add(arguments, tokens)
        elif arguments.do == "rotate":
            _rotate(arguments, tokens)
        elif arguments.do == "revoke":
            _revoke(arguments, tokens)
        else:
            _list(arguments, tokens)
    finally:
        file.close()
    return GOOD


def _add(arguments: argparse.Namespace, tokens: DeviceTokens) -> None:
    from api.cli.given import site
    from api.watch.clock import WallClock, milliseconds
    from collector.tokens import NameTaken

    if not _NAME.fullmatch(arguments.name):
        msg = f'"{arguments.name}" is no name: use letters, digits and . _ - ; 40 at most'
        raise CannotGoOn(msg)
    if arguments.sensor is None and not arguments.all_sensors:
        msg = "say what it may speak for: --sensor ID, or --all-sensors"
        raise CannotGoOn(msg)
    if arguments.sensor is not None:
        known = [sensor.id for sensor in site(arguments.site).sensor]
        if arguments.sensor not in known:
            msg = f'there is no sensor "{arguments.sensor}"; there are {", ".join(known)}'
            raise CannotGoOn(msg)
    try:
        token = tokens.make(
            arguments.name, sensor=arguments.sensor, at_ms=milliseconds(WallClock())
        )
    except NameTaken as trouble:
        msg = f"{trouble}. Revoke it first: graftvigil device revoke {arguments.name}"
        raise CannotGoOn(msg) from trouble
    _show(token, arguments.name, arguments.sensor, as_json=arguments.json)


def _show(token: str, name: str, sensor: str | None, *, as_json: bool) -> None:
    if as_json:
        said = {"name": name, "sensor": sensor, "token": token}
        sys.stdout.write(json.dumps(said) + "\n")
        return
    speaks = f"sensor {sensor}" if sensor else "every sensor"
    sys.stdout.write(f"{token}\n")
    sys.stdout.write(f"The token of {name}, for {speaks}. It is not shown again.\n")


def _rotate(arguments: argparse.Namespace, tokens: DeviceTokens) -> None:
    from api.watch.clock import WallClock, milliseconds
    from collector.tokens import NoToken

    if not 0 <= arguments.days <= _MOST_DAYS:
        msg = f"--days {arguments.days:g}: give a number from 0 to {_MOST_DAYS}"
        raise CannotGoOn(msg)
    now_ms = milliseconds(WallClock())
    until_ms = now_ms + round(arguments.days * _DAY_MS)
    try:
        token = tokens.rotate(arguments.name, at_ms=now_ms, until_ms=until_ms)
    except NoToken as trouble:
        msg = f"{trouble}. `graftvigil device list` shows all"
        raise CannotGoOn(msg) from trouble
    newest = [one for one in tokens.listed() if one.name == arguments.name][-1]
    _show(token, arguments.name, newest.sensor, as_json=arguments.json)
    if not arguments.json:
        sys.stdout.write(
            f"The old one counts until this one is first used, at the latest until "
            f"{_instant(until_ms)}.\n"
        )


def _revoke(arguments: argparse.Namespace, tokens: DeviceTokens) -> None:
    from api.watch.clock import WallClock, milliseconds

    if not tokens.revoke(arguments.name, at_ms=milliseconds(WallClock())):
        msg = f'"{arguments.name}" has no token that counts. `graftvigil device list` shows all'
        raise CannotGoOn(msg)
    if arguments.json:
        sys.stdout.write(json.dumps({"revoked": arguments.name}) + "\n")
    else:
        sys.stdout.write(f"{arguments.name} can push no more.\n")


def _list(arguments: argparse.Namespace, tokens: DeviceTokens) -> None:
    listed = tokens.listed()
    if arguments.json:
        said = [
            {
                "name": one.name,
                "sensor": one.sensor,
                "made": _instant(one.made_ms),
                "revoked": None if one.revoked_ms is None else _instant(one.revoked_ms),
            }
            for one in listed
        ]
        sys.stdout.write(json.dumps({"devices": said}, indent=2) + "\n")
        return
    for one in listed:
        sys.stdout.write(_line(one) + "\n")
    if not listed:
        sys.stdout.write("No token was ever made: programs on this machine may push without one.\n")


def _line(one: DeviceToken) -> str:
    from api.watch.clock import WallClock, milliseconds

    speaks = f"sensor {one.sensor}" if one.sensor else "every sensor"
    ended = ""
    if one.revoked_ms is not None:
        now = milliseconds(WallClock())
        how = "counts until its successor is used, or" if one.counts(now) else "revoked"
        ended = f", {how} {_instant(one.revoked_ms)}"
    return f"{one.name}: {speaks}, made {_instant(one.made_ms)}{ended}"


def _instant(at_ms: int) -> str:
    from datetime import UTC, datetime

    return datetime.fromtimestamp(at_ms / 1000, UTC).isoformat(timespec="seconds")
