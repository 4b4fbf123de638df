"""What a channel reads held against what was true, from an instant on; applied, never kept.

A calibration is written in the unit the sensor *declares*, as its raw values are: a technician
writes down what the device showed and what was true beside it, in the figures of the device.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Self

from pydantic import AwareDatetime, Field, model_validator

from rules.model.quantities import MEANINGS, Quantity
from rules.model.written import Written

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

LEAST_GAIN, MOST_GAIN = 0.5, 2.0
"""A sensor that needs more than this is broken, or declares a wrong unit; house rule."""


@dataclass(frozen=True, slots=True)
class Sane:
    """What a calibration of a quantity may do, in the unit the quantity is kept in; house rules.

    `most_off` is the most by which it may move a value, held against it where the values in `at`
    are read. `least_apart` is how far apart the raw values of two points must lie.
    """

    at: tuple[float, ...]
    most_off: float
    least_apart: float


# No published figure says when a correction is absurd. The ones for air leave room for several
# years of the drift that outdoor tests report; light is held at darkness only, its gain by itself.
SANE: Mapping[Quantity, Sane] = MappingProxyType(
    {
        Quantity.AIR_TEMPERATURE: Sane(at=(0.0, 40.0), most_off=5.0, least_apart=10.0),
        Quantity.LEAF_TEMPERATURE: Sane(at=(0.0, 40.0), most_off=5.0, least_apart=10.0),
        Quantity.RELATIVE_HUMIDITY: Sane(at=(20.0, 100.0), most_off=15.0, least_apart=15.0),
        Quantity.PPFD: Sane(at=(0.0,), most_off=50.0, least_apart=100.0),
        Quantity.ILLUMINANCE: Sane(at=(0.0,), most_off=2_700.0, least_apart=5_400.0),
        Quantity.IRRADIANCE: Sane(at=(0.0,), most_off=25.0, least_apart=50.0),
        Quantity.AIR_SPEED: Sane(at=(0.0,), most_off=1.0, least_apart=1.0),
        Quantity.SUBSTRATE_MOISTURE: Sane(at=(0.0, 100.0), most_off=40.0, least_apart=10.0),
        Quantity.BATTERY: Sane(at=(0.0,), most_off=1.0, least_apart=1.0),
    }
)


class CalibrationPoint(Written):
    """What the device showed, and what was true at that moment, both in its declared unit."""

    raw: float = Field(allow_inf_nan=False)
    true: float = Field(allow_inf_nan=False)


class Calibration(Written):
    """How raw values of one channel are put right from `since` on: true = raw × gain + offset.

    Either `offset`, `gain` or both, or two points (`point`), all in the unit the sensor declares.
    It holds until the next one begins. After `expires` it goes on being applied, for a stale
    correction beats none, but the channel is out of calibration.
    """

    since: AwareDatetime
    expires: AwareDatetime | None = None
    offset: float | None = Field(default=None, allow_inf_nan=False)
    gain: float | None = Field(default=None, allow_inf_nan=False)
    point: tuple[CalibrationPoint, ...] = ()
    by: str = ""
    note: str = ""

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        if self.expires is not None and self.expires <= self.since:
            msg = "expires: must be later than since; correct one of the two"
            raise ValueError(msg)
        line = self.offset is not None or self.gain is not None
        if line == bool(self.point):
            msg = "write either offset and gain (one of them will do), or two points; keep one form"
            raise ValueError(msg)
        if self.point and len(self.point) != 2:
            msg = (
                f"point: two of them make a line, and here {len(self.point)} stand; "
                "for a single check write offset = true - raw"
            )
            raise ValueError(msg)
        if self.point and self.point[0].raw == self.point[1].raw:
            msg = (
                "point: both show the same raw value; check at a second value well away from it, "
                "or write offset = true - raw"
            )
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _sane_gain(self) -> Self:
        gain, _ = self.line()
        if not LEAST_GAIN <= gain <= MOST_GAIN:
            where = "gain" if not self.point else "point"
            msg = (
                f"{where}: multiplies what the sensor says by {gain:.3g}, and no working sensor "
                f"needs less than {LEAST_GAIN:g} or more than {MOST_GAIN:g}; look at the unit "
                "and the figures, or replace the sensor"
            )
            raise ValueError(msg)
        return self

    def line(self) -> tuple[float, float]:
        """Return gain and offset, the offset in the unit the sensor declares.

        >>> from datetime import UTC, datetime
        >>> jars = [{"raw": 35.0, "true": 33.0}, {"raw": 75.0, "true": 75.0}]
        >>> Calibration(since=datetime(2026, 1, 1, tzinfo=UTC), point=jars).line()
        (1.05, -3.75)
        """
        if self.point:
            one, other = self.point
            gain = (other.true - one.true) / (other.raw - one.raw)
            return gain, one.true - gain * one.raw
        gain = 1.0 if self.gain is None else self.gain
        return gain, 0.0 if self.offset is None else self.offset

    def is_out(self, at: datetime) -> bool:
        """Return whether it has expired at the aware instant, if in force then."""
        return self.expires is not None and at >= self.expires


def absurdity_of(calibration: Calibration, quantity: Quantity, unit: str) -> str | None:
    """Return what is absurd about a calibration of a quantity declared in `unit`, with a remedy.

    `unit` must be a key of MEANINGS[quantity].units, else KeyError. None if nothing is absurd.
    """
    sane, meaning = SANE[quantity], MEANINGS[quantity]
    scale, shift = meaning.units[unit].scale, meaning.units[unit].offset
    since = calibration.since.isoformat()
    if calibration.point:
        apart = abs(calibration.point[1].raw - calibration.point[0].raw) * scale
        if apart < sane.least_apart:
            return (
                f"the points of the one since {since} lie {apart:.3g} {meaning.shown} apart, and a "
                f"line through them means little; take points {sane.least_apart:g} "
                f"{meaning.shown} apart or more, or write one offset"
            )
    gain, offset = calibration.line()
    for ours in sane.at:
        raw = (ours - shift) / scale
        moved = (gain * raw + offset - raw) * scale
        if abs(moved) > sane.most_off:
            return (
                f"the one since {since} makes {ours + moved:.3g} of {ours:g} {meaning.shown}, and "
                f"more than {sane.most_off:g} off is no matter of calibration; look at the "
                "figures, or replace the sensor"
            )
    return None


def in_force(calibrations: Sequence[Calibration], at: datetime) -> Calibration | None:
    """Return the calibration last begun at the aware instant; None before the first."""
    begun = [one for one in calibrations if one.since <= at]
    return max(begun, key=lambda one: one.since) if begun else None
