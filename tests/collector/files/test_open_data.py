"""A published file read by us and by an independent reader: the same figures at the same instants.

The file is a typical meteorological year (TMY3) of the United States' National Renewable Energy
Laboratory, station 703165, as packed with pvlib, whose own reader we compare with. It has a line
about the station above its heading, dates with the month first, hours that end at 24:00, and months
from several years in one file.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pytest
from pvlib.iotools import read_tmy3

OF_THEIRS = {
    "bag-07/air": "temp_air",
    "bag-07/rh": "relative_humidity",
    "mast/wind": "wind_speed",
}
SETTINGS = (
    "Dry-bulb (C)=bag-07/air",
    "RHum (%)=bag-07/rh",
    "Wspd (m/s)=mast/wind",
    "zone=-09:00",
)


@pytest.mark.published("NREL TMY3, station 703165, in pvlib's data; pvlib.iotools.read_tmy3")
def test_a_published_year_is_read_as_another_reader_reads_it(load):
    path = Path(str(files("pvlib") / "data" / "703165TY.csv"))
    theirs, _ = read_tmy3(path, map_variables=True)
    recent = theirs[theirs.index.year >= 2000]
    loaded = load(path, *SETTINGS)
    timing = loaded.detection.timing
    assert [column.name for column in timing.columns] == ["Date (MM/DD/YYYY)", "Time (HH:MM)"]
    assert (timing.order, timing.order_by) == ("mdy", "its dates")
    wanted = {
        (channel, round(at.timestamp() * 1000)): float(value)
        for channel, name in OF_THEIRS.items()
        for at, value in recent[name].items()
    }
    assert len(wanted) == 3 * 2184
    assert loaded.values == wanted
    counts = {why.value: count for why, count in loaded.report.refused.counts.items()}
    assert counts == {"clock never set": len(theirs) - len(recent)}
