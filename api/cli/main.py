"""The command `graftvigil`: its sub-commands, and what its exit code means.

Exit codes: 0 good, 1 found trouble, 2 bad usage or input.
Each command's module is imported only when the command is used, so that a quick one stays quick.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.metadata
import os
import sys
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from collections.abc import Sequence

GOOD = 0
FOUND_TROUBLE = 1
BAD_INPUT = 2

COMMANDS = (
    "run",
    "check",
    "next",
    "tonight",
    "demo",
    "load",
    "rejects",
    "device",
    "account",
    "backup",
    "restore",
    "adopt",
    "reach",
    "labels",
    "sums",
    "sun",
    "lasts",
    "jar",
    "work",
    "batches",
    "history",
    "rings",
    "replay",
    "review",
    "takes",
)


class CannotGoOn(Exception):
    """A command can't do what was asked; the message says why and what to do instead."""


class _Parser(argparse.ArgumentParser):
    """A parser that asks for help where the usual one only complains."""

    def error(self, message: str) -> NoReturn:
        self.print_usage(sys.stderr)
        sys.stderr.write(f"{self.prog}: {message}. `{self.prog} --help` explains.\n")
        raise SystemExit(BAD_INPUT)


def parser() -> argparse.ArgumentParser:
    """Return the whole command line, every sub-command registered."""
    top = _Parser(
        prog="graftvigil",
        description="Watches grafted trees in a shade house day and night, and warns the right "
        "person before a scion dries or cooks.",
        epilog="Exit codes: 0 good, 1 found trouble, 2 bad usage or input. Settings can also come "
        "from the environment as GRAFTVIGIL_<NAME>; docs/settings.md lists them.",
    )
    version = importlib.metadata.version("graftvigil")
    top.add_argument("--version", action="version", version=f"graftvigil {version}")
    subcommands = top.add_subparsers(title="commands", dest="command", metavar="COMMAND")
    for name in COMMANDS:
        importlib.import_module(f"api.cli.{name}").register(subcommands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    top = parser()
    parsed = top.parse_args(arguments)
    if parsed.command is None:
        top.print_help()
        return BAD_INPUT
    try:
        code: int = parsed.run(parsed)
    except CannotGoOn as trouble:
        sys.stderr.write(f"graftvigil {parsed.command}: {trouble}\n")
        return BAD_INPUT
    except BrokenPipeError:
        # The reader of our output went away, as `| head` does; nothing is wrong.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return GOOD
    return code
