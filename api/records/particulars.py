"""What was known beside an alarm's value when it was raised; words for it may come much later."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import TypeAdapter


@dataclass(frozen=True, slots=True)
class Particulars:
    """What was known beside a value, as far as the value has it.

    `reckoned`: no sensor told the value. `low` and `high` are the ends of its band, in its unit.
    Of the hottest moment to expect: `at_minute`, the cell in which it is expected; by which cell
    shade must be up to stay inside (`shade_by_minute`); which share more of the light to stop
    (`stop_share`), None where no shade helps or nothing can be told (`no_shade_helps` says which).
    Of a sum: `unseen_min` minutes of it were not seen; it began after its day did (`begun_late`).
    Of the tool itself: the `sensors` it is about, the `batches` that can't be seen because of it or
    soon can't, what the part itself `said`, and in how many hours the disk is full (`lasts_h`).
    How fast it got worse: by how much the value had changed in twenty minutes (`change`), at which
    cell (`graver_minute`) it would meet the next graver bound (`graver`) at that pace, and for how
    many `hours`, with their band, the scion's water would last.
    """

    reckoned: bool = False
    low: float | None = None
    high: float | None = None
    at_minute: int | None = None
    shade_by_minute: int | None = None
    stop_share: float | None = None
    no_shade_helps: bool = False
    unseen_min: int = 0
    begun_late: bool = False
    sensors: tuple[str, ...] = ()
    batches: tuple[str, ...] = ()
    said: str = ""
    lasts_h: float | None = None
    change: float | None = None
    graver: float | None = None
    graver_minute: int | None = None
    hours: float | None = None
    hours_low: float | None = None
    hours_high: float | None = None

    def to_json(self) -> str:
        """Return the text from which `from_json` makes an equal one."""
        return _ADAPTER.dump_json(self, exclude_defaults=True).decode()

    @staticmethod
    def from_json(text: str | None) -> Particulars:
        """Return what was written; nothing known for None."""
        return NOTHING_BESIDE if text is None else _ADAPTER.validate_json(text)


NOTHING_BESIDE = Particulars()

_ADAPTER = TypeAdapter(Particulars)
