"""Replays as the API hands them out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from pydantic import AwareDatetime, BaseModel, Field

from api.replays.receiving import MOST_FILES
from api.replays.state import Stage, Why
from collector.files.telling import detection_values, safe

if TYPE_CHECKING:
    from collections.abc import Sequence

    from api.replays.looking import Look
    from api.replays.state import Replay

Option = Annotated[str, Field(min_length=1, max_length=500)]


class RefusedRow(BaseModel):
    """A row, or a value in it, that was not taken; `column` is empty when it is the whole row."""

    line: int
    column: str
    why: str
    problem: str
    fix: str


class FileBody(BaseModel):
    """A file: how it is read while it is shown, and what became of its rows afterwards."""

    name: str
    map: list[str]
    read_as: dict[str, Any] | None = None
    rows: int | None = None
    kept: int | None = None
    refused: int | None = None
    first_refused: list[RefusedRow] = []


class TroubleBody(BaseModel):
    """Why a replay failed: `says` what is wrong and what to do, `file` the one it is about."""

    why: Why
    says: str
    file: str


class ReplayLine(BaseModel):
    """A replay. `share` is how far it is, from 0 to 1."""

    number: int
    stage: Stage
    share: float
    of_files: bool
    hindsight: bool


class AlarmBody(BaseModel):
    """One alarm; values are in the unit of the limit's quantity."""

    batch: str
    condition: str
    stage: str
    priority: str
    opened: AwareDatetime
    ended: AwareDatetime | None
    value: float | None
    worst: float | None
    rang: bool
    acknowledged: AwareDatetime | None


class LowBody(BaseModel):
    """A value and when it was."""

    value: float
    at: AwareDatetime


class BatchFigures(BaseModel):
    """One batch: minutes by standing, the least water left, the most that each sum came to."""

    minutes: dict[str, int]
    blind_min: int
    reserve_low_pct: LowBody | None
    doses_most: dict[str, LowBody]


class Figures(BaseModel):
    """What a replay came to, the same as `graftvigil replay --json` prints.

    `messages` counts them by person, in each way of being answered.
    """

    start: AwareDatetime
    end: AwareDatetime
    as_it_happened: bool
    alarms: list[AlarmBody]
    batches: dict[str, BatchFigures]
    messages: dict[str, dict[str, int]]


class ReplayBody(ReplayLine):
    """A replay with its files, why it failed, and what it came to once it is done."""

    files: list[FileBody]
    trouble: TroubleBody | None
    book_lost: list[str]
    figures: Figures | None


class MapOfFiles(BaseModel):
    """How to read each file, in their order, as options of `graftvigil load --map`."""

    map: list[Annotated[list[Option], Field(max_length=100)]] = Field(
        default=[], max_length=MOST_FILES
    )


def line_of(replay: Replay) -> ReplayLine:
    """Return how far a replay is."""
    return ReplayLine(
        number=replay.number,
        stage=replay.stage,
        share=round(replay.share, 3),
        of_files=bool(replay.asked.files),
        hindsight=replay.asked.hindsight,
    )


def body_of(replay: Replay, looks: Sequence[Look]) -> ReplayBody:
    """Return all of a replay, with how its files are read where they were looked at."""
    trouble, outcome = replay.trouble, replay.outcome
    return ReplayBody(
        **line_of(replay).model_dump(),
        files=_files(replay, looks),
        trouble=None
        if trouble is None
        else TroubleBody(why=trouble.why, says=safe(trouble.says), file=safe(trouble.file)),
        book_lost=[] if outcome is None else list(outcome.lost),
        figures=None if outcome is None else Figures.model_validate(outcome.told),
    )


def _files(replay: Replay, looks: Sequence[Look]) -> list[FileBody]:
    bodies: list[FileBody] = []
    for place, given in enumerate(replay.asked.files):
        body = FileBody(name=safe(given.path.name), map=list(given.options))
        if place < len(looks) and (detection := looks[place].detection) is not None:
            body.read_as = detection_values(detection)
        if place < len(replay.loaded):
            loaded = replay.loaded[place]
            body.rows, body.kept, body.refused = loaded.rows, loaded.kept, loaded.refused
            body.first_refused = [
                RefusedRow(
                    line=one.line,
                    column=safe(one.column),
                    why=one.why.value,
                    problem=safe(one.problem),
                    fix=safe(one.fix),
                )
                for one in loaded.first_refused
            ]
        bodies.append(body)
    return bodies
