"""The sentences in which steps, and what speaks against them, are said, in both languages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rules.model.batch import Seen, Stage
from rules.model.words import Words

if TYPE_CHECKING:
    from datetime import date

STAGE_EN = {
    Stage.HEALING: "healing",
    Stage.NEW_GROWTH: "new growth",
    Stage.EASING: "easing",
    Stage.HARDENING: "hardening",
    Stage.RELEASED: "released",
    Stage.CLOSED: "closed",
    Stage.FAILED: "failed",
}
STAGE_ES = {
    Stage.HEALING: "prendiendo",
    Stage.NEW_GROWTH: "brotando",
    Stage.EASING: "destapando",
    Stage.HARDENING: "endureciendo",
    Stage.RELEASED: "suelto",
    Stage.CLOSED: "cerrado",
    Stage.FAILED: "perdido",
}
SEEN = {
    Seen.NEW_GROWTH: Words(en="new growth", es="brotes nuevos"),
    Seen.COVER_OPENED: Words(en="the cover opened", es="la cubierta abierta"),
    Seen.COVER_OFF: Words(en="the cover taken off", es="la cubierta quitada"),
    Seen.FULL_SUN: Words(en="full sun", es="pleno sol"),
    Seen.COUNTED: Words(en="plants counted alive and dead", es="plantas contadas, vivas y muertas"),
}

_MONTHS_EN = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
_MONTHS_ES = (
    *("enero", "febrero", "marzo", "abril", "mayo", "junio", "julio"),
    *("agosto", "septiembre", "octubre", "noviembre", "diciembre"),
)


def _en(day: date) -> str:
    """Return a day as people say it; none of these lies a year away."""
    return f"{day.day} {_MONTHS_EN[day.month - 1]}"


def _es(day: date) -> str:
    return f"{day.day} de {_MONTHS_ES[day.month - 1]}"


def percent(share: float) -> str:
    """Return a share as a whole percentage, rounded down so that it never says too much.

    >>> percent(0.4999)
    '49 %'
    """
    return f"{int(share * 100 + 1e-6)} %"


def look_for_growth(last: date | None) -> Words:
    """Say that new growth is to be looked for, and by when it should be there."""
    return (
        Words(
            en=f"Look for new growth; write down the day. None by {_en(last)}: look at the unions.",
            es="Busque brotes nuevos y anote el día. "
            f"Si no hay el {_es(last)}, revise las uniones.",
        )
        if last is not None
        else Words(en="Look for new growth.", es="Busque brotes nuevos.")
    )


def declare(stage: Stage, why: Words) -> Words:
    """Say that a person may move the stage, and because of what."""
    return Words(
        en=f"Move the batch to {STAGE_EN[stage]}: {why.en}.",
        es=f"Pase el lote a «{STAGE_ES[stage]}»: {why.es}.",
    )


GROWTH_SEEN = Words(en="new growth has been seen", es="ya hay brotes nuevos")
COVER_OPEN = Words(en="its cover has been opened", es="la cubierta ya está abierta")
STEADY_BARE = Words(
    en="off its cover and steady under ordinary care",
    es="sin cubierta y firme con el cuidado normal",
)
STEADY_FIRM = Words(
    en="its new growth is firm and the union has grown together",
    es="los brotes están firmes y la unión ha soldado",
)
STEADY_IN_SUN = Words(en="steady in full sun", es="firme a pleno sol")
COVER_BACK = Words(en="its cover is back on", es="tiene otra vez la cubierta")


def open_cover(share: float) -> Words:
    """Say how far to open the cover."""
    return Words(
        en=f"Open the cover to about {percent(share)}, towards evening. Look for droop next day.",
        es=f"Abra la cubierta un {percent(share)}, al atardecer. Mire al otro día si hay caída.",
    )


TAKE_COVER_OFF = Words(
    en="Take the cover off towards evening. Same shade, ordinary watering.",
    es="Quite la cubierta al atardecer. La misma sombra, riego normal.",
)


def raise_light(share: float) -> Words:
    """Say how much of open-sky light to give next."""
    return Words(
        en=f"Lessen the shade to about {percent(share)} of open-sky light. Water first.",
        es=f"Deje pasar cerca del {percent(share)} de la luz a cielo abierto. Riegue antes.",
    )


FULL_SUN = Words(
    en="Move to full sun, on a cloudy day or towards evening. Water first.",
    es="Pase a pleno sol, en día nublado o al atardecer. Riegue antes.",
)
CLOSE_COVER = Words(
    en="It droops. Close the cover, mist inside, keep it shaded.",
    es="Hay hojas caídas. Cierre la cubierta, rocíe por dentro y dé sombra.",
)


def cover_back_on(share: float) -> Words:
    """Say how far back to close the cover after a droop."""
    return Words(
        en=f"It droops. Put the cover back, open to about {percent(share)}, and shade it.",
        es=f"Hay hojas caídas. Ponga la cubierta, abierta un {percent(share)}, y dé sombra.",
    )


def lower_light(share: float) -> Words:
    """Say how much shade to put back after a droop."""
    return Words(
        en=f"It droops. Put shade back, to about {percent(share)} of open-sky light, and water.",
        es=f"Hay hojas caídas. Ponga sombra, hasta el {percent(share)} de la luz, y riegue.",
    )


def sun_under_cover(most: float) -> Words:
    """Say why a covered batch gets no more light."""
    return Words(
        en=f"a cover in strong light cooks what is under it; at most {percent(most)} of open-sky "
        "light while covered",
        es="una cubierta a plena luz cuece lo que tapa; cubierto, a lo más el "
        f"{percent(most)} de la luz a cielo abierto",
    )


SHADE_UNTIL_OFF = Words(
    en="Keep it shaded until the cover is off.", es="Déjelo en sombra hasta quitar la cubierta."
)
NO_GROWTH_YET = Words(
    en="no new growth has been seen, so nothing shows that the union works",
    es="no se han visto brotes nuevos: nada muestra que la unión trabaje",
)
WAIT_FOR_GROWTH = Words(
    en="Leave cover and shade as they are and look for new growth.",
    es="Deje cubierta y sombra como están y busque brotes nuevos.",
)
NEVER_OPENED = Words(
    en="the cover has not been opened in steps", es="la cubierta no se ha abierto por pasos"
)
OPEN_IN_STEPS = Words(en="Open it a little first.", es="Ábrala primero un poco.")


def too_soon(earliest: date) -> Words:
    """Say from when a step of easing would fit the plan."""
    return Words(
        en=f"sooner than the plan has it: from {_en(earliest)}",
        es=f"antes de lo que dice el plan: desde el {_es(earliest)}",
    )


def too_far(share: float) -> Words:
    """Say how far the cover would be opened at the next step."""
    return Words(
        en=f"more than one step of the plan, which has {percent(share)} next",
        es=f"más de un paso del plan, que sigue con {percent(share)}",
    )


def light_step(now: float, most: float) -> Words:
    """Say how much light may follow on what it has now."""
    return Words(
        en=f"from {percent(now)} of open-sky light the next step is at most {percent(most)}",
        es=f"desde el {percent(now)} de la luz, el paso que sigue es a lo más {percent(most)}",
    )


def give_at_most(most: float) -> Words:
    """Say what to give instead of too large a step."""
    return Words(
        en=f"Give {percent(most)} now and the next step later.",
        es=f"Dé ahora {percent(most)} y lo demás después.",
    )


def not_before(day: date) -> Words:
    """Say until when to wait."""
    return Words(en=f"Wait until {_en(day)}.", es=f"Espere hasta el {_es(day)}.")


def light_again(earliest: date) -> Words:
    """Say why light is not raised again yet."""
    return Words(
        en=f"leaves need some days to get used to the last step; next from {_en(earliest)}",
        es="las hojas tardan días en acostumbrarse al último paso; "
        f"el otro, desde el {_es(earliest)}",
    )


def before_union(day: date) -> Words:
    """Say when stock and scion are counted as one."""
    return Words(
        en=f"the union is not counted on before {_en(day)}; "
        "until then the shoots live on stored water",
        es=f"no se cuenta con la unión antes del {_es(day)}; los brotes viven del agua guardada",
    )


def film_holds(day: date) -> Words:
    """Say from when the union holds without its wrap."""
    return Words(
        en=f"the wrap holds and closes the union, which is not counted on before {_en(day)}",
        es=f"la cinta sujeta y cierra la unión, con la que no se cuenta antes del {_es(day)}",
    )


def drooped(day: date, until: date) -> Words:
    """Say that a droop holds everything."""
    return Words(
        en=f"it drooped on {_en(day)}; nothing goes on before {_en(until)}, "
        "and then only if it stays up",
        es=f"tuvo hojas caídas el {_es(day)}; nada avanza antes del {_es(until)}, "
        "y sólo si sigue firme",
    )


def film_on(days: int) -> Words:
    """Say how long the film has been on."""
    return Words(
        en=f"film or tape has been on for {days} days and may be strangling the stem",
        es=f"la cinta lleva {days} días puesta y puede estar ahorcando el tallo",
    )


TAKE_FILM_OFF = Words(
    en="Slit it on the side away from the graft, take it off, and look for a groove.",
    es="Córtela del lado contrario al injerto, quítela y vea si dejó marca.",
)


def nothing_seen(needs: tuple[Seen, ...]) -> Words:
    """Say what must be written down before a batch may be moved."""
    en = " or ".join(SEEN[seen].en for seen in needs)
    es = " ni ".join(SEEN[seen].es for seen in needs)
    return Words(
        en=f"nobody has written down {en}, on which the move rests",
        es=f"nadie ha anotado {es}, y el cambio se apoya en eso",
    )


WRITE_IT_DOWN = Words(
    en="Look, and write down what you see; then move it.",
    es="Mire y anote lo que ve; luego páselo.",
)


def skipped(stage: Stage) -> Words:
    """Say which stage would be left out."""
    return Words(en=f"{STAGE_EN[stage]} would be left out", es=f"se saltaría «{STAGE_ES[stage]}»")


def move_first(stage: Stage) -> Words:
    """Say which stage comes first."""
    return Words(
        en=f"Go through {STAGE_EN[stage]} first.", es=f"Pase primero por «{STAGE_ES[stage]}»."
    )


COVER_IN_THE_OPEN = Words(en="it still has its cover on", es="todavía tiene la cubierta puesta")
COVER_OFF_FIRST = Words(en="Take the cover off first.", es="Quite primero la cubierta.")
ENDED = Words(en="it has ended", es="ya terminó")
NEW_BATCH = Words(
    en="Plants that go on after all are a new batch.", es="Si siguen, son un lote nuevo."
)
NO_REASON = Words(en="going back needs its reason", es="para volver atrás hace falta el motivo")
SAY_WHY = Words(en="Write down why.", es="Anote por qué.")
HOUSE_TOO_BRIGHT = Words(
    en="Add shade, or move it to a darker house.", es="Ponga sombra o páselo a una casa más oscura."
)
