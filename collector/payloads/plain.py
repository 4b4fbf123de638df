"""One number a message, on a topic of its own for each channel."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from collector.payloads.mapped_json import not_a_number
from collector.payloads.mapping import Decoded, Sample, in_declared_unit

if TYPE_CHECKING:
    from collector.payloads.mapping import ChannelMapping, SensorMapping

_LONGEST = 100
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?", re.ASCII)
_NOT_FINITE = {"nan": float("nan"), "inf": float("inf"), "-inf": float("-inf")}


class PlainNumber:
    """Reads the topic of one channel."""

    def __init__(self, mapping: SensorMapping, channel: ChannelMapping) -> None:
        self._mapping = mapping
        self._channel = channel

    @property
    def sensors(self) -> tuple[SensorMapping, ...]:
        """The one sensor."""
        return (self._mapping,)

    def read(self, payload: bytes) -> Decoded:
        """Return the number, or the refusal of anything else. Blanks around it do no harm."""
        number = number_in(payload)
        if number is None:
            text = payload[:_LONGEST].decode("utf-8", errors="backslashreplace").strip()
            return Decoded((), (not_a_number(self._mapping, self._channel, text),))
        value = in_declared_unit(self._channel, number)
        return Decoded((Sample(self._mapping, None, ((self._channel, value),)),), ())


def number_in(payload: bytes) -> float | None:
    """Return the one number that a payload is, NaN and infinities too; None if it is none.

    >>> number_in(b" 21.5 "), number_in(b"21,5"), number_in(b"1_000")
    (21.5, None, None)
    """
    if len(payload) > _LONGEST:
        return None
    try:
        text = payload.decode("ascii").strip()
    except UnicodeDecodeError:
        return None
    if _NUMBER.fullmatch(text):
        return float(text)
    return _NOT_FINITE.get(text.lower())
