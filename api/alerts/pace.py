"""How fast it gets worse, in both languages: for the body of a message and the page of an alarm.

These are the figures of the minute in which the alarm was raised; what lies ahead is told as a time
on the site's wall, so that a message written later is still right.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from api.alerts.figures import bound_shown, clock_time, distance_shown
from api.alerts.phrases import phrases
from api.measures import in_figures, measure_in
from api.records.tables import instant
from rules.model.dose import DoseLimit
from rules.model.quantities import Felt
from rules.model.reading import MINUTE_MS
from rules.watchlist import can_make_drift
from rules.worsening import CHANGE_MIN

if TYPE_CHECKING:
    from datetime import datetime

    from api.alerts.told import Subject
    from api.measures import Measure
    from api.records.particulars import Particulars
    from rules.model.place import Place

_LONG_H = 72.0
_TO_THE_TENTH_H = 3.0
_CLOCK_H = 18.0


@dataclass(frozen=True, slots=True)
class _Words:
    rose: str
    fell: str
    steady: str
    not_known: str
    graver: str
    water: str
    water_until: str
    water_wide: str
    water_long: str
    water_gone: str


_ENGLISH = _Words(
    rose="How fast: it rose by {by} in {minutes} minutes.",
    fell="How fast: it fell by {by} in {minutes} minutes.",
    steady="How fast: it is as it was {minutes} minutes before.",
    not_known="How fast: not known, as it was not seen for long enough.",
    graver="If it goes on like that, it passes {bound} about {time}.",
    water="At that minute's pace the scions' water lasts about {hours} h, {low} to {high}. An "
    "estimate: look at the leaves and the wood.",
    water_until="At that minute's pace the scions' water lasts about {hours} h, {low} to {high}; "
    "at the earliest until {time}. An estimate: look at the leaves and the wood.",
    water_wide="At that minute's pace the scions' water lasts more than {most} h, at worst {low} "
    "h, until {time}. An estimate: look at the leaves and the wood.",
    water_long="At that minute's pace the scions' water lasts more than {hours} h. An estimate: "
    "look at the leaves and the wood.",
    water_gone="The scions' water is used up by now, by the figures of the care plan. An estimate: "
    "look at the leaves and the wood.",
)

_SPANISH = _Words(
    rose="A qué ritmo: subió {by} en {minutes} minutos.",
    fell="A qué ritmo: bajó {by} en {minutes} minutos.",
    steady="A qué ritmo: sigue como {minutes} minutos antes.",
    not_known="A qué ritmo: no se sabe, pues se ha visto muy poco tiempo.",
    graver="Si sigue así, pasa de {bound} hacia las {time}.",
    water="Al ritmo de ese minuto el agua de las púas dura unas {hours} h, de {low} a {high}. Es "
    "una estimación: mire las hojas y la madera.",
    water_until="Al ritmo de ese minuto el agua de las púas dura unas {hours} h, de {low} a "
    "{high}; lo más pronto, hasta las {time}. Es una estimación: mire las hojas y la madera.",
    water_wide="Al ritmo de ese minuto el agua de las púas dura más de {most} h; en el peor caso "
    "{low} h, hasta las {time}. Es una estimación: mire las hojas y la madera.",
    water_long="Al ritmo de ese minuto el agua de las púas dura más de {hours} h. Es una "
    "estimación: mire las hojas y la madera.",
    water_gone="Según las cifras del plan, el agua de las púas ya se gastó. Es una estimación: "
    "mire las hojas y la madera.",
)


def pace_of(
    subject: Subject, place: Place, *, now: datetime, language: str, fahrenheit: bool
) -> list[str]:
    """Return how fast it got worse when the alarm was raised, and how long there was.

    Nothing of an alarm that is over, and nothing of one for which no pace is told: light, which
    leaps with every cloud, sums, and what nobody could see.
    """
    asked, alarm = subject.asked, subject.alarm
    if asked is None or alarm.ended_at is not None:
        return []
    words = _SPANISH if language == "es" else _ENGLISH
    known, said = alarm.particulars, []
    if not isinstance(asked, DoseLimit) and can_make_drift(asked):
        measure = measure_in(asked.quantity, fahrenheit=fahrenheit)
        said.append(_change(known, measure, words, language))
        if known.graver is not None and known.graver_minute is not None:
            shown = bound_shown(measure, known.graver, phrases(language))
            at = instant(known.graver_minute * MINUTE_MS)
            time = clock_time(at, place, now=now, words=phrases(language))
            said.append(words.graver.format(bound=f"{shown} {measure.unit}", time=time))
    if isinstance(asked, DoseLimit) or asked.quantity is not Felt.HOURS_TO_CRITICAL:
        said += _water(subject, place, words, now=now, language=language)
    return said


def _change(known: Particulars, measure: Measure, words: _Words, language: str) -> str:
    if known.change is None:
        return words.not_known
    spoken = phrases(language)
    by = distance_shown(measure, abs(known.change), spoken)
    if by == distance_shown(measure, 0.0, spoken):
        return words.steady.format(minutes=CHANGE_MIN)
    told = words.rose if known.change > 0 else words.fell
    return told.format(by=by, minutes=CHANGE_MIN)


def _water(
    subject: Subject, place: Place, words: _Words, *, now: datetime, language: str
) -> list[str]:
    known = subject.alarm.particulars
    if known.hours is None or known.hours_low is None or known.hours_high is None:
        return []
    if known.hours <= 0.0:
        return [words.water_gone]
    if known.hours_low >= _LONG_H:
        return [words.water_long.format(hours=round(_LONG_H))]
    low, hours, high = (
        _hours(one, language) for one in (known.hours_low, known.hours, known.hours_high)
    )
    filled = {"hours": hours, "low": low, "high": high}
    at = subject.alarm.opened_at + timedelta(hours=known.hours_low)
    time = clock_time(at, place, now=now, words=phrases(language))
    if known.hours > _LONG_H:
        return [words.water_wide.format(most=round(_LONG_H), low=low, time=time)]
    if known.hours_low > _CLOCK_H:
        return [words.water.format(**filled)]
    return [words.water_until.format(**filled, time=time)]


def _hours(hours: float, language: str) -> str:
    """Return hours without a unit: to the tenth where they are few, with a + beyond the far end."""
    if hours > _LONG_H:
        return f"{round(_LONG_H)}+"
    places = 1 if hours < _TO_THE_TENTH_H else 0
    return in_figures(hours, places, phrases(language).decimal_mark)
