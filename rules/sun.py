"""Where the sun stands over the site. The only file that knows pvlib.

Whether it is day or night is always read from a whole UTC day worked out at once, so one minute
asked for alone and a season asked for together can never differ.
"""

# pvlib carries no types; what comes out of it is given one here.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray
from pvlib import spa

from rules.local_time import day_span_ms
from rules.model.reading import MINUTE_MS

if TYPE_CHECKING:
    from datetime import date

    from rules.model.place import Place

Floats = NDArray[np.float64]

HORIZON_DEG = -0.8333
"""Elevation of the sun's centre when its upper edge touches a flat horizon (refraction 34')."""

_DELTA_T_S = 69.0  # grows by about a second in two years; a second moves the sun by 0.004 degrees
_DAY_MINUTES = 1440
_PRESSURE_HPA = 1013.25  # only pvlib's refracted angle uses these two, and that is not read
_TEMPERATURE_C = 12.0
_REFRACTION_DEG = 0.5667


def sun_elevation_deg(place: Place, minutes: NDArray[np.int64]) -> Floats:
    """Elevation of the sun's centre above the horizon in the middle of each minute, in degrees.

    Without refraction. `minutes` are whole minutes since the epoch, UTC.
    Source: Reda & Andreas 2004 (NREL solar position algorithm), through pvlib.

    >>> from rules.model.place import Place
    >>> shed = Place(title="Shed", latitude_deg=39.742476, longitude_deg=-105.1786,
    ...              elevation_m=1830.14, time_zone="America/Denver")
    >>> float(sun_elevation_deg(shed, np.array([17_773_650]))[0].round(3))
    39.872
    """
    return _elevation_deg(place.latitude_deg, place.longitude_deg, place.elevation_m, minutes)


def sun_is_up(place: Place, minutes: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return for each minute since the epoch, UTC, whether the sun is up at the site."""
    up = np.empty(minutes.shape, dtype=np.bool_)
    days: NDArray[np.int64] = minutes // _DAY_MINUTES
    of_day: NDArray[np.int64] = minutes % _DAY_MINUTES
    for day in np.unique(days).tolist():
        whole = _day_up(place.latitude_deg, place.longitude_deg, place.elevation_m, day)
        here = days == day
        up[here] = whole[of_day[here]]
    return up


def dark_spans(place: Place, first_minute: int, minutes: int) -> tuple[tuple[int, int], ...]:
    """Return the spans without sun as (first minute, minute after the last), for shading a chart.

    Only minutes from `first_minute` on, `minutes` of them, are looked at.
    """
    if minutes <= 0:
        return ()
    grid = first_minute + np.arange(minutes, dtype=np.int64)
    dark = np.concatenate(([False], ~sun_is_up(place, grid), [False]))
    edges = (np.flatnonzero(dark[1:] != dark[:-1]) + first_minute).tolist()
    return tuple(zip(edges[::2], edges[1::2], strict=True))


def sunrise_and_sunset(place: Place, day: date) -> tuple[int | None, int | None]:
    """Return the first and the last minute with sun of a local day; None where it never rises.

    A day on which the sun never sets gives the day's own first and last minute.
    """
    start_ms, end_ms = day_span_ms(day, place)
    first = start_ms // MINUTE_MS
    grid = np.arange(first, end_ms // MINUTE_MS, dtype=np.int64)
    lit = np.flatnonzero(sun_is_up(place, grid))
    if lit.size == 0:
        return None, None
    return first + int(lit[0]), first + int(lit[-1])


@lru_cache(maxsize=800)
def _day_up(
    latitude_deg: float, longitude_deg: float, elevation_m: float, day: int
) -> NDArray[np.bool_]:
    minutes = day * _DAY_MINUTES + np.arange(_DAY_MINUTES, dtype=np.int64)
    up = _elevation_deg(latitude_deg, longitude_deg, elevation_m, minutes) > HORIZON_DEG
    up.setflags(write=False)
    return up


def _elevation_deg(
    latitude_deg: float, longitude_deg: float, elevation_m: float, minutes: NDArray[np.int64]
) -> Floats:
    middle_s = minutes.astype(np.float64) * 60.0 + 30.0
    position = cast(
        "tuple[Floats, ...]",
        spa.solar_position_numpy(
            middle_s,
            latitude_deg,
            longitude_deg,
            elevation_m,
            _PRESSURE_HPA,
            _TEMPERATURE_C,
            _DELTA_T_S,
            _REFRACTION_DEG,
            1,
        ),
    )
    return position[3]
