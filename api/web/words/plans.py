"""The texts of the pages of care plans."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class PlanWords:
    """The texts of one language. Names in braces are filled in."""

    plans: str
    answer: str
    plan_answer: str
    versions: str
    version: str
    in_force: str
    from_when: str
    always: str
    to_come: str
    over: str
    batches: str
    no_batch: str
    limits_head: tuple[str, str, str, str]
    how: str
    sums: str
    delays: str
    back_by: str
    checks: str
    every: str
    no_limits: str
    vital: str
    vital_all: str
    way_out: str
    drying: str
    source: str
    changed: str
    same: str
    first: str
    new: str
    gone: str
    became: str
    how_to_change: str
    release: Mapping[str, str]


ENGLISH = PlanWords(
    plans="Care plans",
    answer="What does each kind of batch need?",
    plan_answer="{title}: what it needs in each stage",
    versions="Versions",
    version="Version {version}",
    in_force="in force",
    from_when="from {when}",
    always="from the beginning",
    to_come="still to come",
    over="no longer in force",
    batches="Batches: {codes}",
    no_batch="No batch is cared for by it.",
    limits_head=("What is felt", "Should be", "Says", "Do first"),
    how="How",
    sums="Added up",
    delays="speaks after {on} min, is over after {off} min back inside",
    back_by="by {amount}",
    checks="Look at",
    every="every {days} days: {says}",
    no_limits="Nothing is watched in this stage.",
    vital="Must be seen: {names}; blind after {minutes} min.",
    vital_all="all that a limit speaks of",
    way_out="The way out",
    drying="How the scion dries",
    source="Where the figures come from: {source}",
    changed="What version {version} changed",
    same="Nothing that a person would notice.",
    first="This is the first version.",
    new="new: {now}",
    gone="no longer: {was}",
    became="{was} became {now}",
    how_to_change="To change a figure, copy the plan's file, raise its version, write from when it "
    "counts (in_force_from), and let graftvigil check look at it. What happened before stays "
    "judged by the old version.",
    release={
        "firm_days": "days that new growth must be firm",
        "open_share": "how far the cover stands open, step by step",
        "open_every_days": "days between these steps",
        "ease_at_least_days": "days from first opening until the cover comes off",
        "normal_days": "days of ordinary care after that",
        "light_step": "most that light goes up in one step",
        "light_every_days": "days between steps of light",
        "least_light_share": "light that counts as least, of the open sky",
        "covered_light_share": "most light while covered, of the open sky",
        "droop_hold_days": "days of waiting after leaves hung",
        "overdue_after_days": "days until a step counts as late",
        "film_on_at_most_days": "days after which film or tape must be off",
    },
)

SPANISH = PlanWords(
    plans="Planes de cuidado",
    answer="¿Qué necesita cada tipo de lote?",
    plan_answer="{title}: lo que necesita en cada etapa",
    versions="Versiones",
    version="Versión {version}",
    in_force="vigente",
    from_when="desde {when}",
    always="desde el principio",
    to_come="todavía no vigente",
    over="ya no vigente",
    batches="Lotes: {codes}",
    no_batch="Ningún lote se cuida con él.",
    limits_head=("Qué se siente", "Debe ser", "Dice", "Haga primero"),
    how="Cómo",
    sums="Sumado",
    delays="avisa tras {on} min, termina tras {off} min de vuelta dentro",
    back_by="por {amount}",
    checks="Mirar",
    every="cada {days} días: {says}",
    no_limits="En esta etapa no se vigila nada.",
    vital="Debe verse: {names}; ciego tras {minutes} min.",
    vital_all="todo de lo que habla un límite",
    way_out="El camino de salida",
    drying="Cómo se seca la púa",
    source="De dónde vienen las cifras: {source}",
    changed="Qué cambió la versión {version}",
    same="Nada que una persona notaría.",
    first="Esta es la primera versión.",
    new="nuevo: {now}",
    gone="ya no: {was}",
    became="{was} pasó a {now}",
    how_to_change="Para cambiar una cifra, copie el archivo del plan, suba su versión, escriba "
    "desde cuándo cuenta (in_force_from) y pase graftvigil check. Lo que ocurrió antes sigue "
    "juzgado por la versión anterior.",
    release={
        "firm_days": "días que el brote debe estar firme",
        "open_share": "cuánto se abre la cubierta, paso a paso",
        "open_every_days": "días entre esos pasos",
        "ease_at_least_days": "días desde la primera apertura hasta quitar la cubierta",
        "normal_days": "días de cuidado normal después",
        "light_step": "lo más que sube la luz en un paso",
        "light_every_days": "días entre pasos de luz",
        "least_light_share": "luz que cuenta como mínima, del cielo abierto",
        "covered_light_share": "más luz mientras está cubierto, del cielo abierto",
        "droop_hold_days": "días de espera tras hojas caídas",
        "overdue_after_days": "días hasta que un paso cuenta como atrasado",
        "film_on_at_most_days": "días tras los que la película o cinta debe quitarse",
    },
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def plan_words(code: str) -> PlanWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
