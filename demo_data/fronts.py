"""Other weather than the recorded night's: fronts, overcast days, dry air off the hills.

For holding a forecast against many different nights. All figures are invented, as in weather.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from demo_data.trial import BEGINS, SPARE_MINUTES, Kind, Trial, trial_under
from demo_data.weather import Floats, Weather, springy_noise, weather

FRONT_LASTS_MIN = 1800.0
DAMP_LASTS_MIN = 1200.0
OVERCAST_LASTS_MIN = 900.0
BAGS = (Kind(0.005, 0.4, 0.0), Kind(0.005, 10.0, 0.0), Kind(0.003, 70.0, 0.0))
"""A tied bag, one half loose, one loose."""


@dataclass(frozen=True, slots=True)
class Spell:
    """How the weather differs: sizes of what comes and goes, and a lasting change of vapour.

    `overcast` is near 0 where the whole sky is hardly ever covered, 1 where it is half the time.
    """

    front_c: float
    damp_kpa: float
    drier_kpa: float
    overcast: float


SPELLS = {
    "calm": Spell(front_c=0.5, damp_kpa=0.04, drier_kpa=0.0, overcast=0.0),
    "fronts": Spell(front_c=2.0, damp_kpa=0.15, drier_kpa=0.0, overcast=0.3),
    "overcast": Spell(front_c=1.0, damp_kpa=0.08, drier_kpa=0.0, overcast=0.9),
    "dry": Spell(front_c=1.5, damp_kpa=0.3, drier_kpa=0.5, overcast=0.1),
}


def spell_weather(spell: Spell, *, days: int, seed: int) -> Weather:
    """Make the weather of a spell from the trials' beginning on."""
    rng = np.random.default_rng(seed)
    minutes = days * 1440 + SPARE_MINUTES
    fair = weather(BEGINS, minutes, rng)
    front = springy_noise(rng, minutes, memory=FRONT_LASTS_MIN)
    damp = springy_noise(rng, minutes, memory=DAMP_LASTS_MIN)
    wander = springy_noise(rng, minutes, memory=OVERCAST_LASTS_MIN)
    cover = _soft(4.0 * (wander - 1.5 + 1.5 * spell.overcast))
    light = fair.sunlight_w_m2
    # An overcast sky takes three degrees off a bright noon and keeps a night one degree warmer.
    cooler = np.where(light > 0.0, -3.0 * np.clip(light / 700.0, 0.0, 1.0), 1.0)
    return replace(
        fair,
        air_c=fair.air_c + spell.front_c * front + cooler * cover,
        vapour_kpa=np.maximum(fair.vapour_kpa - spell.drier_kpa + spell.damp_kpa * damp, 0.4),
        beam_w_m2=fair.beam_w_m2 * (1.0 - 0.9 * cover),
        diffuse_w_m2=fair.diffuse_w_m2 * (1.0 - 0.3 * cover),
        cloud=np.maximum(fair.cloud, 0.95 * cover),
    )


def nights_under(spell: Spell, *, days: int, seed: int) -> Trial:
    """Follow a tied, a half loose and a loose bag through a spell."""
    return trial_under(spell_weather(spell, days=days, seed=seed), BAGS, days=days)


def as_sensed(series: Floats, *, noise: float, step: float, seed: int) -> Floats:
    """Return minute means as a small probe tells them: a little noise, rounded, hours left out."""
    rng = np.random.default_rng(seed)
    told = np.rint((series + rng.normal(0.0, noise, len(series))) / step) * step
    for start in rng.integers(0, len(series), len(series) // 4000).tolist():
        told[start : start + int(rng.integers(20, 200))] = np.nan
    return np.asarray(told, dtype=np.float64)


def _soft(level: Floats) -> Floats:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(level, -30.0, 30.0))), dtype=np.float64)
