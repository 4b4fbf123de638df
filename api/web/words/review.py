"""The texts of a review: why a batch may have failed, in two languages.

Nobody is named as a cause. Sentences are filled with figures by `api.web.review_says`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.evidence import Fact
from rules.exposures import Exposure
from rules.review import Cause, Untold, Weight
from rules.take import Outcome

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class ReviewWords:
    """The texts of one language. Names in braces are filled in."""

    link: str
    print: str
    title: Mapping[Outcome, str]
    answer: Mapping[Weight, str]
    nothing: str
    taken: str
    not_counted: str
    by_stage: str
    sign: str
    no_sign: str
    span: str
    standing_still: str
    causes: Mapping[Cause, str]
    weights: Mapping[Weight, str]
    candidates: str
    candidates_why: str
    speaks_for: str
    speaks_against: str
    others: str
    facts: Mapping[Fact, str]
    siblings_all_less: str
    untold_title: str
    untold: Mapping[Untold, str]
    exposures_title: str
    exposures_why: str
    exposure_head: tuple[str, str, str, str]
    exposures: Mapping[Exposure, str]
    rank: str
    rank_most: str
    rank_least: str
    rank_none: str
    few: str
    siblings: str
    no_siblings: str
    timeline: str
    timeline_why: str
    night: str
    day: str
    when: str
    happened: str
    alarm: str
    alarm_answered: str
    alarm_unanswered: str
    nothing_happened: str
    noted: str
    method: str
    no_batch: str


ENGLISH = ReviewWords(
    link="Why did it go as it went? The review",
    print="On paper (PDF)",
    title={
        Outcome.FAILED: "Why {code} may have failed",
        Outcome.TAKEN: "{code} took: what it went through",
        Outcome.UNKNOWN: "{code}: what it has been through so far",
    },
    answer={
        Weight.MUCH: "Much speaks for one thing: {cause}.",
        Weight.SOME: "Something speaks for this: {cause}. It is not certain.",
        Weight.LITTLE: "The record does not say. The nearest to an answer: {cause}.",
    },
    nothing="Nothing was recorded of {code}, so nothing can be said of why.",
    taken="{taken} of {of} plants took, counted on {day}.",
    not_counted="Nobody has counted how many took.",
    by_stage="It was declared failed; nobody counted. All {of} plants are taken as lost.",
    sign="The first sign was written down on {when}. What came later counts for nothing here.",
    no_sign="No sign of failing was written down. The whole record is looked at.",
    span="From {start} to {end}, seen for {share} % of the time.",
    standing_still="It still stands: this can change.",
    causes={
        Cause.DRIED_AT_NIGHT: "the air dried it at night",
        Cause.SLOW_DRYING: "it dried slowly, over many days",
        Cause.COOKED: "the air got too hot",
        Cause.SUN_SCALD: "direct sun stood on it",
        Cause.COLD: "it was too cold",
        Cause.MOULD: "mould",
        Cause.AIR_FINE: "the air was fine as far as seen; look at the wood, the cut and the roots",
        Cause.COULD_NOT_KNOW: "the sensors could not know, or did not tell the truth",
    },
    weights={
        Weight.MUCH: "much speaks for it",
        Weight.SOME: "something speaks for it",
        Weight.LITTLE: "little speaks for it",
    },
    candidates="What it may have been",
    candidates_why="In order, by a fixed rule. That two things came together does not show that "
    "one brought the other.",
    speaks_for="For",
    speaks_against="Against",
    others="Little speaks for these",
    facts={
        Fact.NIGHT_SUM: "In three nights in a row the air drew {total} kPa·h above what the plan "
        "allows, worst {at}. {enough} is called enough to end half of them.",
        Fact.SLOW_SUM: "In ten days the air drew {total} kPa·h above what the plan allows, beside "
        "the worst nights; at its driest {at}. {enough} is called enough.",
        Fact.HEAT_SUM: "It got {total} of heat beyond danger, worst {at}. {enough} is called "
        "enough.",
        Fact.SUN_MINUTES: "Direct sun stood on it for {minutes} minutes on the worst day, last "
        "{at}. With the heat it brought that counts as {total}; {enough} is called enough.",
        Fact.SUN_HEAT: "The sun brought {total} of heat beyond danger with it.",
        Fact.COLD_SUM: "It got {total} of cold beyond danger, worst {at}. {enough} is called "
        "enough.",
        Fact.DRIEST_HOUR: "The driest hour had {value} % humidity, {at}.",
        Fact.HOTTEST_HOUR: "The hottest hour had {value}, {at}.",
        Fact.COLDEST_HOUR: "The coldest hour had {value}, {at}.",
        Fact.NONE_OF_IT: "Of this there was little or nothing: {share} % of what is called enough.",
        Fact.NOT_TOLD: "No sensor told of it, or the plan sets no bound for it.",
        Fact.RESERVE_LOW: "Its estimated water fell to {value} %, {at}.",
        Fact.RESERVE_HELD: "Its estimated water never fell below {value} %, {at}.",
        Fact.SIBLINGS_LESS: "It was harder on this than {percentile} % of {count} siblings that "
        "took.",
        Fact.SIBLINGS_AS_MUCH: "Of {count} siblings that took, many stood as much: it lies above "
        "{percentile} % of them.",
        Fact.BAG_DRY_SEEN: "The bag was found dry, {at}.",
        Fact.DROOP_SEEN: "Leaves hung, {at}.",
        Fact.FILM_SPLIT_SEEN: "The film was found split, {at}.",
        Fact.LONG_BEFORE: "It was long before the first sign, {at}.",
        Fact.HOURS_UNSEEN: "{hours} of the last {watched} hours before were not seen.",
        Fact.MOULD_FIRST: "Mould was seen before anything else, {at}.",
        Fact.MOULD_AFTER: "Mould was seen, but after the first sign, {at}: it comes to what is "
        "dead, too.",
        Fact.NO_MOULD: "Nobody wrote down mould.",
        Fact.AIR_WITHIN: "In {seen} hours seen, {share} % of those watched, nothing came near what "
        "is called enough.",
        Fact.AIR_BEYOND: "The air did go beyond what the plan allows; see above or below.",
        Fact.LIKE_SIBLINGS: "In {within} of {of} figures it lies among its {count} siblings that "
        "took.",
        Fact.DIAMETERS: "Stock and scion differ: {stock} mm and {scion} mm.",
        Fact.NEVER_GREW: "No new growth was ever written down.",
        Fact.WORDS_UNBELIEVED: "For {hours} hours a sensor spoke and could not be believed.",
        Fact.CHECKED_LATER: "A later check, {at}, moved {words} by {by}.",
        Fact.SEEN_OTHERWISE: "The bag was found dry, {at}, while its air read {value} %.",
        Fact.OUT_OF_CALIBRATION: "{words} was out of calibration.",
        Fact.RECORD_WHOLE: "{share} % of the hours before were seen, and nothing contradicts them.",
    },
    siblings_all_less="None of its {count} siblings that took stood as much of this.",
    untold_title="What the record cannot tell",
    untold={
        Untold.BLIND: "What happened in {fact} hours in which it could not be seen.",
        Untold.NO_LIGHT: "Whether the sun stood on it: no light sensor speaks for it.",
        Untold.NO_WATER: "How much water was left: its plan has no figures for drying.",
        Untold.NO_BOUND: "Whether heat or cold was too much: its plan sets no bound, or no sensor "
        "told.",
        Untold.FEW_SIBLINGS: "How it compares: there are only {fact} siblings of the same kind and "
        "period that took. At least 4 are needed.",
        Untold.NOT_COUNTED: "How many plants it is about: nobody has counted.",
        Untold.NO_RECORD: "Anything about its air: nothing was recorded.",
        Untold.HANDS_AND_ROOTS: "The wood, the cut, the roots, pests and how it was watered: no "
        "sensor sees them.",
    },
    exposures_title="What it went through, beside siblings that took",
    exposures_why="Siblings are batches of the same kind, grafted within 30 days, of which at "
    "least half took; each over as many days since grafting. Place: how many of them stood less.",
    exposure_head=("What", "This batch", "Middle of siblings", "Place among them"),
    exposures={
        Exposure.DRYING: "Drying air, a day",
        Exposure.WORST_NIGHT: "Driest night",
        Exposure.HOURS_BEYOND: "Hours beyond a limit, a day",
        Exposure.HOTTEST_HOUR: "Hottest hour",
        Exposure.HEAT: "Heat beyond danger, in all",
        Exposure.COLDEST_HOUR: "Coldest hour",
        Exposure.COLD: "Cold beyond danger, in all",
        Exposure.DIRECT_SUN: "Direct sun, worst day",
        Exposure.LIGHT: "Light, a day",
        Exposure.LOWEST_RESERVE: "Least water left (estimate)",
        Exposure.BLIND: "Hours not seen, a day",
    },
    rank="harder than {percentile} % of {count}",
    rank_most="the hardest of {count}",
    rank_least="no harder than any of {count}",
    rank_none="too few to say ({count})",
    few="Only {count} siblings took: that is too few to compare with.",
    siblings="Held against: {codes}.",
    no_siblings="No sibling of the same kind and period is known to have taken.",
    timeline="All of it on one line of time",
    timeline_why="Triangles are alarms, diamonds what people saw or did, dashed lines new stages; "
    "the grey bar is a cover that was off. Where nothing was seen, nothing is drawn.",
    night="Its worst day, noon to noon: {day}",
    day="{start} to {end}",
    when="When",
    happened="What happened",
    alarm="Alarm: {says}",
    alarm_answered="Alarm: {says}. {who} answered after {after}.",
    alarm_unanswered="Alarm: {says}. Nobody answered it.",
    nothing_happened="Nothing was written down.",
    noted="noted: {words}",
    method="How the order is made stands in the manual, under “Why did it fail”.",
    no_batch="There is no batch {code}.",
)

SPANISH = ReviewWords(
    link="¿Por qué salió así? El repaso",
    print="En papel (PDF)",
    title={
        Outcome.FAILED: "Por qué pudo fallar {code}",
        Outcome.TAKEN: "{code} prendió: lo que pasó",
        Outcome.UNKNOWN: "{code}: lo que ha pasado hasta ahora",
    },
    answer={
        Weight.MUCH: "Mucho apunta a una cosa: {cause}.",
        Weight.SOME: "Algo apunta a esto: {cause}. No es seguro.",
        Weight.LITTLE: "El registro no lo dice. Lo más cercano a una respuesta: {cause}.",
    },
    nothing="No se registró nada de {code}; no se puede decir por qué.",
    taken="Prendieron {taken} de {of} plantas, contadas el {day}.",
    not_counted="Nadie ha contado cuántas prendieron.",
    by_stage="Se dio por fallido; nadie contó. Se toman por perdidas las {of} plantas.",
    sign="La primera señal se anotó el {when}. Lo que vino después no cuenta aquí.",
    no_sign="No se anotó ninguna señal de fallo. Se mira todo el registro.",
    span="Del {start} al {end}, visto el {share} % del tiempo.",
    standing_still="Sigue en pie: esto puede cambiar.",
    causes={
        Cause.DRIED_AT_NIGHT: "el aire lo secó de noche",
        Cause.SLOW_DRYING: "se secó poco a poco, durante muchos días",
        Cause.COOKED: "el aire se calentó demasiado",
        Cause.SUN_SCALD: "le dio el sol directo",
        Cause.COLD: "pasó demasiado frío",
        Cause.MOULD: "moho",
        Cause.AIR_FINE: "el aire estuvo bien hasta donde se vio; mire la madera, el corte y las "
        "raíces",
        Cause.COULD_NOT_KNOW: "los sensores no podían saberlo, o no dijeron la verdad",
    },
    weights={
        Weight.MUCH: "mucho apunta a ello",
        Weight.SOME: "algo apunta a ello",
        Weight.LITTLE: "poco apunta a ello",
    },
    candidates="Lo que pudo ser",
    candidates_why="En orden, por una regla fija. Que dos cosas vinieran juntas no muestra que una "
    "trajera la otra.",
    speaks_for="A favor",
    speaks_against="En contra",
    others="Poco apunta a estas",
    facts={
        Fact.NIGHT_SUM: "En tres noches seguidas el aire quitó {total} kPa·h por encima de lo que "
        "permite el plan, lo peor {at}. Se llama bastante a {enough}: acaba con la mitad.",
        Fact.SLOW_SUM: "En diez días el aire quitó {total} kPa·h por encima de lo que permite el "
        "plan, además de las peores noches; lo más seco {at}. Se llama bastante a {enough}.",
        Fact.HEAT_SUM: "Tuvo {total} de calor por encima del peligro, lo peor {at}. Se llama "
        "bastante a {enough}.",
        Fact.SUN_MINUTES: "Le dio el sol directo {minutes} minutos el peor día, por última vez "
        "{at}. Con el calor que trajo cuenta como {total}; se llama bastante a {enough}.",
        Fact.SUN_HEAT: "El sol trajo consigo {total} de calor por encima del peligro.",
        Fact.COLD_SUM: "Tuvo {total} de frío por debajo del peligro, lo peor {at}. Se llama "
        "bastante a {enough}.",
        Fact.DRIEST_HOUR: "La hora más seca tuvo {value} % de humedad, {at}.",
        Fact.HOTTEST_HOUR: "La hora más caliente tuvo {value}, {at}.",
        Fact.COLDEST_HOUR: "La hora más fría tuvo {value}, {at}.",
        Fact.NONE_OF_IT: "De esto hubo poco o nada: el {share} % de lo que se llama bastante.",
        Fact.NOT_TOLD: "Ningún sensor lo dijo, o el plan no pone límite.",
        Fact.RESERVE_LOW: "El agua calculada bajó hasta {value} %, {at}.",
        Fact.RESERVE_HELD: "El agua calculada nunca bajó de {value} %, {at}.",
        Fact.SIBLINGS_LESS: "Lo pasó peor que el {percentile} % de {count} hermanos que "
        "prendieron.",
        Fact.SIBLINGS_AS_MUCH: "De {count} hermanos que prendieron, muchos aguantaron lo mismo: "
        "está por encima del {percentile} % de ellos.",
        Fact.BAG_DRY_SEEN: "Se encontró la bolsa seca, {at}.",
        Fact.DROOP_SEEN: "Las hojas colgaban, {at}.",
        Fact.FILM_SPLIT_SEEN: "Se encontró la cinta rota, {at}.",
        Fact.LONG_BEFORE: "Fue mucho antes de la primera señal, {at}.",
        Fact.HOURS_UNSEEN: "No se vieron {hours} de las últimas {watched} horas de antes.",
        Fact.MOULD_FIRST: "Se vio moho antes que nada, {at}.",
        Fact.MOULD_AFTER: "Se vio moho, pero después de la primera señal, {at}: también llega a lo "
        "que está muerto.",
        Fact.NO_MOULD: "Nadie anotó moho.",
        Fact.AIR_WITHIN: "En {seen} horas vistas, el {share} % de las vigiladas, nada se acercó a "
        "lo que se llama bastante.",
        Fact.AIR_BEYOND: "El aire sí pasó de lo que permite el plan; vea arriba o abajo.",
        Fact.LIKE_SIBLINGS: "En {within} de {of} cifras está entre sus {count} hermanos que "
        "prendieron.",
        Fact.DIAMETERS: "Patrón y púa son distintos: {stock} mm y {scion} mm.",
        Fact.NEVER_GREW: "Nunca se anotó un brote nuevo.",
        Fact.WORDS_UNBELIEVED: "Durante {hours} horas un sensor habló y no se le pudo creer.",
        Fact.CHECKED_LATER: "Una revisión posterior, {at}, movió {words} en {by}.",
        Fact.SEEN_OTHERWISE: "Se encontró la bolsa seca, {at}, y su aire marcaba {value} %.",
        Fact.OUT_OF_CALIBRATION: "{words} estaba fuera de calibración.",
        Fact.RECORD_WHOLE: "Se vio el {share} % de las horas de antes, y nada las contradice.",
    },
    siblings_all_less="Ninguno de sus {count} hermanos que prendieron aguantó tanto de esto.",
    untold_title="Lo que el registro no puede decir",
    untold={
        Untold.BLIND: "Qué pasó en {fact} horas en las que no se podía ver.",
        Untold.NO_LIGHT: "Si le dio el sol: ningún sensor de luz habla por él.",
        Untold.NO_WATER: "Cuánta agua quedaba: su plan no tiene cifras de secado.",
        Untold.NO_BOUND: "Si hubo demasiado calor o frío: su plan no pone límite, o ningún sensor "
        "lo dijo.",
        Untold.FEW_SIBLINGS: "Cómo se compara: solo {fact} hermanos de la misma clase y época "
        "prendieron. Hacen falta al menos 4.",
        Untold.NOT_COUNTED: "De cuántas plantas se trata: nadie ha contado.",
        Untold.NO_RECORD: "Nada sobre su aire: no se registró nada.",
        Untold.HANDS_AND_ROOTS: "La madera, el corte, las raíces, las plagas y el riego: ningún "
        "sensor los ve.",
    },
    exposures_title="Lo que pasó, junto a hermanos que prendieron",
    exposures_why="Hermanos son lotes de la misma clase, injertados con menos de 30 días de "
    "diferencia, de los que prendió al menos la mitad; cada uno durante los mismos días desde el "
    "injerto. Lugar: cuántos de ellos aguantaron menos.",
    exposure_head=("Qué", "Este lote", "Mitad de los hermanos", "Lugar entre ellos"),
    exposures={
        Exposure.DRYING: "Aire que seca, al día",
        Exposure.WORST_NIGHT: "Noche más seca",
        Exposure.HOURS_BEYOND: "Horas fuera de un límite, al día",
        Exposure.HOTTEST_HOUR: "Hora más caliente",
        Exposure.HEAT: "Calor por encima del peligro, en total",
        Exposure.COLDEST_HOUR: "Hora más fría",
        Exposure.COLD: "Frío por debajo del peligro, en total",
        Exposure.DIRECT_SUN: "Sol directo, peor día",
        Exposure.LIGHT: "Luz, al día",
        Exposure.LOWEST_RESERVE: "Mínimo de agua (cálculo)",
        Exposure.BLIND: "Horas sin ver, al día",
    },
    rank="peor que el {percentile} % de {count}",
    rank_most="el peor de {count}",
    rank_least="no peor que ninguno de {count}",
    rank_none="muy pocos para decirlo ({count})",
    few="Solo prendieron {count} hermanos: son muy pocos para comparar.",
    siblings="Comparado con: {codes}.",
    no_siblings="No se sabe de ningún hermano de la misma clase y época que prendiera.",
    timeline="Todo en una línea de tiempo",
    timeline_why="Los triángulos son alarmas, los rombos lo que la gente vio o hizo, las líneas "
    "cortadas etapas nuevas; la barra gris es una cubierta quitada. Donde no se vio nada, no se "
    "dibuja nada.",
    night="Su peor día, de mediodía a mediodía: {day}",
    day="{start} a {end}",
    when="Cuándo",
    happened="Lo que pasó",
    alarm="Alarma: {says}",
    alarm_answered="Alarma: {says}. {who} respondió después de {after}.",
    alarm_unanswered="Alarma: {says}. Nadie respondió.",
    nothing_happened="No se anotó nada.",
    noted="anotado: {words}",
    method="Cómo se hace el orden está en el manual, en «Why did it fail».",
    no_batch="No hay ningún lote {code}.",
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def review_words(code: str) -> ReviewWords:
    """Return the texts of a language of ours."""
    return _BY_CODE[code]
