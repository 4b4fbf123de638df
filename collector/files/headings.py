"""What the heading of a column says: its unit, and what it can be a column of."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.payloads.mapping import SPELLINGS
from rules.model.quantities import MEANINGS, Quantity

if TYPE_CHECKING:
    from collections.abc import Mapping

_Q = Quantity

# Words for a quantity, in the languages of loggers we know. All words of a phrase must stand in
# the heading; the first line that fits wins.
_PHRASES: tuple[tuple[str, frozenset[Quantity]], ...] = (
    ("soil temp", frozenset()),
    ("substrate temp", frozenset()),
    ("leaf temp|leaf|leaves|canopy|hoja|foliage|infrared", frozenset({_Q.LEAF_TEMPERATURE})),
    (
        "soil moist|soil|substrate|sustrato|vwc|moisture|suelo",
        frozenset({_Q.SUBSTRATE_MOISTURE}),
    ),
    (
        "humidity|humidities|hum|rh|humedad|feuchte|luftfeuchte|relhum|relative humidity|hr",
        frozenset({_Q.RELATIVE_HUMIDITY}),
    ),
    ("par|ppfd|quantum|photons", frozenset({_Q.PPFD})),
    ("lux|lx|illuminance|iluminancia|brightness", frozenset({_Q.ILLUMINANCE})),
    (
        "irradiance|solar|radiation|pyranometer|ghi|radiacion|radiación|srad|slrw",
        frozenset({_Q.IRRADIANCE}),
    ),
    (
        "light|luz|licht|intensity",
        frozenset({_Q.PPFD, _Q.ILLUMINANCE, _Q.IRRADIANCE}),
    ),
    ("wind|air speed|airspeed|anemometer|viento|ws", frozenset({_Q.AIR_SPEED})),
    ("batt|battery|batería|bateria|vbat|voltage|supply", frozenset({_Q.BATTERY})),
    (
        "temp|temperature|temperatura|temperatur|airtc|airtemp|tair|t|ta|air|temps",
        frozenset({_Q.AIR_TEMPERATURE, _Q.LEAF_TEMPERATURE}),
    ),
)
_PHRASE_WORDS = tuple(
    (tuple(tuple(phrase.split()) for phrase in phrases.split("|")), quantities)
    for phrases, quantities in _PHRASES
)

# Worked out by the logger, or one figure for a stretch of time: no reading of an instant.
_WORKED_OUT = frozenset(
    {
        "dew", "dewpt", "dewpoint", "rocío", "rocio", "wet", "wetbulb", "vpd", "absolute", "abs",
        "heat", "chill", "index", "max", "min", "maximum", "minimum", "std", "stddev", "sd", "dev",
        "gust", "direction", "dir", "pressure", "co2", "count", "counter", "rain",
    }
)  # fmt: skip

_MORE_SPELLINGS: Mapping[str, tuple[str, ...]] = {
    "degC": ("deg C", "DegC", "Deg C", "ºC", "oC", "grados C", "℃", "Celcius"),
    "degF": ("deg F", "DegF", "Deg F", "ºF", "oF", "℉"),
    "%RH": ("%RH", "% rH", "RH%", "%HR", "% HR", "PCT"),
    "umol/m2/s": ("umol/m2s", "µmol/m2/s", "μmol/m2/s", "umol/m^2/s", "µmol/m^2/s",
                  "µmol/m²s", "μmol/m²s", "uE", "µE", "uE/m2/s", "umols/m2/s", "µmol·m⁻²·s⁻¹",
                  "µmol m-2 s-1", "μmol m-2 s-1", "μmol m⁻² s⁻¹", "µmoles/m²/s"),
    "lx": ("LUX", "Lx"),
    "klx": ("kLux", "klx", "kilolux"),
    "fc": ("foot-candles", "footcandles", "ft.c", "lum/ft²", "lum/ft2"),
    "W/m2": ("W/m^2", "w/m2", "w/m²", "Watts/m2", "W·m⁻²", "W/m�"),
    "%": ("% vol", "m3/m3 %"),
    "fraction": ("m3/m3", "m³/m³", "0-1"),
    "V": ("Volts", "Volt", "VDC"),
    "mV": ("mVolts",),
    "m/s": ("meters/second", "M/S", "ms-1"),
    "km/h": ("Km/h", "KPH", "km/hr"),
    "mph": ("MPH",),
}  # fmt: skip

_UNITS: dict[str, frozenset[str]] = {}
for _unit, _spelt in SPELLINGS.items():
    for _text in (_unit, *_spelt, *_MORE_SPELLINGS.get(_unit, ())):
        _UNITS[_text] = _UNITS.get(_text, frozenset()) | {_unit}
_FOLDED = {text.casefold().replace(" ", ""): units for text, units in _UNITS.items()}
_BARE_LETTERS = frozenset("CFKV1")

UNITS_OF: Mapping[str, frozenset[Quantity]] = {
    unit: frozenset(quantity for quantity in Quantity if unit in MEANINGS[quantity].units)
    for unit in SPELLINGS
}

_BRACKETED = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_WORDS = re.compile(r"[^\W\d_]+")
_SMALL_THEN_LARGE = re.compile(r"(?<=[a-z])(?=[A-Z])")


@dataclass(frozen=True, slots=True)
class Heading:
    """A column's heading, understood as far as it goes.

    `units` are the units of a site file that the unit in the heading can mean; empty when it says
    none. `quantities` are what the column can be of; empty when that is not known. `worked_out`
    marks what is no reading: a dew point, a highest value, an error count. `clash` says that name
    and unit contradict each other.
    """

    text: str
    units: frozenset[str]
    quantities: frozenset[Quantity]
    worked_out: bool
    clash: str


def unit_spelt(text: str) -> frozenset[str]:
    """Return the units of a site file that a text can mean; none if it is no unit.

    >>> sorted(unit_spelt("°F")), sorted(unit_spelt("%"))
    (['degF'], ['%', '%RH'])
    """
    mended = text.strip().replace("Â°", "°").replace("\ufffd", "°").replace("Âµ", "µ")
    found = _UNITS.get(mended)
    if found is None and len(mended) > 1:
        found = _FOLDED.get(mended.casefold().replace(" ", ""))
    return found or frozenset()


def heading_of(name: str, unit_below: str = "") -> Heading:
    """Return what a heading says; `unit_below` is its cell in a row of units under the names.

    >>> sorted(heading_of("Temp (°F)").units), sorted(heading_of("RH, %").quantities)
    (['degF'], [<Quantity.RELATIVE_HUMIDITY: 'relative_humidity'>])
    """
    units = unit_spelt(unit_below) or _unit_in(name)
    spaced = _SMALL_THEN_LARGE.sub(" ", name)
    words = [word.casefold() for word in _WORDS.findall(spaced)]
    every = {*words, *(word.casefold() for word in _WORDS.findall(name))}
    worked_out = bool(every & _WORKED_OUT)
    said = next(
        (
            quantities
            for phrases, quantities in _PHRASE_WORDS
            if any(all(word in every for word in phrase) for phrase in phrases)
        ),
        None,
    )
    if said is not None and not said:  # a quantity that no site file has
        return Heading(name, units, said, worked_out=True, clash="")
    by_unit = frozenset[Quantity]().union(*(UNITS_OF[unit] for unit in units))
    if not units:
        return Heading(name, units, said or frozenset(), worked_out, "")
    if said is None:
        return Heading(name, units, by_unit, worked_out, "")
    both = said & by_unit
    clash = "" if both or worked_out else (
        f'the name says {_listed(said)}, its unit "{"/".join(sorted(units))}" is none of that'
    )  # fmt: skip
    fitting = frozenset(unit for unit in units if UNITS_OF[unit] & said)
    return Heading(name, fitting or units, both or (said | by_unit), worked_out, clash)


def _listed(quantities: frozenset[Quantity]) -> str:
    return " or ".join(sorted(quantity.replace("_", " ") for quantity in quantities))


def _unit_in(name: str) -> frozenset[str]:
    for inside in _BRACKETED.findall(name):
        found = unit_spelt(inside)
        if found:
            return found
    bare = _BRACKETED.sub(" ", name).strip()
    for mark in (",", "/", ":", ";"):
        if mark in bare:
            found = unit_spelt(bare.partition(mark)[2]) or unit_spelt(bare.rpartition(mark)[2])
            if found:
                return found
    parts = [part for part in re.split(r"[\s_.\-]+", bare) if part]
    for last in (" ".join(parts[-2:]), parts[-1] if parts else ""):
        if last != bare or last not in _BARE_LETTERS:
            found = unit_spelt(last) if len(parts) > 1 or not last.isalpha() else frozenset[str]()
            if found and last.casefold() not in {"ratio", "pct", "1"}:
                return found
    return unit_spelt(bare) if bare.casefold() in {"lux", "lx"} else frozenset()
