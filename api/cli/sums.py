"""`graftvigil air` and `graftvigil light`: the sums of the air and of light, worked out at once."""

from __future__ import annotations

import argparse
import json
from datetime import UTC
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn

if TYPE_CHECKING:
    from collections.abc import Mapping

Subcommands = argparse._SubParsersAction
Told = float | bool | None

AIR = """\
Work out the state of damp air: what it holds, what it lacks, where dew begins, how far misting can
cool it. With the leaf's own temperature also how strongly the air pulls on that leaf; below zero
means that water condenses on it. docs/sums/air.md has the formulas and their ranges.

  graftvigil air --temperature 25 --humidity 60
  graftvigil air --temperature 30 --humidity 95 --leaf-temperature 33 --elevation 400 --json
"""

LIGHT = """\
Turn a light reading into every other: photons a leaf can use, lux, watts of PAR, watts of all
sunlight. What lights the sensor decides the factor. Units: umol/m2/s, lx, klx, fc, W/m2, kW/m2.
W/m2 is all sunlight (a pyranometer) unless --sensor quantum says that it is PAR alone.
docs/sums/light.md has the factors and how far to trust them.

With --site, --bench and --at it also says what share of a clear sky's light that is at that
moment, and whether it is direct sun on the bench.

  graftvigil light --value 54000 --unit lx --source sun
  graftvigil light --value 900 --unit umol/m2/s --source sun --site site.toml --bench b1 \\
      --at 2026-11-15T10:00:00+11:00
"""


def register(subcommands: Subcommands[argparse.ArgumentParser]) -> None:
    """Add `air` and `light` to the command line."""
    air = subcommands.add_parser(
        "air",
        help="what air holds and lacks, its dew point, and the pull on a leaf",
        description=AIR,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    air.add_argument("--temperature", required=True, metavar="DEGC", help="of the air, in °C")
    air.add_argument("--humidity", required=True, metavar="PERCENT", help="relative, 0 to 100")
    air.add_argument("--leaf-temperature", metavar="DEGC", help="of the leaf, in °C")
    air.add_argument(
        "--elevation", default="0", metavar="METRES", help="above the sea (default: 0)"
    )
    air.add_argument("--json", action="store_true", help="print one JSON object")
    air.set_defaults(run=run_air)

    light = subcommands.add_parser(
        "light",
        help="a light reading in every other unit, by what lights the sensor",
        description=LIGHT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    light.add_argument("--value", required=True, metavar="N", help="the reading, 0 or more")
    light.add_argument("--unit", required=True, help="its unit")
    light.add_argument(
        "--source",
        required=True,
        help="sun, blue_sky, white_led, high_pressure_sodium, metal_halide, "
        "cool_white_fluorescent or incandescent",
    )
    light.add_argument(
        "--sensor",
        metavar="KIND",
        help="quantum, photometric or pyranometer (default: what the unit says)",
    )
    light.add_argument("--site", type=Path, metavar="FILE", help="site file")
    light.add_argument("--bench", metavar="ID", help="the bench of that site it was read at")
    light.add_argument("--at", metavar="INSTANT", help="when, with its offset from UTC")
    light.add_argument("--json", action="store_true", help="print one JSON object")
    light.set_defaults(run=run_light)


def run_air(arguments: argparse.Namespace) -> int:
    """Print the state of the air that the arguments describe."""
    from api.cli.given import figure
    from rules import air, psychrometry

    leaf_c = arguments.leaf_temperature
    try:
        air_c = figure(arguments.temperature, "--temperature")
        humidity_pct = figure(arguments.humidity, "--humidity")
        leaf_c = None if leaf_c is None else figure(leaf_c, "--leaf-temperature")
        pressure_kpa = psychrometry.pressure_at_elevation_kpa(
            figure(arguments.elevation, "--elevation")
        )
        held_kpa = air.vapour_pressure_kpa(air_c, humidity_pct)
        # Air so dry that dew would form only below the range of the equation has no dew point here.
        driest_kpa = air.saturation_vapour_pressure_kpa(air.LOWEST_C)
        worked_out = {
            "saturation_vapour_pressure_kpa": air.saturation_vapour_pressure_kpa(air_c),
            "vapour_pressure_kpa": held_kpa,
            "vapour_pressure_deficit_kpa": air.vapour_pressure_deficit_kpa(air_c, humidity_pct),
            "leaf_vapour_pressure_deficit_kpa": None
            if leaf_c is None
            else air.leaf_to_air_deficit_kpa(leaf_c, air_c, humidity_pct),
            "dew_point_c": air.dew_point_c(held_kpa) if held_kpa >= driest_kpa else None,
            "wet_bulb_c": psychrometry.wet_bulb_c(air_c, humidity_pct, pressure_kpa=pressure_kpa),
            "humidity_ratio_kg_kg": psychrometry.humidity_ratio_kg_kg(
                held_kpa, pressure_kpa=pressure_kpa
            ),
            "absolute_humidity_g_m3": air.absolute_humidity_g_m3(air_c, humidity_pct),
        }
        around = {
            "pressure_kpa": pressure_kpa,
            "latent_heat_mj_kg": psychrometry.latent_heat_mj_kg(air_c),
            "psychrometric_constant_kpa_c": psychrometry.psychrometric_constant_kpa_c(pressure_kpa),
            "saturation_slope_kpa_c": air.saturation_slope_kpa_c(air_c),
        }
    except ValueError as outside:
        raise CannotGoOn(str(outside)) from None
    _tell(worked_out if arguments.json else worked_out | around, as_json=arguments.json)
    return GOOD


def run_light(arguments: argparse.Namespace) -> int:
    """Print a light reading in every unit."""
    from api.cli.given import figure, word
    from rules import light
    from rules.model.quantities import DAYLIGHT, LightSource

    source = word(arguments.source, LightSource, "--source")
    value = figure(arguments.value, "--value")
    try:
        ppfd = _ppfd(value, arguments.unit, source, kind=arguments.sensor)
        worked_out: dict[str, Told] = {
            "ppfd_umol_m2_s": ppfd,
            "illuminance_lx": light.illuminance_lx(ppfd, source),
            "par_irradiance_w_m2": light.par_irradiance_w_m2(ppfd, source),
            "irradiance_w_m2": light.irradiance_w_m2(ppfd, source) if source in DAYLIGHT else None,
        }
        worked_out |= _against_the_sky(arguments, ppfd)
    except ValueError as outside:
        raise CannotGoOn(str(outside)) from None
    _tell(worked_out, as_json=arguments.json)
    return GOOD


def _ppfd(value: float, unit: str, source: str, *, kind: str | None) -> float:
    from api.cli.given import word
    from rules.light import ppfd_of_par_irradiance, ppfd_of_reading
    from rules.model.quantities import (
        KIND_OF_LIGHT,
        MEANINGS,
        LightSource,
        Quantity,
        SensorKind,
        in_our_unit,
    )

    quantities = {name: quantity for quantity in KIND_OF_LIGHT for name in MEANINGS[quantity].units}
    if unit not in quantities:
        msg = f'--unit: "{unit}" is not a unit of light; write one of {", ".join(quantities)}'
        raise CannotGoOn(msg)
    quantity, lit_by = quantities[unit], LightSource(source)
    measured = in_our_unit(quantity, unit, value)
    fitting = KIND_OF_LIGHT[quantity]
    told = fitting if kind is None else word(kind, SensorKind, "--sensor")
    if told is SensorKind.QUANTUM and quantity is Quantity.IRRADIANCE:
        return ppfd_of_par_irradiance(measured, lit_by)
    if told is not fitting:
        msg = f"--sensor: a {told} sensor does not measure {unit}; a {fitting} one does"
        raise CannotGoOn(msg)
    return ppfd_of_reading(measured, told, lit_by)


def _against_the_sky(arguments: argparse.Namespace, ppfd: float) -> dict[str, Told]:
    """Return what the reading is against a clear sky, if a bench and an instant were named."""
    named = (arguments.site, arguments.bench, arguments.at)
    if all(one is None for one in named):
        return {}
    if any(one is None for one in named):
        msg = "--site, --bench and --at go together; give all three or none"
        raise CannotGoOn(msg)
    import numpy as np

    from api.cli import given
    from rules import sky
    from rules.speaking import EPOCH, MINUTE

    at = given.instant(arguments.at, "--at").astimezone(UTC)
    site = given.site(arguments.site)
    house_of = {bench.id: bench.house for bench in site.bench}
    if arguments.bench not in house_of:
        msg = f'--bench: there is no bench "{arguments.bench}"; write one of {", ".join(house_of)}'
        raise CannotGoOn(msg)
    shade = next(one for one in site.house if one.id == house_of[arguments.bench]).shade_fraction
    minute = np.array([(at - EPOCH) // MINUTE], dtype=np.int64)
    clear = float(sky.clear_sky_ppfd_umol_m2_s(site.site, minute)[0])
    from_on = sky.direct_sun_from_umol_m2_s(clear, shade_fraction=shade)
    share = sky.clear_sky_share(ppfd, clear)
    return {
        "clear_sky_ppfd_umol_m2_s": clear,
        "clear_sky_share": None if np.isnan(share) else share,
        "direct_sun_from_umol_m2_s": from_on,
        "direct_sun": bool(sky.is_direct_sun(np.array([ppfd]), np.array([from_on]))[0]),
    }


def _tell(worked_out: Mapping[str, Told], *, as_json: bool) -> None:
    """Print what was worked out: to six figures as JSON, to four for reading."""
    if as_json:
        print(json.dumps({name: _to_figures(value, 6) for name, value in worked_out.items()}))
        return
    width = max(map(len, worked_out))
    for name, value in worked_out.items():
        print(f"{name:<{width}}  {_in_words(value)}")


def _to_figures(value: Told, figures: int) -> Told:
    return value if value is None or isinstance(value, bool) else float(f"{value:.{figures}g}")


def _in_words(value: Told) -> str:
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
