"""What a person typed after a command, as values; what can't be read is told in one line."""

from __future__ import annotations

import math
import os
from datetime import date, datetime
from enum import StrEnum
from typing import TYPE_CHECKING, TypeVar

from api.cli.main import CannotGoOn
from api.settings import READINGS_FILE, Settings, SettingsUnusable, load_settings
from api.site_files import read_nursery, read_site

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from sqlalchemy import Engine

    from api.book import Book, InForce
    from api.site_files import Nursery
    from rules.model.plan import CarePlan
    from rules.model.site import Site

Word = TypeVar("Word", bound=StrEnum)


def figure(typed: str, option: str) -> float:
    """Return a finite number; CannotGoOn names the option otherwise.

    >>> figure("21.5", "--temperature")
    21.5
    """
    try:
        value = float(typed)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        msg = f'{option}: "{typed}" is not a number; write digits, with a point for the fraction'
        raise CannotGoOn(msg)
    return value


def word(typed: str, known: type[Word], option: str) -> Word:
    """Return one of a fixed list of words; CannotGoOn lists them otherwise."""
    try:
        return known(typed)
    except ValueError:
        listed = ", ".join(known)
        msg = f'{option}: "{typed}" is not known; write one of {listed}'
        raise CannotGoOn(msg) from None


def day(typed: str, option: str) -> date:
    """Return a date; CannotGoOn names the option otherwise.

    >>> day("2026-11-15", "--date")
    datetime.date(2026, 11, 15)
    """
    try:
        read = date.fromisoformat(typed)
    except ValueError:
        msg = f'{option}: "{typed}" is not a date; write it as in 2026-11-15'
        raise CannotGoOn(msg) from None
    if not 1970 < read.year < 2100:
        msg = f"{option}: the year {read.year} does not lie between 1971 and 2099"
        raise CannotGoOn(msg)
    return read


def instant(typed: str, option: str) -> datetime:
    """Return an instant with its offset from UTC; CannotGoOn names the option otherwise."""
    try:
        read = datetime.fromisoformat(typed)
    except ValueError:
        read = None
    if read is None or read.tzinfo is None or not 1970 < read.year < 2100:
        msg = (
            f'{option}: "{typed}" is not an instant; write it with its offset from UTC, '
            "as in 2026-11-15T10:00:00+11:00"
        )
        raise CannotGoOn(msg)
    return read


def site(path: Path) -> Site:
    """Return the site in a file; CannotGoOn with its first fault otherwise."""
    read, faults = read_site(path)
    if read is None:
        more = f" ({len(faults) - 1} more; `graftvigil check` lists all)" if faults[1:] else ""
        msg = f"{faults[0]}{more}"
        raise CannotGoOn(msg)
    return read


def nursery(site_file: Path, plans: Path | None) -> tuple[Nursery, Site]:
    """Return a site with its care plans, `plans` beside it by default, and the site alone.

    CannotGoOn with every fault, a line each, if there is one.
    """
    read = read_nursery(site_file, plans or site_file.parent / "plans")
    if read.faults or read.site is None:
        raise CannotGoOn("\n".join(str(fault) for fault in read.faults))
    return read, read.site


def book(site_file: Path, plans: Path | None, records: Engine) -> Book:
    """Return the book: files and what people entered; CannotGoOn with every fault, a line each."""
    from api.bookkeeping import Bookkeeping, FilesFaulty

    try:
        return Bookkeeping(site_file, plans or site_file.parent / "plans", records).book
    except FilesFaulty as trouble:
        raise CannotGoOn(str(trouble)) from trouble


def in_force(
    site_file: Path, plans: Path | None, data: Path
) -> tuple[Site, Mapping[str, tuple[CarePlan, ...]]]:
    """Return the site and every version of its care plans by id, in order, with what was entered.

    A data folder without records stands for files alone. CannotGoOn with every fault, a line each.
    """
    now = _entered(site_file, plans, data)
    if now is None:
        read, alone = nursery(site_file, plans)
        return alone, read.versions
    return now.site, now.plans


def site_in_force(site_file: Path, data: Path) -> Site:
    """Return the site with what people entered; without records its file alone, no plans read."""
    now = _entered(site_file, None, data)
    return site(site_file) if now is None else now.site


def _entered(site_file: Path, plans: Path | None, data: Path) -> InForce | None:
    """Return what is in force with what people entered; None where there are no records."""
    there = records_if_any(data)
    if there is None:
        return None
    try:
        return book(site_file, plans, there).now
    finally:
        there.dispose()


def readings_file(data: Path) -> Path:
    """Return the file of readings in a folder of the stores; CannotGoOn if it is not there."""
    file = data / READINGS_FILE
    if not file.is_file():
        msg = f"{file} is not there. Name the folder with --data; `graftvigil run` makes it."
        raise CannotGoOn(msg)
    return file


def settings(data: Path) -> Settings:
    """Return the settings with this data folder; CannotGoOn when the environment has faults."""
    try:
        return load_settings(os.environ, {"data": data})
    except SettingsUnusable as trouble:
        raise CannotGoOn(str(trouble)) from trouble


def records_if_any(data: Path) -> Engine | None:
    """Open the records that belong to a data folder; None if there are none yet."""
    where = settings(data).records_at
    return records(data) if isinstance(where, str) or where.is_file() else None


def records(data: Path) -> Engine:
    """Open the records that belong to a data folder; CannotGoOn if they are not there."""
    from sqlalchemy.exc import SQLAlchemyError

    from api.records.session import cause_of, open_records

    where = settings(data).records_at
    if not isinstance(where, str) and not where.is_file():
        msg = f"{where} is not there. Name the folder with --data; `graftvigil run` makes it."
        raise CannotGoOn(msg)
    try:
        return open_records(where)
    except SQLAlchemyError as trouble:
        msg = f"the records can't be opened: {cause_of(trouble)}"
        raise CannotGoOn(msg) from trouble
