"""The texts of the page at the bench: what is seen and done, and what waits for a network."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BenchWords:
    """The texts of one language. Names in braces are filled in."""

    write_down: str
    who: str
    keep_who: str
    today: str
    done: str
    what_see: str
    what_do: str
    checks: str
    due: str
    count: str
    alive: str
    dead: str
    count_hint: str
    count_keep: str
    move_to: str
    note: str
    note_keep: str
    not_yet: str
    lead_only: str
    lead_why: str
    lead_do: str
    lead_demanded: str
    better_not: str
    just_written: str
    take_back: str
    too_late: str
    stage: str
    stage_to: str
    stage_why: str
    stage_keep: str
    override: str
    all_about: str
    way_out: str
    way_hint: str
    if_all_well: str
    not_kept: str
    overridden: str
    living: str
    to_bench: str
    waiting: str
    no_network: str
    sign_in: str
    waits: str
    kept: str
    refused: str
    going_back: str
    put_away: str
    try_again: str


ENGLISH = BenchWords(
    write_down="Write something down",
    who="Who writes",
    keep_who="That's me",
    today="Today",
    done="Done",
    what_see="What do you see?",
    what_do="What did you do?",
    checks="From the care plan: done, and all is well",
    due="due",
    count="Count the plants",
    alive="Alive",
    dead="Dead",
    count_hint="{count} were grafted. Leave dead empty if you did not count them.",
    count_keep="Write the count down",
    move_to="Moved to another bench",
    note="A remark",
    note_keep="Write the remark down",
    not_yet="Not yet",
    lead_only="Only a lead, as {lead} is, may decide otherwise, and must say why.",
    lead_why="Why all the same",
    lead_do="{what} all the same",
    lead_demanded=(
        "Only a lead, as {lead} is, may do this against the care plan, and a note must say why."
    ),
    better_not="Better not",
    just_written="Just written down",
    take_back="Take it back",
    too_late="It was written down too long ago to take it back. Write down what puts it right.",
    stage="Move to another stage",
    stage_to="From now on it is",
    stage_why="What did you see?",
    stage_keep="Move it",
    override="Against the plan: I am the lead, and this is why",
    all_about="All about {code}",
    way_out="The whole way to full sun",
    way_hint="Each day rests on the one before. What is done late, or a droop, moves the rest.",
    if_all_well="if all goes as expected",
    not_kept="Nothing was written down.",
    overridden="against the plan, by the lead",
    living="{alive} alive",
    to_bench="to {bench}",
    waiting="On this device: {n} waiting. They are sent by themselves once there is a network.",
    no_network="No network. What you see is of {time}; you can go on writing.",
    sign_in="You are signed out. Sign in, and what waits is sent.",
    waits="waits to be sent",
    kept="written down",
    refused="Not written down:",
    going_back="will be taken back",
    put_away="Put it away",
    try_again="Try again",
)

SPANISH = BenchWords(
    write_down="Anotar algo",
    who="Quién anota",
    keep_who="Soy yo",
    today="Hoy",
    done="Hecho",
    what_see="¿Qué ve?",
    what_do="¿Qué hizo?",
    checks="Del plan de cuidado: hecho, y todo bien",
    due="toca",
    count="Contar las plantas",
    alive="Vivas",
    dead="Muertas",
    count_hint="Se injertaron {count}. Deje las muertas sin llenar si no las contó.",
    count_keep="Anotar la cuenta",
    move_to="Pasado a otra mesa",
    note="Una nota",
    note_keep="Anotar la nota",
    not_yet="Todavía no",
    lead_only="Solo quien dirige, como {lead}, puede decidir otra cosa, y debe decir por qué.",
    lead_why="Por qué de todos modos",
    lead_do="{what} de todos modos",
    lead_demanded=(
        "Solo quien dirige, como {lead}, puede hacer esto contra el plan, y una nota debe decir "
        "por qué."
    ),
    better_not="Mejor no",
    just_written="Recién anotado",
    take_back="Quitarlo",
    too_late="Se anotó hace demasiado para quitarlo. Anote lo que lo corrija.",
    stage="Pasar a otra etapa",
    stage_to="Desde ahora está",
    stage_why="¿Qué vio?",
    stage_keep="Pasarlo",
    override="Contra el plan: soy responsable, y este es el motivo",
    all_about="Todo sobre {code}",
    way_out="Todo el camino hasta el pleno sol",
    way_hint="Cada día depende del anterior. Lo que se hace tarde, o una caída, mueve el resto.",
    if_all_well="si todo va como se espera",
    not_kept="No se anotó nada.",
    overridden="contra el plan, por quien dirige",
    living="{alive} vivas",
    to_bench="a {bench}",
    waiting="En este aparato: {n} por enviar. Se envían solas cuando haya red.",
    no_network="No hay red. Lo que ve es de las {time}; puede seguir anotando.",
    sign_in="Su sesión terminó. Entre, y lo que espera se envía.",
    waits="por enviar",
    kept="anotado",
    refused="No se anotó:",
    going_back="se va a quitar",
    put_away="Retirar",
    try_again="Intentar otra vez",
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def bench_words(code: str) -> BenchWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
