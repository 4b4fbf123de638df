"""The rota in a site file: names that point nowhere, swaps and steps that cannot be meant."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from api.written.sentences import meant
from rules.local_time import to_local
from rules.model.alarm import Priority
from rules.model.people import WEEK, Role, Shift
from rules.rota import uncovered

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date, datetime

    from api.written.draft import Draft
    from api.written.toml_text import TomlText, Where
    from rules.model.fault import Fault
    from rules.model.people import Swap
    from rules.model.site import Site

LOOKED_AHEAD = timedelta(weeks=4)
MOST_SPANS = 5


def names_in_the_rota(draft: Draft) -> Iterator[Fault]:
    """Yield a fault for every person whom the rota names and who is not there."""
    people = draft.names("person")
    mentions: list[tuple[Where, str | None]] = []
    for place, person in draft.people.items():
        mentions.append((("person", place, "backup"), person.backup))
    for place, shift in draft.shifts.items():
        mentions.append((("shift", place, "backup"), shift.backup))
    for place, swap in draft.swaps.items():
        mentions.append((("swap", place, "whose"), swap.whose))
        mentions.append((("swap", place, "taken_by"), swap.taken_by))
    for place, absence in draft.absences.items():
        mentions.append((("absence", place, "who"), absence.who))
    for where, name in mentions:
        if name is not None and name not in people:
            yield draft.text.fault(where, f'there is no person "{name}"', fix=meant(name, people))
    for place, step in draft.steps.items():
        if step.to not in people and step.to not in set(Role):
            problem = f'"{step.to}" is neither a person nor a word for some of them'
            known = [*(role.value for role in Role), *people]
            yield draft.text.fault(("escalation", place, "to"), problem, fix=meant(step.to, known))


def rota_contradictions(draft: Draft) -> Iterator[Fault]:
    """Yield a fault for what each entry allows by itself and the rota as a whole does not."""
    text = draft.text
    for place, name in enumerate(draft.names("person")):
        if name in set(Role):
            problem = f'"{name}" is a word of [[escalation]], so no person can have it as a name'
            yield text.fault(("person", place, "id"), problem, fix="Give the person another id.")
    whole = len(draft.shifts) == _length(text.value(("shift",)))
    for place, swap in draft.swaps.items():
        where: Where = ("swap", place)
        if whole and swap.whose in draft.names("person") and not _starts(draft, swap):
            problem = f"{swap.whose} has no shift that starts {_which(swap)}"
            fix = "Write the date on which the shift starts; a night's is the evening before."
            yield text.fault((*where, "on"), problem, fix=fix)
        if _away(draft, swap.taken_by, swap.on):
            problem = f"{swap.taken_by} has a day off on {swap.on}"
            fix = "Name someone who is there, or shorten the days off."
            yield text.fault((*where, "taken_by"), problem, fix=fix)
        yield from _taken_twice(draft, place, swap)
    dangers = [
        (step.after_min, place)
        for place, step in draft.steps.items()
        if step.priority is Priority.HIGH
    ]
    minutes, place = min(dangers, default=(0, 0))
    if minutes > 0:
        problem = f"nobody would hear of danger for {minutes} minutes"
        fix = "Add a step of priority high with after_min = 0."
        yield text.fault(("escalation", place, "after_min"), problem, fix=fix)


def unmanned_days(site: Site, text: TomlText, *, start: datetime) -> Iterator[Fault]:
    """Yield a note on the hours of the next weeks that days off or swaps leave to nobody.

    Hours that every week leaves to nobody are told by `api.written.notes`.
    """
    end = start + LOOKED_AHEAD
    by_week = site.model_copy(update={"swap": (), "absence": ()})
    always = uncovered(by_week, start, end)
    spans = [
        span
        for span in uncovered(site, start, end)
        if not any(_within(span, one) for one in always)
    ]
    if not spans:
        return
    said = "; ".join(_said(site, span) for span in spans[:MOST_SPANS])
    more = f"; and {len(spans) - MOST_SPANS} times more" if len(spans) > MOST_SPANS else ""
    problem = f"nobody is on duty {said}{more}; the lead is told instead"
    fix = "Add [[swap]], or a backup to the shift or the person."
    yield text.fault(("absence", 0) if site.absence else ("swap", 0), problem, fix=fix)


def _within(span: tuple[datetime, datetime], other: tuple[datetime, datetime]) -> bool:
    return other[0] <= span[0] and span[1] <= other[1]


def _said(site: Site, span: tuple[datetime, datetime]) -> str:
    first, last = (to_local(at, site.site) for at in span)
    return f"from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}"


def _starts(draft: Draft, swap: Swap) -> list[Shift]:
    weekday = WEEK[swap.on.weekday()]
    return [
        shift
        for shift in draft.shifts.values()
        if shift.who == swap.whose and weekday in shift.days and swap.start in (None, shift.start)
    ]


def _which(swap: Swap) -> str:
    day = f"on {swap.on}, a {swap.on:%A}"
    return day if swap.start is None else f"{day}, at {swap.start:%H:%M}"


def _away(draft: Draft, name: str, day: date) -> bool:
    return any(off.who == name and off.first <= day <= off.last for off in draft.absences.values())


def _taken_twice(draft: Draft, place: int, swap: Swap) -> Iterator[Fault]:
    for earlier, other in draft.swaps.items():
        same = (other.on, other.whose) == (swap.on, swap.whose)
        if (
            earlier < place
            and same
            and (None in (other.start, swap.start) or other.start == swap.start)
        ):
            line = draft.text.line(("swap", earlier))
            problem = f"this shift is given away already by the swap at line {line}"
            yield draft.text.fault(("swap", place), problem, fix="Keep the one that holds.")
            return


def _length(entries: Sequence[object] | object) -> int:
    return len(entries) if isinstance(entries, list) else 0
