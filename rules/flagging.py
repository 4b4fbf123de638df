"""The quality tests of words, in array form: rows are channels, columns minutes.

`tested` takes what was said and what each channel carried in, and gives flags, the tests that
decided them, and what to carry on. Values are in millionths; rare events, such as a spike or a run
of hours, are looked at one by one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.cells import MICRO
from rules.daylight import SunHeight
from rules.doubt import Flag, QualityTest
from rules.neighbours import contradictions
from rules.runs import (
    NEVER,
    NO_BOUND,
    Run,
    Span,
    before_each,
    last_column,
    minutes_at,
    minutes_counted,
    one_before,
    picked,
    run_of,
    span_at_end,
    swings,
)
from rules.trust_kit import NOBODY

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.runs import Before
    from rules.trust_kit import QualityKit

Wholes = NDArray[np.int64]
Flags = NDArray[np.bool_]
Codes = NDArray[np.int8]
Heights = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Words:
    """What was said: `values` where `present`; `refused` where nothing of it could be believed.

    `minute` is that of each column.
    """

    kit: QualityKit
    present: Flags
    values: Wholes
    refused: Flags
    minute: Wholes

    @property
    def first(self) -> int:
        """The minute of the first column."""
        return int(self.minute[0])


def tested(
    words: Words, old: Mapping[str, Wholes], sun: Heights
) -> tuple[dict[str, Wholes], Codes, Codes]:
    """Return what is carried on, one array a field of ChannelMemory, and flags and tests.

    `old` is what was carried in; `sun` the SunHeight of each column.
    """
    kit, figures, minute = words.kit, words.kit.figures, words.minute
    before, last = before_each(
        words.present, words.values, words.first, old["word_minute"], old["word_value"]
    )
    spiked = _spikes(kit, words.present, words.values, minute, before, old)
    good = words.present & ~spiked
    last_good, last_good_column = before_each(
        good, words.values, words.first, old["good_minute"], old["good_value"]
    )
    new = dict(old)
    new["word_minute"] = minutes_at(last[:, -1:], words.first, old["word_minute"])[:, 0]
    new["word_value"] = picked(last[:, -1:], words.values, old["word_value"])[:, 0]
    end = last_good_column[:, -1:]
    new["good_minute"] = minutes_at(end, words.first, old["good_minute"])[:, 0]
    new["good_value"] = picked(end, words.values, old["good_value"])[:, 0]

    unbroken = minute - last_good.minute <= figures.run_gap_min
    stuck = _stuck(words, good, last_good, unbroken=unbroken, sun=sun, old=old, new=new)
    soaked, under_cover = _saturated(
        words, good, last_good, unbroken=unbroken, sun=sun, old=old, new=new
    )
    accepted = good & ~stuck & ~(soaked & ~under_cover)
    apart, alone = _contradicting(words, good, accepted, old=old, new=new)
    glows = _glowing(words, good, last_good_column, unbroken=unbroken, sun=sun, old=old, new=new)
    stepped = _steps(kit, good, words.values, minute, last_good)
    leaps_known = (kit.spike < NO_BOUND)[:, None]
    alone_in_time = good & leaps_known & (minute - last_good.minute > figures.jump_reach_min)

    flags = np.where(words.present, np.int8(Flag.PASS), np.int8(Flag.MISSING))
    tests = np.zeros(flags.shape, dtype=np.int8)
    flags[alone_in_time] = Flag.NOT_EVALUATED
    # Suspicions first, then failures; of several the first in this order is named.
    doubts = (
        (glows, QualityTest.CLOCK, Flag.SUSPECT),
        (apart & ~alone, QualityTest.CROSS_SENSOR, Flag.SUSPECT),
        (soaked & under_cover, QualityTest.SATURATION, Flag.SUSPECT),
        (stepped, QualityTest.STEP, Flag.SUSPECT),
        (apart & alone, QualityTest.CROSS_SENSOR, Flag.FAIL),
        (soaked & ~under_cover, QualityTest.SATURATION, Flag.FAIL),
        (stuck, QualityTest.STUCK, Flag.FAIL),
        (spiked, QualityTest.SPIKE, Flag.FAIL),
        (words.refused, QualityTest.RANGE, Flag.FAIL),
    )
    for where, test, flag in doubts:
        flags[where] = flag
        tests[where] = test
    said = last_column(words.present | words.refused)[:, -1:]
    new["said_minute"] = minutes_at(said, words.first, old["said_minute"])[:, 0]
    new["said_flag"] = picked(said, flags.astype(np.int64), old["said_flag"])[:, 0]
    new["said_test"] = picked(said, tests.astype(np.int64), old["said_test"])[:, 0]
    return new, flags, tests


def _stuck(
    words: Words,
    good: Flags,
    last_good: Before,
    *,
    unbroken: Flags,
    sun: Heights,
    old: Mapping[str, Wholes],
    new: dict[str, Wholes],
) -> Flags:
    """Return the words of channels that say the same for hours, or see nothing in the sun."""
    kit, figures = words.kit, words.kit.figures
    equal = unbroken & (words.values == last_good.value)
    run = run_of(good & ~equal, words.first, old["run_since"])
    long = good & (words.minute - run.since >= figures.stuck_min)
    stuck = long & kit.sticks[:, None]
    new["run_since"] = run.since[:, -1]
    lit = kit.daylight
    up = minutes_counted(_sun_at(sun, SunHeight.UP), run.began, old["run_sun"])
    stuck |= good & lit[:, None] & (up >= figures.stuck_min)
    spoke = new["good_minute"] > NEVER
    new["run_sun"] = np.where(lit & spoke, up[:, -1], 0)
    was_dark = unbroken & (last_good.value < kit.dark[:, None])
    dark = good & (words.values < kit.dark[:, None])
    went_dark = last_column(dark & ~was_dark)
    high = minutes_counted(_sun_at(sun, SunHeight.HIGH), went_dark, old["dark_high"])
    stuck |= dark & lit[:, None] & (high >= figures.dark_min)
    in_dark = spoke & (new["good_value"] < kit.dark)
    new["dark_high"] = np.where(lit & in_dark, high[:, -1], 0)
    humid = kit.humid
    if humid.size:
        low, high_air = _air(words, good)
        of_humid = Run(run.began[humid], run.since[humid])
        below = words.values[humid] < _in_micro(figures.stuck_below_pct)
        carried = Span(old["run_low"][humid], old["run_high"][humid])
        least = _in_micro(figures.stuck_moved_c)
        stuck[humid] |= swings(
            long[humid] & below, of_humid, low, high_air, old=carried, least=least
        )
        span = span_at_end(of_humid, low, high_air, old=carried)
        _keep(new, humid, "run", span, where=spoke[humid])
    return stuck


def _saturated(
    words: Words,
    good: Flags,
    last_good: Before,
    *,
    unbroken: Flags,
    sun: Heights,
    old: Mapping[str, Wholes],
    new: dict[str, Wholes],
) -> tuple[Flags, Flags]:
    """Return words of 100 % through a warm and cool day, and where a cover makes that possible."""
    kit, figures, humid = words.kit, words.kit.figures, words.kit.humid
    soaked = np.zeros_like(good)
    covered = np.zeros_like(good)
    if not humid.size:
        return soaked, covered
    place, under = _places(kit, words.minute)
    wet_from = _in_micro(figures.wet_from_pct)
    wet = good[humid] & (words.values[humid] >= wet_from)
    was_wet = unbroken[humid] & (last_good.value[humid] >= wet_from)
    same_place = last_good.minute[humid] >= place
    run = run_of(wet & ~(was_wet & same_place), words.first, old["wet_since"][humid])
    long = wet & (words.minute - run.since >= figures.wet_min)
    low, high = _air(words, good)
    by_day = _sun_at(sun, SunHeight.UP)
    low, high = np.where(by_day, low, NO_BOUND), np.where(by_day, high, -NO_BOUND)
    carried = Span(old["wet_low"][humid], old["wet_high"][humid])
    soaked[humid] = swings(long, run, low, high, old=carried, least=_in_micro(figures.wet_swing_c))
    covered[humid] = under
    is_wet = (new["good_minute"][humid] > NEVER) & (new["good_value"][humid] >= wet_from)
    new["wet_since"] = old["wet_since"].copy()
    new["wet_since"][humid] = np.where(is_wet, run.since[:, -1], NEVER)
    _keep(new, humid, "wet", span_at_end(run, low, high, old=carried), where=is_wet)
    return soaked, covered


def _contradicting(
    words: Words,
    good: Flags,
    accepted: Flags,
    *,
    old: Mapping[str, Wholes],
    new: dict[str, Wholes],
) -> tuple[Flags, Flags]:
    """Return words that neighbours have contradicted for long, and where one stands alone."""
    kit, minute, rows = words.kit, words.minute, words.kit.compared
    apart, alone = np.zeros_like(good), np.zeros_like(good)
    if not rows.size:
        return apart, alone
    held = last_column(accepted[rows])
    held_minute = minutes_at(held, words.first, old["held_minute"][rows])
    held_value = picked(held, words.values[rows], old["held_value"][rows])
    found = contradictions(kit, minute, held_minute, held_value)
    already = np.empty_like(found.apart)
    already[:, 0] = old["apart_since"][rows] > NEVER
    already[:, 1:] = found.apart[:, :-1]
    run = run_of(found.apart & ~already, words.first, old["apart_since"][rows])
    since = np.maximum(run.since, found.entered)
    long = found.apart & (minute - since >= kit.figures.apart_min)
    apart[rows] = good[rows] & long
    alone[rows] = good[rows] & long & found.alone
    for name, values in (
        ("held_minute", held_minute[:, -1]),
        ("held_value", held_value[:, -1]),
        ("apart_since", np.where(found.apart[:, -1], run.since[:, -1], NEVER)),
    ):
        new[name] = old[name].copy()
        new[name][rows] = values
    return apart, alone


def _glowing(
    words: Words,
    good: Flags,
    last_good_column: Wholes,
    *,
    unbroken: Flags,
    sun: Heights,
    old: Mapping[str, Wholes],
    new: dict[str, Wholes],
) -> Flags:
    """Return words of light that has shone for some time though the sun is far down."""
    kit = words.kit
    deep = ~_sun_at(sun, SunHeight.DOWN)
    shines = good & kit.daylight[:, None] & (words.values >= kit.glow[:, None]) & deep
    earlier = one_before(last_good_column)
    shone = picked(earlier, shines.astype(np.int64), (old["glow_since"] > NEVER).astype(np.int64))
    run = run_of(shines & ~(unbroken & (shone > 0)), words.first, old["glow_since"])
    end = last_good_column[:, -1:]
    shining = picked(end, shines.astype(np.int64), (old["glow_since"] > NEVER).astype(np.int64))
    new["glow_since"] = np.where(shining[:, 0] > 0, run.since[:, -1], NEVER)
    glows: Flags = shines & (words.minute - run.since >= kit.figures.glow_min)
    return glows


def _air(words: Words, good: Flags) -> tuple[Wholes, Wholes]:
    """Return the air temperature beside each humidity as lows and highs, empty where not said."""
    partner = words.kit.partner[words.kit.humid]
    said = good[partner] & (partner != NOBODY)[:, None]
    values = words.values[partner]
    return np.where(said, values, NO_BOUND), np.where(said, values, -NO_BOUND)


def _places(kit: QualityKit, minute: Wholes) -> tuple[Wholes, Flags]:
    """Return since when each humidity has stood in its place, and whether that is under a cover."""
    since = np.empty((kit.humid.size, minute.size), dtype=np.int64)
    covered = np.empty(since.shape, dtype=np.bool_)
    for row, (starts, under) in enumerate(kit.humid_stays):
        which = np.searchsorted(starts, minute, side="right") - 1
        since[row] = starts[which]
        covered[row] = under[which]
    return since, covered


def _keep(new: dict[str, Wholes], rows: Wholes, kind: str, span: Span, *, where: Flags) -> None:
    """Carry a span on for the channels in `rows` whose run goes on; else an empty one."""
    for end, values, empty in (("low", span.low, NO_BOUND), ("high", span.high, -NO_BOUND)):
        name = f"{kind}_{end}"
        new[name] = new[name].copy()
        new[name][rows] = np.where(where, values, empty)


def _spikes(
    kit: QualityKit,
    words: Flags,
    values: Wholes,
    minute: Wholes,
    before: Before,
    carried: Mapping[str, Wholes],
) -> Flags:
    """Return the words that leap away both from the word before and from the last good one.

    The first word after a real jump is one, the second is not: it agrees with the word before it.
    A word that comes back from a spike agrees with the last good one. Words that leap are rare, so
    they are looked at in order, one by one.
    """
    near = minute - before.minute <= kit.figures.jump_reach_min
    leaps = words & near & (np.abs(values - before.value) > kit.spike[:, None])
    held_out = np.zeros_like(words)
    for channel in np.flatnonzero(leaps.any(axis=1)).tolist():
        bound = int(kit.spike[channel])
        # The last word, if it was held out; if it was good, it is the last good one all the same.
        out_minute = int(carried["word_minute"][channel])
        good = int(carried["good_minute"][channel]), int(carried["good_value"][channel])
        for column in np.flatnonzero(leaps[channel]).tolist():
            now, value = int(minute[column]), int(values[channel, column])
            earlier = int(before.minute[channel, column])
            out = True
            if earlier == out_minute:
                old = now - good[0] > kit.figures.jump_reach_min
                out = not old and abs(value - good[1]) > bound
            else:
                good = earlier, int(before.value[channel, column])
            if out:
                held_out[channel, column] = True
                out_minute = now
    return held_out


def _steps(kit: QualityKit, good: Flags, values: Wholes, minute: Wholes, before: Before) -> Flags:
    """Return the words that moved faster than is credible since the last good one."""
    gap = minute - before.minute
    near = gap <= kit.figures.step_reach_min
    allowed = np.where(near & (kit.step[:, None] < NO_BOUND), gap * kit.step[:, None], NO_BOUND)
    found: Flags = good & (np.abs(values - before.value) > allowed)
    return found


def _sun_at(heights: Heights, height: SunHeight) -> Flags:
    """Return the minutes in which the sun stands at least so high."""
    found: Flags = heights >= int(height)
    return found


def _in_micro(value: float) -> int:
    """Return a figure in millionths."""
    return round(value * MICRO)
