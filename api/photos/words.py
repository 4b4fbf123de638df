"""Why a photo was not kept, and what to do, for pages and for the API alike."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from api.photos.keeping import BadPhoto, HasPhoto, TooLateForPhoto
from api.photos.readying import MOST_BYTES, MOST_PIXELS, PhotoFault
from rules.model.words import Words

if TYPE_CHECKING:
    from collections.abc import Mapping

_MIB = MOST_BYTES // 1024 // 1024
_MILLIONS = MOST_PIXELS["JPEG"] // 1_000_000
_OTHERS = MOST_PIXELS["PNG"] // 1_000_000

FAULTS: Mapping[PhotoFault, Words] = MappingProxyType(
    {
        PhotoFault.EMPTY: Words(
            en="Choose a photo first: nothing came.", es="Elija antes una foto: no llegó nada."
        ),
        PhotoFault.TOO_LARGE: Words(
            en=f"Take it again at a smaller size: a photo may have at most {_MIB} MB.",
            es=f"Tómela de nuevo más pequeña: una foto puede tener hasta {_MIB} MB.",
        ),
        PhotoFault.NO_PHOTO: Words(
            en="Send a JPEG, PNG or WebP picture: this is none.",
            es="Envíe una imagen JPEG, PNG o WebP: esto no lo es.",
        ),
        PhotoFault.TOO_MANY_PIXELS: Words(
            en=f"Take it again at a smaller size: at most {_MILLIONS} million pixels as JPEG, "
            f"{_OTHERS} million as PNG or WebP.",
            es=f"Tómela de nuevo más pequeña: hasta {_MILLIONS} millones de píxeles en JPEG, "
            f"{_OTHERS} millones en PNG o WebP.",
        ),
        PhotoFault.UNREADABLE: Words(
            en="Send the photo once more, or take it again: part of it is missing or broken.",
            es="Envíe la foto otra vez o tómela de nuevo: le falta una parte o está dañada.",
        ),
    }
)
TOO_LATE = Words(
    en="Write it down anew and add the photo to that: this was taken back, or is over a day old.",
    es="Anótelo de nuevo y añada ahí la foto: esto se retiró, o tiene más de un día.",
)
HAS_PHOTO = Words(
    en="Write another remark for another photo: this has one already.",
    es="Anote otra observación para otra foto: esta ya tiene una.",
)
LEAD_ONLY = Words(
    en="Ask a lead: only a lead removes a photo.",
    es="Pídalo a quien dirige: solo quien dirige quita una foto.",
)


def why_not(trouble: BadPhoto | HasPhoto | TooLateForPhoto) -> Words:
    """Return what to do about a photo that was not kept, and why it was not."""
    if isinstance(trouble, BadPhoto):
        return FAULTS[trouble.fault]
    return HAS_PHOTO if isinstance(trouble, HasPhoto) else TOO_LATE
