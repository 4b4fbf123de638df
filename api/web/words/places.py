"""The texts of the pages of things to do and of the house."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PlaceWords:
    """The texts of one language. Names in braces are filled in."""

    nothing_due: str
    one_due: str
    many_due: str
    late: str
    one_late: str
    elsewhere: str
    declare: str
    how_to_calibrate: str
    new_label: str
    print_it: str
    plan_of_house: str
    plan_hint: str
    empty_bench: str
    no_batches: str
    stand: str
    one_stands: str
    sensors_here: str
    sun_down: str
    sun_reaches: str
    sun_hidden: str
    sun_unknown: str
    sun_cloth: str
    legend: str
    marks: str
    for_cover: str
    for_bench: str
    for_house: str
    for_sky: str


ENGLISH = PlaceWords(
    nothing_due="Nothing is due today.",
    one_due="One thing is due today.",
    many_due="{count} things are due today, on {benches}.",
    late="{count} are late.",
    one_late="One is late.",
    elsewhere="On no bench",
    declare="Move the stage",
    how_to_calibrate="See the sensor",
    new_label="Print a new label",
    print_it="To print: use the browser's own printing; tick with a pencil.",
    plan_of_house="Plan of {house}",
    plan_hint="Drawn to scale, {length} m by {width} m, north above. Tap a batch.",
    empty_bench="Nothing stands here.",
    no_batches="No batch stands in a house.",
    stand="{count} batches stand on {benches}.",
    one_stands="One batch stands in a house.",
    sensors_here="Sensors",
    sun_down="The sun is down this hour.",
    sun_reaches="Direct sun can reach it {spans}.",
    sun_hidden="No direct sun this hour: something stands in its way.",
    sun_unknown="Whether direct sun reaches it is not known: the bench has no skyline.",
    sun_cloth="The cloth stops {share} of the light; the sun is seen where it has a gap.",
    legend="How to read the plan",
    marks="● is a sensor. ☀: direct sun can reach the bench this hour; ?: that is not known.",
    for_cover="under the cover of {batch}",
    for_bench="speaks for the bench",
    for_house="speaks for the house",
    for_sky="the open sky",
)

SPANISH = PlaceWords(
    nothing_due="Hoy no toca nada.",
    one_due="Hoy toca una cosa.",
    many_due="Hoy tocan {count} cosas, en {benches}.",
    late="{count} llevan atraso.",
    one_late="Una lleva atraso.",
    elsewhere="En ninguna mesa",
    declare="Pasar de etapa",
    how_to_calibrate="Ver el sensor",
    new_label="Imprimir otra etiqueta",
    print_it="Para imprimir: use la impresión del navegador y marque con lápiz.",
    plan_of_house="Plano de {house}",
    plan_hint="Dibujado a escala, {length} m por {width} m, norte arriba. Toque un lote.",
    empty_bench="Aquí no hay nada.",
    no_batches="No hay ningún lote en una casa.",
    stand="Hay {count} lotes en {benches}.",
    one_stands="Hay un lote en una casa.",
    sensors_here="Sensores",
    sun_down="A esta hora no hay sol.",
    sun_reaches="El sol directo puede llegar {spans}.",
    sun_hidden="Sin sol directo a esta hora: algo lo tapa.",
    sun_unknown="No se sabe si le llega sol directo: la mesa no tiene horizonte anotado.",
    sun_cloth="La malla quita {share} de la luz; el sol entra donde tiene un hueco.",
    legend="Cómo leer el plano",
    marks="● es un sensor. ☀: a esta hora puede llegar sol directo a la mesa; ?: no se sabe.",
    for_cover="bajo la cubierta de {batch}",
    for_bench="habla por la mesa",
    for_house="habla por la casa",
    for_sky="al cielo abierto",
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def place_words(code: str) -> PlaceWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
