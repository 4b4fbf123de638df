"""People, how they are reached, and who is on duty when."""

from __future__ import annotations

from datetime import time
from enum import StrEnum
from typing import Literal, Self

from pydantic import Field, model_validator

from rules.model.place import Slug, Written


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


class Person(Written):
    """Someone who is told. Secrets never stand here: `reach` names settings that hold them.

    `email` is sent to through the site's mail server. `reach` lists names of secrets, each the
    address of another way to reach the person.
    """

    id: Slug
    name: str
    language: Literal["en", "es"] = "en"
    temperature_unit: Literal["degC", "degF"] = "degC"
    email: str | None = Field(default=None, pattern=r"^[^@\s]+@[^@\s]+$")
    reach: tuple[Slug, ...] = ()

    @model_validator(mode="after")
    def _reachable(self) -> Self:
        if self.email is None and not self.reach:
            msg = f"email: {self.id} cannot be reached; give an email or a name under reach"
            raise ValueError(msg)
        return self


class Shift(Written):
    """Who is on duty from `start` to `end`, local, on the weekdays on which the shift starts.

    A shift whose end is not later than its start runs over midnight.
    """

    who: Slug
    days: tuple[Weekday, ...] = Field(min_length=1)
    start: time
    end: time
