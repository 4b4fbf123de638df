"""Sentences about telling and answering, in both languages: links, tests, ways that fail, waits."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TellingPhrases:
    """The sentences of one language. Names in braces are filled in by those who write messages."""

    answer_here: str
    answer_all: str
    answer_code: str
    nobody_has_it: str
    told_before: str
    held_line: str
    held_long: str
    way_line: str
    way_long: str
    way_why: str
    way_checks: str
    way_from_list: str
    way_again: str
    test_line: str
    test_body: str
    email: str
    said_going: str
    said_seen: str


ENGLISH = TellingPhrases(
    answer_here="To answer without signing in, for you alone, until {until}: {link}",
    answer_all="To take on all {count} without signing in, for you alone, until {until}: {link}",
    answer_code="Code for a button or a gateway: {code}",
    nobody_has_it="Nobody has it yet.",
    told_before="Nobody has said yet that they have it. Told before: {names}.",
    held_line="Waited until now.",
    held_long="What could wait for the end of your quiet hours, or for the morning, is told here "
    "together:",
    way_line="{name} can't be reached by {way} since {time}. Reach {name} otherwise, and have the "
    "way mended.",
    way_long="Messages to {name} by {way} have failed since {time}. Others are told instead.",
    way_why="What it says: {error}",
    way_checks="Look at the address, the mail server or gateway, and the network. Until it is "
    "mended, make sure that someone who can be reached is on duty.",
    way_from_list="Staff and their ways, with a button for a test: {link}",
    way_again="{name} can be reached by {way} again since {time} (could not since {start}).",
    test_line="Test: {name} can be reached by {way}. Nothing is wrong.",
    test_body="This is a test of {site}, asked for at {time}. Messages reach you this way. There "
    "is nothing to do.",
    email="e-mail",
    said_going="I'm going",
    said_seen="seen",
)

SPANISH = TellingPhrases(
    answer_here="Para responder sin iniciar sesión, solo usted, hasta {until}: {link}",
    answer_all="Para encargarse de las {count} sin iniciar sesión, solo usted, hasta {until}: "
    "{link}",
    answer_code="Código para un botón o una pasarela: {code}",
    nobody_has_it="Nadie se encarga aún.",
    told_before="Nadie ha dicho todavía que se encarga. Avisados antes: {names}.",
    held_line="Esperó hasta ahora.",
    held_long="Lo que podía esperar al final de sus horas de silencio, o a la mañana, se cuenta "
    "aquí junto:",
    way_line="No se puede avisar a {name} por {way} desde {time}. Avise a {name} de otro modo y "
    "haga reparar esa vía.",
    way_long="Los mensajes a {name} por {way} fallan desde {time}. Se avisa a otros en su lugar.",
    way_why="Lo que responde: {error}",
    way_checks="Revise la dirección, el servidor de correo o la pasarela, y la red. Hasta que se "
    "repare, asegúrese de que esté de turno alguien a quien se pueda avisar.",
    way_from_list="El personal y sus vías, con un botón de prueba: {link}",
    way_again="Otra vez se puede avisar a {name} por {way} desde {time} (no se podía desde "
    "{start}).",
    test_line="Prueba: se puede avisar a {name} por {way}. No pasa nada.",
    test_body="Esto es una prueba de {site}, pedida a las {time}. Los mensajes le llegan por esta "
    "vía. No hay nada que hacer.",
    email="correo",
    said_going="voy",
    said_seen="visto",
)


def telling_phrases(language: str) -> TellingPhrases:
    """Return the sentences of a language: Spanish for "es", else English."""
    return SPANISH if language == "es" else ENGLISH
