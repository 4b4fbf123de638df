"""The pages' texts by language, and which language a request is answered in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.web.words.en import English
from api.web.words.es import Spanish

if TYPE_CHECKING:
    from collections.abc import Mapping

LANGUAGES: Mapping[str, English] = {"en": English(), "es": Spanish()}


def chosen_words(*, asked: str | None, kept: str | None, accepts: str) -> English:
    """Return the words of the language asked for, else kept on the device, else accepted.

    `accepts` is an Accept-Language header; English when it names no language of ours.

    >>> chosen_words(asked=None, kept=None, accepts="fr;q=0.9, es-MX;q=0.8, en;q=0.2").code
    'es'
    """
    for code in (asked, kept):
        if code is not None and code in LANGUAGES:
            return LANGUAGES[code]
    wishes: list[tuple[float, str]] = []
    for part in accepts.split(","):
        name, _, weight = part.strip().partition(";q=")
        try:
            wishes.append((float(weight or "1"), name.split("-")[0].lower()))
        except ValueError:
            continue
    for _, code in sorted(wishes, key=lambda wish: -wish[0]):
        if code in LANGUAGES:
            return LANGUAGES[code]
    return LANGUAGES["en"]
