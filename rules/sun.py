"""Where the sun stands over the site, and what light a clear sky gives. Only this file knows pvlib.

Whether it is day or night is always read from a whole UTC day worked out at once, so one minute
asked for alone and a season asked for together can never differ.
"""

# pvlib carries no types; what comes out of it is given one here. It is imported where it is asked:
# that takes as long as all the rest of the program together, and much never asks for the sun.
# pyright: reportMissingTypeStubs=false, reportUnknownMemberType=false

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from rules.domain import admitted
from rules.local_time import day_span_ms
from rules.model.reading import MINUTE_MS
from rules.psychrometry import pressure_at_elevation_kpa

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from rules.model.place import Place

Floats = NDArray[np.float64]
AnyScalar = TypeVar("AnyScalar", bound=np.generic)

CLEAR_SKY_MODEL = "Ineichen & Perez 2002"
LINKE_TURBIDITY = 3.0
"""Haze of a clean, fairly damp sky; common practice. 2 is very clear, 5 hazy, 7 dirty."""

HORIZON_DEG = -0.8333
"""Elevation of the sun's centre when its upper edge touches a flat horizon (refraction 34')."""

_DELTA_T_S = 69.0  # grows by about a second in two years; a second moves the sun by 0.004 degrees
_DAY_MINUTES = 1440
_GRAZING_DEG = 89.99  # the model divides by the cosine of the zenith
_PRESSURE_HPA = 1013.25  # only the refracted angle uses these two
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
    return elevation_at_deg(place.latitude_deg, place.longitude_deg, place.elevation_m, minutes)


@dataclass(frozen=True, slots=True)
class SunPosition:
    """Where the sun's centre stands in the middle of each minute, in degrees.

    `elevation_deg` is without refraction, `apparent_elevation_deg` with that of an ordinary day
    at sea level; `azimuth_deg` is clockwise from true north, 0 to 360.
    """

    elevation_deg: Floats
    apparent_elevation_deg: Floats
    azimuth_deg: Floats


@dataclass(frozen=True, slots=True)
class SunTimes:
    """When the sun's upper edge crosses a flat horizon on a local day, in ms since the epoch, UTC.

    None where it does not cross that day.
    """

    sunrise_ms: int | None
    sunset_ms: int | None


def sun_position(place: Place, minutes: NDArray[np.int64]) -> SunPosition:
    """Return where the sun stands at the site in the middle of each minute since the epoch, UTC.

    Source: Reda & Andreas 2004 (NREL solar position algorithm), through pvlib.
    """
    found = _position(place.latitude_deg, place.longitude_deg, place.elevation_m, minutes)
    return SunPosition(
        elevation_deg=found[3], apparent_elevation_deg=found[2], azimuth_deg=found[4]
    )


def sun_times(place: Place, day: date) -> SunTimes:
    """Return sunrise and sunset of a local day, to the second.

    The first of each when the sun crosses twice. Between the middles of two minutes the sun is
    taken to move evenly, which is good to a hundredth of a second outside the polar circles.
    Source: Reda & Andreas 2004; upper edge at the horizon, refraction 34'. Near mountains or the
    poles the true horizon and cold air can shift both by minutes.
    """
    start_ms, end_ms = day_span_ms(day, place)
    first = start_ms // MINUTE_MS - 1
    grid = np.arange(first, end_ms // MINUTE_MS + 1, dtype=np.int64)
    above = sun_elevation_deg(place, grid) - HORIZON_DEG
    rises = np.flatnonzero((above[:-1] <= 0.0) & (above[1:] > 0.0))
    sets = np.flatnonzero((above[:-1] > 0.0) & (above[1:] <= 0.0))

    def first_within(crossings: NDArray[np.int64]) -> int | None:
        share = above[crossings] / (above[crossings] - above[crossings + 1])
        at = (grid[crossings] + 0.5 + share) * MINUTE_MS
        whole = np.rint(at).astype(np.int64)
        inside: list[int] = whole[(whole >= start_ms) & (whole < end_ms)].tolist()
        return inside[0] if inside else None

    return SunTimes(sunrise_ms=first_within(rises), sunset_ms=first_within(sets))


def clear_sky_irradiance_w_m2(
    place: Place, minutes: NDArray[np.int64], *, linke_turbidity: float = LINKE_TURBIDITY
) -> Floats:
    """Return global radiation on level ground under a clear sky, in W m⁻², for each minute, UTC.

    0 while the sun is down. linke_turbidity: 1 to 10, else ValueError. Other clear-sky models
    give days that differ by 13 to 20 %, so nothing finer than 10 % may be read from it.
    Source: Ineichen & Perez 2002, Solar Energy 73:151-157; Kasten & Young 1989 for the air mass;
    Spencer 1971 for the sun's distance; through pvlib.
    """
    position = sun_position(place, minutes)
    day_of_year = _day_of_year(minutes)
    from pvlib import irradiance

    beyond_air = cast("Floats", irradiance.get_extra_radiation(day_of_year))
    return clear_sky_of_zenith_w_m2(
        90.0 - position.apparent_elevation_deg,
        elevation_m=place.elevation_m,
        linke_turbidity=linke_turbidity,
        extraterrestrial_w_m2=beyond_air,
    )


def clear_sky_by_day_w_m2(place: Place, minutes: NDArray[np.int64]) -> Floats:
    """Return clear-sky global radiation, in W m⁻², read from whole UTC days worked out at once.

    So one minute asked for alone and a season asked for together can never differ; for the haze of
    LINKE_TURBIDITY.
    """
    return read_by_day(place, minutes, _day_clear)


def clear_sky_of_zenith_w_m2(
    apparent_zenith_deg: Floats,
    *,
    elevation_m: float,
    linke_turbidity: float,
    extraterrestrial_w_m2: Floats,
) -> Floats:
    """Return clear-sky global radiation on level ground, in W m⁻², from the sun's zenith angle.

    apparent_zenith_deg: 0 to 180, 0 W m⁻² from 90 on; linke_turbidity: 1 to 10; elevation_m: -500
    to 11000, else ValueError. Source: Ineichen & Perez 2002, as in Reno, Hansen & Stein 2012,
    SAND2012-2389, without the enhancement that pvlib offers.

    >>> sun = np.array([0.0, 60.0])
    >>> clear_sky_of_zenith_w_m2(sun, elevation_m=0.0, linke_turbidity=3.0,
    ...                          extraterrestrial_w_m2=np.full(2, 1364.0)).round(1).tolist()
    [1054.2, 469.6]
    """
    from pvlib import atmosphere, clearsky

    # Always floats: a whole-number series of zeniths is cut to whole watts inside some models.
    zenith = admitted(apparent_zenith_deg, lowest=0.0, highest=180.0, name="zenith", unit="degrees")
    haze = admitted(linke_turbidity, lowest=1.0, highest=10.0, name="Linke turbidity", unit="")
    above = np.minimum(zenith, _GRAZING_DEG)
    air_mass = atmosphere.get_relative_airmass(above, "kastenyoung1989")
    pressed_pa = 1000.0 * pressure_at_elevation_kpa(elevation_m)
    absolute = atmosphere.get_absolute_airmass(air_mass, pressed_pa)
    parts = cast(
        "dict[str, Floats]",
        clearsky.ineichen(
            above,
            absolute,
            haze,
            altitude=float(elevation_m),  # pyright: ignore[reportArgumentType]
            dni_extra=extraterrestrial_w_m2,  # pyright: ignore[reportArgumentType]
        ),
    )
    lit: Floats = np.where(zenith < 90.0, parts["ghi"], 0.0)
    return np.where(np.isnan(zenith), np.nan, lit)


def sun_is_up(place: Place, minutes: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return for each minute since the epoch, UTC, whether the sun is up at the site."""
    return read_by_day(place, minutes, _day_up)


def read_by_day(
    place: Place,
    minutes: NDArray[np.int64],
    whole_day: Callable[[float, float, float, int], NDArray[AnyScalar]],
) -> NDArray[AnyScalar]:
    """Return for each minute since the epoch, UTC, what `whole_day` says of it.

    `whole_day` works out all 1440 minutes of a UTC day from latitude, longitude, elevation and the
    day's number, so one minute asked for alone and a season asked for together never differ.
    """
    here = place.latitude_deg, place.longitude_deg, place.elevation_m
    days, which = np.unique(minutes // _DAY_MINUTES, return_inverse=True)
    if days.size == 0:
        return whole_day(*here, 0)[:0]
    table = np.stack([whole_day(*here, day) for day in days.tolist()])
    read: NDArray[AnyScalar] = table[which, minutes % _DAY_MINUTES]
    return read


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
    up = elevation_at_deg(latitude_deg, longitude_deg, elevation_m, minutes) > HORIZON_DEG
    up.setflags(write=False)
    return up


@lru_cache(maxsize=400)
def _day_clear(latitude_deg: float, longitude_deg: float, elevation_m: float, day: int) -> Floats:
    minutes = day * _DAY_MINUTES + np.arange(_DAY_MINUTES, dtype=np.int64)
    apparent = _position(latitude_deg, longitude_deg, elevation_m, minutes)[2]
    from pvlib import irradiance

    beyond_air = cast("Floats", irradiance.get_extra_radiation(_day_of_year(minutes)))
    lit = clear_sky_of_zenith_w_m2(
        90.0 - apparent,
        elevation_m=elevation_m,
        linke_turbidity=LINKE_TURBIDITY,
        extraterrestrial_w_m2=beyond_air,
    )
    lit.setflags(write=False)
    return lit


def elevation_at_deg(
    latitude_deg: float, longitude_deg: float, elevation_m: float, minutes: NDArray[np.int64]
) -> Floats:
    """Return what `sun_elevation_deg` returns, for a place given by its three figures."""
    return _position(latitude_deg, longitude_deg, elevation_m, minutes)[3]


def _position(
    latitude_deg: float, longitude_deg: float, elevation_m: float, minutes: NDArray[np.int64]
) -> tuple[Floats, ...]:
    """Apparent zenith, zenith, apparent elevation, elevation, azimuth, equation of time."""
    from pvlib import spa

    middle_s = minutes.astype(np.float64) * 60.0 + 30.0
    return cast(
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


def _day_of_year(minutes: NDArray[np.int64]) -> Floats:
    """Day of the year of each minute, UTC, 1 on the first of January, as floats."""
    days = (minutes // _DAY_MINUTES).astype("datetime64[D]")
    new_year = days.astype("datetime64[Y]").astype("datetime64[D]")
    passed: Floats = (days - new_year).astype(np.float64)
    return passed + 1.0
