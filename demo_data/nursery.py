"""Tern Hollow itself: its two houses, its bags, and what befell them in the recorded night.

Nothing here paints a reading. What happens is a cause: a knot slips, a seam of the shade cloth
parts, a hand ties, mists and mends. What the air, the leaves and the light then do follows from
the sums in physics.py and bag.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from demo_data.bag import BAG_STEP_S, Around, Bags, Inside, follow
from demo_data.physics import HOUSE_STEP_S, Cloth, Floats, HouseAir, house_air, humidity_pct
from demo_data.weather import LOCAL_AHEAD_OF_UTC_H, Weather, local_hours, weather

BEGINS = datetime(2026, 11, 13, 13, 0, tzinfo=UTC)  # local midnight before the 14th
HOURS = 48
SPARE_MINUTES = 2
PPFD_PER_W = 2.02  # µmol s⁻¹ a watt of sunlight; printed values run from 1.9 to 2.3
LUX_PER_W = 109.0  # lumens a watt of daylight; printed values run from 100 to 120

BAG_CODES = ("MG-07", "AV-12", "CI-15", "MG-09", "AV-04", "MC-18")
BAGS = Bags(
    volume_m3=np.array([0.0060, 0.0065, 0.0050, 0.0060, 0.0070, 0.0060]),
    wall_m2=np.array([0.25, 0.26, 0.22, 0.25, 0.28, 0.25]),
    leaf_m2=np.array([0.032, 0.036, 0.026, 0.030, 0.050, 0.036]),
    leaf_day_mol=np.array([0.005, 0.006, 0.004, 0.005, 0.026, 0.009]),
    leaf_night_mol=np.array([0.005, 0.006, 0.004, 0.005, 0.011, 0.006]),
)
TIED_CHANGES_PER_H = np.array([0.3, 0.4, 0.3, 0.4, 5.0, 0.4])  # AV-04 is open by two fingers
SLIPPED_CHANGES_PER_H = 70.0
WALL_WATER_G_M2 = np.array([13.2, 26.0, 28.0, 24.0, 8.0, 26.0])  # drops seen at the start


def local(day: int, hour: int, minute: int) -> datetime:
    """Return the instant of a local time in November 2026."""
    at = datetime(2026, 11, day, hour, minute, tzinfo=UTC)
    return at - timedelta(hours=LOCAL_AHEAD_OF_UTC_H)


KNOT_SLIPS = local(15, 0, 50)
RETIED = local(15, 2, 40)
MISTED_G = 4.0
MIST_TAKES_S = 60
SEAM_PARTS = local(15, 7, 30)
MENDED = local(15, 9, 50)
PROBE_DIES = local(14, 22, 30)


def steps_from_start(at: datetime, step_s: int) -> int:
    """Whole steps between the beginning and an instant."""
    return round((at - BEGINS).total_seconds() / step_s)


@dataclass(frozen=True, slots=True)
class Truth:
    """What it truly was like, every HOUSE_STEP_S seconds from BEGINS on, before any sensor.

    Keys read "place/quantity", as in "MG-07/air" or "b4/light"; light in W m⁻² of sunlight.
    """

    series: dict[str, Floats]
    inside: Inside
    sky: Weather


def _finer(minutes: Floats, step_s: int, steps: int) -> Floats:
    at = np.arange(steps) * step_s / 60.0
    return np.interp(at, np.arange(len(minutes)), minutes)


HEALING_CLOTH = Cloth(passes=0.12)


def film_cloth() -> Cloth:
    """Return the cloth of the film house, with the seam that parts above bench 4."""
    return Cloth(
        passes=0.30,
        west_m=5.90,
        east_m=6.92,
        south_m=1.35,
        north_m=2.60,
        open_from=steps_from_start(SEAM_PARTS, HOUSE_STEP_S),
        open_until=steps_from_start(MENDED, HOUSE_STEP_S),
    )


def light_under(
    cloth: Cloth,
    x_m: float,
    y_m: float,
    *,
    beam: Floats,
    diffuse: Floats,
    zenith: Floats,
    azimuth: Floats,
) -> Floats:
    """Sunlight on a level surface at bench height under a cloth, W m⁻²."""
    lit = cloth.sunlit(x_m, y_m, z_m=1.0, zenith_deg=zenith, azimuth_deg=azimuth)
    level = beam * np.clip(np.cos(np.radians(zenith)), 0.0, 1.0)
    under: Floats = level * (lit + (1.0 - lit) * cloth.passes) + diffuse * cloth.passes
    return under


def house_through_time(sky: Weather, cloth: Cloth, *, by_day: float, by_night: float) -> HouseAir:
    """Follow one house; its sides are open by day and let down from dusk to dawn."""
    steps = HOURS * 3600 // HOUSE_STEP_S
    hours = _finer(local_hours(sky.start, len(sky.air_c)), HOUSE_STEP_S, steps) % 24.0
    wind = _finer(sky.wind_m_s, HOUSE_STEP_S, steps)
    share = np.interp(hours, [0, 6.3, 6.7, 18.3, 18.7, 24], [0, 0, 1, 1, 0, 0])
    changes = (by_night + (by_day - by_night) * share) * (0.4 + 0.3 * wind)
    return house_air(
        outside_c=_finer(sky.air_c, HOUSE_STEP_S, steps),
        outside_kpa=_finer(sky.vapour_kpa, HOUSE_STEP_S, steps),
        wind_m_s=wind,
        sunlight_w_m2=_finer(sky.sunlight_w_m2, HOUSE_STEP_S, steps),
        cloud=_finer(sky.cloud, HOUSE_STEP_S, steps),
        changes_per_h=changes,
        passes=cloth.passes,
    )


def around_bags(sky: Weather, house: HouseAir) -> Around:
    """Return what the six bags stand in, and what hands and knots do to them."""
    steps = HOURS * 3600 // BAG_STEP_S
    per = HOUSE_STEP_S // BAG_STEP_S

    def fine(series: Floats) -> Floats:
        at = np.arange(steps) / per
        one = np.interp(at, np.arange(len(series)), series)
        return np.repeat(one[:, None], len(BAG_CODES), axis=1)

    wind = fine(house.wind_m_s)
    light = HEALING_CLOTH.passes * _finer(sky.sunlight_w_m2, BAG_STEP_S, steps)
    open_sky = HEALING_CLOTH.passes * (1.0 - 0.8 * _finer(sky.cloud, BAG_STEP_S, steps))
    tied = np.repeat(TIED_CHANGES_PER_H[None, :], steps, axis=0)
    slips = steps_from_start(KNOT_SLIPS, BAG_STEP_S)
    retied = steps_from_start(RETIED, BAG_STEP_S)
    loose = BAG_CODES.index("MG-07")
    tied[slips:retied, loose] = SLIPPED_CHANGES_PER_H
    misted = np.zeros((steps, len(BAG_CODES)))
    mist_steps = MIST_TAKES_S // BAG_STEP_S
    misted[retied : retied + mist_steps, loose] = MISTED_G / mist_steps
    return Around(
        air_c=fine(house.air_c),
        vapour_kpa=fine(house.vapour_kpa),
        wind_m_s=wind,
        sunlight_w_m2=np.repeat(light[:, None], len(BAG_CODES), axis=1),
        sky_passes=np.repeat(open_sky[:, None], len(BAG_CODES), axis=1),
        changes_per_h=tied * (0.6 + 2.0 * wind),
        misted_g=misted,
    )


def true_night(rng: np.random.Generator) -> Truth:
    """Work out the 48 hours from BEGINS on."""
    sky = weather(BEGINS, HOURS * 60 + SPARE_MINUTES, rng)
    steps = HOURS * 3600 // HOUSE_STEP_S
    healing = house_through_time(sky, HEALING_CLOTH, by_day=45.0, by_night=22.0)
    cloth = film_cloth()
    film = house_through_time(sky, cloth, by_day=75.0, by_night=30.0)
    inside = follow(BAGS, around_bags(sky, healing), wall_water_g_m2=WALL_WATER_G_M2)

    series: dict[str, Floats] = {}
    per = HOUSE_STEP_S // BAG_STEP_S
    for bag, code in enumerate(BAG_CODES):
        air = inside.air_c[::per, bag]
        series[f"{code}/air"] = air
        series[f"{code}/humidity"] = np.minimum(
            humidity_pct(air, inside.vapour_kpa[::per, bag]), 100.0
        )
        series[f"{code}/leaf"] = inside.leaf_c[::per, bag]

    def finer(minutes: Floats) -> Floats:
        return _finer(minutes, HOUSE_STEP_S, steps)

    beam, diffuse = finer(sky.beam_w_m2), finer(sky.diffuse_w_m2)
    zenith = finer(sky.zenith_deg)
    # Azimuth is interpolated by its sine and cosine: it jumps from 360 to 0 in the north at noon.
    turn = np.radians(sky.azimuth_deg)
    azimuth = np.degrees(np.arctan2(finer(np.sin(turn)), finer(np.cos(turn)))) % 360.0
    points = {
        "b1": (HEALING_CLOTH, 4.5, 1.75),
        "healing": (HEALING_CLOTH, 9.0, 4.0),
        "b4": (cloth, 5.0, 2.25),
        "film": (cloth, 12.0, 5.0),
        "b5": (cloth, 6.0, 6.25),
        "b6": (cloth, 16.5, 2.25),
    }
    for name, (over, x_m, y_m) in points.items():
        series[f"{name}/light"] = light_under(
            over, x_m, y_m, beam=beam, diffuse=diffuse, zenith=zenith, azimuth=azimuth
        )
    for bench in ("b4", "b5", "b6"):
        # A screened probe still reads a little warm in the sun: 1 K at 700 W m⁻²; chosen.
        air = film.air_c + series[f"{bench}/light"] / 700.0
        series[f"{bench}/air"] = air
        series[f"{bench}/humidity"] = np.minimum(humidity_pct(air, film.vapour_kpa), 100.0)
    series["film/wind"] = film.wind_m_s
    series["b5/pot"] = pot_moisture_pct(film, series["b5/light"])
    series["sky/air"] = finer(sky.air_c)
    series["sky/humidity"] = np.minimum(
        humidity_pct(series["sky/air"], finer(sky.vapour_kpa)), 100.0
    )
    series["sky/light"] = finer(sky.sunlight_w_m2)
    series["sky/wind"] = finer(sky.wind_m_s)
    return Truth(series, inside, sky)


POT_DEPTH_MM = 180.0
POT_STARTS_PCT = 43.0
ROOTSTOCK_MOL_M2 = 0.22  # a few leaves kept on the stock, per area of bench; chosen


def pot_moisture_pct(house: HouseAir, light_w_m2: Floats) -> Floats:
    """Water in a pot by volume: what the rootstock's leaves draw is gone, nothing is added."""
    saturated = house.vapour_kpa * 100.0 / humidity_pct(house.air_c, house.vapour_kpa)
    awake = np.clip(light_w_m2 / 60.0, 0.05, 1.0)
    drawn_mol = ROOTSTOCK_MOL_M2 * awake * np.maximum(saturated - house.vapour_kpa, 0.0) / 101.0
    drawn_mm = np.cumsum(drawn_mol) * HOUSE_STEP_S * 18.015 / 1000.0
    return np.asarray(POT_STARTS_PCT - 100.0 * drawn_mm / POT_DEPTH_MM, dtype=np.float64)
