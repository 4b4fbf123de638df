"""A replay as it is at one moment: what was asked for, how far it is, what it came to."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from api.replays.files import Given, Loaded
    from api.replays.pressed import Drawn
    from api.replays.span import Days
    from api.replays.told import Told

MOST_DAYS = 366
"""So many days are judged at once, at most."""


class Stage(StrEnum):
    """How far a replay is."""

    SHOWN = "shown"
    READING = "reading"
    JUDGING = "judging"
    DONE = "done"
    FAILED = "failed"
    STOPPED = "stopped"


RUNS = frozenset({Stage.READING, Stage.JUDGING})


class Why(StrEnum):
    """Why a replay failed."""

    FILE_REFUSED = "file_refused"
    NO_READING = "no_reading"
    NOTHING_THERE = "nothing_there"
    NAME_DAYS = "name_days"
    TOO_LONG = "too_long"
    NO_ROOM = "no_room"
    STORE = "store"
    FAULT = "fault"


class Busy(Exception):
    """Another replay runs, or its files are coming in: one at a time."""


class UnknownReplay(LookupError):
    """There is no replay of that number, or no longer."""


class NotShown(ValueError):
    """A replay that runs or ran already can't be begun again."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be judged: files, or without any the readings that are kept; of which days."""

    files: tuple[Given, ...]
    days: Days
    hindsight: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a replay came to. `lost` says where the book known then could not be made again."""

    told: Told
    drawn: Mapping[str, Drawn]
    first_minute: int
    end_minute: int
    lost: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why a replay failed; `says` names file, line or column and the fix, in English."""

    why: Why
    says: str
    file: str = ""


@dataclass(frozen=True, slots=True)
class Replay:
    """A replay as it is now. `share` is how far it is, from 0.0 to 1.0."""

    number: int
    asked: Asked
    stage: Stage
    share: float = 0.0
    loaded: tuple[Loaded, ...] = ()
    trouble: Trouble | None = None
    outcome: Outcome | None = None
    made_ms: int = 0
