"""Light at a bench against the clear sky: what should come through, direct sun, and its reach.

The clear sky is a model (rules.sun), good to about 10 %; nothing finer is concluded from it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.domain import Figure, Floats, admitted, as_given
from rules.light import ppfd_of_irradiance
from rules.model.quantities import LightSource
from rules.sun import (
    LINKE_TURBIDITY,
    clear_sky_by_day_w_m2,
    clear_sky_irradiance_w_m2,
    sun_is_up,
    sun_position,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rules.model.place import Obstruction, Place

Minutes = NDArray[np.int64]
Flags = NDArray[np.bool_]

SUN_RADIUS_DEG = 0.2667
"""Half of the sun's disc: its upper edge clears a ridge that its centre has not reached."""

LEAST_CLEAR_SKY_UMOL_M2_S = 50.0
"""Below this the sun is too low for a share of the clear sky to mean anything; house rule."""

ABOVE_SHADE = 1.5
"""Direct sun is at least this many times what the cloth lets through of a clear sky; common
practice, no source. Room for the clear-sky model (10 %), the sensor (10 %) and bright clouds."""

NEAR_CLEAR_SKY = 0.9
"""Direct sun for certain, under thin cloth or none: this share of the clear sky; house rule, which
leaves the clear-sky model its 10 %."""

LEAST_DIRECT_SUN_UMOL_M2_S = 100.0
"""Never called direct sun below this, however dim the clear sky; house rule."""


def clear_sky_ppfd_umol_m2_s(
    place: Place, minutes: Minutes, *, linke_turbidity: float = LINKE_TURBIDITY
) -> Floats:
    """Return PPFD in the open under a clear sky, in µmol m⁻² s⁻¹, for each minute, UTC; 0 at night.

    Global radiation of the clear sky (rules.sun) times 2.0 µmol/J; within about 20 % in all.
    """
    radiation = clear_sky_irradiance_w_m2(place, minutes, linke_turbidity=linke_turbidity)
    return ppfd_of_irradiance(radiation, LightSource.SUN)


def clear_sky_by_day_umol_m2_s(place: Place, minutes: Minutes) -> Floats:
    """Return the same from whole days worked out at once, alike minute by minute and together."""
    return ppfd_of_irradiance(clear_sky_by_day_w_m2(place, minutes), LightSource.SUN)


def under_shade_umol_m2_s(open_sky_umol_m2_s: Figure, *, shade_fraction: float) -> Figure:
    """Return what a cloth lets through of the light in the open, in µmol m⁻² s⁻¹.

    open_sky_umol_m2_s: 0 or more; shade_fraction, the share the cloth stops: 0 to 1, else
    ValueError.

    >>> under_shade_umol_m2_s(2000.0, shade_fraction=0.75)
    500.0
    """
    lit = _ppfd(open_sky_umol_m2_s)
    return as_given(lit * (1.0 - _shade(shade_fraction)), open_sky_umol_m2_s)


def clear_sky_share(ppfd_umol_m2_s: Figure, clear_sky_umol_m2_s: Figure) -> Figure:
    """Return measured light as a share of what a clear sky would give in the open at that moment.

    Both 0 µmol m⁻² s⁻¹ or more, else ValueError. NaN while the clear sky gives less than 50: with
    the sun so low a share means nothing. Above 1 by as much as 1.1 says no more than 1 does.

    >>> clear_sky_share(240.0, 2000.0)
    0.12
    >>> clear_sky_share(5.0, 20.0)
    nan
    """
    lit, clear = _ppfd(ppfd_umol_m2_s), _ppfd(clear_sky_umol_m2_s)
    told = clear >= LEAST_CLEAR_SKY_UMOL_M2_S
    share = np.where(told, lit / np.where(told, clear, 1.0), np.nan)
    return as_given(share, ppfd_umol_m2_s, clear_sky_umol_m2_s)


def direct_sun_from_umol_m2_s(
    clear_sky_umol_m2_s: Figure,
    *,
    shade_fraction: float,
    above_shade: float = ABOVE_SHADE,
    near_clear_sky: float = NEAR_CLEAR_SKY,
    least_umol_m2_s: float = LEAST_DIRECT_SUN_UMOL_M2_S,
) -> Figure:
    r"""Return the PPFD at a bench from which on it is called direct sun, in µmol m⁻² s⁻¹.

    .. math:: \max(L,\; C \min(a\,(1 - s),\; n))

    C: clear sky in the open, 0 or more; s: shade fraction, 0 to 1; a: `above_shade`, 1 to 10; n:
    `near_clear_sky`, 0 to 1; L: `least_umol_m2_s`, 0 or more; else ValueError. All three figures
    are common practice, no source.

    >>> round(direct_sun_from_umol_m2_s(2000.0, shade_fraction=0.88))
    360
    >>> direct_sun_from_umol_m2_s(2000.0, shade_fraction=0.0)
    1800.0
    """
    clear = _ppfd(clear_sky_umol_m2_s)
    above = admitted(above_shade, lowest=1.0, highest=10.0, name="above_shade", unit="times")
    near = admitted(near_clear_sky, lowest=0.0, highest=1.0, name="near_clear_sky", unit="")
    share = np.minimum(above * (1.0 - _shade(shade_fraction)), near)
    return as_given(np.maximum(clear * share, _ppfd(least_umol_m2_s)), clear_sky_umol_m2_s)


def is_direct_sun(ppfd_umol_m2_s: Floats, from_umol_m2_s: Floats) -> Flags:
    """Return for each cell whether it is direct sun: at or above its own threshold.

    The threshold is that of direct_sun_from_umol_m2_s; a missing cell (NaN) is not direct sun.

    >>> is_direct_sun(np.array([359.0, 360.0, np.nan]), np.full(3, 360.0)).tolist()
    [False, True, False]
    """
    return ppfd_umol_m2_s >= from_umol_m2_s


def skyline_deg(obstruction: Sequence[Obstruction], azimuth_deg: Figure) -> Figure:
    """Return how high the line of what stands in the way is at each azimuth, in degrees.

    Straight from point to point and round through north; one point is a wall all round, none a
    flat horizon. azimuth_deg: -360 to 720, clockwise from true north, else ValueError.

    >>> from rules.model.place import Obstruction
    >>> ridge = [Obstruction(azimuth_deg=a, elevation_deg=e) for a, e in [(350, 4), (20, 10)]]
    >>> skyline_deg(ridge, np.array([5.0, 350.0, 20.0])).tolist()
    [7.0, 4.0, 10.0]
    """
    towards = admitted(azimuth_deg, lowest=-360.0, highest=720.0, name="azimuth", unit="degrees")
    if not obstruction:
        return as_given(np.where(np.isnan(towards), np.nan, 0.0), azimuth_deg)
    points = sorted((point.azimuth_deg, point.elevation_deg) for point in obstruction)
    azimuths = np.array([azimuth for azimuth, _ in points])
    heights = np.array([height for _, height in points])
    height = np.interp(towards, azimuths, heights, period=360.0)
    return as_given(height, azimuth_deg)


def sun_reaches(place: Place, minutes: Minutes, *, obstruction: Sequence[Obstruction]) -> Flags:
    """Return for each minute, UTC, whether a clear sun's upper edge is seen over the skyline.

    Neither the cloth nor the roof counts as in the way; a tree that lets light through does.
    """
    position = sun_position(place, minutes)
    upper_edge = position.apparent_elevation_deg + SUN_RADIUS_DEG
    over: Flags = upper_edge > skyline_deg(obstruction, position.azimuth_deg)
    return sun_is_up(place, minutes) & over


def spans_of_reach(
    place: Place, first_minute: int, minutes: int, *, obstruction: Sequence[Obstruction]
) -> tuple[tuple[int, int], ...]:
    """Return when the sun can reach a bench, as (first minute, minute after the last), in order.

    Only the `minutes` minutes from `first_minute` on are looked at.
    """
    grid = first_minute + np.arange(minutes, dtype=np.int64)
    lit = sun_reaches(place, grid, obstruction=obstruction)
    edged = np.concatenate(([False], lit, [False]))
    edges: list[int] = (np.flatnonzero(edged[1:] != edged[:-1]) + first_minute).tolist()
    return tuple(zip(edges[::2], edges[1::2], strict=True))


def _ppfd(values: float | Floats) -> Floats:
    return admitted(values, lowest=0.0, highest=np.inf, name="PPFD", unit="µmol m⁻² s⁻¹")


def _shade(shade_fraction: float) -> Floats:
    return admitted(shade_fraction, lowest=0.0, highest=1.0, name="shade fraction", unit="")
