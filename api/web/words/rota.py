"""The texts of the rota on the page of staff: the days to come, days off and swaps."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RotaWords:
    """The texts of one language. Names in braces are filled in."""

    coming: str
    nobody: str
    lead_instead: str
    with_backup: str
    days_off: str
    day_off_of: str
    swap_of: str
    none_off: str
    none_swapped: str
    swaps: str
    who: str
    first: str
    last: str
    because: str
    enter_day_off: str
    whose: str
    on: str
    taken_by: str
    enter_swap: str
    take_back: str
    unreadable: str
    is_there: str
    no_shift: str


ENGLISH = RotaWords(
    coming="The seven days to come",
    nobody="nobody",
    lead_instead="nobody by the rota: the lead, {names}, is told",
    with_backup="{names}, then {backups}",
    days_off="Days off",
    day_off_of="{name}, {first} to {last}",
    swap_of="{day}: {taken_by} takes the shift of {whose}",
    none_off="No days off are written down.",
    none_swapped="No shift is swapped.",
    swaps="Swapped shifts",
    who="Who",
    first="First day off",
    last="Last day off",
    because="Why, if you like",
    enter_day_off="Write down days off",
    whose="Whose shift",
    on="On which day it starts",
    taken_by="Who takes it",
    enter_swap="Write down the swap",
    take_back="Take out",
    unreadable="Write the day as in 2026-11-29.",
    is_there="That is written down already.",
    no_shift="{name} has no shift that starts on {day}.",
)

SPANISH = RotaWords(
    coming="Los próximos siete días",
    nobody="nadie",
    lead_instead="nadie según los turnos: se avisa a {names}, responsable",
    with_backup="{names}, después {backups}",
    days_off="Días libres",
    day_off_of="{name}, del {first} al {last}",
    swap_of="{day}: {taken_by} toma el turno de {whose}",
    none_off="No hay días libres anotados.",
    none_swapped="Ningún turno está cambiado.",
    swaps="Turnos cambiados",
    who="Quién",
    first="Primer día libre",
    last="Último día libre",
    because="Por qué, si quiere",
    enter_day_off="Anotar los días libres",
    whose="De quién es el turno",
    on="Qué día empieza",
    taken_by="Quién lo toma",
    enter_swap="Anotar el cambio",
    take_back="Quitar",
    unreadable="Escriba el día como en 2026-11-29.",
    is_there="Eso ya está anotado.",
    no_shift="{name} no tiene ningún turno que empiece el {day}.",
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def rota_words(code: str) -> RotaWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
