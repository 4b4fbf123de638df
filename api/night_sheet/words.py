"""Every sentence of a night sheet in both languages, side by side, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.model.event import Standing
from rules.model.work import WorkKind
from rules.night import Worry

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class NightWords:
    """The sentences of one language. Names in braces are filled in by `api.night_sheet.saying`."""

    tonight: str
    the_night: str
    made_at: str
    under_cover: str
    none_under_cover: str
    may_need: str
    cannot_see: str
    not_foretold: str
    no_trouble: str
    not_judged: str
    goes: str
    and_more: str
    was_in_danger: str
    was_blind: str
    was_strained: str
    was_good: str
    first: str
    nothing_first: str
    worry: Mapping[Worry, str]
    standing: Mapping[Standing, str]
    sections: Mapping[str, str]
    stage_day: str
    lowest: str
    warmest: str
    scored: str
    too_few: str
    no_reading: str
    no_better: str
    dry_hours: str
    no_dry_hours: str
    water_left: str
    water_lasts: str
    water_may_end: str
    water_ends: str
    water_unknown: str
    heat: str
    heat_thin: str
    shade_by: str
    inside: str
    do: str
    was: str
    beyond: str
    lowest_was: str
    between: str
    dry_was: str
    blind_min: str
    unjudged_min: str
    nothing_judged: str
    foretold_came: str
    foretold_unseen: str
    errors: str
    nothing_foretold: str
    alarm: str
    alarm_over: str
    alarm_open: str
    answered: str
    unanswered: str
    shelved: str
    held: str
    work: str
    work_kind: Mapping[WorkKind, str]
    due: str
    overdue: str
    doubt_missing: str
    doubt_blind: str
    doubt_failed: str
    doubt_suspect: str
    doubt_calibration: str
    on_duty: str
    nobody: str
    backup: str
    no_backup: str
    by: str
    way_failing: str
    nothing: str
    look_here: str
    others: str


ENGLISH = NightWords(
    tonight="Tonight at {site}",
    the_night="The night at {site}",
    made_at="As it stood at {time}.",
    under_cover="{count} under cover",
    none_under_cover="nothing under cover",
    may_need="may need someone: {batches}",
    cannot_see="can't be seen: {batches}",
    not_foretold="not foretold: {batches}",
    no_trouble="no trouble in sight",
    not_judged="nothing has been judged yet",
    goes="{names} on duty",
    and_more="{count} more",
    was_in_danger="in danger: {batches}",
    was_blind="not seen: {batches}",
    was_strained="strained: {batches}",
    was_good="every batch stayed inside its limits",
    first="Go first to {batches}.",
    nothing_first="Nothing is urgent: make the usual round.",
    worry=MappingProxyType(
        {
            Worry.ALARM: "alarm stands",
            Worry.BLIND: "can't be seen",
            Worry.WATER: "water may run out",
            Worry.DRY: "may run dry",
            Worry.HEAT: "shade tomorrow",
            Worry.NOT_FORETOLD: "not foretold",
        }
    ),
    standing=MappingProxyType(
        {
            Standing.STEADY: "steady",
            Standing.DRIFTING: "drifting",
            Standing.STRAINED: "strained",
            Standing.BLIND: "can't be seen",
            Standing.IN_DANGER: "in danger",
        }
    ),
    sections=MappingProxyType(
        {
            "batches": "Batches",
            "first": "Do first this morning",
            "score": "What was foretold",
            "alarms": "Alarms that stand or are set aside",
            "alarms_night": "Alarms of the night",
            "works": "Work in hand",
            "doubts": "Blind spots and sensors not to be trusted",
            "due": "Checks due",
            "duty": "Who is on duty",
            "care": "Before you go",
        }
    ),
    stage_day="{stage}, day {day}",
    lowest="lowest {felt} about {value} at {time} ({band})",
    warmest="highest {felt} about {value} at {time} ({band})",
    scored="over {nights} nights off by {error}, saying \u201cas now\u201d by {as_now}",
    too_few="not enough nights recorded, {count} more needed",
    no_reading="no reading to start from",
    no_better="no forecast beats \u201cas now\u201d here, so none is given",
    dry_hours="{likely} h below {bound} expected, {most} h at worst",
    no_dry_hours="no hour below {bound} expected",
    water_left="water left about {value} ({band})",
    water_lasts="lasts until {time}, with {value} then ({band})",
    water_may_end="at worst it ends at {time}",
    water_ends="ends about {time}, at worst {soonest}",
    water_unknown="how long the water lasts is not known: not every hour of a day was seen",
    heat="tomorrow up to about {value} at {time} ({band})",
    heat_thin="tomorrow's heat can't be told yet",
    shade_by="shade by {time} to stay at {bound}",
    inside="stays inside {bound}",
    do="Do: {action}",
    was="worst: {standing}",
    beyond="{says} for {lasting}",
    lowest_was="lowest {felt} {value} at {time}",
    between="{felt} {low} at {low_time} to {high} at {high_time}",
    dry_was="{lasting} below {bound}",
    blind_min="not seen for {lasting}",
    unjudged_min="not judged for {lasting}",
    nothing_judged="nothing was judged",
    foretold_came="{felt} at {time}: told {told} ({band}), came {came}",
    foretold_unseen="{felt} at {time}: told {told}, what came was not seen",
    errors="{felt}: forecasts off by {error} in the mean, \u201cas now\u201d by {as_now}, "
    "over {count}",
    nothing_foretold="Nothing was foretold, so there is nothing to score.",
    alarm="{batch}: {says}, since {time}",
    alarm_over="over at {time}",
    alarm_open="still open",
    answered="{name} answered after {lasting}",
    unanswered="nobody has answered",
    shelved="set aside until {time} by {name}: {why}",
    held="tells nobody: {why}",
    work="{kind}, {place}: {name}, until {time}",
    work_kind=MappingProxyType(
        {
            WorkKind.COVER_OPEN: "cover open",
            WorkKind.SPRAYING: "spraying",
            WorkKind.WASHING: "washing",
            WorkKind.CALIBRATING: "calibrating",
        }
    ),
    due="{batch}: {says}",
    overdue="{batch}: {says} (since {day})",
    doubt_missing="{batch}: {felt} is missing ({channel})",
    doubt_blind="{batch}: no sensor tells the {felt}",
    doubt_failed="{batch}: {felt} is not believed: {why} ({channel})",
    doubt_suspect="{batch}: {felt} is doubtful: {why} ({channel})",
    doubt_calibration="{batch}: {felt} comes from a sensor out of calibration ({channel})",
    on_duty="{start} to {end}: {names}",
    nobody="{start} to {end}: no shift; {names} is told",
    backup="Back-up: {names}.",
    no_backup="No back-up.",
    by="by {ways}",
    way_failing="{way}, which failed last time",
    nothing="None.",
    look_here="The whole sheet, kept up to date: {link}",
    others="{count} batches without a cover and without trouble are left out.",
)

SPANISH = NightWords(
    tonight="Esta noche en {site}",
    the_night="La noche en {site}",
    made_at="Tal como estaba a las {time}.",
    under_cover="{count} bajo cubierta",
    none_under_cover="nada bajo cubierta",
    may_need="pueden necesitar a alguien: {batches}",
    cannot_see="no se ven: {batches}",
    not_foretold="sin pronóstico: {batches}",
    no_trouble="sin problemas a la vista",
    not_judged="aún no se ha juzgado nada",
    goes="de turno: {names}",
    and_more="{count} más",
    was_in_danger="en peligro: {batches}",
    was_blind="sin ver: {batches}",
    was_strained="con esfuerzo: {batches}",
    was_good="todos los lotes quedaron dentro de sus límites",
    first="Vaya primero a {batches}.",
    nothing_first="Nada urge: haga la ronda de siempre.",
    worry=MappingProxyType(
        {
            Worry.ALARM: "alarma en pie",
            Worry.BLIND: "no se ve",
            Worry.WATER: "puede faltar agua",
            Worry.DRY: "puede secarse",
            Worry.HEAT: "sombra mañana",
            Worry.NOT_FORETOLD: "sin pronóstico",
        }
    ),
    standing=MappingProxyType(
        {
            Standing.STEADY: "estable",
            Standing.DRIFTING: "empeora",
            Standing.STRAINED: "con esfuerzo",
            Standing.BLIND: "no se ve",
            Standing.IN_DANGER: "en peligro",
        }
    ),
    sections=MappingProxyType(
        {
            "batches": "Lotes",
            "first": "Lo primero esta mañana",
            "score": "Lo que se pronosticó",
            "alarms": "Alarmas en pie o apartadas",
            "alarms_night": "Alarmas de la noche",
            "works": "Trabajo en curso",
            "doubts": "Puntos ciegos y sensores poco fiables",
            "due": "Revisiones pendientes",
            "duty": "Quién está de turno",
            "care": "Antes de ir",
        }
    ),
    stage_day="{stage}, día {day}",
    lowest="{felt} mínima hacia {value} a las {time} ({band})",
    warmest="{felt} máxima hacia {value} a las {time} ({band})",
    scored="en {nights} noches erró en {error}; decir «como ahora», en {as_now}",
    too_few="faltan noches registradas, {count} más",
    no_reading="no hay lectura de la que partir",
    no_better="aquí ningún pronóstico supera a «como ahora», así que no se da",
    dry_hours="se esperan {likely} h por debajo de {bound}, {most} h en el peor caso",
    no_dry_hours="no se espera ninguna hora por debajo de {bound}",
    water_left="queda agua: hacia {value} ({band})",
    water_lasts="dura hasta las {time}, entonces {value} ({band})",
    water_may_end="en el peor caso se acaba a las {time}",
    water_ends="se acaba hacia las {time}, en el peor caso a las {soonest}",
    water_unknown="no se sabe cuánto dura el agua: no se vieron todas las horas de un día",
    heat="mañana hasta unos {value} a las {time} ({band})",
    heat_thin="aún no se puede decir el calor de mañana",
    shade_by="sombra antes de las {time} para quedar en {bound}",
    inside="queda por debajo de {bound}",
    do="Haga: {action}",
    was="lo peor: {standing}",
    beyond="{says} durante {lasting}",
    lowest_was="{felt} mínima {value} a las {time}",
    between="{felt} de {low} a las {low_time} a {high} a las {high_time}",
    dry_was="{lasting} por debajo de {bound}",
    blind_min="sin ver durante {lasting}",
    unjudged_min="sin juzgar durante {lasting}",
    nothing_judged="no se juzgó nada",
    foretold_came="{felt} a las {time}: se dijo {told} ({band}), fue {came}",
    foretold_unseen="{felt} a las {time}: se dijo {told}, no se vio lo que fue",
    errors="{felt}: los pronósticos erraron en {error} de media; «como ahora», en {as_now}, "
    "en {count}",
    nothing_foretold="No se pronosticó nada: no hay nada que puntuar.",
    alarm="{batch}: {says}, desde las {time}",
    alarm_over="terminó a las {time}",
    alarm_open="sigue abierta",
    answered="{name} respondió a los {lasting}",
    unanswered="nadie ha respondido",
    shelved="apartada hasta las {time} por {name}: {why}",
    held="no avisa a nadie: {why}",
    work="{kind}, {place}: {name}, hasta las {time}",
    work_kind=MappingProxyType(
        {
            WorkKind.COVER_OPEN: "cubierta abierta",
            WorkKind.SPRAYING: "rociado",
            WorkKind.WASHING: "lavado",
            WorkKind.CALIBRATING: "calibración",
        }
    ),
    due="{batch}: {says}",
    overdue="{batch}: {says} (desde el {day})",
    doubt_missing="{batch}: falta {felt} ({channel})",
    doubt_blind="{batch}: ningún sensor dice {felt}",
    doubt_failed="{batch}: no se cree {felt}: {why} ({channel})",
    doubt_suspect="{batch}: {felt} es dudosa: {why} ({channel})",
    doubt_calibration="{batch}: {felt} viene de un sensor con la calibración vencida ({channel})",
    on_duty="{start} a {end}: {names}",
    nobody="{start} a {end}: sin turno; se avisa a {names}",
    backup="Suplente: {names}.",
    no_backup="Sin suplente.",
    by="por {ways}",
    way_failing="{way}, que falló la última vez",
    nothing="Nada.",
    look_here="La hoja entera, al día: {link}",
    others="Se omiten {count} lotes sin cubierta y sin problemas.",
)


def night_words(language: str) -> NightWords:
    """Return the sentences of a language: Spanish for "es", else English."""
    return SPANISH if language == "es" else ENGLISH
