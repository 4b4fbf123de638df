"""`graftvigil sun`: one day's sun over the site, hour by hour and bench by bench."""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.main import GOOD, CannotGoOn

if TYPE_CHECKING:
    from datetime import date

    from rules.light_record import ChannelLight
    from rules.model.site import Site

SUN = """\
Work out a day's sun over the site: sunrise and sunset, the light of a clear sky hour by hour in
the open and under each house's cloth, and when the sun can reach each bench past what stands in
its way (`obstruction` in the site file). With --data also what the sensors saw that day: light
sums and minutes of direct sun. docs/sums/sun.md has the sums and how far to trust them.

  graftvigil sun --site site.toml --date 2026-11-15
  graftvigil sun --site site.toml --date 2026-11-15 --data graftvigil-data --json
"""


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour on the wall, and its mean light under a clear sky, in the open and by house."""

    start: datetime
    open_sky_umol_m2_s: float
    shaded_umol_m2_s: dict[str, float]


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that is told of a day. Instants are local; `reach` is by bench."""

    day: date
    sunrise: datetime | None
    sunset: datetime | None
    daylight_min: int
    model: str
    hours: tuple[Hour, ...]
    light_sum_mol_m2: float
    reach: dict[str, tuple[tuple[datetime, datetime], ...]]
    seen: tuple[ChannelLight, ...] | None


def register(subcommands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `sun` to the command line."""
    parser = subcommands.add_parser(
        "sun",
        help="a day's sun: rise and set, clear-sky light, when it reaches each bench",
        description=SUN,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--site", required=True, type=Path, metavar="FILE", help="site file")
    parser.add_argument("--date", required=True, metavar="DAY", help="as in 2026-11-15")
    parser.add_argument(
        "--turbidity",
        default="3",
        metavar="N",
        help="haze as Linke turbidity, 1 to 10: 2 very clear, 3 usual, 5 hazy (default: 3)",
    )
    parser.add_argument("--data", type=Path, metavar="FOLDER", help="folder of the stores")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the sheet of the day."""
    from api.cli import given

    day = given.day(arguments.date, "--date")
    turbidity = given.figure(arguments.turbidity, "--turbidity")
    site = given.site(arguments.site)
    try:
        sheet = sheet_of(site, day, turbidity=turbidity, data=arguments.data)
    except ValueError as outside:
        raise CannotGoOn(str(outside)) from None
    print(json.dumps(_as_json(sheet, site)) if arguments.json else _as_text(sheet, site))
    return GOOD


def sheet_of(site: Site, day: date, *, turbidity: float, data: Path | None) -> Sheet:
    """Return the sheet of a local day; ValueError for a turbidity outside 1 to 10."""
    import numpy as np

    from rules.light_day import light_days, minutes_of_day
    from rules.local_time import to_local
    from rules.sky import clear_sky_ppfd_umol_m2_s, spans_of_reach, under_shade_umol_m2_s
    from rules.sun import CLEAR_SKY_MODEL, sun_is_up, sun_times

    place = site.site

    def local(minute: int) -> datetime:
        return to_local(datetime.fromtimestamp(minute * 60, UTC), place)

    def local_ms(at_ms: int | None) -> datetime | None:
        if at_ms is None:
            return None
        return to_local(datetime.fromtimestamp(round(at_ms / 1000), UTC), place)

    minutes = minutes_of_day(place, day)
    first = int(minutes[0])
    clear = clear_sky_ppfd_umol_m2_s(place, minutes, linke_turbidity=turbidity)
    hours: list[Hour] = []
    for start in range(0, minutes.size, 60):
        mean = float(clear[start : start + 60].mean())
        shaded = {
            house.id: under_shade_umol_m2_s(mean, shade_fraction=house.shade_fraction)
            for house in site.house
        }
        hours.append(Hour(local(first + start), mean, shaded))
    (light,) = light_days(place, first, clear, direct_sun=np.zeros(clear.shape, dtype=np.bool_))
    times = sun_times(place, day)
    reach = {
        bench.id: tuple(
            (local(start), local(end))
            for start, end in spans_of_reach(
                place, first, minutes.size, obstruction=bench.obstruction
            )
        )
        for bench in site.bench
    }
    return Sheet(
        day=day,
        sunrise=local_ms(times.sunrise_ms),
        sunset=local_ms(times.sunset_ms),
        daylight_min=int(np.count_nonzero(sun_is_up(place, minutes))),
        model=f"{CLEAR_SKY_MODEL}, Linke turbidity {turbidity:g}",
        hours=tuple(hours),
        light_sum_mol_m2=light.light_sum_mol_m2,
        reach=reach,
        seen=None if data is None else _seen(site, day, data, turbidity=turbidity),
    )


def _seen(site: Site, day: date, data: Path, *, turbidity: float) -> tuple[ChannelLight, ...]:
    from api.cli import given
    from collector.stores.sqlite import SqliteStore
    from rules.light_record import light_channels, light_of_day
    from rules.local_time import day_span_ms

    store = SqliteStore(given.readings_file(data))
    try:
        readings = store.span(light_channels(site), *day_span_ms(day, site.site))
    finally:
        store.close()
    return light_of_day(site, day, readings, linke_turbidity=turbidity)


def _as_json(sheet: Sheet, site: Site) -> dict[str, object]:
    told: dict[str, object] = {
        "date": sheet.day.isoformat(),
        "time_zone": site.site.time_zone,
        "sunrise": sheet.sunrise.isoformat() if sheet.sunrise else None,
        "sunset": sheet.sunset.isoformat() if sheet.sunset else None,
        "daylight_min": sheet.daylight_min,
        "clear_sky_model": sheet.model,
        "clear_sky_light_sum_mol_m2": round(sheet.light_sum_mol_m2, 2),
        "hours": [
            {
                "start": hour.start.isoformat(),
                "clear_sky_ppfd_umol_m2_s": round(hour.open_sky_umol_m2_s, 1),
                "shaded_ppfd_umol_m2_s": {
                    house: round(light, 1) for house, light in hour.shaded_umol_m2_s.items()
                },
            }
            for hour in sheet.hours
        ],
        "benches": [
            {
                "bench": bench.id,
                "house": bench.house,
                "sun_can_reach": [
                    {"start": start.isoformat(), "end": end.isoformat()}
                    for start, end in sheet.reach[bench.id]
                ],
            }
            for bench in site.bench
        ],
    }
    if sheet.seen is not None:
        told["seen"] = [
            {
                "channel": one.channel,
                "place": one.place,
                "light_sum_mol_m2": round(one.light.light_sum_mol_m2, 3),
                "clear_sky_share": None
                if one.clear_sky_share is None
                else round(one.clear_sky_share, 3),
                "direct_sun_min": one.light.direct_sun_minutes,
                "seen_min": one.light.seen_minutes,
                "day_min": one.light.minutes,
            }
            for one in sheet.seen
        ]
    return told


def _as_text(sheet: Sheet, site: Site) -> str:
    lines = [f"{site.site.title}, {sheet.day}, local time ({site.site.time_zone})", _rise(sheet)]
    lines += ["", f"Clear sky ({sheet.model}), PPFD in µmol m⁻² s⁻¹, mean of the hour from"]
    titles = ["open sky", *(f"{one.id} ({one.shade_fraction:.0%} shade)" for one in site.house)]
    widths = [max(len(title), 8) for title in titles]
    lines.append("  ".join(["     ", *map(str.rjust, titles, widths)]))
    for hour in sheet.hours:
        if hour.open_sky_umol_m2_s > 0:
            lights = [hour.open_sky_umol_m2_s, *hour.shaded_umol_m2_s.values()]
            told = [
                f"{light:.0f}".rjust(width) for light, width in zip(lights, widths, strict=True)
            ]
            lines.append("  ".join([f"{hour.start:%H:%M}", *told]))
    lines.append(f"Light sum of the day in the open: {sheet.light_sum_mol_m2:.1f} mol m⁻²")
    lines += ["", "The sun can reach"]
    for bench in site.bench:
        spans = [f"{start:%H:%M} to {end:%H:%M}" for start, end in sheet.reach[bench.id]]
        lines.append(f"{bench.id}: {', '.join(spans) or 'never on this day'}")
    if sheet.seen is not None:
        lines += ["", "What the sensors saw"]
        lines += [_saw(one) for one in sheet.seen] or ["no light sensor stood anywhere that day"]
    return "\n".join(lines)


def _rise(sheet: Sheet) -> str:
    if sheet.sunrise is None and sheet.sunset is None:
        return "The sun is up all day" if sheet.daylight_min else "The sun does not rise"
    rise = f"{sheet.sunrise:%H:%M:%S}" if sheet.sunrise else "not on this day"
    down = f"{sheet.sunset:%H:%M:%S}" if sheet.sunset else "not on this day"
    return f"Sunrise {rise}, sunset {down}"


def _saw(one: ChannelLight) -> str:
    share = "" if one.clear_sky_share is None else f", {one.clear_sky_share:.0%} of a clear sky"
    return (
        f"{one.channel} at {one.place}: {one.light.light_sum_mol_m2:.2f} mol m⁻²{share}, "
        f"{one.light.direct_sun_minutes} min of direct sun; "
        f"saw {one.light.seen_minutes} of {one.light.minutes} min"
    )
