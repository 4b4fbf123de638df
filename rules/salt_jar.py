"""Salt jars: what a humidity sensor should read over a saturated salt, and what to make of it.

A closed jar with a wet heap of one of these salts holds its air at a known humidity. `judge_jar`
takes what the sensor said in one and gives a point, or says why not yet; `propose` makes of one or
two points the calibration to write down, with its uncertainty, or refuses.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.air import saturation_vapour_pressure_kpa
from rules.domain import Figure, admitted, as_given
from rules.model.calibration import (
    LEAST_GAIN,
    MOST_GAIN,
    SANE,
    Calibration,
    CalibrationPoint,
    absurdity_of,
)
from rules.model.quantities import MEANINGS, Quantity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Floats = NDArray[np.float64]

_HUMIDITY = Quantity.RELATIVE_HUMIDITY
_ANY = datetime(1970, 1, 1, tzinfo=UTC)


class Salt(StrEnum):
    """A salt whose saturated solution is a fixed point of humidity."""

    LITHIUM_CHLORIDE = "lithium_chloride"
    MAGNESIUM_CHLORIDE = "magnesium_chloride"
    SODIUM_CHLORIDE = "sodium_chloride"
    POTASSIUM_CHLORIDE = "potassium_chloride"
    POTASSIUM_SULFATE = "potassium_sulfate"


COLDEST_C, WARMEST_C = 10.0, 40.0
"""Where the fixed points are used here; Greenspan gives more."""

_KNOTS_C = np.array([10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0])


@dataclass(frozen=True, slots=True)
class _Fixed:
    """Coefficients of rising powers of °C, and the printed uncertainty at each knot, in %RH."""

    powers: tuple[float, ...]
    uncertain: tuple[float, ...]


# Greenspan 1977, J. Res. NBS 81A:89-96. Coefficients as programs transcribe them; the sign of the
# second of lithium chloride is the one that gives his table. Uncertainties from memory of it.
_FIXED: Mapping[Salt, _Fixed] = MappingProxyType(
    {
        Salt.LITHIUM_CHLORIDE: _Fixed(
            (11.2323, 0.00824245, -0.214890e-3), (0.41, 0.35, 0.31, 0.27, 0.24, 0.22, 0.21)
        ),
        Salt.MAGNESIUM_CHLORIDE: _Fixed(
            (33.6686, -0.00797397, -0.108988e-2), (0.24, 0.21, 0.18, 0.16, 0.14, 0.13, 0.13)
        ),
        Salt.SODIUM_CHLORIDE: _Fixed(
            (75.5164, 0.0398321, -0.265459e-2, 0.2848e-4),
            (0.22, 0.18, 0.14, 0.12, 0.11, 0.12, 0.13),
        ),
        Salt.POTASSIUM_CHLORIDE: _Fixed(
            (88.6190, -0.193340, 0.899706e-3), (0.39, 0.33, 0.29, 0.26, 0.25, 0.25, 0.25)
        ),
        Salt.POTASSIUM_SULFATE: _Fixed(
            (98.7792, -0.0590502), (0.76, 0.63, 0.53, 0.45, 0.40, 0.38, 0.38)
        ),
    }
)

IN_THE_JAR_MIN = 60
"""Padfield's notes on saturated salts: an hour for a bulky instrument, 20 min for a small one."""

STEADY_MIN = 30
EARLIER_MIN = 15
LEAST_READINGS = 4
STEADY_PCT = 0.5
MOVES_PCT = 0.2
STEADY_C = 0.5
"""Steady: no more than STEADY_PCT between all of the last STEADY_MIN, whose mean lies within
MOVES_PCT of that of EARLIER_MIN before them, while the jar kept to STEADY_C. House rules."""

PREPARED_PCT = 1.0
"""What a jar prepared with care at a nursery may be off; house rule. Poorly prepared ones are off
by more than 5 % (Carotenuto & Dell'Isola 1996)."""

APART_C = 0.2
"""What sensor and solution may differ by in an even place; house rule."""

TOO_FAR_PCT = 10.0
"""Further off than this is a wrong salt, a dry or flooded jar or a broken sensor; house rule."""


@dataclass(frozen=True, slots=True)
class JarRecord:
    """What a sensor said in one jar: minutes since the lid was closed, in order, and raw %RH.

    `temperature_c` is that of the jar at the end, `temperature_moved_c` by how much it moved in
    the last STEADY_MIN.
    """

    salt: Salt
    temperature_c: float
    temperature_moved_c: float
    minutes: tuple[float, ...]
    humidity_pct: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class JarPoint:
    """One steady jar: what was true, what the sensor said, and how sure the difference is, %RH."""

    salt: Salt
    temperature_c: float
    true_pct: float
    raw_pct: float
    uncertainty_pct: float


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why no calibration is proposed, and what to do instead."""

    problem: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """A calibration in %RH: an offset, or the line through two points where that is None.

    `within` when there is nothing to correct: then the offset is 0, and says it was checked.
    """

    points: tuple[JarPoint, ...]
    offset_pct: float | None
    within: bool


def fixed_point_pct(salt: Salt, temperature_c: Figure) -> Figure:
    r"""Return the relative humidity over a saturated solution, in %.

    .. math:: RH = \sum_i a_i T^i

    temperature_c: 10 to 40 °C, else ValueError. Source: Greenspan 1977, J. Res. NBS 81A:89-96.

    >>> round(fixed_point_pct(Salt.SODIUM_CHLORIDE, 25.0), 2)
    75.3
    """
    return as_given(_humidity(salt, _temperature(temperature_c)), temperature_c)


def fixed_point_uncertainty_pct(salt: Salt, temperature_c: Figure) -> Figure:
    """Return how well the fixed point is known, in %RH, by a line between the printed ones.

    temperature_c: 10 to 40 °C, else ValueError. Source: Greenspan 1977, from memory.

    >>> round(fixed_point_uncertainty_pct(Salt.POTASSIUM_SULFATE, 25.0), 2)
    0.45
    """
    at = _temperature(temperature_c)
    known = np.interp(at, _KNOTS_C, np.array(_FIXED[salt].uncertain))
    return as_given(known, temperature_c)


def judge_jar(record: JarRecord) -> JarPoint | Refusal:
    """Return the point a jar gives, or why it gives none: not settled, or not this salt.

    ValueError for a temperature outside 10 to 40 °C.
    """
    unsettled = _unsettled(record)
    if unsettled is not None:
        return unsettled
    minutes, humidity = np.array(record.minutes), np.array(record.humidity_pct)
    last = humidity[minutes >= minutes[-1] - STEADY_MIN]
    raw = float(last.mean())
    true = fixed_point_pct(record.salt, record.temperature_c)
    strange = _strange(record.salt, record.temperature_c, raw=raw, true=true)
    if strange is not None:
        return strange
    spread = float(last.max() - last.min()) / 2.0
    return JarPoint(
        salt=record.salt,
        temperature_c=record.temperature_c,
        true_pct=true,
        raw_pct=raw,
        uncertainty_pct=_uncertainty(record.salt, record.temperature_c, spread=spread),
    )


def propose(points: Sequence[JarPoint]) -> Proposal | Refusal:
    """Return the calibration that one or two points ask for, or why they ask for none.

    A difference that lies within its uncertainty is not corrected: the sensor is right as far as
    jars can tell. Two points make a line; one makes an offset.
    """
    if not 1 <= len(points) <= 2:
        return Refusal(
            f"{len(points)} jars, and a calibration goes through one or two",
            "Take the two on either side of the humidity that matters",
        )
    within = all(abs(one.true_pct - one.raw_pct) <= one.uncertainty_pct for one in points)
    if len(points) == 1:
        (one,) = points
        offset = 0.0 if within else one.true_pct - one.raw_pct
        return Proposal((one,), offset, within)
    one, other = sorted(points, key=lambda point: point.raw_pct)
    least = SANE[_HUMIDITY].least_apart
    if other.raw_pct - one.raw_pct < least:
        return Refusal(
            f"the two jars read {one.raw_pct:.1f} and {other.raw_pct:.1f} %, too close for a line",
            f"Use two salts that lie {least:g} % apart or more, or one jar alone",
        )
    gain = (other.true_pct - one.true_pct) / (other.raw_pct - one.raw_pct)
    if not LEAST_GAIN <= gain <= MOST_GAIN:
        return Refusal(
            f"the line through both multiplies by {gain:.2f}, as no working sensor needs",
            "Look whether the jars were mixed up; else replace the sensor",
        )
    proposal = Proposal((one, other), 0.0 if within else None, within)
    absurd = absurdity_of(calibration_of(proposal, "%RH", since=_ANY), _HUMIDITY, "%RH")
    if absurd is not None:
        return Refusal(
            "the line through both is absurd away from the jars",
            "Take two jars further apart, or one jar alone; else replace the sensor",
        )
    return proposal


def calibration_of(
    proposal: Proposal, unit: str, *, since: datetime, expires: datetime | None = None
) -> Calibration:
    """Return a proposal as it is written in a site file, in the unit the sensor declares.

    Figures are rounded to a hundredth of 1 %. `unit` is one of relative humidity, else KeyError.
    """
    scale = MEANINGS[_HUMIDITY].units[unit].scale
    if proposal.offset_pct is not None:
        offset = round(proposal.offset_pct, 2) / scale
        return Calibration(since=since, expires=expires, offset=round(offset, 6))
    points = tuple(
        CalibrationPoint(
            raw=round(round(one.raw_pct, 2) / scale, 6),
            true=round(round(one.true_pct, 2) / scale, 6),
        )
        for one in proposal.points
    )
    return Calibration(since=since, expires=expires, point=points)


def _unsettled(record: JarRecord) -> Refusal | None:
    minutes, humidity = np.array(record.minutes), np.array(record.humidity_pct)
    if minutes.size == 0 or minutes[-1] < IN_THE_JAR_MIN:
        been = 0.0 if minutes.size == 0 else float(minutes[-1])
        return Refusal(
            f"the sensor has been in the jar for {been:.0f} min",
            f"Leave it in, lid closed, for {IN_THE_JAR_MIN} min at least",
        )
    end = float(minutes[-1])
    last = humidity[minutes >= end - STEADY_MIN]
    begin = end - STEADY_MIN
    earlier = humidity[(minutes >= begin - EARLIER_MIN) & (minutes < begin)]
    if last.size < LEAST_READINGS or earlier.size == 0:
        return Refusal(
            f"only {last.size} readings in the last {STEADY_MIN} min and {earlier.size} in the "
            f"{EARLIER_MIN} before",
            f"Take a reading every few minutes, {LEAST_READINGS} at least in the last "
            f"{STEADY_MIN} min, and some before",
        )
    between = float(last.max() - last.min())
    moved = abs(float(last.mean()) - float(earlier.mean()))
    if between > STEADY_PCT or moved > MOVES_PCT:
        return Refusal(
            f"not steady yet: {between:.2f} % between the readings of the last {STEADY_MIN} min, "
            f"and {moved:.2f} % from those before",
            "Leave the lid closed and wait; if it never settles, look for a leak",
        )
    if record.temperature_moved_c > STEADY_C:
        return Refusal(
            f"the jar's temperature moved by {record.temperature_moved_c:.1f} °C in the last "
            f"{STEADY_MIN} min",
            "Stand it in a box in a quiet room, out of sun and draught, and wait an hour",
        )
    return None


def _strange(salt: Salt, temperature_c: float, *, raw: float, true: float) -> Refusal | None:
    off = abs(raw - true)
    nearest = min(Salt, key=lambda one: abs(fixed_point_pct(one, temperature_c) - raw))
    if nearest is not salt and off > TOO_FAR_PCT / 2:
        return Refusal(
            f"it reads {raw:.1f} %, where {salt} gives {true:.1f} % and {nearest} "
            f"{fixed_point_pct(nearest, temperature_c):.1f} %",
            f"Look at the label: is it {nearest}? If not, make the jar anew",
        )
    if off > TOO_FAR_PCT:
        return Refusal(
            f"it reads {raw:.1f} %, {off:.1f} % off the {true:.1f} % of {salt}",
            "Look whether the salt is a wet heap and no puddle, and the lid tight; if it is, "
            "replace the sensor",
        )
    return None


def _uncertainty(salt: Salt, temperature_c: float, *, spread: float) -> float:
    """Root of the squares of: fixed point, jar, sensor and solution apart, readings apart."""
    known = fixed_point_uncertainty_pct(salt, temperature_c)
    true = fixed_point_pct(salt, temperature_c)
    warmer = saturation_vapour_pressure_kpa(temperature_c + APART_C)
    by_warmth = true * (warmer / saturation_vapour_pressure_kpa(temperature_c) - 1.0)
    parts = np.array([known, PREPARED_PCT, by_warmth, spread])
    return float(np.sqrt(np.sum(parts**2)))


def _temperature(temperature_c: float | Floats) -> Floats:
    return admitted(
        temperature_c, lowest=COLDEST_C, highest=WARMEST_C, name="jar temperature", unit="°C"
    )


def _humidity(salt: Salt, at: Floats) -> Floats:
    found = np.zeros_like(at)
    for power in reversed(_FIXED[salt].powers):
        found = found * at + power
    return found
