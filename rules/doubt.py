"""When a word of a channel is doubted: the flags, the tests, and every figure they go by.

A word is what a channel said in one minute: the mean of its believed readings. Flags are those of
the QARTOD manuals (IOOS), so that other tools can read them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.model.quantities import Quantity

if TYPE_CHECKING:
    from collections.abc import Mapping


class Flag(IntEnum):
    """How far a word can be trusted. Source: IOOS QARTOD manuals, flags for data."""

    PASS = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9


class QualityTest(IntEnum):
    """The test that decided a flag; NONE when none spoke against the word."""

    NONE = 0
    RANGE = 1
    SPIKE = 2
    STEP = 3
    STUCK = 4
    SATURATION = 5
    CROSS_SENSOR = 6
    CLOCK = 7

    @property
    def word(self) -> str:
        """Its name in the API and in documents, as in "cross_sensor"."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Figures:
    """Every figure that is not of one quantity. Minutes, unless the name says otherwise.

    `jump_reach_min` and `step_reach_min` are how old the word before may be for a spike and a step
    to mean anything. `run_gap_min` without a word ends a run of equal, dark, wet or glowing words.
    `stuck_min` of equal words are stuck; humidity only below `stuck_below_pct` and when the air has
    moved by `stuck_moved_c`; light counts minutes with sun only. `dark_min` minutes with the sun
    `high_sun_deg` up without light are stuck too. `wet_min` at `wet_from_pct` or more through a
    swing of `wet_swing_c` with the sun up is saturation. Channels of one place that lie apart for
    `apart_min`, with words no older than `apart_reach_min`, contradict each other. Light for
    `glow_min` with the sun `deep_sun_deg` or lower is a clock that is off, or a lamp.
    """

    jump_reach_min: int = 15
    step_reach_min: int = 5
    run_gap_min: int = 60
    stuck_min: int = 360
    stuck_below_pct: float = 95.0
    stuck_moved_c: float = 3.0
    dark_min: int = 120
    wet_min: int = 60
    wet_from_pct: float = 99.9
    wet_swing_c: float = 8.0
    apart_min: int = 60
    apart_reach_min: int = 15
    glow_min: int = 10


FIGURES = Figures()
"""The figures in use. House rules, but for one: no stuck test of humidity from 95 % on, Zahumensky
2004. He asks for a movement of 0.1 °C or 1 % in 60 min, which a bench at night can stay below."""

HIGH_SUN_DEG = 30.0
"""With the sun this high even a thick cloud over thick cloth leaves some light; house rule."""

DEEP_SUN_DEG = -6.0
"""With the sun this low the sky gives no light worth the name: the end of civil twilight."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """What is doubted of a quantity, in its own unit; None, or False: that test does not apply.

    `spike`: differs by more from the word before and from the last one that was good. `step_a_min`:
    moved more than this a minute. `sticks`: equal words for hours mean a dead sensor. `apart`: two
    sensors of one place differ by more. `dark`: below it a light sensor sees nothing. `glow`: from
    it on a light sensor sees light.
    """

    spike: float | None = None
    step_a_min: float | None = None
    sticks: bool = False
    apart: float | None = None
    dark: float | None = None
    glow: float | None = None


DOUBTS: Mapping[Quantity, Doubt] = MappingProxyType(
    {
        # Spike: hourly steps that the University of Washington's notes (after Shafer et al. 2000)
        # warn of, 15 K and 80 %, here from one word to the next. Step: Zahumensky 2004, largest
        # credible change in a minute, 3 °C and 15 %. Apart: house rules.
        Quantity.AIR_TEMPERATURE: Doubt(spike=15.0, step_a_min=3.0, sticks=True, apart=5.0),
        Quantity.RELATIVE_HUMIDITY: Doubt(spike=80.0, step_a_min=15.0, sticks=True, apart=20.0),
        # House rule: a sun fleck warms a thin leaf by 10 °C and more within minutes.
        Quantity.LEAF_TEMPERATURE: Doubt(spike=20.0, sticks=True),
        # House rules, at 54 lx and 0.5 W m⁻² per µmol. Neither spike nor step: through gaps in the
        # cloth light really jumps by as much as the sun gives.
        Quantity.PPFD: Doubt(sticks=True, dark=2.0, glow=5.0),
        Quantity.ILLUMINANCE: Doubt(sticks=True, dark=108.0, glow=270.0),
        Quantity.IRRADIANCE: Doubt(sticks=True, dark=1.0, glow=2.5),
        # Range only: still air, wet pots and a good battery stay as they are for hours.
        Quantity.AIR_SPEED: Doubt(),
        Quantity.SUBSTRATE_MOISTURE: Doubt(),
        Quantity.BATTERY: Doubt(),
    }
)
