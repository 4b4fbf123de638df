"""Puts a group of alarms into one message: many of one house, or one that rings again and again.

The cause is a guess from what the alarms have in common, and always a question. Each alarm of the
group stands in the body with its own line and link.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from api.alerts.figures import clock_time
from api.alerts.message import LINE_LENGTH, MessageText
from api.alerts.phrases import phrases
from api.alerts.telling_phrases import telling_phrases
from api.alerts.told import subject_of
from api.records.groups import GroupKind, alarm_group, members_of, times_rung
from api.records.tables import as_ms
from rules.conditions import condition_in, houses_of
from rules.floods import Common, shared_sensor
from rules.model.alarm import HELD, Priority
from rules.model.reading import minute_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlalchemy import Connection

    from api.alerts.message import Addressed, Writer
    from api.records.alarms import AlarmRecord
    from api.records.groups import AlarmGroup
    from rules.evaluator import Watchlist


@dataclass(frozen=True, slots=True)
class _Words:
    """The sentences about groups in one language."""

    common: Mapping[Common, str]
    guess: Mapping[Common, str]
    one_sensor: str
    several_sensors: str
    many: str
    one_batch: str
    first: str
    all_over: str
    listed: str
    guessed: str
    rang: str
    still: str
    over: str
    rang_body: str
    minutes: str


_ENGLISH = _Words(
    common=MappingProxyType(
        {
            Common.DRY: "too dry",
            Common.DAMP: "too damp",
            Common.HOT: "too hot",
            Common.COLD: "too cold",
            Common.BRIGHT: "too much light",
            Common.DARK: "too little light",
            Common.WINDY: "too windy",
            Common.POTS_DRY: "pots too dry",
            Common.POTS_WET: "pots too wet",
            Common.UNSEEN: "cannot be seen",
        }
    ),
    guess=MappingProxyType(
        {
            Common.DRY: "a door open, a fan on, misting stopped?",
            Common.DAMP: "misting stuck on, fan stopped?",
            Common.HOT: "shade open, fan stopped?",
            Common.COLD: "a door open, heating off?",
            Common.BRIGHT: "shade cloth open?",
            Common.DARK: "shade cloth left closed?",
            Common.WINDY: "a door or a wall open, fan on?",
            Common.POTS_DRY: "irrigation stopped?",
            Common.POTS_WET: "irrigation stuck on?",
            Common.UNSEEN: "",
        }
    ),
    one_sensor="the sensor {sensor}?",
    several_sensors="the hub, the network, the collector?",
    many="{house}: {batches} batches {common}. One cause: {guess}",
    one_batch="{house}: {count} alarms of {batch}, {common}. One cause: {guess}",
    first="Look first at {batch}.",
    all_over="{house}: {count} alarms, {common}, are all over since {time}.",
    listed="All of them, the most urgent first:",
    guessed="The cause is a guess from what they have in common. Look at the plants all the same.",
    rang="{batch}, {bench}: {says} rang {times} times in {minutes}; {now}.",
    still="it still is so",
    over="over since {time}",
    rang_body="What rings again and again is told in one message until it is quiet for an hour. "
    "Each time is kept. Look at the plants first, then ask whether the limit stands too close.",
    minutes="{count} minutes",
)

_SPANISH = _Words(
    common=MappingProxyType(
        {
            Common.DRY: "con aire seco",
            Common.DAMP: "con aire muy húmedo",
            Common.HOT: "con calor",
            Common.COLD: "con frío",
            Common.BRIGHT: "con demasiada luz",
            Common.DARK: "con poca luz",
            Common.WINDY: "con mucho viento",
            Common.POTS_DRY: "con macetas secas",
            Common.POTS_WET: "con macetas encharcadas",
            Common.UNSEEN: "que no se ven",
        }
    ),
    guess=MappingProxyType(
        {
            Common.DRY: "¿puerta abierta, ventilador, nebulización parada?",
            Common.DAMP: "¿nebulización sin parar, ventilador parado?",
            Common.HOT: "¿sombra abierta, ventilador parado?",
            Common.COLD: "¿puerta abierta, calefacción apagada?",
            Common.BRIGHT: "¿malla de sombra abierta?",
            Common.DARK: "¿malla de sombra cerrada?",
            Common.WINDY: "¿puerta o pared abierta, ventilador?",
            Common.POTS_DRY: "¿riego parado?",
            Common.POTS_WET: "¿riego sin parar?",
            Common.UNSEEN: "",
        }
    ),
    one_sensor="¿la sonda {sensor}?",
    several_sensors="¿la antena, la red, el colector?",
    many="{house}: {batches} lotes {common}. Una causa: {guess}",
    one_batch="{house}: {count} alarmas de {batch}, {common}. Una causa: {guess}",
    first="Mire primero {batch}.",
    all_over="{house}: {count} alarmas, {common}, pasaron todas a las {time}.",
    listed="Todas, primero las más urgentes:",
    guessed="La causa se supone por lo que tienen en común. De todos modos mire las plantas.",
    rang="{batch}, {bench}: {says} sonó {times} veces en {minutes}; {now}.",
    still="sigue así",
    over="pasó a las {time}",
    rang_body="Lo que suena una y otra vez se cuenta en un solo mensaje hasta que calle una hora. "
    "Cada vez queda anotada. Primero mire las plantas; después, si el límite está muy cerca.",
    minutes="{count} minutos",
)


def group_words(
    db: Connection, group_id: int, to: Addressed, *, writer: Writer, watched: Watchlist
) -> MessageText | None:
    """Write the message about a group as it stands now; None if it has no alarm."""
    group = alarm_group(db, group_id)
    members = [one for one in members_of(db, group_id) if one.state not in HELD]
    if not members:
        return None
    if group.kind is GroupKind.RINGS:
        return _rang(group, members, times_rung(db, group_id), to, writer)
    return _many(group, members, to, writer, watched)


def _rang(
    group: AlarmGroup,
    members: Sequence[AlarmRecord],
    times: int,
    to: Addressed,
    writer: Writer,
) -> MessageText:
    words, place = _words(to), writer.site.site
    last = members[-1]
    subject = subject_of(writer.site, writer.plans, last)
    spoken = phrases(to.person.language)
    says = group.common
    if subject.blind_to is not None:
        says = spoken.cannot_see.format(felt=spoken.felt[subject.blind_to])
    elif subject.asked is not None:
        says = subject.asked.says.in_language(to.person.language)
    bench_id = subject.batch.bench if subject.batch is not None else ""
    bench = next((one.title for one in writer.site.bench if one.id == bench_id), bench_id)
    now = words.still
    if last.ended_at is not None:
        now = words.over.format(time=clock_time(last.ended_at, place, now=to.now, words=spoken))
    minutes = max(1, round((group.last - group.began).total_seconds() / 60))
    line = words.rang.format(
        batch=group.place,
        bench=bench,
        says=says,
        times=times,
        minutes=words.minutes.format(count=minutes),
        now=now,
    )
    unheard, before = _unheard(to)
    body = [line, *before, words.rang_body, "", *_entries(members, to, writer)]
    return MessageText(_that_fits(f"{line}{unheard}", line), "\n".join(body))


def _many(
    group: AlarmGroup,
    members: Sequence[AlarmRecord],
    to: Addressed,
    writer: Writer,
    watched: Watchlist,
) -> MessageText:
    words = _words(to)
    house = next((one.title for one in writer.site.house if one.id == group.place), group.place)
    common = Common(group.common)
    batches = sorted({one.batch for one in members})
    said = words.common[common]
    if all(one.ended_at is not None for one in members):
        ended = max(one.ended_at for one in members if one.ended_at is not None)
        time = clock_time(ended, writer.site.site, now=to.now, words=phrases(to.person.language))
        line = words.all_over.format(house=house, count=len(members), common=said, time=time)
        body = [line, "", words.listed, *_entries(members, to, writer)]
        return MessageText(_that_fits(line), "\n".join(body))
    guess = words.guess[common] or _silent(members, words, writer, watched)
    if len(batches) == 1:
        line = words.one_batch.format(
            house=house, count=len(members), batch=batches[0], common=said, guess=guess
        )
    else:
        line = words.many.format(house=house, batches=len(batches), common=said, guess=guess)
    worst = _worst_first(members)[0]
    first = words.first.format(batch=worst.batch)
    unheard, before = _unheard(to)
    listed = [*to.answer_all, words.listed, *_entries(members, to, writer)]
    body = [f"{line} {first}", *before, words.guessed, "", *listed]
    lines = (f"{line}{unheard} {first}", f"{line}{unheard}", f"{line} {first}", line)
    return MessageText(_that_fits(*lines), "\n".join(body))


def _unheard(to: Addressed) -> tuple[str, list[str]]:
    """Return what a later step says in the line, and in the body: who was told before."""
    if not to.before:
        return "", []
    again = telling_phrases(to.person.language)
    return f" {again.nobody_has_it}", [again.told_before.format(names=", ".join(to.before))]


def _silent(
    members: Sequence[AlarmRecord], words: _Words, writer: Writer, watched: Watchlist
) -> str:
    houses = houses_of(writer.site)
    conditions = [
        condition
        for one in members
        if (
            condition := condition_in(
                watched,
                houses,
                batch=one.batch,
                name=one.condition,
                minute=minute_of(as_ms(one.opened_at)),
            )
        )
        is not None
    ]
    sensor = shared_sensor(conditions)
    if sensor is None:
        return words.several_sensors
    title = next((one.title for one in writer.site.sensor if one.id == sensor), sensor)
    return words.one_sensor.format(sensor=title)


def _entries(members: Sequence[AlarmRecord], to: Addressed, writer: Writer) -> list[str]:
    """Return each alarm of the group in its own words, with its link; the most urgent first."""
    alone = replace(to, before=())
    return [
        "\n  ".join(
            (
                f"- {writer.opened(one, alone).line}",
                *to.answer.get(one.id, ()),
                f"{writer.base_url}/alarms/{one.id}",
            )
        )
        for one in _worst_first(members)
    ]


def _worst_first(members: Sequence[AlarmRecord]) -> list[AlarmRecord]:
    """Return what goes on first, then by priority, then by how soon the water is used up."""
    urgency = list(Priority)
    return sorted(
        members,
        key=lambda one: (
            one.ended_at is not None,
            urgency.index(one.priority),
            math.inf if one.particulars.hours is None else one.particulars.hours,
        ),
    )


def _words(to: Addressed) -> _Words:
    return _SPANISH if to.person.language == "es" else _ENGLISH


def _that_fits(*lines: str) -> str:
    """Return the first line that fits; if none does, the last one, ended early between words."""
    for line in lines:
        if len(line) <= LINE_LENGTH:
            return line
    return f"{lines[-1][: LINE_LENGTH - 1].rsplit(' ', 1)[0]}…"
