"""The texts of the pages of care plans."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.model.release import Bud

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
    change: str
    take_up: str
    download: str
    overtaken: str
    entered: str
    from_file: str
    waits: str
    ends_alone: str
    comfortable: str
    title: str
    figure_head: tuple[str, str, str, str]
    sources: str
    source_of: str
    by_method: str
    bud: str
    buds: Mapping[Bud, str]
    step_after: str
    step_after_growth: str
    looked_every: str
    release: Mapping[str, str]
    method: Mapping[str, str]


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
    how_to_change="A change is a new version with its own moment, so what happened before stays "
    "judged as it was. The lead makes one here, or copies the plan's file, raises its version, "
    "writes in_force_from, and lets graftvigil check look at it.",
    change="Change this plan",
    take_up="Take this version up again",
    download="Version {version} as a file",
    overtaken="never counted: version {version} took its place",
    entered="{name}, {when}: {note}",
    from_file="from a file",
    waits="its alarm waits for an answer",
    ends_alone="its alarm ends by itself",
    comfortable="comfortable from {amount} inside",
    title="Name",
    figure_head=("Figure", "Likely", "Range", "Where it comes from"),
    sources="Where the figures come from",
    source_of="Where they come from: {source}",
    by_method="What differs by graft method",
    bud="the wrap leaves the buds",
    buds={Bud.COVERED: "covered", Bud.EXPOSED: "exposed"},
    step_after="{days} days after grafting",
    step_after_growth="{days} days after grafting, not before new growth",
    looked_every="first after {first} days, then every {days}",
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
    method={
        "look_from_days": "look for new growth from day",
        "look_until_days": "look at the union if there is none by day",
        "union_days": "stock and scion are one from day",
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
    how_to_change="Un cambio es una versión nueva con su propio momento; lo que ocurrió antes "
    "sigue juzgado como estaba. Quien dirige la hace aquí, o copia el archivo del plan, sube su "
    "versión, escribe in_force_from y pasa graftvigil check.",
    change="Cambiar este plan",
    take_up="Volver a tomar esta versión",
    download="La versión {version} como archivo",
    overtaken="nunca contó: la versión {version} tomó su lugar",
    entered="{name}, {when}: {note}",
    from_file="de un archivo",
    waits="su alarma espera respuesta",
    ends_alone="su alarma termina sola",
    comfortable="cómodo desde {amount} adentro",
    title="Nombre",
    figure_head=("Cifra", "Probable", "Rango", "De dónde viene"),
    sources="De dónde vienen las cifras",
    source_of="De dónde vienen: {source}",
    by_method="Qué cambia según el injerto",
    bud="la cinta deja las yemas",
    buds={Bud.COVERED: "tapadas", Bud.EXPOSED: "libres"},
    step_after="{days} días tras injertar",
    step_after_growth="{days} días tras injertar, no antes del brote",
    looked_every="primero a los {first} días, luego cada {days}",
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
    method={
        "look_from_days": "buscar brotes desde el día",
        "look_until_days": "mirar la unión si no hay para el día",
        "union_days": "patrón y púa son uno desde el día",
    },
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def plan_words(code: str) -> PlanWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
