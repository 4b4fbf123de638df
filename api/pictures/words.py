"""The few words in a picture that no message has: its hours, what its lines and shades mean."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PictureWords:
    """The words of one language. Names in braces are filled in."""

    noon: str
    midnight: str
    now: str
    added_up: str
    foot: str
    foot_ahead: str
    foot_ribbons: str
    many: str
    more: str
    judged_to: str


ENGLISH = PictureWords(
    noon="noon",
    midnight="midnight",
    now="now",
    added_up="{felt}, added up",
    foot="alarm at {time}. Grey: night. Gap: nothing seen.",
    foot_ahead="Expected in the next day. Grey: night.",
    foot_ribbons="Below the line: beyond a limit. Gap: nothing seen.",
    many="{place}: {count} batches",
    more="and {count} more",
    judged_to="noon to noon, until {time}",
)

SPANISH = PictureWords(
    noon="mediodía",
    midnight="medianoche",
    now="ahora",
    added_up="{felt}, suma",
    foot="alarma a las {time}. Gris: noche. Hueco: sin datos.",
    foot_ahead="Lo esperado en el próximo día. Gris: noche.",
    foot_ribbons="Bajo la línea: fuera de límite. Hueco: sin datos.",
    many="{place}: {count} lotes",
    more="y {count} más",
    judged_to="de mediodía a mediodía, hasta {time}",
)


def picture_words(language: str) -> PictureWords:
    """Return the words of a language: Spanish for "es", else English."""
    return SPANISH if language == "es" else ENGLISH
