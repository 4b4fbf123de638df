"""The texts of the page of rings: what alarms ask of people, and which limit cries wolf."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.benchmarks import BOTH, OLDER, STANDARD, Figure, Verdict

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class RingsWords:
    """The texts of one language. Names in braces are filled in."""

    nothing: str
    quiet: str
    answer: str
    answer_none_wolf: str
    span: str
    too_short: str
    limits: str
    limits_why: str
    no_limits: str
    every_day: str
    chart: str
    most_day: str
    beside: str
    beside_why: str
    as_if_one: str
    messages_to: str
    figure_head: str
    ours: str
    published: str
    verdict_head: str
    source_head: str
    per_night: str
    no_published: str
    no_night: str
    true_at_once: str
    limit_head: str
    rang_head: str
    lasted_head: str
    answered_head: str
    brief_head: str
    nobody_head: str
    chatter_head: str
    too_few: str
    up_to: str
    aim: str
    up_to_then: str
    half_within: str
    times: str
    figures: Mapping[Figure, str]
    verdicts: Mapping[Verdict, str]
    sources: Mapping[str, str]


ENGLISH = RingsWords(
    nothing="Nothing has been watched yet.",
    quiet="No alarm has rung in {days} days.",
    answer="{rings} rings in {days} days. Look first at: {limit}. {brief} of its {of} rings were "
    "over "
    "by themselves within {minutes} min.",
    answer_none_wolf="{rings} rings in {days} days. None was over by itself within {minutes} min.",
    span="From {start} to {end}.",
    too_short="That is short: the published figures ask for {days} days or more. Look again later.",
    limits="Limits, the one that cries wolf most first",
    limits_why="A limit that often rings and is soon over by itself teaches people not to look. "
    "Give "
    "it a longer delay or a wider deadband in the care plan, or mend what makes it ring. Never "
    "loosen "
    "the limit that once saved plants.",
    no_limits="No limit has rung.",
    every_day="Rings by day",
    chart="Rings on each of {days} days; most on one day: {most}.",
    most_day="most on one day: {most}",
    beside="Beside the published figures",
    beside_why="They are for someone at a desk who does nothing else. You walk, carry one "
    "telephone "
    "and sleep: for you, less is already much.",
    as_if_one="All rings, as if one person were told every one",
    messages_to="Messages to {name}: {count}",
    figure_head="figure",
    ours="here",
    published="published",
    verdict_head="so it is",
    source_head="source",
    per_night="a night, on average",
    no_published="no published figure",
    no_night="no whole night yet",
    true_at_once="True at once: {mean} on average, {most} at most.",
    limit_head="limit",
    rang_head="rang",
    lasted_head="how long",
    answered_head="first answer",
    brief_head="over by itself",
    nobody_head="answered by nobody",
    chatter_head="chattering",
    too_few="too few to say",
    up_to="up to {good}",
    aim="about {good}",
    up_to_then="up to {good}, at most {most}",
    half_within="half within {time}",
    times="{rings} ×, batches: {batches}",
    figures={
        Figure.PER_10_MIN: "in ten minutes, on average",
        Figure.PER_HOUR: "an hour, on average",
        Figure.PER_DAY: "a day, on average",
        Figure.MOST_IN_10_MIN: "most in any ten minutes",
        Figure.OVER_TEN_SHARE: "ten-minute periods with more than ten",
        Figure.FLOOD_SHARE: "time in a flood",
        Figure.CHATTERING: "alarms that chattered",
        Figure.STALE: "true for more than a day, on the worst day",
        Figure.TOP_SHARE: "rings from the ten alarms that rang most",
        Figure.HIGH_SHARE: "rings that mean danger",
        Figure.MEDIUM_SHARE: "rings of medium priority",
        Figure.LOW_SHARE: "rings of low priority",
    },
    verdicts={
        Verdict.GOOD: "well",
        Verdict.BORDERLINE: "borderline",
        Verdict.BEYOND: "too much",
        Verdict.AIM: "compare",
        Verdict.TOO_FEW: "too few to say",
    },
    sources={
        BOTH: "ANSI/ISA-18.2-2016, IEC 62682:2014, EEMUA 191; read in summaries of others",
        STANDARD: "ANSI/ISA-18.2-2016, IEC 62682:2014; read in summaries of others",
        OLDER: "ANSI/ISA-18.2-2009; read in summaries of others. The edition of 2016 is said to "
        "give "
        "hours and ten minutes only",
    },
)

SPANISH = RingsWords(
    nothing="Todavía no se ha vigilado nada.",
    quiet="Ninguna alarma ha sonado en {days} días.",
    answer="{rings} avisos en {days} días. Mire primero: {limit}. {brief} de sus {of} avisos "
    "pasaron "
    "solos en {minutes} min.",
    answer_none_wolf="{rings} avisos en {days} días. Ninguno pasó solo en {minutes} min.",
    span="Desde {start} hasta {end}.",
    too_short="Es poco: las cifras publicadas piden {days} días o más. Vuelva a mirar más "
    "adelante.",
    limits="Límites, primero el que más avisa en vano",
    limits_why="Un límite que suena a menudo y pasa solo enseña a no mirar. Déle en el plan de "
    "cuidado "
    "una espera más larga o una banda muerta más ancha, o arregle lo que lo hace sonar. No afloje "
    "nunca el límite que una vez salvó plantas.",
    no_limits="Ningún límite ha sonado.",
    every_day="Avisos por día",
    chart="Avisos en cada uno de {days} días; el día con más: {most}.",
    most_day="el día con más: {most}",
    beside="Junto a las cifras publicadas",
    beside_why="Son para quien está sentado ante una pantalla y no hace otra cosa. Usted camina, "
    "lleva "
    "un teléfono y duerme: para usted, menos ya es mucho.",
    as_if_one="Todos los avisos, como si una sola persona los recibiera",
    messages_to="Mensajes a {name}: {count}",
    figure_head="cifra",
    ours="aquí",
    published="publicado",
    verdict_head="así está",
    source_head="fuente",
    per_night="por noche, de media",
    no_published="sin cifra publicada",
    no_night="todavía ninguna noche entera",
    true_at_once="Ciertas a la vez: {mean} de media, {most} como mucho.",
    limit_head="límite",
    rang_head="sonó",
    lasted_head="cuánto",
    answered_head="primera respuesta",
    brief_head="pasó solo",
    nobody_head="sin respuesta",
    chatter_head="una y otra vez",
    too_few="muy pocos para decirlo",
    up_to="hasta {good}",
    aim="cerca de {good}",
    up_to_then="hasta {good}, como mucho {most}",
    half_within="la mitad en {time}",
    times="{rings} ×, lotes: {batches}",
    figures={
        Figure.PER_10_MIN: "en diez minutos, de media",
        Figure.PER_HOUR: "por hora, de media",
        Figure.PER_DAY: "por día, de media",
        Figure.MOST_IN_10_MIN: "lo más en diez minutos",
        Figure.OVER_TEN_SHARE: "períodos de diez minutos con más de diez",
        Figure.FLOOD_SHARE: "tiempo con avisos en avalancha",
        Figure.CHATTERING: "alarmas que sonaron una y otra vez",
        Figure.STALE: "ciertas más de un día, el peor día",
        Figure.TOP_SHARE: "avisos de las diez alarmas que más sonaron",
        Figure.HIGH_SHARE: "avisos de peligro",
        Figure.MEDIUM_SHARE: "avisos de prioridad media",
        Figure.LOW_SHARE: "avisos de prioridad baja",
    },
    verdicts={
        Verdict.GOOD: "bien",
        Verdict.BORDERLINE: "al límite",
        Verdict.BEYOND: "demasiado",
        Verdict.AIM: "compare",
        Verdict.TOO_FEW: "muy pocos para decirlo",
    },
    sources={
        BOTH: "ANSI/ISA-18.2-2016, IEC 62682:2014, EEMUA 191; leído en resúmenes de otros",
        STANDARD: "ANSI/ISA-18.2-2016, IEC 62682:2014; leído en resúmenes de otros",
        OLDER: "ANSI/ISA-18.2-2009; leído en resúmenes de otros. De la edición de 2016 se dice que "
        "sólo da horas y diez minutos",
    },
)


def rings_words(language: str) -> RingsWords:
    """Return the texts in a language; English for one that is not known."""
    return SPANISH if language == "es" else ENGLISH
