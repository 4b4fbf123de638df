"""The texts about labels to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class LabelWords:
    """The texts of one language. Names in braces are filled in."""

    labels: str
    answer: str
    none_to_print: str
    hint: str
    sheet: str
    sheets: Mapping[str, str]
    first_place: str
    first_place_hint: str
    copies: str
    print_them: str
    print_one: str
    on_stock: str
    plants: str


ENGLISH = LabelWords(
    labels="Labels",
    answer="Which batches need a label?",
    none_to_print="No batch stands in the house.",
    hint="Each label has a square code: a phone that reads it opens the page of the batch. Print "
    "at full size, without fitting to the page. Pencil or print outlasts a pen in the damp.",
    sheet="Labels on the sheet",
    sheets={
        "a4-24": "A4, 24 labels of 70 × 37 mm",
        "a4-21": "A4, 21 labels of 64 × 38 mm",
        "a4-8": "A4, 8 labels of 99 × 67 mm",
        "letter-30": "Letter, 30 labels of 67 × 25 mm",
        "letter-10": "Letter, 10 labels of 102 × 51 mm",
        "tape-18": "Tape 18 mm wide",
        "tape-24": "Tape 24 mm wide",
        "tape-36": "Tape 36 mm wide",
    },
    first_place="First free label on the sheet",
    first_place_hint="1 is top left; count along the rows.",
    copies="Of each",
    print_them="Make the PDF",
    print_one="Print its label",
    on_stock="on {rootstock}",
    plants="{count} plants, {grafter}",
)

SPANISH = LabelWords(
    labels="Etiquetas",
    answer="¿Qué lotes necesitan etiqueta?",
    none_to_print="No hay ningún lote en la casa.",
    hint="Cada etiqueta lleva un código cuadrado: un teléfono que lo lee abre la página del lote. "
    "Imprima a tamaño real, sin ajustar a la página. El lápiz o lo impreso dura más que la tinta "
    "con la humedad.",
    sheet="Etiquetas de la hoja",
    sheets={
        "a4-24": "A4, 24 etiquetas de 70 × 37 mm",
        "a4-21": "A4, 21 etiquetas de 64 × 38 mm",
        "a4-8": "A4, 8 etiquetas de 99 × 67 mm",
        "letter-30": "Carta, 30 etiquetas de 67 × 25 mm",
        "letter-10": "Carta, 10 etiquetas de 102 × 51 mm",
        "tape-18": "Cinta de 18 mm",
        "tape-24": "Cinta de 24 mm",
        "tape-36": "Cinta de 36 mm",
    },
    first_place="Primera etiqueta libre de la hoja",
    first_place_hint="La 1 está arriba a la izquierda; cuente por filas.",
    copies="De cada una",
    print_them="Hacer el PDF",
    print_one="Imprimir su etiqueta",
    on_stock="sobre {rootstock}",
    plants="{count} plantas, {grafter}",
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def label_words(code: str) -> LabelWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
