"""Units that do not fit their values: a column that is said to be in °C and reads like °F."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from rules.model.quantities import MEANINGS, Quantity, in_our_unit

_Q = Quantity


class Usual(NamedTuple):
    """Where the middle value of a stretch lies wherever plants are grown, in our unit.

    Beyond `low` and `high` the unit is doubted, if another one leads to between `sure_low` and
    `sure_high`. Common practice, no source.
    """

    low: float
    high: float
    sure_low: float
    sure_high: float


_BY_NIGHT: Mapping[Quantity, Usual] = MappingProxyType(
    {
        _Q.AIR_TEMPERATURE: Usual(-3.0, 40.0, 0.0, 45.0),
        _Q.LEAF_TEMPERATURE: Usual(-3.0, 40.0, 0.0, 45.0),
    }
)
_BY_DAY: Mapping[Quantity, Usual] = MappingProxyType(
    {
        _Q.AIR_TEMPERATURE: Usual(-3.0, 52.0, 0.0, 45.0),
        _Q.LEAF_TEMPERATURE: Usual(-3.0, 60.0, 0.0, 45.0),
        _Q.RELATIVE_HUMIDITY: Usual(2.0, 106.0, 15.0, 105.0),
        _Q.SUBSTRATE_MOISTURE: Usual(1.0, 101.0, 3.0, 100.0),
        _Q.BATTERY: Usual(0.5, 60.0, 1.0, 30.0),
        _Q.AIR_SPEED: Usual(0.0, 40.0, 0.0, 15.0),
    }
)
_FEWEST = 5


def likelier_unit(
    quantity: Quantity, unit: str, *, night: Sequence[float], every: Sequence[float]
) -> str | None:
    """Return the unit that values fit better than the one they are said to be in; None if fine.

    `night` are those read at night, when no sun excuses heat. Values are as written in the file.

    >>> likelier_unit(Quantity.AIR_TEMPERATURE, "degC", night=[61.0, 63.5] * 9, every=[75.0] * 20)
    'degF'
    """
    if len(night) >= _FEWEST and quantity in _BY_NIGHT:
        usual, values = _BY_NIGHT[quantity], night
    elif every and quantity in _BY_DAY:
        usual, values = _BY_DAY[quantity], every
    else:
        return None
    middle = sorted(values)[len(values) // 2]
    if usual.low <= in_our_unit(quantity, unit, middle) <= usual.high:
        return None
    for other in MEANINGS[quantity].units:
        if (
            other != unit
            and usual.sure_low <= in_our_unit(quantity, other, middle) <= usual.sure_high
        ):
            return other
    return None
