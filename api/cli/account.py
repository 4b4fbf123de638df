"""`graftvigil account`: who may sign in, from the machine itself; also for a lead locked out."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import timedelta
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn
from api.cli.options import take_data, take_site

if TYPE_CHECKING:
    from api.accounts.keeping import AccountKeeping, Granted
    from api.accounts.roles import Role
    from api.records.accounts import Account

ACCOUNT = """\
Make, list and change accounts from the machine itself, also while graftvigil runs. What it prints
for someone, a link or a token, is shown once and is for that person alone.

  graftvigil account list
  graftvigil account add tobin --role tend
  graftvigil account add bench-tablet --role tend --acts-for tobin,wren
  graftvigil account password wren               a link to a new password
  graftvigil account password wren --stdin       the new password from standard input
  graftvigil account role tobin --role lead
  graftvigil account disable tobin               out at once, everywhere
  graftvigil account enable tobin
  graftvigil account unlock tobin                forget failed tries
  graftvigil account token tobin --name spreadsheet --role look --days 90

Roles: look reads; tend also takes alarms on and enters what was seen; technician sees to sensors;
lead does everything.
"""
_DEEDS = ("add", "list", "password", "role", "disable", "enable", "unlock", "token")
_WHY = {
    "not_in_book": "the book has no such person who can answer; people stand in the site file",
    "no_account": "there is no such account; `graftvigil account list` shows all",
    "name_taken": "somebody in the book has this name; a device needs another",
    "last_lead": "nobody could change accounts any more; make somebody else a lead first",
    "shared_leads": "a shared device never leads; choose another role",
    "too_much": "a token may do no more than its owner; choose another --role",
    "no_name": "it needs a name: --name for a token; small letters, digits and dashes for a device",
}


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `account` to the command line."""
    command = subcommands.add_parser(
        "account",
        help="make, list and change accounts: roles, passwords, tokens",
        description=ACCOUNT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("do", choices=_DEEDS, help="what to do")
    command.add_argument("person", nargs="?", help="id of the person, or name of the device")
    command.add_argument("--role", metavar="ROLE", help="look, tend, technician or lead")
    command.add_argument(
        "--acts-for", metavar="IDS", help="a shared device: the people it may act for, with commas"
    )
    command.add_argument("--name", metavar="TEXT", help="what a token is for")
    command.add_argument(
        "--days", type=int, default=90, metavar="N", help="a token ends after N days; 0: never"
    )
    command.add_argument(
        "--stdin", action="store_true", help="read the new password from standard input"
    )
    take_site(command)
    take_data(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Do what was asked; a link or a token that was made is printed."""
    from api.accounts.keeping import AccountKeeping, NotDone
    from api.accounts.signing import Signing
    from api.cli import given
    from api.records.accounts import all_accounts
    from api.records.session import reading
    from api.watch.clock import WallClock

    if (arguments.do == "list") != (arguments.person is None):
        msg = "name the person" if arguments.person is None else "list takes no name"
        raise CannotGoOn(msg)
    settings = given.settings(arguments.data)
    records = given.records(arguments.data)
    try:
        site = given.book(arguments.site, None, records).now.site
        clock = WallClock()
        signing = Signing(records, clock, lambda: site)
        keeping = AccountKeeping(records, clock, lambda: site, signing)
        if arguments.do == "list":
            with reading(records) as db:
                _list(all_accounts(db), as_json=arguments.json)
            return GOOD
        said = _do(arguments, keeping, base_url=settings.base_url)
    except NotDone as trouble:
        msg = f"{arguments.person}: {_WHY.get(trouble.why, trouble.why)}"
        raise CannotGoOn(msg) from trouble
    finally:
        records.dispose()
    if arguments.json:
        sys.stdout.write(json.dumps(said) + "\n")
    else:
        sys.stdout.write("".join(f"{line}\n" for line in said.values()))
    return GOOD


def _do(arguments: argparse.Namespace, keeping: AccountKeeping, *, base_url: str) -> dict[str, str]:
    from api.accounts.keeping import MACHINE, TooWeak

    person: str = arguments.person
    match arguments.do:
        case "add":
            secret = keeping.invite(person, _granted(arguments), by=MACHINE)
            return _link(base_url, secret, person)
        case "password" if not arguments.stdin:
            return _link(base_url, keeping.new_link(person, by=MACHINE), person)
        case "password":
            try:
                keeping.change_password(person, sys.stdin.readline().rstrip("\r\n"), None)
            except TooWeak as trouble:
                msg = f"the password is not taken: {trouble.why}. Use 12 letters or more, no names"
                raise CannotGoOn(msg) from trouble
            return {"done": f"{person} has a new password and is signed out everywhere."}
        case "role":
            keeping.change_role(person, _granted(arguments), by=MACHINE)
            return {"done": f"{person} now has the role {arguments.role}."}
        case "disable":
            keeping.disable(person, by=MACHINE)
            return {"done": f"{person} is shut out."}
        case "enable":
            keeping.enable(person, by=MACHINE)
            return {"done": f"{person} can sign in again."}
        case "unlock":
            keeping.unlock(person, by=MACHINE)
            return {"done": f"The failed tries of {person} are forgotten."}
        case _:
            lasts = timedelta(days=arguments.days) if arguments.days else None
            name = arguments.name or ""
            role = _role(arguments)
            token = keeping.make_token(person, name=name, role=role, lasts=lasts, by=MACHINE)
            return {"token": token, "note": f"The token of {person}. It is not shown again."}


def _link(base_url: str, secret: str, person: str) -> dict[str, str]:
    link = f"{base_url.rstrip('/')}/invited/{secret}"
    return {"link": link, "note": f"For {person} alone. It works once, for three days."}


def _granted(arguments: argparse.Namespace) -> Granted:
    from api.accounts.keeping import Granted

    names = None
    if arguments.acts_for is not None:
        names = tuple(name.strip() for name in arguments.acts_for.split(",") if name.strip())
    return Granted(_role(arguments), names)


def _role(arguments: argparse.Namespace) -> Role:
    from api.accounts.roles import Role
    from api.cli import given

    if arguments.role is None:
        msg = "--role: is missing; write one of look, tend, technician, lead"
        raise CannotGoOn(msg)
    return given.word(arguments.role, Role, "--role")


def _list(known: tuple[Account, ...], *, as_json: bool) -> None:
    if as_json:
        said = [
            {
                "person": one.person,
                "role": one.role,
                "acts_for": one.acts_for,
                "has_password": one.has_password,
                "disabled": None if one.disabled_at is None else one.disabled_at.isoformat(),
            }
            for one in known
        ]
        sys.stdout.write(json.dumps({"accounts": said}, indent=2) + "\n")
        return
    for one in known:
        parts = [one.role]
        if one.acts_for is not None:
            parts.append(f"acts for {', '.join(one.acts_for)}")
        if one.disabled_at is not None:
            parts.append(f"shut out since {one.disabled_at.isoformat(timespec='seconds')}")
        elif not one.has_password:
            parts.append("has not chosen a password yet")
        sys.stdout.write(f"{one.person}: {', '.join(parts)}\n")
    if not known:
        sys.stdout.write("Nobody has an account yet. `graftvigil run` prints the set-up code.\n")
