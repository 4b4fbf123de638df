"""Options that many commands have alike, so that each is called, meant and explained alike."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse


def take_site(command: argparse.ArgumentParser) -> None:
    """Take the site file."""
    command.add_argument(
        "--site", type=Path, default=Path("site.toml"), metavar="FILE", help="the site file"
    )


def take_plans(command: argparse.ArgumentParser) -> None:
    """Take the folder of care plans; None: beside the site file."""
    command.add_argument(
        "--plans",
        type=Path,
        metavar="FOLDER",
        help="folder of care plans (default: plans, beside the site file)",
    )


def take_data(command: argparse.ArgumentParser) -> None:
    """Take the folder of the stores."""
    command.add_argument(
        "--data", type=Path, default=Path("graftvigil-data"), help="folder of the stores"
    )


def take_reader(command: argparse.ArgumentParser) -> None:
    """Take the language and the unit of whoever reads what is told."""
    command.add_argument("--language", choices=("en", "es"), default="en", help="of sentences")
    command.add_argument("--unit", choices=("degC", "degF"), default="degC", help="of temperatures")
