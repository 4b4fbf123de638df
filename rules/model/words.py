"""What limits and doses of a care plan are written with: sides, times of day, sentences."""

from __future__ import annotations

from enum import StrEnum

from pydantic import Field

from rules.model.place import Written


class Side(StrEnum):
    """Which side of the bound is wrong."""

    LOW = "low"
    HIGH = "high"


class When(StrEnum):
    """The part of the day in which a limit speaks; day is while the sun is up at the site."""

    ALWAYS = "always"
    DAY = "day"
    NIGHT = "night"


class FilmState(StrEnum):
    """Whether the film round a leafless scion holds; open is split, loose or taken off."""

    OPEN = "open"


class Words(Written):
    """The same sentence in both languages."""

    en: str = Field(min_length=1)
    es: str = Field(min_length=1)

    def in_language(self, language: str) -> str:
        """Return the Spanish sentence for "es", else the English one."""
        return self.es if language == "es" else self.en
