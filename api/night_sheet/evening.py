"""Gathers the evening's sheet: what may happen tonight, batch by batch."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from api.drawing.day import instant_of
from api.night_sheet.around import around, in_care
from api.night_sheet.sheet import Ahead, BatchTonight, EveningSheet
from api.records.sheets import Foretold
from api.records.tables import as_ms
from api.v1.foresight import cover_heat, water_ahead
from rules.cover_ahead import CoverAhead
from rules.local_time import local_day
from rules.model.plan import Side
from rules.model.quantities import Felt
from rules.model.reading import minute_of
from rules.night import Worry, hours_below, warmest, why_not, worries
from rules.speaking import first_cell
from rules.sun import dark_spans
from rules.tonight import RECORD_MIN, SLOT_MIN, lowest, tonight

if TYPE_CHECKING:
    from datetime import datetime

    from api.parts import Parts
    from api.v1.foresight import CoverHeat, WaterAhead
    from api.v1.sight import Present, Sight
    from rules.model.batch import Batch
    from rules.model.place import Place
    from rules.model.plan import Limit
    from rules.night import HoursBeyond
    from rules.outlook import BatchOutlook

A_DAY_MIN = 1440
HALF_A_DAY_MIN = 720
_DRY = (Felt.RELATIVE_HUMIDITY, Felt.VAPOUR_PRESSURE_DEFICIT, Felt.LEAF_DEFICIT)
_WATER = (Felt.HOURS_TO_CRITICAL, Felt.RESERVE, Felt.RELATIVE_HUMIDITY)
_HEAT = (Felt.EXPECTED_PEAK, Felt.AIR_TEMPERATURE)


def evening_sheet(parts: Parts, sight: Sight) -> EveningSheet:
    """Return the sheet of the night that lies ahead, or that has begun."""
    present = sight.present()
    at = present.at
    dark, sunrise = night_after(minute_of(as_ms(at)), parts.site.site)
    batches: list[BatchTonight] = []
    foretold: list[Foretold] = []
    for batch in in_care(parts.site, at):
        one, told = _batch(parts, sight, batch, present, night=(dark, sunrise))
        batches.append(one)
        foretold += told
    return EveningSheet(
        at=at,
        day=local_day(at, parts.site.site),
        sunrise=sunrise,
        judged=present.minute is not None,
        batches=tuple(batches),
        foretold=tuple(foretold),
        around=around(parts, present, until=max(instant_of(sunrise), at + timedelta(minutes=1))),
    )


def night_after(minute: int, place: Place) -> tuple[int, int]:
    """Return the first dark minute of the night at hand or to come, and its sunrise.

    Where there is no night, the half day from now on; where none ends, until a day from now.
    """
    dark = dark_spans(place, minute, A_DAY_MIN)
    if not dark:
        return minute, minute + HALF_A_DAY_MIN
    return dark[0]


def limit_on_dryness(seen: BatchOutlook | None) -> Limit | None:
    """Return the most careful low limit on humidity of a batch's stage; None without one."""
    limits = [
        one.limit
        for one in (seen.judged if seen is not None else ())
        if one.limit.quantity is Felt.RELATIVE_HUMIDITY and one.limit.side is Side.LOW
    ]
    return max(limits, key=lambda one: one.bound, default=None)


def action_for(worry: Worry | None, seen: BatchOutlook | None) -> Limit | None:
    """Return the limit of a batch's stage whose action fits a worry; None where none does."""
    if seen is None or worry is None:
        return None
    if worry is Worry.ALARM:
        raised = [one.limit for one in seen.judged if one.raised]
        return raised[0] if raised else None
    wanted = {Worry.DRY: _DRY, Worry.WATER: _WATER, Worry.HEAT: _HEAT}.get(worry, ())
    high = {Felt.VAPOUR_PRESSURE_DEFICIT, Felt.LEAF_DEFICIT, *_HEAT}
    for felt in wanted:
        side = Side.HIGH if felt in high else Side.LOW
        for one in seen.judged:
            if one.limit.quantity is felt and one.limit.side is side:
                return one.limit
    return None


def _batch(
    parts: Parts, sight: Sight, batch: Batch, present: Present, *, night: tuple[int, int]
) -> tuple[BatchTonight, list[Foretold]]:
    at = present.at
    seen = present.outlooks.get(batch.code)
    covered = batch.covered_at(at)
    limit = limit_on_dryness(seen)
    ahead, dry, foretold = _forecast(sight, batch, at, limit=limit, night=night)
    water = water_ahead(parts.watchlist, present, batch.code)
    heat = cover_heat(parts.watchlist, present, batch.code) if covered else None
    blind_to = () if seen is None else seen.blind_to
    found = worries(
        alarm=any(one.batch == batch.code and one.ended_at is None for one in present.alarms),
        blind=bool(blind_to) or (seen is None and covered),
        water_ends=_ends(water),
        dry=dry,
        needs_shade=_needs_shade(heat),
        covered=covered,
    )
    return (
        BatchTonight(
            batch=batch,
            stage=batch.stage_at(at),
            day=(local_day(at, parts.site.site) - batch.grafted_on).days,
            covered=covered,
            standing=None if seen is None else seen.standing,
            blind_to=blind_to,
            ahead=ahead,
            dry_limit=limit,
            dry=dry,
            drying=None if seen is None else seen.drying,
            water=water,
            heat=heat,
            worries=found,
            do_first=action_for(found[0] if found else None, seen),
        ),
        foretold,
    )


def _forecast(
    sight: Sight, batch: Batch, at: datetime, *, limit: Limit | None, night: tuple[int, int]
) -> tuple[tuple[Ahead, ...], HoursBeyond | None, list[Foretold]]:
    """Return what is foretold of a covered batch's air, and its dry hours; else nothing."""
    if not batch.covered_at(at):
        return (), None, []
    minute = minute_of(as_ms(at))
    end = minute - minute % SLOT_MIN
    covered = [first_cell(move) for move in batch.cover_moves() if move <= at]
    first = max([end - RECORD_MIN, *covered])
    start, sunrise = max(night[0], end), night[1]
    ahead: list[Ahead] = []
    foretold: list[Foretold] = []
    dry: HoursBeyond | None = None
    for felt, record in sight.recent(batch.code, first, end).items():
        if not len(record.means):
            continue
        now = float(record.means[-1])
        told = tonight(record, felt)
        span = {"from_minute": start, "until_minute": sunrise}
        low, high = lowest(told, now, **span), warmest(told, now, **span)
        ahead.append(Ahead(felt, low, high, why_not(told, **span)))
        if low is not None:
            foretold.append(
                Foretold(
                    batch.code, felt.value, low.minute, low.low, low.central, low.high, as_now=now
                )
            )
        if felt is Felt.RELATIVE_HUMIDITY and limit is not None:
            dry = hours_below(told, limit.bound, now, **span)
    return tuple(ahead), dry, foretold


def _ends(water: WaterAhead | None) -> bool | None:
    if water is None or water.told is None:
        return None
    return water.told.soonest is not None


def _needs_shade(heat: CoverHeat | None) -> bool | None:
    if heat is None or not isinstance(heat.told, CoverAhead):
        return None
    return any(one.before is not None for one in heat.shadings)
