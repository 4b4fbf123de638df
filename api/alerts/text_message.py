"""What goes out by a way that takes one short text and no subject: the line, and one link.

Text messages have an alphabet of their own, the 7-bit one of 3GPP TS 23.038 (GSM 03.38). One letter
outside of it, such as the degree sign, and only 70 of 160 characters fit, in place of one message
come three, or the gateway refuses. So what has a plain form is written in it.
"""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from api.alerts.message import MessageText

ONE = 160
"""Septets in one text message."""

TWO = 2 * 153
"""Septets in two that the telephone shows as one."""

_BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_TWICE = frozenset("\f^{}\\[~]|€")
_PLAIN = {
    "°": "",
    "µ": "u",
    "·": ".",
    "…": "...",
    "–": "-",
    "—": "-",
    "⁻": "-",
    "−": "-",
    "\u2019": "'",
    "\u2018": "'",
    "“": '"',
    "”": '"',
    "\u00a0": " ",
}
_SLACK = 20
"""Some gateways leave room for a header of their own."""

_LINK = re.compile(r"https?://\S+/answer/\S+")


def short_form(text: MessageText, *, most: int) -> str:
    """Return the line and the link under which to answer, for a way that takes `most` characters.

    What is declared as fewer than 160 is a pager: the line alone, cut. Where both do not fit two
    text messages, as the link to a great many alarms, the line goes alone.
    """
    line = plain(text.line)
    if most < ONE - _SLACK:
        return line[:most].rstrip()
    line = _in_one(line)
    found = _LINK.search(text.body)
    whole = line if found is None else f"{line}\n{found.group()}"
    return whole if septets(whole) <= TWO else line


def plain(text: str) -> str:
    """Return a text in the alphabet of text messages, as far as its characters have a plain form.

    >>> plain("casa 2: 38,5 °C en el túnel"), plain("1439 µmol m⁻² s⁻¹")
    ('casa 2: 38,5 C en el tunel', '1439 umol m-2 s-1')
    """
    return "".join(_plainly(one) for one in text)


def septets(text: str) -> int:
    """Return how much of a text message a text takes; one outside the alphabet is counted as two.

    >>> septets("71 %"), septets("~")
    (4, 2)
    """
    return sum(1 if one in _BASIC else 2 for one in text)


def _plainly(one: str) -> str:
    if one in _BASIC or one in _TWICE:
        return one
    if one in _PLAIN:
        return _PLAIN[one]
    parts = unicodedata.normalize("NFKD", one)
    bare = "".join(part for part in parts if not unicodedata.combining(part))
    return bare if bare and all(part in _BASIC for part in bare) else one


def _in_one(line: str) -> str:
    if septets(line) <= ONE:
        return line
    kept = line
    while septets(kept) > ONE - 3:
        kept = kept[:-1]
    return f"{kept.rsplit(' ', 1)[0]}..."
