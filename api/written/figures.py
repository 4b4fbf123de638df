"""Figures that contradict each other, in site files and in care plans."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from rules.model.dose import BASE_FIELDS, DoseKind, Per
from rules.model.plan import Side, When
from rules.model.quantities import MEANINGS, Felt, Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import tzinfo

    from api.written.draft import Draft
    from api.written.toml_text import TomlText, Where
    from rules.model.batch import Stage
    from rules.model.fault import Fault
    from rules.model.plan import CarePlan, Limit, StagePlan

LONGEST_DAY_H = 25.0
"""The longest local day: the one on which summer time ends."""

HIGHEST_DEFICIT_KPA = 60.0
"""Above the deficit of bone-dry air at 85 °C, the hottest that a sensor may report."""

_RECKONED_REACH = {
    Felt.LEAF_DEFICIT: (-HIGHEST_DEFICIT_KPA, HIGHEST_DEFICIT_KPA, "kPa"),
    Felt.RESERVE: (0.0, 100.0, "%"),
    Felt.HOURS_TO_CRITICAL: (0.0, 1000.0, "h"),
    Felt.EXPECTED_PEAK: (-40.0, 65.0, "degC"),
}
"""What no sensor tells, with the reach of its sum."""


def benches_outside_their_house(draft: Draft) -> Iterator[Fault]:
    """Yield a fault for every bench that would stick out of its house."""
    houses = {house.id: house for house in draft.houses.values()}
    for place, bench in draft.benches.items():
        house = houses.get(bench.house)
        if house is None:
            continue
        sides = (
            ("x_m", bench.x_m, bench.length_m, house.length_m, "long"),
            ("y_m", bench.y_m, bench.width_m, house.width_m, "wide"),
        )
        for field, start_m, size_m, room_m, said in sides:
            end_m = start_m + size_m
            if end_m > room_m + 1e-9:
                problem = (
                    f"the bench would end {end_m:g} m along, and house {house.id} "
                    f"is {room_m:g} m {said}"
                )
                fix = "Correct its place or its size."
                yield draft.text.fault(("bench", place, field), problem, fix=fix)


def batches_watched_before_grafting(draft: Draft) -> Iterator[Fault]:
    """Yield a fault for every batch whose first stage begins before its day of grafting."""
    zone = _zone(draft.text)
    for place, batch in draft.batches.items():
        first = batch.stage[0].since
        day = first.astimezone(zone).date() if zone else first.date()
        if batch.grafted_on > day:
            problem = f"{batch.grafted_on} is later than the first stage, which began on {day}"
            fix = "Correct one of the two."
            yield draft.text.fault(("batch", place, "grafted_on"), problem, fix=fix)


def _zone(text: TomlText) -> tzinfo | None:
    name = text.value(("site", "time_zone"))
    if not isinstance(name, str):
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None  # told by the model of the site


def impossible_limits(plan: CarePlan, text: TomlText) -> Iterator[Fault]:
    """Yield a fault for every bound that nothing can reach, and every pair nothing can satisfy."""
    for stage, needs in plan.stage.items():
        for place, limit in enumerate(needs.limit):
            where: Where = ("stage", stage.value, "limit", place, "bound")
            lowest, highest, unit = _reach(limit.quantity)
            if not lowest <= limit.bound <= highest:
                problem = (
                    f"{limit.bound:g} lies outside what {limit.quantity} can be, "
                    f"{lowest:g} to {highest:g} {unit}"
                )
                yield text.fault(where, problem, fix=f"Write the bound in {unit}.")
        yield from _pairs(stage, needs, text=text)


def impossible_doses(plan: CarePlan, text: TomlText) -> Iterator[Fault]:
    """Yield a fault for every dose whose base its quantity can't have, or that no day can hold."""
    for stage, needs in plan.stage.items():
        for place, dose in enumerate(needs.dose):
            where: Where = ("stage", stage.value, "dose", place)
            base, field = dose.threshold, BASE_FIELDS[dose.kind]
            if base is not None and field is not None:
                lowest, highest, unit = _reach(dose.quantity)
                if not lowest <= base <= highest:
                    problem = (
                        f"{base:g} lies outside what {dose.quantity} can be, "
                        f"{lowest:g} to {highest:g} {unit}"
                    )
                    yield text.fault((*where, field), problem, fix=f"Write it in {unit}.")
            daily_hours = dose.kind is DoseKind.HOURS_BEYOND and dose.per is Per.LOCAL_DAY
            if daily_hours and dose.bound > LONGEST_DAY_H:
                problem = f"no day has {dose.bound:g} hours"
                fix = f"Write at most {LONGEST_DAY_H:g}."
                yield text.fault((*where, "bound_h"), problem, fix=fix)


def _pairs(stage: Stage, needs: StagePlan, *, text: TomlText) -> Iterator[Fault]:
    for place, low in enumerate(needs.limit):
        for other, high in enumerate(needs.limit):
            if low.side is Side.LOW and high.side is Side.HIGH and _clash(low, high):
                later = max(place, other)
                problem = (
                    f"no {low.quantity} can be above {low.bound:g} ({low.id}) and below "
                    f"{high.bound:g} ({high.id})"
                )
                where: Where = ("stage", stage.value, "limit", later, "bound")
                yield text.fault(where, problem, fix="Set the low bound below the high one.")


def _clash(low: Limit, high: Limit) -> bool:
    same_time = When.ALWAYS in {low.when, high.when} or low.when is high.when
    return same_time and low.quantity is high.quantity and low.bound > high.bound


def _reach(felt: Felt) -> tuple[float, float, str]:
    if felt in _RECKONED_REACH:
        return _RECKONED_REACH[felt]
    if felt is Felt.VAPOUR_PRESSURE_DEFICIT:
        return 0.0, HIGHEST_DEFICIT_KPA, "kPa"
    meaning = MEANINGS[Quantity(felt.value)]
    return meaning.lowest, meaning.highest, meaning.unit
