"""`graftvigil lasts`: how long a fresh scion of a batch would last in air as given."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn
from api.cli.options import take_data

if TYPE_CHECKING:
    from rules.model.batch import Batch
    from rules.model.drying import Drying
    from rules.model.plan import CarePlan

LASTS = """\
Work out how many hours a fresh scion of one batch would last in air that stays as given, before it
has lost the water that its care plan calls critical. A low and a high figure stand beside the
likely one: they come from the ranges in the plan's [drying] table. It is an estimate, and no
replacement for looking at the plants. docs/sums/drying.md has the sum and its sources.

  graftvigil lasts --site site.toml --batch MG-07 --temperature 30 --humidity 70
  graftvigil lasts --site site.toml --batch PE-03 --temperature 30 --humidity 50 --film-open --json
"""


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `lasts` to the command line."""
    command = subcommands.add_parser(
        "lasts",
        help="how long a fresh scion would last in air that stays as given",
        description=LASTS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("--site", required=True, type=Path, metavar="FILE", help="the site file")
    command.add_argument(
        "--plans", type=Path, metavar="FOLDER", help="care plans (default: plans, beside the site)"
    )
    take_data(command)
    command.add_argument("--batch", required=True, metavar="CODE", help="the batch")
    command.add_argument("--temperature", required=True, metavar="DEGC", help="of the air, in °C")
    command.add_argument("--humidity", required=True, metavar="PERCENT", help="relative, 0 to 100")
    command.add_argument(
        "--ppfd", default="0", metavar="N", help="light on the plant, µmol/m2/s (default: 0, night)"
    )
    command.add_argument("--leaf-temperature", metavar="DEGC", help="if measured, in °C")
    command.add_argument(
        "--film-open", action="store_true", help="the stretch film is split or off"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print how long the scion lasts."""
    from api.cli import given
    from api.watch.clock import WallClock
    from rules.drying import FRESH, in_one_minute, spend
    from rules.model.batch import Scion
    from rules.model.plan import plan_in_force
    from rules.psychrometry import pressure_at_elevation_kpa
    from rules.reserve import MOST_HOURS, hours_to_critical
    from rules.scion import drying_figures

    air_c = _figure(arguments.temperature, "--temperature", lowest=-20, highest=60)
    humidity_pct = _figure(arguments.humidity, "--humidity", lowest=0, highest=100)
    ppfd = _figure(arguments.ppfd, "--ppfd", lowest=0, highest=3200)
    leaf_c = arguments.leaf_temperature
    if leaf_c is not None:
        leaf_c = _figure(leaf_c, "--leaf-temperature", lowest=-20, highest=60)
    site, plans = given.in_force(arguments.site, arguments.plans, arguments.data)
    batch = _batch(site.batch, arguments.batch)
    if arguments.film_open and batch.scion is Scion.LEAFY:
        msg = f"--film-open: {batch.code} has a leafy scion, and no film holds its water"
        raise CannotGoOn(msg)
    drying = _drying(plan_in_force(plans[batch.plan], WallClock().now()))
    figures = drying_figures(
        drying,
        0,
        pressure_kpa=pressure_at_elevation_kpa(site.site.elevation_m),
        scion_diameter_mm=batch.scion_diameter_mm,
    )
    around = in_one_minute(
        0,
        air_temperature_c=air_c,
        relative_humidity_pct=humidity_pct,
        ppfd_umol_m2_s=ppfd,
        leaf_temperature_c=leaf_c,
        air_speed_m_s=None,
        sun_up=ppfd > 0,
        film_open=arguments.film_open,
    )
    spending = spend(figures, FRESH, around)
    hours = hours_to_critical(figures, spending)
    low, likely, high = (float(row[0]) for row in (hours.low, hours.central, hours.high))
    if arguments.json:
        told = {
            "batch": batch.code,
            "hours_to_critical": likely,
            "hours_to_critical_low": low,
            "hours_to_critical_high": high,
            "leaf_temperature_c": float(spending.leaf_temperature_c[0]),
        }
        print(json.dumps(told, indent=2))
        return GOOD
    least, about, most = (_hours(span, MOST_HOURS) for span in (low, likely, high))
    print(
        f"{batch.code}: a fresh scion lasts {about}; at the soonest {least}, at the latest {most}."
    )
    print("An estimate for air that stays so, from the plan's ranges; look at the plants.")
    return GOOD


def _figure(typed: str, option: str, *, lowest: float, highest: float) -> float:
    from api.cli.given import figure

    value = figure(typed, option)
    if lowest <= value <= highest:
        return value
    msg = f"{option}: {value:g} does not lie between {lowest:g} and {highest:g}"
    raise CannotGoOn(msg)


def _batch(batches: tuple[Batch, ...], code: str) -> Batch:
    for batch in batches:
        if batch.code == code:
            return batch
    msg = f"--batch: {code} is not in the site file; there are {', '.join(b.code for b in batches)}"
    raise CannotGoOn(msg)


def _drying(plan: CarePlan) -> Drying:
    if plan.drying is None:
        msg = f"the care plan {plan.id} has no [drying] table; docs/site_file.md says what it holds"
        raise CannotGoOn(msg)
    return plan.drying


def _hours(hours: float, most: float) -> str:
    if hours >= most:
        return f"{most / 24:.0f} days or more"
    return f"{hours:.1f} h" if hours < 72 else f"{hours / 24:.0f} days"
