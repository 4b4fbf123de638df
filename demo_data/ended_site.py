"""Writes bags that ended as a site, in the fields of a site file, and their readings."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from demo_data.endings import BEGINS, TAKEN
from demo_data.weather import LOCAL_AHEAD_OF_UTC_H

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime

    from demo_data.endings import Ending

SENT_AFTER_MS = 15_000


def at(minute: int) -> datetime:
    """Return the instant of a minute counted from BEGINS."""
    return BEGINS + timedelta(minutes=int(minute))


def minute_reached(made: Sequence[Ending]) -> int:
    """Return a minute since the epoch by which all of them have ended."""
    return int(BEGINS.timestamp()) // 60 + max(one.ends for one in made) + 60


def written(made: Sequence[Ending], raw: Mapping[str, object]) -> dict[str, object]:
    """Return a site with each bag on a bench of its own, with its probe and its light sensor.

    `raw` is a site in the fields of its file; its first bench and batch are the pattern.
    """
    bench = _first(raw["bench"])
    batch = _first(raw["batch"])
    return {
        **raw,
        "bench": [{**bench, "id": one.code.lower(), "title": one.code.lower()} for one in made],
        "sensor": [sensor for one in made for sensor in _sensors(one)],
        "batch": [{**batch, **_batch(one)} for one in made],
    }


def readings(made: Sequence[Ending]) -> Iterator[tuple[str, int, float]]:
    """Yield channel, instant in ms and value of all that was sent."""
    begin = int(BEGINS.timestamp() * 1000) + SENT_AFTER_MS
    for one in made:
        name = one.code.lower()
        for key, (minutes, values) in one.readings.items():
            channel = f"light-{name}/light" if key == "light" else f"bag-{name}/{key}"
            for minute, value in zip(minutes.tolist(), values.tolist(), strict=True):
                yield channel, begin + minute * 60_000, value


def _first(listed: object) -> dict[str, object]:
    if not isinstance(listed, list) or not listed:
        msg = "the site has neither bench nor batch to take as a pattern"
        raise ValueError(msg)
    pattern: dict[str, object] = listed[0]
    return pattern


def _sensors(one: Ending) -> Iterator[dict[str, object]]:
    name, since = one.code.lower(), at(one.grafted).isoformat()
    told = (("air", "air_temperature", "degC"), ("humidity", "relative_humidity", "%RH"))
    yield {
        "id": f"bag-{name}",
        "title": name,
        "topic": f"made/bag/{name}",
        "channel": [
            {
                "id": key,
                "quantity": quantity,
                "unit": unit,
                "path": key,
                "calibration": [
                    {"since": at(minute).isoformat(), "offset": offset}
                    for minute, channel, offset in one.checks
                    if channel == key
                ],
            }
            for key, quantity, unit in told
        ],
        "position": [{"since": since, "cover_of": one.code}],
    }
    light = {"id": "light", "quantity": "ppfd", "unit": "umol/m2/s", "path": "l", "source": "sun"}
    yield {
        "id": f"light-{name}",
        "title": name,
        "topic": f"made/light/{name}",
        "channel": [light],
        "position": [{"since": since, "bench": name}],
    }


def _batch(one: Ending) -> dict[str, object]:
    since = at(one.grafted).isoformat()
    stages = [{"stage": "healing", "since": since, "because": "grafted"}]
    if one.cause != TAKEN:
        stages.append({"stage": "failed", "since": at(one.ends).isoformat(), "because": "lost"})
    local = at(one.grafted) + timedelta(hours=LOCAL_AHEAD_OF_UTC_H)
    return {
        "code": one.code,
        "bench": one.code.lower(),
        "grafted_on": local.date().isoformat(),
        "stage": stages,
        "stock_diameter_mm": one.stock_mm,
        "scion_diameter_mm": one.scion_mm,
        "observation": [
            {"at": at(seen.minute).isoformat(), "seen": seen.seen, **seen.more}
            for seen in sorted(one.seen, key=lambda seen: seen.minute)
        ],
    }
