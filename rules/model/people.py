"""People, how they are reached, who is on duty when, and who is told what in which order."""

from __future__ import annotations

from datetime import date, time
from enum import StrEnum
from typing import Literal, Self

from pydantic import Field, model_validator

from rules.model.alarm import Priority
from rules.model.place import Slug, Written

EMAIL = "email"
"""The name of a person's e-mail among their ways; any other way has a name of its own."""


class Weekday(StrEnum):
    """A day of the week, local."""

    MON = "mon"
    TUE = "tue"
    WED = "wed"
    THU = "thu"
    FRI = "fri"
    SAT = "sat"
    SUN = "sun"


WEEK = tuple(Weekday)


class Quiet(Written):
    """The hours, local, in which a person gets nothing of low or medium priority.

    They run over midnight when `end` is not later than `start`.
    """

    start: time
    end: time

    @model_validator(mode="after")
    def _some_hours(self) -> Self:
        if self.start == self.end:
            msg = "end: is the same time as start; write when the quiet hours are over"
            raise ValueError(msg)
        return self


class Person(Written):
    """Someone who is told. Secrets never stand here: `reach` names settings that hold them.

    `email` is sent to through the site's mail server. `reach` lists names of secrets, each the
    address of another way to reach the person, in the order in which they are tried; e-mail comes
    first unless `reach` says "email" where it belongs. `backup` stands in while the person is away
    or does not answer. `answers`: whether someone reads it who may answer in this name; not so for
    a lamp, a siren or a shared chat.
    """

    id: Slug
    name: str
    language: Literal["en", "es"] = "en"
    temperature_unit: Literal["degC", "degF"] = "degC"
    email: str | None = Field(default=None, pattern=r"^[^@\s]+@[^@\s]+$")
    reach: tuple[Slug, ...] = ()
    backup: Slug | None = None
    quiet: Quiet | None = None
    answers: bool = True

    @model_validator(mode="after")
    def _reachable(self) -> Self:
        if self.email is None and not self.reach:
            msg = f"email: {self.id} cannot be reached; give an email or a name under reach"
            raise ValueError(msg)
        if self.email is None and EMAIL in self.reach:
            msg = 'reach: names "email", and there is none; give an email, or leave the word out'
            raise ValueError(msg)
        if len(set(self.reach)) < len(self.reach):
            msg = "reach: names one way twice; keep the one that stands where it belongs"
            raise ValueError(msg)
        if self.backup == self.id:
            msg = f"backup: {self.id} cannot stand in for {self.id}; name someone else"
            raise ValueError(msg)
        return self

    @property
    def ways(self) -> tuple[str, ...]:
        """Every way to reach the person, in the order in which they are tried."""
        if self.email is None or EMAIL in self.reach:
            return self.reach
        return (EMAIL, *self.reach)


class Shift(Written):
    """Who is on duty from `start` to `end`, local, on the weekdays on which the shift starts.

    A shift whose end is not later than its start runs over midnight. `backup` stands in for
    whoever has the shift, before that person's own back-up.
    """

    who: Slug
    days: tuple[Weekday, ...] = Field(min_length=1)
    start: time
    end: time
    backup: Slug | None = None

    @model_validator(mode="after")
    def _by_another(self) -> Self:
        if self.backup == self.who:
            msg = f"backup: {self.who} cannot stand in for {self.who}; name someone else"
            raise ValueError(msg)
        return self


class Swap(Written):
    """Someone takes another's shift that starts on a local date.

    `start` tells which one where that person has several on that date; None: all of them.
    """

    on: date
    whose: Slug
    taken_by: Slug
    start: time | None = None

    @model_validator(mode="after")
    def _between_two(self) -> Self:
        if self.whose == self.taken_by:
            msg = f"taken_by: {self.whose} has this shift already; name who takes it"
            raise ValueError(msg)
        return self


class Absence(Written):
    """Local days off, `first` to `last` with both counted; a shift counts by the day it starts."""

    who: Slug
    first: date
    last: date
    because: str = ""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.last < self.first:
            msg = "last: is before first; write the earlier date under first"
            raise ValueError(msg)
        return self


class Role(StrEnum):
    """Whom a step of the escalation tells; a person's id stands for that person alone."""

    ON_DUTY = "on_duty"
    BACKUP = "backup"
    LEAD = "lead"
    EVERYONE = "everyone"


class Ways(StrEnum):
    """By how many of their ways a person is told: the first one, or every one at once."""

    FIRST = "first"
    EVERY = "every"


class Step(Written):
    """Who is told of an alarm that nobody has acknowledged, so many minutes after it began.

    `to` is a role or the id of a person. `start` and `end`, local, are the hours in which the step
    speaks; what falls due outside of them waits until `start`. Never with high priority.
    """

    priority: Priority
    after_min: int = Field(ge=0, le=2880)
    to: Slug
    by: Ways = Ways.EVERY
    start: time | None = None
    end: time | None = None

    @model_validator(mode="after")
    def _danger_never_waits(self) -> Self:
        if (self.start is None) != (self.end is None) or (
            self.start is not None and self.start == self.end
        ):
            msg = "start: goes with an end that is another time; write both, or neither"
            raise ValueError(msg)
        if self.start is not None and self.priority is Priority.HIGH:
            msg = "start: danger never waits for an hour; leave start and end out"
            raise ValueError(msg)
        return self

    @property
    def key(self) -> str:
        """A name for the step within its priority, the same however the list around it changes."""
        return f"{self.after_min}.{self.to}"


DEFAULT_STEPS = (
    Step(priority=Priority.HIGH, after_min=0, to=Role.ON_DUTY),
    Step(priority=Priority.HIGH, after_min=10, to=Role.ON_DUTY),
    Step(priority=Priority.HIGH, after_min=15, to=Role.BACKUP),
    Step(priority=Priority.HIGH, after_min=25, to=Role.LEAD),
    Step(priority=Priority.HIGH, after_min=40, to=Role.EVERYONE),
    Step(priority=Priority.MEDIUM, after_min=0, to=Role.ON_DUTY, by=Ways.FIRST),
    Step(priority=Priority.MEDIUM, after_min=120, to=Role.LEAD, by=Ways.FIRST),
    Step(
        priority=Priority.LOW,
        after_min=0,
        to=Role.ON_DUTY,
        by=Ways.FIRST,
        start=time(6),
        end=time(18),
    ),
)
"""What counts for each priority that a site file has no steps for. Common practice, no source."""
