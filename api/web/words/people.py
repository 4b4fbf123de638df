"""The texts about people: staff and ways, and answering an alarm from a message."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PeopleWords:
    """The texts of one language. Names in braces are filled in."""

    staff_answer: str
    now: str
    until: str
    afterwards: str
    no_change: str
    away: str
    ways: str
    email: str
    no_way_tried: str
    arrived: str
    failed: str
    test: str
    test_hint: str
    quiet: str
    stands_in: str
    lead: str
    way_fails: str
    way_todo: str
    many_title: str
    many_take: str
    many_none: str
    answer_hint: str
    going: str
    going_hint: str
    seen: str
    seen_hint: str
    done: str
    what_done: str
    note: str
    has_it: str
    nobody_has_it: str
    you_wrote: str
    counts_when: str
    over: str
    choose_deed: str
    link_tampered: str
    link_expired: str
    link_past: str
    link_hint: str
    page_of_alarm: str
    lamps: str
    lamp_lit: str
    lamp_lit_why: str
    lamp_dark: str
    lamp_dark_why: str
    lamp_whose: str
    lamp_all: str
    lamp_never_tried: str
    lamp_trying: str
    lamp_passed_on: str
    lamp_not_reached: str
    lamp_light: str
    lamp_hint: str
    lamp_unknown: str


ENGLISH = PeopleWords(
    staff_answer="On duty now: {names}.",
    now="On duty now",
    until="until {time}",
    afterwards="Then, from {time}: {names}",
    no_change="The same people for the next week.",
    away="day off today",
    ways="Ways, in the order in which they are tried",
    email="e-mail",
    no_way_tried="never tried",
    arrived="last message arrived {time}",
    failed="last message failed: {why}",
    test="Send a test message",
    test_hint="A real message goes out by every way of {name}; this page says what came of it.",
    quiet="Quiet from {start} to {end}, but for danger.",
    stands_in="Stands in: {name}.",
    lead="Lead.",
    way_fails="{name} can't be reached by {way}",
    many_title="{count} alarms are told together",
    many_take="Seen: I'll take care of all {count}",
    many_none="None of these waits for anybody any more.",
    way_todo="See that someone who can be reached is on duty; have the way mended.",
    answer_hint="You answer as {name}.",
    going="I'm going",
    going_hint="Before you go, tell someone, above all at night and alone.",
    seen="Seen: I'll take care of it",
    seen_hint="Stops the messages to the others. The alarm ends when the plants are back inside.",
    done="Done",
    what_done="What did you do or see?",
    note="In your own words, if you like",
    has_it="{name} has it since {time}.",
    nobody_has_it="Nobody has it yet.",
    you_wrote="Written down: {what}.",
    counts_when="It is kept, and counts for stages and checks from the next minute.",
    over="It is over since {time}.",
    choose_deed="Choose what you did, then tap Done.",
    link_tampered="This link is not one of ours, or part of it was lost.",
    link_expired="This link is older than a day.",
    link_past="This link was for an earlier time: the alarm has been raised again since.",
    link_hint="Use the link in the newest message, or the page of alarms.",
    page_of_alarm="All about this alarm",
    lamps="Lamps and sirens",
    lamp_lit="should be on",
    lamp_lit_why="An alarm waits for a person.",
    lamp_dark="should be off",
    lamp_dark_why="Nothing waits for a person.",
    lamp_whose="For: {houses}.",
    lamp_all="all houses",
    lamp_never_tried="Not tried since graftvigil was started.",
    lamp_trying="Being tried since {time}.",
    lamp_passed_on="Tried {time}: the broker passed it on. Did someone see or hear it?",
    lamp_not_reached="Tried {time}: {why}.",
    lamp_light="Turn it on for 5 seconds",
    lamp_hint="A siren is loud: first warn whoever stands near it.",
    lamp_unknown="That lamp is not in the site file any more. Load the page again.",
)

SPANISH = PeopleWords(
    staff_answer="De turno ahora: {names}.",
    now="De turno ahora",
    until="hasta {time}",
    afterwards="Después, desde {time}: {names}",
    no_change="Las mismas personas durante la próxima semana.",
    away="hoy libre",
    ways="Vías, en el orden en que se prueban",
    email="correo",
    no_way_tried="nunca probada",
    arrived="el último mensaje llegó {time}",
    failed="el último mensaje falló: {why}",
    test="Enviar un mensaje de prueba",
    test_hint="Sale un mensaje de verdad por cada vía de {name}. Esta página dice luego qué pasó.",
    quiet="En silencio de {start} a {end}, salvo peligro.",
    stands_in="Suplente: {name}.",
    lead="Responsable.",
    way_fails="no se puede avisar a {name} por {way}",
    many_title="{count} alarmas contadas juntas",
    many_take="Visto: me encargo de las {count}",
    many_none="Ninguna de estas espera ya a nadie.",
    way_todo="Que esté de turno alguien a quien se pueda avisar; haga reparar la vía.",
    answer_hint="Usted responde como {name}.",
    going="Voy",
    going_hint="Antes de ir, avise a alguien, sobre todo de noche y a solas.",
    seen="Visto: me encargo",
    seen_hint="Detiene los avisos a los demás. La alarma acaba cuando las plantas vuelven a estar "
    "bien.",
    done="Hecho",
    what_done="¿Qué hizo o vio?",
    note="Con sus palabras, si quiere",
    has_it="{name} se encarga desde {time}.",
    nobody_has_it="Nadie se encarga aún.",
    you_wrote="Anotado: {what}.",
    counts_when="Queda guardado, y cuenta para etapas y revisiones desde el próximo minuto.",
    over="Terminó {time}.",
    choose_deed="Elija lo que hizo y toque Hecho.",
    link_tampered="Este enlace no es nuestro, o se perdió una parte.",
    link_expired="Este enlace tiene más de un día.",
    link_past="Este enlace era de antes: la alarma ha vuelto a saltar desde entonces.",
    link_hint="Use el enlace del último mensaje, o la página de alarmas.",
    page_of_alarm="Todo sobre esta alarma",
    lamps="Lámparas y sirenas",
    lamp_lit="debe estar encendida",
    lamp_lit_why="Una alarma espera a alguien.",
    lamp_dark="debe estar apagada",
    lamp_dark_why="Nada espera a nadie.",
    lamp_whose="Para: {houses}.",
    lamp_all="todas las casas",
    lamp_never_tried="Sin probar desde que se inició graftvigil.",
    lamp_trying="En prueba desde {time}.",
    lamp_passed_on="Probada {time}: el bróker lo transmitió. ¿Alguien la vio u oyó?",
    lamp_not_reached="Probada {time}: {why}.",
    lamp_light="Encenderla 5 segundos",
    lamp_hint="Una sirena suena fuerte: avise antes a quien esté cerca.",
    lamp_unknown="Esa lámpara ya no está en el archivo del sitio. Vuelva a cargar la página.",
)


def people_words(language: str) -> PeopleWords:
    """Return the texts of a language: Spanish for "es", else English."""
    return SPANISH if language == "es" else ENGLISH
