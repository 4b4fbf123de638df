"""What may be done with a batch now: stages by what was seen, deeds by where it stands.

Only a person moves a batch, and only because of something seen. A deed is judged by the care
plan's figures and by the progress of the batch; the verdict is a value with its reason, and where
something is refused it says what to do instead. Whether a guard warns or refuses is a table.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules import reasons
from rules.model.batch import ENDED, Observation, Seen, Stage
from rules.progress import (
    SAME,
    WAY,
    held_until,
    history,
    light_after,
    opened_after,
    raised_light,
)
from rules.release import eases_from, light_ready_on, next_opening

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from datetime import date

    from rules.model.batch import Batch
    from rules.model.site import Site
    from rules.model.words import Words
    from rules.progress import Progress, WayOut


class Guard(StrEnum):
    """What can speak against a deed or a stage."""

    SUN_UNDER_COVER = "sun_under_cover"
    BEFORE_GROWTH = "before_growth"
    NEVER_EASED = "never_eased"
    EASED_TOO_FAST = "eased_too_fast"
    LIGHT_STEP_TOO_LARGE = "light_step_too_large"
    LIGHT_TOO_SOON = "light_too_soon"
    LIGHT_BEFORE_UNION = "light_before_union"
    DROOPED = "drooped"
    FILM_OFF_TOO_SOON = "film_off_too_soon"
    FILM_ON_TOO_LONG = "film_on_too_long"
    NOT_SEEN = "not_seen"
    STAGE_SKIPPED = "stage_skipped"
    STILL_COVERED = "still_covered"
    HAS_ENDED = "has_ended"
    NO_REASON = "no_reason"


WARNS = frozenset({Guard.EASED_TOO_FAST, Guard.LIGHT_BEFORE_UNION, Guard.FILM_ON_TOO_LONG})
"""Guards that warn; all others refuse."""


@dataclass(frozen=True, slots=True)
class Allowed:
    """Nothing speaks against it."""


@dataclass(frozen=True, slots=True)
class Warned:
    """It may be done, but something speaks against it."""

    guard: Guard
    reason: Words
    instead: Words


@dataclass(frozen=True, slots=True)
class Refused:
    """It would harm the plants or leave a gap in the record; `instead` says what to do."""

    guard: Guard
    reason: Words
    instead: Words


Verdict = Allowed | Warned | Refused


@dataclass(frozen=True, slots=True)
class Found:
    """Something done, declared or standing that the plan speaks against, on a local day."""

    on: date
    what: Seen | Stage | None
    verdict: Warned | Refused


NEEDS: Mapping[tuple[Stage, Stage], tuple[Seen, ...]] = MappingProxyType(
    {
        (Stage.HEALING, Stage.NEW_GROWTH): (Seen.NEW_GROWTH,),
        (Stage.NEW_GROWTH, Stage.EASING): (Seen.COVER_OPENED, Seen.COVER_OFF),
        (Stage.NEW_GROWTH, Stage.HARDENING): (Seen.NEW_GROWTH,),
        (Stage.EASING, Stage.HARDENING): (Seen.COVER_OFF,),
        (Stage.HARDENING, Stage.RELEASED): (Seen.FULL_SUN,),
        **{(stage, end): (Seen.COUNTED,) for stage in WAY for end in ENDED},
    }
)
"""The allowed moves, and what must have been seen for each, any one of them.

From new growth straight to hardening go only batches without a cover. Going back is not in the
table: it is always allowed, with its reason.
"""


def judge_move(at: Progress, way: WayOut, to: Stage, *, because: str) -> Verdict:
    """Say whether a person may declare a stage now; `because` is the reason they give."""
    if at.stage is None or at.stage is to:
        return Allowed()
    if at.stage in ENDED:
        return _against(Guard.HAS_ENDED, reasons.ENDED, reasons.NEW_BATCH)
    if to in WAY and WAY.index(to) < WAY.index(at.stage):
        if not because.strip():
            return _against(Guard.NO_REASON, reasons.NO_REASON, reasons.SAY_WHY)
        return Allowed()
    if to in WAY:
        between = [s for s in way.stages if WAY.index(at.stage) < WAY.index(s) < WAY.index(to)]
        if between:
            why, what = reasons.skipped(between[0]), reasons.move_first(between[0])
            return _against(Guard.STAGE_SKIPPED, why, what)
    needs = NEEDS[at.stage, to]
    if not any(_was_seen(at, way, seen) for seen in needs):
        why = reasons.nothing_seen(needs)
        return _against(Guard.NOT_SEEN, why, reasons.WRITE_IT_DOWN)
    if to in {Stage.HARDENING, Stage.RELEASED} and at.covered:
        why, what = reasons.COVER_IN_THE_OPEN, reasons.COVER_OFF_FIRST
        return _against(Guard.STILL_COVERED, why, what)
    return Allowed()


def _was_seen(at: Progress, way: WayOut, seen: Seen) -> bool:
    match seen:
        case Seen.NEW_GROWTH:
            return at.growth_written
        case Seen.COVER_OPENED:
            return at.first_opened_on is not None
        case Seen.COVER_OFF:
            return way.covers and not at.covered
        case Seen.FULL_SUN:
            return at.light_share >= 1.0 - SAME
        case _:
            return at.counted_on is not None and at.counted_on >= (at.stage_on or at.counted_on)


def judge_deed(at: Progress, way: WayOut, deed: Seen, *, share: float | None) -> Verdict:
    """Say whether something may be done to a batch today.

    `share` is how far it goes, as beside an observation; None: one step of the plan. What only
    tells of something seen is always allowed.
    """
    warned: Verdict = Allowed()
    for guard in GUARDS:
        verdict = guard(at, way, deed, share)
        if isinstance(verdict, Refused):
            return verdict
        if isinstance(verdict, Warned) and isinstance(warned, Allowed):
            warned = verdict
    return warned


def found(batch: Batch, way: WayOut, site: Site, *, today: date) -> tuple[Found, ...]:
    """Return what was done or declared against the plan since the present stage began.

    Older deeds have had their consequences and are left out. A batch's first stage is taken as
    told: it may come from another nursery.
    """
    every: list[Found] = []
    began = today
    for one, before, after in history(batch, way, site, today=today):
        began = after.stage_on or began
        what: Seen | Stage
        if isinstance(one, Observation):
            what, verdict = one.seen, judge_deed(before, way, one.seen, share=one.share)
        else:
            what, verdict = one.stage, judge_move(before, way, one.stage, because=one.because)
        if not isinstance(verdict, Allowed):
            every.append(Found(before.today, what, verdict))
    return tuple(one for one in every if one.on >= began)


def standing_against(at: Progress, way: WayOut) -> Iterator[Found]:
    """Yield what is wrong as things stand today, whoever did it."""
    if at.stage is None or at.stage in ENDED:
        return
    most = way.release.covered_light_share
    if at.covered and at.light_share > most + SAME:
        why, what = reasons.sun_under_cover(most), reasons.HOUSE_TOO_BRIGHT
        yield Found(at.today, None, Refused(Guard.SUN_UNDER_COVER, why, what))
    if at.covered and at.stage in {Stage.HARDENING, Stage.RELEASED}:
        why, what = reasons.COVER_IN_THE_OPEN, reasons.COVER_OFF_FIRST
        yield Found(at.today, None, Refused(Guard.STILL_COVERED, why, what))
    days = (at.today - way.grafted_on).days
    if way.wrapped and at.film_off_on is None and days > way.release.film_on_at_most_days:
        why, what = reasons.film_on(days), reasons.TAKE_FILM_OFF
        yield Found(at.today, None, Warned(Guard.FILM_ON_TOO_LONG, why, what))


def _against(guard: Guard, reason: Words, instead: Words) -> Warned | Refused:
    return (Warned if guard in WARNS else Refused)(guard, reason, instead)


EASES = frozenset({Seen.COVER_OPENED, Seen.COVER_OFF})
LIGHTENS = frozenset({Seen.LIGHT_RAISED, Seen.FULL_SUN, Seen.MOVED})


def _gives_more_light(at: Progress, way: WayOut, deed: Seen, share: float | None) -> bool:
    return deed in LIGHTENS and light_after(at, way, deed, share=share) > at.light_share + SAME


def _opens_further(at: Progress, way: WayOut, deed: Seen, share: float | None) -> bool:
    further = opened_after(at, way, deed, share=share) if way.covers and deed in EASES else 0.0
    return at.covered and further > at.opened_share + SAME


def _goes_on(at: Progress, way: WayOut, deed: Seen, share: float | None) -> bool:
    return _opens_further(at, way, deed, share) or _gives_more_light(at, way, deed, share)


def _no_sun_under_cover(at: Progress, way: WayOut, deed: Seen, share: float | None) -> Verdict:
    most = way.release.covered_light_share
    if not at.covered or not _gives_more_light(at, way, deed, share):
        return Allowed()
    if light_after(at, way, deed, share=share) <= most + SAME:
        return Allowed()
    return _against(Guard.SUN_UNDER_COVER, reasons.sun_under_cover(most), reasons.SHADE_UNTIL_OFF)


def _nothing_before_growth(at: Progress, way: WayOut, deed: Seen, share: float | None) -> Verdict:
    if at.new_growth_on is not None or not _goes_on(at, way, deed, share):
        return Allowed()
    return _against(Guard.BEFORE_GROWTH, reasons.NO_GROWTH_YET, reasons.WAIT_FOR_GROWTH)


def _nothing_after_droop(at: Progress, way: WayOut, deed: Seen, share: float | None) -> Verdict:
    held = held_until(at, way)
    if held is None or at.droop_on is None or at.today >= held:
        return Allowed()
    if not _goes_on(at, way, deed, share):
        return Allowed()
    return _against(Guard.DROOPED, reasons.drooped(at.droop_on, held), reasons.not_before(held))


def _eased_before_bare(at: Progress, way: WayOut, deed: Seen, _share: float | None) -> Verdict:
    if deed is Seen.COVER_OFF and at.covered and at.first_opened_on is None and way.covers:
        return _against(Guard.NEVER_EASED, reasons.NEVER_OPENED, reasons.OPEN_IN_STEPS)
    return Allowed()


def _eased_slowly(at: Progress, way: WayOut, deed: Seen, share: float | None) -> Verdict:
    if not _opens_further(at, way, deed, share):
        return Allowed()
    earliest = eases_from(at, way)
    if at.today < earliest:
        why, what = reasons.too_soon(earliest), reasons.not_before(earliest)
        return _against(Guard.EASED_TOO_FAST, why, what)
    following = next_opening(at, way)
    if following is not None and opened_after(at, way, deed, share=share) > following + SAME:
        return _against(
            Guard.EASED_TOO_FAST, reasons.too_far(following), reasons.open_cover(following)
        )
    return Allowed()


def _light_in_steps(at: Progress, way: WayOut, deed: Seen, share: float | None) -> Verdict:
    if not _gives_more_light(at, way, deed, share):
        return Allowed()
    most = raised_light(at, way)
    if light_after(at, way, deed, share=share) > most + SAME:
        why = reasons.light_step(at.light_share, most)
        return _against(Guard.LIGHT_STEP_TOO_LARGE, why, reasons.give_at_most(most))
    earliest = light_ready_on(at, way)
    if at.today < earliest:
        why, what = reasons.light_again(earliest), reasons.not_before(earliest)
        return _against(Guard.LIGHT_TOO_SOON, why, what)
    return Allowed()


def _light_after_union(at: Progress, way: WayOut, deed: Seen, share: float | None) -> Verdict:
    if at.today >= way.union_on or not _gives_more_light(at, way, deed, share):
        return Allowed()
    return _against(
        Guard.LIGHT_BEFORE_UNION,
        reasons.before_union(way.union_on),
        reasons.not_before(way.union_on),
    )


def _film_after_union(at: Progress, way: WayOut, deed: Seen, _share: float | None) -> Verdict:
    if deed is not Seen.FILM_OFF or at.today >= way.union_on:
        return Allowed()
    return _against(
        Guard.FILM_OFF_TOO_SOON,
        reasons.film_holds(way.union_on),
        reasons.not_before(way.union_on),
    )


GUARDS: tuple[Callable[[Progress, WayOut, Seen, float | None], Verdict], ...] = (
    _no_sun_under_cover,
    _nothing_before_growth,
    _nothing_after_droop,
    _eased_before_bare,
    _light_in_steps,
    _film_after_union,
    _eased_slowly,
    _light_after_union,
)
"""Every deed passes all of these; the first refusal speaks, else the first warning."""
