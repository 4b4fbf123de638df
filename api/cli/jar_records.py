"""What a sensor said in its jars: typed after the command, or taken from the stores."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from api.cli.given import figure, instant, readings_file, site
from api.cli.main import CannotGoOn
from collector.stores.sqlite import SqliteStore
from rules.cells import calibrated, in_our_unit
from rules.model.place import channel_key
from rules.model.quantities import Quantity
from rules.model.quantities import in_our_unit as one_in_our_unit
from rules.salt_jar import COLDEST_C, STEADY_MIN, WARMEST_C, JarRecord, Salt

if TYPE_CHECKING:
    import argparse

    from numpy.typing import NDArray

    from rules.model.site import Site

_MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Asked:
    """What is checked: the channel and its unit, the jars' records, when the last one ended.

    `channel` is None when none was named.
    """

    channel: str | None
    unit: str
    records: tuple[JarRecord, ...]
    ended: datetime


def temperatures(arguments: argparse.Namespace, jars: int) -> list[float]:
    """Return the temperature of each jar, checked; one that is given holds for all."""
    typed = arguments.temperature or []
    if len(typed) not in {1, jars}:
        msg = f"--temperature: write it once for all jars, or {jars} times; it is the air's, in °C"
        raise CannotGoOn(msg)
    found = [figure(one, "--temperature") for one in typed]
    return [_fitting(one, COLDEST_C, WARMEST_C) for one in (found * jars)[:jars]]


def _fitting(temperature_c: float, lowest: float, highest: float) -> float:
    if lowest <= temperature_c <= highest:
        return temperature_c
    msg = (
        f"--temperature: {temperature_c:g} °C does not lie between {lowest:g} and {highest:g}, "
        "where the salts are known well enough"
    )
    raise CannotGoOn(msg)


def typed_records(arguments: argparse.Namespace, salts: list[Salt]) -> Asked:
    """Return what was typed with --readings; CannotGoOn says what is wrong with it."""
    if arguments.start or arguments.end:
        msg = "--readings: leave out --from and --to, which take the readings from the stores"
        raise CannotGoOn(msg)
    if arguments.at is None:
        msg = "--at: say when the readings ended, as in 2026-11-10T11:00:00+11:00"
        raise CannotGoOn(msg)
    if len(arguments.readings) != len(salts):
        msg = f"--readings: write it once for each --salt, {len(salts)} in all"
        raise CannotGoOn(msg)
    channel, unit = _channel(arguments)
    records = []
    warmth = temperatures(arguments, len(salts))
    for salt, temperature_c, typed in zip(salts, warmth, arguments.readings, strict=True):
        pairs = sorted(_pair(one, unit) for one in typed)
        records.append(
            JarRecord(
                salt=salt,
                temperature_c=temperature_c,
                temperature_moved_c=0.0,
                minutes=tuple(minute for minute, _ in pairs),
                humidity_pct=tuple(value for _, value in pairs),
            )
        )
    return Asked(channel, unit, tuple(records), instant(arguments.at, "--at"))


def _pair(typed: str, unit: str) -> tuple[float, float]:
    minute, equals, value = typed.partition("=")
    if not equals:
        msg = f'--readings: "{typed}" is not a pair; write minutes=value, as in 60=76.5'
        raise CannotGoOn(msg)
    humidity = one_in_our_unit(Quantity.RELATIVE_HUMIDITY, unit, figure(value, "--readings"))
    if not 0 <= humidity <= 110:
        msg = f'--readings: "{value}" {unit} is no humidity; write what the sensor shows'
        raise CannotGoOn(msg)
    since = figure(minute, "--readings")
    if since < 0:
        msg = f'--readings: "{minute}" min is before the lid was closed; count from then'
        raise CannotGoOn(msg)
    return since, humidity


def _channel(arguments: argparse.Namespace) -> tuple[str | None, str]:
    """Return the channel that is checked and the unit it declares; %RH without one."""
    if arguments.site is None and arguments.channel is None:
        return None, "%RH"
    if arguments.site is None or arguments.channel is None:
        msg = "--site and --channel go together: the site file says in which unit the channel is"
        raise CannotGoOn(msg)
    return arguments.channel, _known(site(arguments.site), arguments.channel)


def _known(site: Site, channel: str) -> str:
    humid = {
        key: one.unit
        for key, one in site.channels.items()
        if one.quantity is Quantity.RELATIVE_HUMIDITY
    }
    if channel not in humid:
        msg = f"--channel: {channel} measures no humidity here; there are {', '.join(humid)}"
        raise CannotGoOn(msg)
    return humid[channel]


def stored_records(arguments: argparse.Namespace, salts: list[Salt]) -> Asked:
    """Return what the stores hold of the channel in each span; CannotGoOn says what is wrong."""
    if arguments.site is None or arguments.channel is None or arguments.data is None:
        msg = "--from and --to need --site, --channel and --data; or type what it said: --readings"
        raise CannotGoOn(msg)
    starts = [instant(one, "--from") for one in arguments.start or ()]
    ends = [instant(one, "--to") for one in arguments.end or ()]
    if not len(starts) == len(ends) == len(salts):
        msg = f"--from and --to: write each once for each --salt, {len(salts)} in all"
        raise CannotGoOn(msg)
    nursery = site(arguments.site)
    unit = _known(nursery, arguments.channel)
    typed = None if not arguments.temperature else temperatures(arguments, len(salts))
    store = SqliteStore(readings_file(arguments.data))
    try:
        records = tuple(
            _record(
                store,
                nursery,
                arguments.channel,
                salt=salt,
                span=(starts[i], ends[i]),
                temperature_c=None if typed is None else typed[i],
            )
            for i, salt in enumerate(salts)
        )
    finally:
        store.close()
    return Asked(arguments.channel, unit, records, max(ends))


def _record(
    store: SqliteStore,
    nursery: Site,
    channel: str,
    *,
    salt: Salt,
    span: tuple[datetime, datetime],
    temperature_c: float | None,
) -> JarRecord:
    """Return one jar's record; its temperature is the sensor's own where none was typed."""
    start_ms, end_ms = (int(one.timestamp() * 1000) for one in span)
    if start_ms >= end_ms:
        msg = f"--to: {span[1].isoformat()} is not later than --from, {span[0].isoformat()}"
        raise CannotGoOn(msg)
    said = store.span([channel], start_ms, end_ms)
    raw = np.array([one.value for one in said], dtype=np.float64)
    humidity: NDArray[np.float64] = in_our_unit(nursery.channels[channel], raw)
    moved_c = 0.0
    if temperature_c is None:
        temperature_c, moved_c = _warmth(store, nursery, channel, start_ms=start_ms, end_ms=end_ms)
    return JarRecord(
        salt=salt,
        temperature_c=temperature_c,
        temperature_moved_c=moved_c,
        minutes=tuple((one.at_ms - start_ms) / _MINUTE_MS for one in said),
        humidity_pct=tuple(float(one) for one in humidity),
    )


def _warmth(
    store: SqliteStore, nursery: Site, channel: str, *, start_ms: int, end_ms: int
) -> tuple[float, float]:
    """Return the mean and the swing of the sensor's own air temperature at the end of a span."""
    sensor = next(one for one in nursery.sensor if one.id == channel.partition("/")[0])
    air = [one for one in sensor.channel if one.quantity is Quantity.AIR_TEMPERATURE]
    since_ms = max(start_ms, end_ms - STEADY_MIN * _MINUTE_MS)
    for one in air[:1]:
        said = store.span([channel_key(sensor.id, one.id)], since_ms, end_ms)
        if said:
            at_ms = np.array([reading.at_ms for reading in said], dtype=np.int64)
            raw = np.array([reading.value for reading in said], dtype=np.float64)
            values = in_our_unit(one, calibrated(one, at_ms, raw))
            mean = _fitting(float(values.mean()), COLDEST_C, WARMEST_C)
            return mean, float(values.max() - values.min())
    msg = f"--temperature: {sensor.id} said none in the last {STEADY_MIN} min; write it, in °C"
    raise CannotGoOn(msg)
