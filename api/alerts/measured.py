"""What was measured, added up or reckoned, in the words of a message: in its line, in its body."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.alerts.figures import (
    bound_shown,
    clock_time,
    date_and_time,
    date_shown,
    distance_shown,
    lasting,
    measure_of,
    measure_of_sum,
    plainly,
    value_shown,
)
from api.records.tables import instant
from rules.model.dose import DoseLimit, Per
from rules.model.plan import Side
from rules.model.quantities import Felt
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from datetime import datetime

    from api.alerts.phrases import Phrases
    from api.alerts.told import Subject
    from api.measures import Measure
    from rules.model.people import Person
    from rules.model.place import Place
    from rules.model.plan import Limit

_LASTING = frozenset({Felt.RESERVE, Felt.HOURS_TO_CRITICAL})


def says_of(subject: Subject, language: str, words: Phrases) -> str:
    """Return what is wrong in a few words."""
    if subject.blind_to is not None:
        return words.cannot_see.format(felt=words.felt[subject.blind_to])
    if subject.asked is None:
        return words.unknown_limit.format(condition=subject.alarm.condition)
    return subject.asked.says.in_language(language)


def first_of(subject: Subject, language: str, words: Phrases) -> str:
    """Return what to do first."""
    if subject.asked is None:
        return words.look_at_batch if subject.blind_to is None else words.blind_first
    return subject.asked.action.in_language(language)


def grades_of(subject: Subject, person: Person, words: Phrases) -> tuple[str, ...]:
    """Return what is wrong and how badly, from the fullest words to the barest."""
    says = says_of(subject, person.language, words)
    asked, value = subject.asked, subject.alarm.value
    if asked is None or value is None:
        return (says,)
    measure = _measure(asked, person)
    shown = f"{says}, {value_shown(measure, value, asked.bound, words)} {measure.unit}"
    known = subject.alarm.particulars
    mark = f", {words.reckoned}" if known.reckoned and known.low is None else ""
    band = _band(subject, measure, words)
    wide = f"{shown}{f', {band}' if band else mark}"
    should = _should(asked, bound_shown(measure, asked.bound, words), words)
    return tuple(dict.fromkeys((f"{wide} ({should})", wide, f"{shown}{mark}")))


def when_of(subject: Subject, place: Place, *, now: datetime, words: Phrases) -> str:
    """Return since when, or from when to when, or for when, in few words."""
    alarm = subject.alarm
    start = clock_time(alarm.since, place, now=now, words=words)
    known = alarm.particulars
    if isinstance(subject.asked, DoseLimit):
        when = _when_summed(subject.asked, alarm.since, place, now=now, words=words)
    elif known.at_minute is not None and alarm.ended_at is None:
        at = clock_time(instant(known.at_minute * MINUTE_MS), place, now=now, words=words)
        return words.expected_at.format(time=at)
    elif alarm.ended_at is None:
        return words.since.format(time=start)
    else:
        end = clock_time(alarm.ended_at, place, now=now, words=words)
        when = words.from_to.format(start=start, end=end)
    return when if alarm.ended_at is None else f"{when}, {words.over_now}"


def shade_of(subject: Subject, place: Place, *, now: datetime, words: Phrases) -> str:
    """Return by when shade must be up; "" where that is not told, or over."""
    by = subject.alarm.particulars.shade_by_minute
    if by is None or subject.alarm.ended_at is not None:
        return ""
    at = instant(by * MINUTE_MS)
    if at <= now:
        return words.shade_now
    return words.shade_by.format(time=clock_time(at, place, now=now, words=words))


def story_of(
    subject: Subject, person: Person, place: Place, *, now: datetime, words: Phrases
) -> list[str]:
    """Return what was measured, or expected, or added up, and how sure that is."""
    asked, value = subject.asked, subject.alarm.value
    if asked is None or value is None:
        return []
    if isinstance(asked, DoseLimit):
        return _summed(subject, asked, value, person, place, words)
    measure = measure_of(asked.quantity, person)
    told = [_measured(words.felt[asked.quantity], asked, measure, value, words)]
    known = subject.alarm.particulars
    if known.reckoned and asked.quantity in {Felt.LEAF_TEMPERATURE, Felt.LEAF_DEFICIT}:
        told.append(words.reckoned_leaf)
    band = _band(subject, measure, words)
    if band and asked.quantity in _LASTING:
        told.append(words.estimate.format(band=f"{band} {measure.unit}"))
    if band and known.at_minute is not None:
        at = date_and_time(instant(known.at_minute * MINUTE_MS), place, words)
        told.append(words.expected.format(when=at, band=f"{band} {measure.unit}"))
        told += _shading(subject, asked.bound, measure, place, now=now, words=words)
    return told


def _measure(asked: Limit | DoseLimit, person: Person) -> Measure:
    if isinstance(asked, DoseLimit):
        return measure_of_sum(asked.kind, person)
    return measure_of(asked.quantity, person)


def _should(asked: Limit | DoseLimit, bound: str, words: Phrases) -> str:
    should = words.at_least if asked.side is Side.LOW else words.at_most
    return should.format(bound=bound)


def _band(subject: Subject, measure: Measure, words: Phrases) -> str:
    known = subject.alarm.particulars
    if known.low is None or known.high is None:
        return ""
    return words.band.format(
        low=plainly(measure, known.low, words), high=plainly(measure, known.high, words)
    )


def _measured(
    name: str, asked: Limit | DoseLimit, measure: Measure, value: float, words: Phrases
) -> str:
    beyond = words.too_low if asked.side is Side.LOW else words.too_high
    return words.what_was.format(
        says=asked.says.in_language(words.code),
        felt=f"{name[0].upper()}{name[1:]}",
        value=f"{value_shown(measure, value, asked.bound, words)} {measure.unit}",
        bound=_should(asked, f"{bound_shown(measure, asked.bound, words)} {measure.unit}", words),
        beyond=beyond.format(by=distance_shown(measure, abs(value - asked.bound), words)),
    )


def _summed(
    subject: Subject,
    dose: DoseLimit,
    value: float,
    person: Person,
    place: Place,
    words: Phrases,
) -> list[str]:
    known = subject.alarm.particulars
    told = [_measured(_sum_name(dose, person, words), dose, _measure(dose, person), value, words)]
    since = date_and_time(subject.alarm.since, place, words)
    over = words.summed_over_day if dose.per is Per.LOCAL_DAY else words.summed_over_stage
    told.append(over.format(when=since))
    if known.begun_late:
        told.append(words.sum_begun_late)
    if known.reckoned:
        told.append(words.reckoned_leaf)
    if known.unseen_min:
        told.append(words.sum_unseen.format(lasting=lasting(known.unseen_min, words)))
    return told


def _sum_name(dose: DoseLimit, person: Person, words: Phrases) -> str:
    base = ""
    if dose.threshold is not None:
        measure = measure_of(dose.quantity, person)
        base = f"{bound_shown(measure, dose.threshold, words)} {measure.unit}"
    beyond = words.below if dose.beyond is Side.LOW else words.above
    return words.summed[dose.kind].format(
        felt=words.felt[dose.quantity], beyond=beyond.format(base=base)
    )


def _when_summed(
    dose: DoseLimit, since: datetime, place: Place, *, now: datetime, words: Phrases
) -> str:
    if dose.per is Per.STAGE:
        return words.since.format(time=date_shown(since, place, words))
    start = clock_time(since, place, now=now, words=words)
    same_day = date_shown(since, place, words) == date_shown(now, place, words)
    if same_day:
        return words.since_midnight if start == "00:00" else words.since.format(time=start)
    return words.on_date.format(date=date_shown(since, place, words))


def _shading(
    subject: Subject,
    bound: float,
    measure: Measure,
    place: Place,
    *,
    now: datetime,
    words: Phrases,
) -> list[str]:
    known = subject.alarm.particulars
    kept = f"{bound_shown(measure, bound, words)} {measure.unit}"
    told = [shade_of(subject, place, now=now, words=words)]
    if known.no_shade_helps:
        told.append(words.no_shade_helps.format(bound=kept))
    elif known.stop_share:
        told.append(words.stop_light.format(bound=kept, share=f"{known.stop_share * 100:.0f}"))
    return [line for line in told if line]
