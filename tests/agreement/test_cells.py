"""One minute judged alone is the same minute in a block, in whatever order readings came."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.cells import (
    MICRO,
    block_of,
    block_of_series,
    calibrated,
    cell_in,
    in_our_unit,
    narrowed,
)
from rules.model.place import Channel
from rules.model.quantities import MEANINGS, Quantity
from rules.model.quantities import in_our_unit as one_in_our_unit
from rules.model.reading import MINUTE_MS, Reading
from rules.model.site import Site
from rules.quality import brought_within, can_be_believed

FIRST = 29_000_000
MINUTES = 6
CHANNELS = (
    ("air", Quantity.AIR_TEMPERATURE, "degF", None),
    ("damp", Quantity.RELATIVE_HUMIDITY, "%RH", None),
    ("inside", Quantity.AIR_TEMPERATURE, "degF", None),
    ("light", Quantity.ILLUMINANCE, "fc", "sun"),
    ("volt", Quantity.BATTERY, "mV", None),
    ("checked", Quantity.RELATIVE_HUMIDITY, "%RH", None),
    ("outside", Quantity.AIR_TEMPERATURE, "degF", None),
)
CHECKS = {"checked": [{"since": "2025-02-19T21:22:30+00:00", "offset": -3.0}]}
"""In the third of the minutes."""


def site() -> Site:
    return Site.model_validate(
        {
            "site": {
                "title": "A nursery",
                "latitude_deg": 14.0,
                "longitude_deg": 100.5,
                "elevation_m": 20.0,
                "time_zone": "Asia/Bangkok",
            },
            "lead": "lead",
            "house": [
                {"id": "h", "title": "H", "shade_fraction": 0.5, "length_m": 9, "width_m": 5}
            ],
            "bench": [
                {
                    "id": "b",
                    "house": "h",
                    "title": "B",
                    "x_m": 1,
                    "y_m": 1,
                    "length_m": 4,
                    "width_m": 1,
                }
            ],
            "person": [{"id": "lead", "name": "The lead", "email": "lead@example.org"}],
            "sensor": [
                {
                    "id": "s",
                    "title": "S",
                    "topic": "site/s",
                    "channel": [
                        {
                            "id": name,
                            "quantity": quantity,
                            "unit": unit,
                            "path": "v",
                            "source": source,
                            "calibration": CHECKS.get(name, []),
                        }
                        for name, quantity, unit, source in CHANNELS
                    ],
                }
            ],
        }
    )


SITE = site()

values = st.one_of(
    st.floats(-60, 250),
    st.sampled_from((0.0, -0.0, 100.0, 103.999, 104.0, 104.001, 140.0, 140.00001, 1e6, -300.0)),
)
readings = st.lists(
    st.builds(
        Reading,
        channel=st.sampled_from([*(f"s/{name}" for name, *_ in CHANNELS), "s/gone"]),
        at_ms=st.integers((FIRST - 1) * MINUTE_MS, (FIRST + MINUTES + 1) * MINUTE_MS),
        value=values,
    ),
    unique_by=lambda reading: (reading.channel, reading.at_ms),
    max_size=40,
)


@given(readings=readings, data=st.data())
def test_a_minute_is_the_same_alone_in_a_block_and_in_any_order(readings, data):
    block = block_of(SITE, FIRST, MINUTES, readings)
    shuffled = data.draw(st.permutations(readings))
    for minute in range(FIRST, FIRST + MINUTES):
        alone = block_of(SITE, minute, 1, shuffled)
        assert cell_in(alone, minute) == cell_in(block, minute)
    again = block_of(SITE, FIRST, MINUTES, shuffled)
    assert np.array_equal(again.means, block.means)
    assert np.array_equal(again.present, block.present)


@given(readings=readings)
def test_like_channels_together_are_as_each_is_alone(readings):
    together = block_of(SITE, FIRST, MINUTES, readings)
    by_channel = {}
    for reading in readings:
        by_channel.setdefault(reading.channel, []).append((reading.at_ms, reading.value))
    series = {
        key: (np.array([at for at, _ in said]), np.array([raw for _, raw in said]))
        for key, said in by_channel.items()
    }
    alone = block_of_series(SITE, FIRST, MINUTES, series)
    assert np.array_equal(together.means, alone.means)
    assert np.array_equal(together.present, alone.present)
    assert np.array_equal(together.refused, alone.refused)


@given(readings=readings, kept=st.sets(st.sampled_from([*SITE.channels, "of/nowhere"])))
def test_some_channels_alone_are_as_they_are_among_all(readings, kept):
    whole = block_of(SITE, FIRST, MINUTES, readings)
    some = narrowed(whole, kept)
    assert some.channels == tuple(key for key in whole.channels if key in kept)
    for minute in range(FIRST, FIRST + MINUTES):
        cell, alone = cell_in(whole, minute), cell_in(some, minute)
        assert alone.means == {key: mean for key, mean in cell.means.items() if key in kept}
        assert alone.refused == cell.refused & kept


@given(readings=readings)
def test_a_mean_lies_between_the_believed_readings_it_is_made_of(readings):
    block = block_of(SITE, FIRST, MINUTES, readings)
    for column, key in enumerate(block.channels):
        channel = SITE.channels[key]
        for row in range(MINUTES):
            said = [
                (reading.at_ms, reading.value)
                for reading in readings
                if reading.channel == key and reading.at_ms // MINUTE_MS == FIRST + row
            ]
            at_ms = np.array([at for at, _ in said], dtype=np.int64)
            raw = np.array([one for _, one in said], dtype=np.float64)
            ours = in_our_unit(channel, calibrated(channel, at_ms, raw))
            believed = brought_within(
                channel.quantity, ours[can_be_believed(channel.quantity, ours)]
            )
            assert block.present[row, column] == (believed.size > 0)
            if believed.size:
                mean = block.means[row, column] / MICRO
                assert believed.min() - 1e-6 <= mean <= believed.max() + 1e-6


@given(value=st.floats(-1e6, 1e6), where=st.sampled_from(CHANNELS))
@settings(max_examples=300)
def test_units_are_converted_alike_one_by_one_and_all_at_once(value, where):
    name, quantity, _, source = where
    for unit in MEANINGS[quantity].units:
        channel = Channel(id=name, quantity=quantity, unit=unit, path="v", source=source)
        together = in_our_unit(channel, np.array([1.0, value, -value]))
        assert together[1] == one_in_our_unit(quantity, unit, value)
