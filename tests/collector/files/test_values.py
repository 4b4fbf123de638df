"""Values in the unit of their channel, whatever the unit of the file.

The section of the published definitions is named from memory.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.files.columns import ChannelColumn
from collector.files.table import Column
from collector.files.values import ColumnReader, NoReading
from collector.payloads.mapping import mapping_of
from rules.model.place import Sensor
from rules.model.quantities import MEANINGS, Quantity, in_our_unit

PAIRS = [
    (quantity, written, declared)
    for quantity in Quantity
    for written in MEANINGS[quantity].units
    for declared in MEANINGS[quantity].units
]


def reader(quantity: str, written: str, declared: str) -> ColumnReader:
    source = {"source": "sun"} if quantity in {"illuminance", "irradiance"} else {}
    channel = {"id": "c", "quantity": quantity, "unit": declared, "path": "c", **source}
    sensor = Sensor.model_validate({"id": "s", "title": "s", "topic": "s", "channel": [channel]})
    column = ChannelColumn(
        Column(0, "value"), mapping_of(sensor).channels[0], written, "", "", chosen=False
    )
    return ColumnReader(column, decimal=".", missing=())


@given(pair=st.sampled_from(PAIRS), share=st.floats(0.02, 0.98))
def test_a_value_means_the_same_in_the_unit_it_is_kept_in(pair, share):
    quantity, written, declared = pair
    meaning = MEANINGS[quantity]
    ours = meaning.lowest + share * (meaning.highest - meaning.lowest)
    unit = meaning.units[written]
    figure = (ours - unit.offset) / unit.scale
    kept = reader(quantity, written, declared).read(repr(figure))
    assert not isinstance(kept, NoReading)
    assert in_our_unit(quantity, declared, kept) == pytest.approx(ours, rel=1e-6, abs=1e-5)


@pytest.mark.parametrize(
    ("written", "declared", "cell", "kept"),
    [
        ("degF", "degC", "77", 25.0),
        ("degC", "degF", "25", 77.0),
        ("K", "degF", "298.15", 77.0),
        ("degF", "degF", "77.3", 77.3),
    ],
)
@pytest.mark.published("NIST SP 811 (2008), B.8: t/degC = (t/degF - 32)/1.8; T/K = t/degC + 273.15")
def test_temperatures_by_their_definitions(written, declared, cell, kept):
    assert reader("air_temperature", written, declared).read(cell) == kept


@pytest.mark.parametrize(
    ("unit", "cell"),
    [("degC", "85.0"), ("degF", "185"), ("degC", "-127.00"), ("degF", "-196.6"), ("K", "358.15")],
)
def test_a_probe_that_is_not_ready_gives_no_reading_in_any_unit(unit, cell):
    said = reader("leaf_temperature", unit, "degC").read(cell)
    assert isinstance(said, NoReading)
    assert said.why is None


@pytest.mark.parametrize("cell", ["1_0", "0x1A", "1 2", "21,5", "1e", "--5", "5-"])
def test_what_is_no_number_as_loggers_write_them_is_none(cell):
    said = reader("air_temperature", "degC", "degC").read(cell)
    assert isinstance(said, NoReading)
    assert said.why == "not a number"
