"""Every sentence of a message in both languages, side by side, and nothing else.

One file because a sentence and its translation are read, and mended, together.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.doubt import QualityTest
from rules.model.alarm import Priority
from rules.model.batch import Cover, GraftMethod, Stage
from rules.model.dose import DoseKind
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class Phrases:
    """The sentences of one language. Names in braces are filled in by `api.alerts.message`."""

    code: str
    decimal_mark: str
    weekdays: tuple[str, ...]
    months: tuple[str, ...]
    date: str
    date_and_time: str
    minutes: str
    hours: str
    cover: Mapping[Cover, str]
    in_film: str
    felt: Mapping[Felt, str]
    stage: Mapping[Stage, str]
    method: Mapping[GraftMethod, str]
    priority: Mapping[Priority, str]
    summed: Mapping[DoseKind, str]
    above: str
    below: str
    at_least: str
    at_most: str
    since: str
    from_to: str
    since_midnight: str
    on_date: str
    expected_at: str
    shade_by: str
    shade_now: str
    band: str
    reckoned: str
    cannot_see: str
    blind_first: str
    over_now: str
    look_and_acknowledge: str
    back_inside: str
    blind_over: str
    sum_ended: str
    still_open_to_acknowledge: str
    nothing_to_do: str
    nobody_watched: str
    and_more: str
    look_at_batch: str
    plants: str
    where: str
    what_was: str
    what_blind: str
    blind_checks: str
    not_believed: str
    never_spoke: str
    doubts: Mapping[QualityTest, str]
    too_low: str
    too_high: str
    reckoned_leaf: str
    estimate: str
    expected: str
    stop_light: str
    no_shade_helps: str
    summed_over_day: str
    summed_over_stage: str
    sum_begun_late: str
    sum_unseen: str
    since_when: str
    ended_when: str
    priority_is: str
    stage_is: str
    do_first: str
    told_only_you: str
    told_others: str
    instead_of: str
    nobody_watched_long: str
    meanwhile: str
    look_here: str
    came_back: str
    unknown_limit: str


ENGLISH = Phrases(
    code="en",
    decimal_mark=".",
    weekdays=("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"),
    months=(
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ),
    date="{day} {month}",
    date_and_time="{weekday} {day} {month}, {time} nursery time ({offset})",
    minutes="{count} min",
    hours="{count} h",
    cover=MappingProxyType({Cover.TIED_BAG: "under bag", Cover.TENT: "in tent", Cover.NONE: ""}),
    in_film="in film",
    felt=MappingProxyType(
        {
            Felt.AIR_TEMPERATURE: "air temperature",
            Felt.RELATIVE_HUMIDITY: "humidity",
            Felt.VAPOUR_PRESSURE_DEFICIT: "drying power of the air",
            Felt.PPFD: "light",
            Felt.LEAF_TEMPERATURE: "leaf temperature",
            Felt.AIR_SPEED: "wind",
            Felt.SUBSTRATE_MOISTURE: "moisture in the pots",
            Felt.LEAF_DEFICIT: "drying power at the leaf",
            Felt.RESERVE: "moisture reserve of the scion",
            Felt.HOURS_TO_CRITICAL: "hours of water left",
            Felt.EXPECTED_PEAK: "hottest to expect",
        }
    ),
    stage=MappingProxyType(
        {
            Stage.HEALING: "healing",
            Stage.NEW_GROWTH: "new growth",
            Stage.EASING: "easing",
            Stage.HARDENING: "hardening",
            Stage.RELEASED: "released",
            Stage.CLOSED: "closed",
            Stage.FAILED: "failed",
        }
    ),
    method=MappingProxyType(
        {
            GraftMethod.CLEFT: "cleft graft",
            GraftMethod.SIDE_VENEER: "side veneer graft",
            GraftMethod.WHIP_AND_TONGUE: "whip-and-tongue graft",
            GraftMethod.CHIP_BUD: "chip bud",
            GraftMethod.APPROACH: "approach graft",
            GraftMethod.TOP_WORKING: "top-worked",
        }
    ),
    priority=MappingProxyType(
        {
            Priority.HIGH: "How soon: now.",
            Priority.MEDIUM: "How soon: within a few hours.",
            Priority.LOW: "How soon: when you are next at the bench.",
        }
    ),
    summed=MappingProxyType(
        {
            DoseKind.LIGHT_SUM: "light added up",
            DoseKind.DRYING_DOSE: "{felt} {beyond} added up",
            DoseKind.HEAT_DOSE: "{felt} {beyond} added up",
            DoseKind.HOURS_BEYOND: "hours of {felt} {beyond}",
            DoseKind.DIRECT_SUN: "minutes of direct sun",
        }
    ),
    above="above {base}",
    below="below {base}",
    at_least="should be {bound} or more",
    at_most="should be {bound} or less",
    since="since {time}",
    from_to="{start} to {end}",
    since_midnight="since midnight",
    on_date="on {date}",
    expected_at="expected about {time}",
    shade_by="Shade up before {time}.",
    shade_now="Shade it now.",
    band="{low} to {high}",
    reckoned="reckoned",
    cannot_see="cannot see the {felt}",
    blind_first="Go and look at the plants; check probe, battery, hub.",
    over_now="over now",
    look_and_acknowledge="Look at it and acknowledge.",
    back_inside="back inside since {time} ({says}, from {start})",
    blind_over="seen again since {time} (could not see the {felt}, from {start})",
    sum_ended="that sum ended at {time} ({says}, {when})",
    still_open_to_acknowledge="Still needs acknowledging.",
    nothing_to_do="Nothing more to do.",
    nobody_watched="Nobody watched {start} to {end}.",
    and_more="And {count} more.",
    look_at_batch="Look at the plants.",
    plants="{code}: {species} {cultivar}, {count} plants, {method}.",
    where="Where: {bench}, {house}, {site}.",
    what_was="What: {says}. {felt}: {value} when this was raised; {bound}. {beyond}",
    what_blind="What: the {felt} has not been seen since {time}. Until it is seen again nobody can "
    "tell how these plants are, so a person must look at them.",
    blind_checks="Then check, in this order: is the probe still in its place, its battery, and "
    "whether the hub has power.",
    not_believed="The probe speaks, but is not believed: {why}.",
    never_spoke="Its probe has never been heard in this place.",
    doubts=MappingProxyType(
        {
            QualityTest.RANGE: "what it says cannot be",
            QualityTest.SPIKE: "it leaps about",
            QualityTest.STUCK: "it has said the same for hours",
            QualityTest.SATURATION: "it says 100 % whether the day is cool or warm",
            QualityTest.CROSS_SENSOR: "the probes beside it agree with each other, not with it",
        }
    ),
    too_low="That is {by} too low.",
    too_high="That is {by} too high.",
    reckoned_leaf="No sensor is on a leaf: its warmth is reckoned from air, humidity and light.",
    estimate="It may be {band}. This is an estimate from the figures of the care plan: look at the "
    "leaves and the wood.",
    expected="Expected about {when}, from {band}, if the sky stays clear.",
    stop_light="To stay at {bound}, stop {share} % more of the light.",
    no_shade_helps="Shade alone does not keep it at {bound}: the house itself gets too warm. Cool "
    "the house.",
    summed_over_day="Added up over the day, since {when}.",
    summed_over_stage="Added up over this stage, since {when}.",
    sum_begun_late="Counting began after the day had; what came before is not in it.",
    sum_unseen="{lasting} of that time could not be seen and are not in it.",
    since_when="Since: {when}.",
    ended_when="Over since: {when}. This message was late.",
    priority_is="{how_soon}",
    stage_is="Stage: {stage}, day {day} since grafting.",
    do_first="Do first: {action}",
    told_only_you="Told: only you.",
    told_others="Told: you and {others}.",
    instead_of="You are told because {person} could not be reached.",
    nobody_watched_long="Nobody watched from {start} to {end}: {why}. What "
    "was measured meanwhile has now been judged, and this one message stands for all of it.",
    meanwhile="- {says}: {when}. {action}",
    look_here="To say that you have it: {link}",
    came_back="It has come back since; another message tells of that.",
    unknown_limit="outside its limit {condition}",
)

SPANISH = Phrases(
    code="es",
    decimal_mark=",",
    weekdays=("lun", "mar", "mié", "jue", "vie", "sáb", "dom"),
    months=(
        "enero",
        "febrero",
        "marzo",
        "abril",
        "mayo",
        "junio",
        "julio",
        "agosto",
        "septiembre",
        "octubre",
        "noviembre",
        "diciembre",
    ),
    date="{day} de {month}",
    date_and_time="{weekday} {day} de {month}, {time} hora del vivero ({offset})",
    minutes="{count} min",
    hours="{count} h",
    cover=MappingProxyType({Cover.TIED_BAG: "bajo bolsa", Cover.TENT: "en túnel", Cover.NONE: ""}),
    in_film="en cinta",
    felt=MappingProxyType(
        {
            Felt.AIR_TEMPERATURE: "temperatura del aire",
            Felt.RELATIVE_HUMIDITY: "humedad",
            Felt.VAPOUR_PRESSURE_DEFICIT: "sequedad del aire",
            Felt.PPFD: "luz",
            Felt.LEAF_TEMPERATURE: "temperatura de la hoja",
            Felt.AIR_SPEED: "fuerza del viento",
            Felt.SUBSTRATE_MOISTURE: "humedad de las macetas",
            Felt.LEAF_DEFICIT: "sequedad junto a la hoja",
            Felt.RESERVE: "reserva de agua de la púa",
            Felt.HOURS_TO_CRITICAL: "duración del agua de la púa",
            Felt.EXPECTED_PEAK: "temperatura máxima esperada",
        }
    ),
    stage=MappingProxyType(
        {
            Stage.HEALING: "prendimiento",
            Stage.NEW_GROWTH: "brotación",
            Stage.EASING: "apertura gradual",
            Stage.HARDENING: "endurecimiento",
            Stage.RELEASED: "planta libre",
            Stage.CLOSED: "cerrado",
            Stage.FAILED: "perdido",
        }
    ),
    method=MappingProxyType(
        {
            GraftMethod.CLEFT: "injerto de hendidura",
            GraftMethod.SIDE_VENEER: "injerto de enchapado lateral",
            GraftMethod.WHIP_AND_TONGUE: "injerto inglés de lengüeta",
            GraftMethod.CHIP_BUD: "injerto de yema con astilla",
            GraftMethod.APPROACH: "injerto de aproximación",
            GraftMethod.TOP_WORKING: "cambio de copa",
        }
    ),
    priority=MappingProxyType(
        {
            Priority.HIGH: "Cuándo ir: ahora.",
            Priority.MEDIUM: "Cuándo ir: en pocas horas.",
            Priority.LOW: "Cuándo ir: la próxima vez que pase por la mesa.",
        }
    ),
    summed=MappingProxyType(
        {
            DoseKind.LIGHT_SUM: "luz sumada",
            DoseKind.DRYING_DOSE: "{felt} {beyond}, sumada",
            DoseKind.HEAT_DOSE: "{felt} {beyond}, sumada",
            DoseKind.HOURS_BEYOND: "horas de {felt} {beyond}",
            DoseKind.DIRECT_SUN: "minutos de sol directo",
        }
    ),
    above="por encima de {base}",
    below="por debajo de {base}",
    at_least="debe ser {bound} o más",
    at_most="debe ser {bound} o menos",
    since="desde {time}",
    from_to="de {start} a {end}",
    since_midnight="desde medianoche",
    on_date="el {date}",
    expected_at="hacia {time}",
    shade_by="Sombra antes de {time}.",
    shade_now="Dé sombra ya.",
    band="de {low} a {high}",
    reckoned="calculado",
    cannot_see="no se ve la {felt}",
    blind_first="Vaya a ver las plantas; revise sonda, pila y antena.",
    over_now="ya pasó",
    look_and_acknowledge="Mírelo y confirme.",
    back_inside="bien desde {time} ({says}, desde {start})",
    blind_over="se ve otra vez desde {time} (no se veía la {felt}, desde {start})",
    sum_ended="esa suma terminó a las {time} ({says}, {when})",
    still_open_to_acknowledge="Falta confirmar.",
    nothing_to_do="Nada más que hacer.",
    nobody_watched="Sin vigilancia de {start} a {end}.",
    and_more="Y {count} más.",
    look_at_batch="Mire las plantas.",
    plants="{code}: {species} {cultivar}, {count} plantas, {method}.",
    where="Dónde: {bench}, {house}, {site}.",
    what_was="Qué: {says}. {felt}: {value} al avisar; {bound}. {beyond}",
    what_blind="Qué: la {felt} no se ve desde {time}. Hasta que se vea otra vez nadie sabe cómo "
    "están estas plantas; una persona debe ir a mirarlas.",
    blind_checks="Después revise, en este orden: que la sonda siga en su sitio, su pila y que la "
    "antena tenga corriente.",
    not_believed="La sonda habla, pero no se le cree: {why}.",
    never_spoke="Su sonda nunca se ha oído en este sitio.",
    doubts=MappingProxyType(
        {
            QualityTest.RANGE: "lo que dice no puede ser",
            QualityTest.SPIKE: "da saltos",
            QualityTest.STUCK: "lleva horas diciendo lo mismo",
            QualityTest.SATURATION: "dice 100 % haga fresco o calor",
            QualityTest.CROSS_SENSOR: "las sondas vecinas coinciden entre sí y no con ella",
        }
    ),
    too_low="Le faltan {by}.",
    too_high="Le sobran {by}.",
    reckoned_leaf="No hay sensor en la hoja: su calor se calcula con el aire, la humedad y la luz.",
    estimate="Puede ser {band}. Es una estimación con las cifras del plan: mire las hojas y la "
    "madera.",
    expected="Se espera hacia {when}, {band}, si el cielo sigue despejado.",
    stop_light="Para quedar en {bound}, corte un {share} % más de la luz.",
    no_shade_helps="La sombra sola no lo deja en {bound}: la casa misma se calienta demasiado. "
    "Refresque la casa.",
    summed_over_day="Sumado en el día, desde {when}.",
    summed_over_stage="Sumado en esta etapa, desde {when}.",
    sum_begun_late="Se empezó a contar ya entrado el día; lo de antes no está.",
    sum_unseen="Faltan {lasting} que no se pudieron ver y no están en la suma.",
    since_when="Desde: {when}.",
    ended_when="Pasó: {when}. Este mensaje llegó tarde.",
    priority_is="{how_soon}",
    stage_is="Etapa: {stage}, día {day} desde el injerto.",
    do_first="Primero: {action}",
    told_only_you="Avisados: solo usted.",
    told_others="Avisados: usted y {others}.",
    instead_of="Se le avisa porque no se pudo avisar a {person}.",
    nobody_watched_long="Nadie vigiló de {start} a {end}: {why}. Lo que "
    "se midió mientras tanto ya se revisó, y este único mensaje lo resume todo.",
    meanwhile="- {says}: {when}. {action}",
    look_here="Para decir que usted se encarga: {link}",
    came_back="Después volvió a pasar; otro mensaje lo cuenta.",
    unknown_limit="fuera de su límite {condition}",
)


def phrases(language: str) -> Phrases:
    """Return the Spanish sentences for "es", else the English ones."""
    return SPANISH if language == "es" else ENGLISH
