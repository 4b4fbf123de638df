"""Builds what a node needs from the settings; nothing where one process has the records."""

from __future__ import annotations

import os
import secrets
from typing import TYPE_CHECKING

from api.nodes.fitness import Fitness
from api.nodes.leases import Leases
from api.watch.clock import SteadyClock

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from sqlalchemy import Engine

    from api.book import Book
    from api.settings import Settings

NAME_FILE = "node-name"


def leases_of(
    settings: Settings,
    records: Engine,
    book: Book,
    *,
    hears: Callable[[], bool],
    done: Callable[[], int],
) -> Leases | None:
    """Return the leases of this node; None where the records are a file, which nobody shares.

    Raises OSError if the data folder can't be written.
    """
    if settings.records_url is None:
        return None
    steady = SteadyClock()
    return Leases(
        records,
        book,
        steady,
        name=settings.node,
        folder=folder_name(settings.data),
        watches=settings.sees_to_houses,
        unfit=Fitness(hears, done, steady).unfit,
    )


def folder_name(data: Path) -> str:
    """Return the name of a data folder, made once: who starts over it goes on as the same node.

    A copied folder has the same name; of the two only one may run.
    """
    path = data / NAME_FILE
    try:
        return path.read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        pass
    name = secrets.token_hex(12)
    fresh = path.with_name(f"{NAME_FILE}.{os.getpid()}")
    with fresh.open("w", encoding="utf-8") as file:
        file.write(name + "\n")
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    return name
