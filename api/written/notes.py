"""What is allowed, yet worth a second look: batches nobody can see, hours with nobody on duty."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from rules.model.batch import ENDED
from rules.model.people import WEEK
from rules.speaking import spans_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from api.written.toml_text import TomlText
    from rules.model.batch import Batch
    from rules.model.fault import Fault
    from rules.model.people import Shift
    from rules.model.plan import CarePlan
    from rules.model.site import Site

LARGEST_MISMATCH = 0.2
"""Share by which stock and scion may differ in thickness. Common practice, no source."""

DAY_MIN = 1440
WEEK_MIN = 7 * DAY_MIN
LAST = datetime.max.replace(tzinfo=UTC)


def notes_on(site: Site, plans: Mapping[str, CarePlan], text: TomlText) -> Iterator[Fault]:
    """Yield what a person should look at once more in a site file that has no faults."""
    for place, batch in enumerate(site.batch):
        if batch.stage[-1].stage not in ENDED:
            yield from _unseen(site, place, plans=plans, text=text)
        yield from _mismatch(batch, place, text=text)
    for place, sensor in enumerate(site.sensor):
        if not sensor.position:
            problem = "has no position, so its readings are kept but speak for no batch"
            fix = "Add [[sensor.position]] once it stands somewhere."
            yield text.fault(("sensor", place), problem, fix=fix)
    yield from _hours_without_anyone(site, text)


def _unseen(
    site: Site, place: int, *, plans: Mapping[str, CarePlan], text: TomlText
) -> Iterator[Fault]:
    """Judge by the last stage and the last positions in the file: a file knows no now."""
    batch = site.batch[place]
    plan = plans.get(batch.plan)
    if plan is None:
        return
    newest = batch.stage[-1].stage
    needs = plan.stage.get(newest)
    if needs is None:
        problem = f'plan "{plan.id}" says nothing for stage {newest}, so nothing is watched now'
        yield text.fault(("batch", place, "stage"), problem, fix=f"Add [stage.{newest}] to it.")
        return
    seen = spans_of(site, batch, in_force_from=[plan.in_force_from])[-1].speakers
    missing = [felt for felt in needs.vital if felt not in seen]
    if missing:
        problem = f"no sensor speaks for its {', '.join(missing)}, so this batch is blind"
        fix = f"Give a sensor a position with {_needed_place(batch)}."
        yield text.fault(("batch", place), problem, fix=fix)


def _needed_place(batch: Batch) -> str:
    if batch.covered_at(LAST):
        return f'cover_of = "{batch.code}"'
    return f'bench = "{batch.bench}"'


def _mismatch(batch: Batch, place: int, *, text: TomlText) -> Iterator[Fault]:
    stock, scion = batch.stock_diameter_mm, batch.scion_diameter_mm
    if stock is None or scion is None:
        return
    share = abs(stock - scion) / max(stock, scion)
    if share > LARGEST_MISMATCH:
        problem = (
            f"stock and scion differ by {share:.0%} in thickness; more than "
            f"{LARGEST_MISMATCH:.0%} often leaves one side of the union without contact"
        )
        fix = "Correct the figure, or see that the cambium meets on one side."
        yield text.fault(("batch", place, "scion_diameter_mm"), problem, fix=fix)


def _hours_without_anyone(site: Site, text: TomlText) -> Iterator[Fault]:
    if not site.shift:
        problem = f"there is no shift, so every message goes to the lead, {site.lead}"
        yield text.fault(("lead",), problem, fix="Add [[shift]] for each person's hours.")
        return
    gaps = gaps_in_week(site.shift)
    if gaps:
        problem = f"nobody is on duty {'; '.join(_spans(gaps))}; the lead is told instead"
        yield text.fault(("shift", 0), problem, fix="Add a shift that covers it.")


def _spans(gaps: Sequence[tuple[int, int]]) -> Iterator[str]:
    """Yield spans as people say them, the same hours of several days together."""
    days: dict[tuple[int, int], list[str]] = {}
    for start, end in gaps:
        days.setdefault((start % DAY_MIN, end - start), []).append(WEEK[start // DAY_MIN])
    for (start, length), on in days.items():
        named = "every day" if len(on) == len(WEEK) else ", ".join(on)
        over = (
            f" for {length / 60:.3g} h" if length >= DAY_MIN else f" to {_moment(start + length)}"
        )
        yield f"{named} from {_moment(start)}{over}"


def gaps_in_week(shifts: Sequence[Shift]) -> list[tuple[int, int]]:
    """Return the spans with nobody on duty, in minutes from Monday 00:00 local, ends open.

    A span that runs over Sunday midnight is one span, whose end is larger than a week.
    """
    on_duty = [False] * WEEK_MIN
    for shift in shifts:
        start = shift.start.hour * 60 + shift.start.minute
        end = shift.end.hour * 60 + shift.end.minute
        length = end - start if end > start else end + DAY_MIN - start
        for day in shift.days:
            first = WEEK.index(day) * DAY_MIN + start
            for minute in range(first, first + length):
                on_duty[minute % WEEK_MIN] = True
    if not any(on_duty):
        return [(0, WEEK_MIN)]
    gaps: list[tuple[int, int]] = []
    for start in range(WEEK_MIN):
        if not on_duty[start] and on_duty[start - 1]:
            end = start
            while not on_duty[end % WEEK_MIN]:
                end += 1
            gaps.append((start, end))
    return gaps


def _moment(minute: int) -> str:
    return f"{minute % DAY_MIN // 60:02d}:{minute % 60:02d}"
