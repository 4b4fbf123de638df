"""What no sensor tells, as the API says it: sums, the scion's water, the heat under a cover."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pydantic import AwareDatetime, BaseModel

from api.records.tables import instant
from rules.cover import SPAN_MIN, TooThin
from rules.cover_ahead import STEP_MIN, CoverAhead
from rules.model.dose import DOSE_SHOWN, DoseKind, Per
from rules.model.plan import Side, When
from rules.model.quantities import Felt
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from datetime import datetime

    from api.v1.foresight import CoverHeat, Shading, WaterAhead
    from rules.cover_watch import ExpectedPeak
    from rules.outlook import DoseNow, DryingNow, Likely
    from rules.reserve import Band


class BandBody(BaseModel):
    """A likely value, with the lowest and the highest that the plan's ranges allow."""

    low: float
    likely: float
    high: float


class DoseBody(BaseModel):
    """A sum beside its bound; null before the first judged cell.

    `unseen_min` minutes should have been added and were not seen. `whole` is false where the sum
    began after its day did.
    """

    dose: str
    kind: DoseKind
    quantity: Felt
    side: Side
    per: Per
    when: When
    bound: float
    unit: str
    total: float | None
    raised: bool
    since: AwareDatetime | None
    unseen_min: int
    whole: bool


class WaterAheadBody(BaseModel):
    """What the time until `until` does if it dries as the same hours a day ago.

    The instants at which nothing is left to spare; null where it lasts. `reserve_pct` is at the
    end.
    """

    until: AwareDatetime
    soonest: AwareDatetime | None
    likely: AwareDatetime | None
    latest: AwareDatetime | None
    reserve_pct: BandBody


class DryingBody(BaseModel):
    """The scion's water, an estimate reckoned since an instant as if it had been fresh then.

    `guessed_min` of these minutes were not seen. `hours_to_critical` is null while the air is not
    seen, `ahead` while an hour of the time ahead was never seen whole.
    """

    reserve_pct: BandBody
    hours_to_critical: BandBody | None
    since: AwareDatetime
    guessed_min: int
    ahead: WaterAheadBody | None


class PeakBody(BaseModel):
    """The hottest moment to expect, in °C; `beyond_record`: in stronger light than was ever seen.

    `told_at` is the dusk at which limits took it as their value, or the minute of the request.
    """

    told_at: AwareDatetime
    at: AwareDatetime
    temperature_c: BandBody
    beyond_record: bool


class NeedsBody(BaseModel):
    """How much more a record must hold before it tells anything; 0 where it has enough."""

    more_hours_of_light: float
    more_days: int
    more_range_umol_m2_s: int


class ShadingBody(BaseModel):
    """By when shade must be up for a limit, and which share more of the light it must stop.

    `shade_before` is null where the band stays inside, `share_to_stop` where no shade helps.
    """

    limit: str
    bound_c: float
    shade_before: AwareDatetime | None
    share_to_stop: float | None


class CoverBody(BaseModel):
    """The air to expect under the cover in the day ahead, if the sky stays clear.

    Null in `peak` and empty courses while it cannot be told; `needs` then says what is missing,
    unless a sensor is: under the cover (`sensor_inside`) or in the house (`sensor_outside`), or the
    air of the house is not known for most of a day yet. Courses go in steps from `start`.
    """

    sensor_inside: bool
    sensor_outside: bool
    needs: NeedsBody | None
    peak: PeakBody | None
    shadings: list[ShadingBody]
    start: AwareDatetime | None
    step_s: int = STEP_MIN * 60
    low_c: list[float]
    likely_c: list[float]
    high_c: list[float]


class BandsBody(BaseModel):
    """A band along a span, an entry a minute; null where nothing was reckoned."""

    low: list[float | None]
    likely: list[float | None]
    high: list[float | None]


def dose_body(one: DoseNow) -> DoseBody:
    """Return a sum as the API says it."""
    dose = one.dose
    return DoseBody(
        dose=dose.id,
        kind=dose.kind,
        quantity=dose.quantity,
        side=dose.side,
        per=dose.per,
        when=dose.when,
        bound=dose.bound,
        unit=DOSE_SHOWN[dose.kind],
        total=one.total,
        raised=one.raised,
        since=None if one.since_minute is None else _at(one.since_minute),
        unseen_min=one.unseen_min,
        whole=one.whole,
    )


def drying_body(drying: DryingNow, ahead: WaterAhead | None) -> DryingBody:
    """Return the scion's water as the API says it."""
    return DryingBody(
        reserve_pct=_likely(drying.reserve_pct),
        hours_to_critical=None if drying.hours is None else _likely(drying.hours),
        since=_at(drying.since_minute),
        guessed_min=drying.guessed_min,
        ahead=None if ahead is None else _ahead(ahead),
    )


def peak_body(peak: ExpectedPeak) -> PeakBody:
    """Return what was told at the last dusk as the API says it."""
    low, likely, high = (value / 100 for value in (peak.low, peak.central, peak.high))
    return PeakBody(
        told_at=_at(peak.made_minute),
        at=_at(peak.at_minute),
        temperature_c=BandBody(low=low, likely=likely, high=high),
        beyond_record=peak.beyond_record,
    )


def cover_body(heat: CoverHeat) -> CoverBody:
    """Return the air to expect under a cover as the API says it."""
    told = heat.told
    if not isinstance(told, CoverAhead):
        return CoverBody(
            sensor_inside=heat.probe,
            sensor_outside=heat.house,
            needs=_needs(told) if isinstance(told, TooThin) else None,
            peak=None,
            shadings=[],
            start=None,
            low_c=[],
            likely_c=[],
            high_c=[],
        )
    peak, course = told.peak, told.course
    return CoverBody(
        sensor_inside=heat.probe,
        sensor_outside=heat.house,
        needs=None,
        peak=PeakBody(
            told_at=_at(heat.minute),
            at=_at(peak.at_minute),
            temperature_c=BandBody(low=peak.low_c, likely=peak.central_c, high=peak.high_c),
            beyond_record=peak.beyond_record,
        ),
        shadings=[_shading(one) for one in heat.shadings],
        start=_at(int(course.minute[0])),
        low_c=_rounded(course.low_c.tolist()),
        likely_c=_rounded(course.central_c.tolist()),
        high_c=_rounded(course.high_c.tolist()),
    )


def bands_body(band: Band, count: int) -> BandsBody:
    """Return a band along the first `count` minutes of a span."""
    low, likely, high = (
        [None if math.isnan(value) else value for value in _rounded(row[:count].tolist())]
        for row in (band.low, band.central, band.high)
    )
    return BandsBody(low=low, likely=likely, high=high)


def _ahead(ahead: WaterAhead) -> WaterAheadBody | None:
    told = ahead.told
    if told is None:
        return None
    soonest, likely, latest = (
        None if minute is None else _at(minute)
        for minute in (told.soonest, told.likely, told.latest)
    )
    left = told.reserve_pct
    return WaterAheadBody(
        until=_at(told.until_minute),
        soonest=soonest,
        likely=likely,
        latest=latest,
        reserve_pct=BandBody(
            low=float(left.low[0]), likely=float(left.central[0]), high=float(left.high[0])
        ),
    )


def _needs(thin: TooThin) -> NeedsBody:
    return NeedsBody(
        more_hours_of_light=thin.more_spans * SPAN_MIN / 60,
        more_days=thin.more_days,
        more_range_umol_m2_s=thin.more_range_umol,
    )


def _shading(one: Shading) -> ShadingBody:
    return ShadingBody(
        limit=one.limit.id,
        bound_c=one.limit.bound,
        shade_before=None if one.before is None else _at(one.before),
        share_to_stop=one.stop,
    )


def _likely(likely: Likely) -> BandBody:
    return BandBody(low=likely.low, likely=likely.central, high=likely.high)


def _rounded(values: list[float]) -> list[float]:
    return [round(value, 3) for value in values]


def _at(minute: int) -> datetime:
    return instant(minute * MINUTE_MS)
