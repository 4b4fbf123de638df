"""What cheap sensors make of the truth: late, noisy, a little off, rounded, and sometimes dead.

A probe follows its surroundings like a first-order lag: dx/dt = (truth - x) / lag. Then come its
own calibration error (gain and offset), noise, the end of its range, and rounding.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from datetime import datetime

    from demo_data.physics import Floats

JsonValue = float | int | str | dict[str, "JsonValue"]


@dataclass(frozen=True, slots=True)
class Probe:
    """One measured quantity of a device.

    `truth` names the true series, `path` where the value stands in the message (dots go inwards).
    The value sent is truth × `gain` + `offset`, with noise of standard deviation `noise` plus
    `noise_share` of the value, held between `lowest` and `highest`, rounded to `decimals`.
    """

    path: str
    truth: str
    lag_s: float
    noise: float
    decimals: int
    gain: float = 1.0
    offset: float = 0.0
    noise_share: float = 0.0
    lowest: float = -np.inf
    highest: float = np.inf


class Clock(StrEnum):
    """How a device writes the time: "t" in whole Unix seconds, or "sent" in ISO-8601."""

    UNIX_S = "unix_s"
    WRITTEN = "iso8601"


@dataclass(frozen=True, slots=True)
class Device:
    """A box that sends all its probes in one message, every so many seconds.

    It first wakes `phase_s` after the record begins. From `dies_at` on it sends nothing; from
    `sticks_at` on it repeats its last values.
    """

    topic: str
    phase_s: int
    clock: Clock
    probes: tuple[Probe, ...]
    every_s: int = 60
    battery_v: float | None = None
    dies_at: datetime | None = None
    sticks_at: datetime | None = None


def lagged(truth: Floats, *, step_s: float, lag_s: float) -> Floats:
    """Follow a series with a first-order lag; a lag of 0 gives the series itself."""
    if lag_s == 0.0:
        return truth
    keep = float(np.exp(-step_s / lag_s))
    out = np.empty(len(truth))
    value = float(truth[0])
    for step, target in enumerate(truth.tolist()):
        value = target + (value - target) * keep
        out[step] = value
    return out


def values_sent(probe: Probe, sensed: Floats, rng: np.random.Generator) -> Floats:
    """Turn what a probe's element has come to (after the lag) into the figures it sends."""
    true_unit = sensed * probe.gain + probe.offset
    spread = probe.noise + probe.noise_share * np.abs(true_unit)
    noisy = true_unit + spread * rng.standard_normal(len(sensed))
    rounded = np.round(np.clip(noisy, probe.lowest, probe.highest), probe.decimals)
    # Adding nought turns a minus nought into a plain one.
    return np.asarray(rounded + 0.0, dtype=np.float64)


def placed(message: dict[str, JsonValue], path: str, value: JsonValue) -> None:
    """Put a value into a message at a dotted path, making the objects on the way."""
    *inwards, last = path.split(".")
    here = message
    for name in inwards:
        inner = here.setdefault(name, {})
        if not isinstance(inner, dict):
            text = f"{path}: {name} already holds a value"
            raise TypeError(text)
        here = inner
    here[last] = value
