"""The devices of Tern Hollow as the site file names them, each with its own small failings."""

from __future__ import annotations

from dataclasses import replace

from demo_data.nursery import LUX_PER_W, PPFD_PER_W, PROBE_DIES
from demo_data.sensors import Clock, Device, Probe

AIR_LAG_S = 60.0
HUMIDITY_LAG_S = 90.0


def _air(path: str, truth: str, offset: float) -> Probe:
    return Probe(path, truth, AIR_LAG_S, 0.04, 2, offset=offset)


def _humidity(path: str, truth: str, offset: float) -> Probe:
    return Probe(path, truth, HUMIDITY_LAG_S, 0.25, 1, offset=offset, lowest=0.0, highest=100.0)


def _flat_pair(place: str, *, air_off: float, humidity_off: float) -> tuple[Probe, ...]:
    return (
        _air("temperature", f"{place}/air", air_off),
        _humidity("humidity", f"{place}/humidity", humidity_off),
    )


def _nested_pair(place: str, *, air_off: float, humidity_off: float) -> tuple[Probe, ...]:
    return (
        _air("air.temp", f"{place}/air", air_off),
        _humidity("air.rh", f"{place}/humidity", humidity_off),
    )


def _light(
    path: str, place: str, *, per_w: float, gain: float, noise: float, decimals: int
) -> Probe:
    return Probe(
        path,
        f"{place}/light",
        2.0,
        noise,
        decimals,
        gain=per_w * gain,
        noise_share=0.008,
        lowest=0.0,
    )


_SHARE_OF_ONE = Probe(
    "air.rh",
    "b5/humidity",
    HUMIDITY_LAG_S,
    0.0025,
    3,
    gain=0.01,
    offset=0.005,
    lowest=0.0,
    highest=1.0,
)


def _bag_probe(
    name: str, code: str, *, phase_s: int, air_off: float, humidity_off: float, battery_v: float
) -> Device:
    probes = _flat_pair(code, air_off=air_off, humidity_off=humidity_off)
    return Device(_topic(name), phase_s, Clock.UNIX_S, probes, battery_v=battery_v)


def _topic(name: str) -> str:
    return f"tern-hollow/{name}"


DEVICES: tuple[Device, ...] = (
    _bag_probe("bag-07", "MG-07", phase_s=11, air_off=0.05, humidity_off=-0.6, battery_v=3.05),
    _bag_probe("bag-09", "MG-09", phase_s=37, air_off=-0.1, humidity_off=0.3, battery_v=3.11),
    replace(
        _bag_probe("bag-15", "CI-15", phase_s=23, air_off=0.1, humidity_off=-0.4, battery_v=2.71),
        dies_at=PROBE_DIES,
    ),
    _bag_probe("bag-18", "MC-18", phase_s=49, air_off=0.0, humidity_off=-0.9, battery_v=3.02),
    Device(
        _topic("bag-12"),
        5,
        Clock.WRITTEN,
        (
            *_nested_pair("AV-12", air_off=-0.05, humidity_off=-0.2),
            Probe("leaf.temp", "AV-12/leaf", 20.0, 0.06, 2, offset=0.1),
        ),
    ),
    Device(
        _topic("bag-04"), 31, Clock.WRITTEN, _nested_pair("AV-04", air_off=0.08, humidity_off=0.4)
    ),
    Device(
        _topic("light-1"),
        17,
        Clock.UNIX_S,
        (_light("lux", "b1", per_w=LUX_PER_W, gain=1.02, noise=0.4, decimals=0),),
    ),
    Device(
        _topic("light-healing"),
        43,
        Clock.WRITTEN,
        (_light("sun.power", "healing", per_w=1.0, gain=0.98, noise=0.1, decimals=1),),
    ),
    Device(
        _topic("light-4"),
        14,
        Clock.WRITTEN,
        (_light("sun.par", "b4", per_w=PPFD_PER_W, gain=1.01, noise=0.1, decimals=1),),
    ),
    Device(
        _topic("light-film"),
        52,
        Clock.WRITTEN,
        (_light("sun.par", "film", per_w=PPFD_PER_W, gain=0.99, noise=0.1, decimals=1),),
    ),
    Device(_topic("air-4"), 28, Clock.UNIX_S, _flat_pair("b4", air_off=0.1, humidity_off=0.8)),
    Device(
        _topic("air-5"),
        8,
        Clock.WRITTEN,
        (
            _air("air.temp", "b5/air", -0.1),
            _SHARE_OF_ONE,
            Probe("pot.moisture", "b5/pot", 300.0, 0.08, 1),
        ),
    ),
    Device(_topic("air-6"), 40, Clock.UNIX_S, _flat_pair("b6", air_off=0.0, humidity_off=-0.5)),
    Device(
        _topic("wind-film"),
        20,
        Clock.UNIX_S,
        (Probe("speed", "film/wind", 5.0, 0.02, 2, lowest=0.0),),
        every_s=120,
    ),
    Device(
        _topic("sky"),
        35,
        Clock.WRITTEN,
        (
            _air("air.temp", "sky/air", 0.0),
            _humidity("air.rh", "sky/humidity", 0.5),
            _light("sun.power", "sky", per_w=1.0, gain=1.0, noise=0.2, decimals=1),
            Probe("wind.speed", "sky/wind", 5.0, 0.05, 2, lowest=0.0),
        ),
        every_s=120,
    ),
)
