"""The texts about photos on pages; why one was not kept says `api.photos.words`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PhotoWords:
    """The texts of one language. Names in braces are filled in."""

    add: str
    send: str
    hint: str
    going: str
    needs_network: str
    photo_of: str
    remove: str
    why: str
    remove_hint: str


ENGLISH = PhotoWords(
    add="Add a photo",
    send="Send the photo",
    hint="A photo needs the network and does not wait on this device. What you wrote down does.",
    going="The photo is being sent …",
    needs_network="No network: the photo was not sent. Try again later; what you wrote is safe.",
    photo_of="Photo: {what}",
    remove="Remove the photo",
    why="Why",
    remove_hint="The photo is wiped for good. Who added and who removed it stays on record.",
)

SPANISH = PhotoWords(
    add="Añadir una foto",
    send="Enviar la foto",
    hint="Una foto necesita red y no espera en este aparato. Lo que anotó sí espera.",
    going="La foto se está enviando …",
    needs_network="No hay red: la foto no se envió. Intente más tarde; lo anotado está a salvo.",
    photo_of="Foto: {what}",
    remove="Quitar la foto",
    why="Por qué",
    remove_hint="La foto se borra del todo. Quién la añadió y quién la quitó queda anotado.",
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def photo_words(code: str) -> PhotoWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
