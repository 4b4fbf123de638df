"""The quality tests say the same of one minute after another as of many at once, bit for bit."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from rules import trust
from rules.cells import MICRO, CellBlock, cell_in
from rules.daylight import SunHeight
from rules.doubt import DOUBTS, Figures, Flag, QualityTest
from rules.model.quantities import Quantity
from rules.model.site import Site
from rules.trust import ChannelMemory, judged, judged_cell
from rules.trust_kit import quality_kit

FIRST = 29_631_660
MEMORY = TypeAdapter(dict[str, ChannelMemory])
CHANNELS = (
    # Two probes and a third on one bench, one under a cover, and light of two sources.
    ("one", "air", "air_temperature", None),
    ("one", "damp", "relative_humidity", None),
    ("two", "air", "air_temperature", None),
    ("two", "damp", "relative_humidity", None),
    ("three", "air", "air_temperature", None),
    ("bag", "damp", "relative_humidity", None),
    ("bag", "air", "air_temperature", None),
    ("leaf", "leaf", "leaf_temperature", None),
    ("sun", "lux", "illuminance", "sun"),
    ("sun", "damp", "relative_humidity", None),
    ("lamp", "ppfd", "ppfd", "white_led"),
    ("wind", "wind", "air_speed", None),
)
UNITS = {
    "air_temperature": "degC",
    "relative_humidity": "%RH",
    "leaf_temperature": "degC",
    "illuminance": "lx",
    "ppfd": "umol/m2/s",
    "air_speed": "m/s",
}
# What tells one verdict from the next, in the unit of each quantity.
LEVELS = {
    "air_temperature": (20.0, 21.0, 22.9, 25.0, 28.0, 28.1, 35.0, 35.1, 40.1),
    "relative_humidity": (15.0, 20.0, 80.0, 94.9, 95.0, 99.8, 99.9, 100.0, 100.0, 100.0),
    "leaf_temperature": (20.0, 40.0, 40.1),
    "illuminance": (0.0, 107.9, 108.0, 269.9, 270.0, 9000.0, 9000.0),
    "ppfd": (0.0, 500.0),
    "air_speed": (0.0, 1.0),
}
SHORT = {
    "jump_reach_min": (1, 2, 4),
    "step_reach_min": (1, 2),
    "run_gap_min": (1, 3, 6),
    "stuck_min": (0, 3, 7),
    "dark_min": (0, 2, 5),
    "wet_min": (0, 2, 5),
    "apart_min": (0, 2, 5),
    "apart_reach_min": (0, 1, 3),
    "glow_min": (0, 2, 4),
}


@dataclass(frozen=True)
class Words:
    """A kit, what its channels said, and how high the sun stood."""

    kit: object
    block: CellBlock
    sun: np.ndarray


def sites_place() -> dict[str, object]:
    bench = {"house": "h", "title": "B", "x_m": 1, "y_m": 1, "length_m": 4, "width_m": 1}
    house = {"title": "H", "shade_fraction": 0.5, "length_m": 9, "width_m": 5}
    return {
        "site": {
            "title": "A nursery",
            "latitude_deg": 14.0,
            "longitude_deg": 100.5,
            "elevation_m": 20.0,
            "time_zone": "Asia/Bangkok",
        },
        "lead": "lead",
        "house": [{"id": "h", **house}],
        "bench": [{"id": "b", **bench}],
        "person": [{"id": "lead", "name": "The lead", "email": "lead@example.org"}],
    }


@st.composite
def sites(draw) -> Site:
    def iso(minute):
        return str(np.datetime64(minute, "m")) + ":00Z"

    early, moved = iso(FIRST - 10_000), iso(FIRST + draw(st.integers(-2, 30)))
    places = {
        "one": [{"since": early, "bench": "b"}],
        "two": [{"since": early, "until": moved, "bench": "b"}, {"since": moved, "house": "h"}],
        "three": draw(
            st.sampled_from(
                (
                    [{"since": moved, "bench": "b"}],
                    [{"since": early, "bench": "b"}],
                    [{"since": early, "house": "h"}],
                    [],
                )
            )
        ),
        "bag": [
            {"since": early, "until": moved, "cover_of": "MG-07"},
            {"since": moved, "open_sky": True},
        ],
    }
    sensors = [
        {
            "id": name,
            "title": name,
            "topic": f"site/{name}",
            "position": places.get(name, [{"since": early, "open_sky": True}]),
            "channel": [
                {
                    "id": channel,
                    "quantity": quantity,
                    "unit": UNITS[quantity],
                    "path": "v",
                    "source": source,
                }
                for owner, channel, quantity, source in CHANNELS
                if owner == name
            ],
        }
        for name in dict.fromkeys(name for name, *_ in CHANNELS)
    ]
    return Site.model_validate({**sites_place(), "sensor": sensors})


@st.composite
def said(draw, quantity: str, minutes: int):
    """Rows of equal words, flicker and silence, about as long as the short windows."""
    values = np.zeros(minutes, dtype=np.int64)
    present = np.zeros(minutes, dtype=np.bool_)
    refused = np.zeros(minutes, dtype=np.bool_)
    level = st.sampled_from(LEVELS[quantity])
    kinds = ("row", "row", "flicker", "silence", "refused")
    if draw(st.sampled_from((False, False, False, True))):
        kinds = ("silence", "refused")
    at = 0
    while at < minutes:
        rows = slice(at, at + draw(st.sampled_from((1, 1, 2, 3, 5, 8, 13, 30))))
        kind = draw(st.sampled_from(kinds))
        place = np.arange(minutes)[rows]
        if kind == "row":
            values[rows] = round(draw(level) * MICRO) + draw(st.sampled_from((0, 0, -1, 1)))
        elif kind == "flicker":
            pair = round(draw(level) * MICRO), round(draw(level) * MICRO)
            values[rows] = np.where(place % 2 == 0, *pair)
        present[rows] = kind in {"row", "flicker"}
        refused[rows] = kind == "refused"
        at = rows.stop
    return np.where(present, values, 0), present, refused


@st.composite
def nurseries(draw) -> Words:
    figures = Figures(**{name: draw(st.sampled_from(some)) for name, some in SHORT.items()})
    site = draw(sites())
    minutes = draw(st.sampled_from((1, 5, 20, 40)))
    columns = [draw(said(quantity, minutes)) for _, _, quantity, _ in CHANNELS]
    means, present, refused = (np.stack(one, axis=1) for one in zip(*columns, strict=True))
    sun: list[int] = []
    while len(sun) < minutes:
        height = draw(st.sampled_from(tuple(SunHeight)))
        sun += [int(height)] * draw(st.sampled_from((1, 4, 15, 40)))
    return Words(
        quality_kit(site, figures=figures),
        CellBlock(FIRST, tuple(site.channels), means, present, refused),
        np.array(sun[:minutes], dtype=np.int8),
    )


def rows_of(words: Words, first: int, last: int) -> tuple[CellBlock, np.ndarray]:
    block = words.block
    part = CellBlock(
        block.first_minute + first,
        block.channels,
        block.means[first:last],
        block.present[first:last],
        block.refused[first:last],
    )
    return part, words.sun[first:last]


def alike(one, other):
    assert np.array_equal(one.flags, other.flags)
    assert np.array_equal(one.tests, other.tests)
    assert np.array_equal(one.block.means, other.block.means)
    assert np.array_equal(one.block.present, other.block.present)
    assert np.array_equal(one.block.refused, other.block.refused)
    assert {one.flags.dtype, one.tests.dtype} == {np.dtype(np.int8)}


def joined(parts):
    """Several judgements one after another as one."""
    first = parts[0]
    blocks = [part.block for part in parts]
    block = CellBlock(
        blocks[0].first_minute,
        blocks[0].channels,
        *(
            np.concatenate([getattr(one, name) for one in blocks])
            for name in ("means", "present", "refused")
        ),
    )
    flags = np.concatenate([part.flags for part in parts])
    return type(first)(block, flags, np.concatenate([part.tests for part in parts]))


UNHURRIED = settings(
    max_examples=3 * settings.default.max_examples,
    deadline=None,
    suppress_health_check=[
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
        HealthCheck.function_scoped_fixture,
    ],
)


@given(words=nurseries())
@UNHURRIED
def test_minute_by_minute_over_restarts_is_as_all_at_once(words):
    minutes = len(words.block.means)
    whole_memory, whole = judged(words.kit, {}, words.block, words.sun)
    memory: dict[str, ChannelMemory] = {}
    parts = []
    for i in range(minutes):
        memory = MEMORY.validate_json(MEMORY.dump_json(memory))
        block, sun = rows_of(words, i, i + 1)
        of_cell = judged_cell(words.kit, memory, cell_in(block, FIRST + i), sun)
        memory, judgement = judged(words.kit, memory, block, sun)
        assert of_cell[0] == memory
        assert of_cell[1] == cell_in(judgement.block, FIRST + i)
        parts.append(judgement)
    assert memory == whole_memory
    alike(joined(parts), whole)
    for test in np.unique(whole.tests).tolist():
        event(QualityTest(test).name)


@given(words=nurseries(), data=st.data())
@UNHURRIED
def test_a_cut_anywhere_and_pieces_of_any_size_change_nothing(words, data):
    minutes = len(words.block.means)
    cut = data.draw(st.integers(0, minutes))
    whole_memory, whole = judged(words.kit, {}, words.block, words.sun)
    early_memory, early = judged(words.kit, {}, *rows_of(words, 0, cut))
    late_memory, late = judged(words.kit, early_memory, *rows_of(words, cut, minutes))
    assert late_memory == whole_memory
    alike(joined([early, late]), whole)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(trust, "AT_ONCE", len(CHANNELS) * data.draw(st.integers(1, 7)))
        pieces_memory, pieces = judged(words.kit, {}, words.block, words.sun)
    assert pieces_memory == whole_memory
    alike(pieces, whole)


@given(words=nurseries())
@UNHURRIED
def test_flags_say_what_became_of_each_word(words):
    _, seen = judged(words.kit, {}, words.block, words.sun)
    present, refused = words.block.present, words.block.refused
    assert np.array_equal(seen.flags == Flag.MISSING, ~present & ~refused)
    assert np.array_equal(seen.tests == QualityTest.RANGE, refused)
    assert np.array_equal(seen.block.present, present & (seen.flags != Flag.FAIL))
    assert np.array_equal(seen.block.means, np.where(seen.block.present, words.block.means, 0))
    decided = np.isin(seen.flags, (Flag.SUSPECT, Flag.FAIL))
    assert np.array_equal(decided, seen.tests != QualityTest.NONE)
    failed = np.isin(seen.tests, (QualityTest.RANGE, QualityTest.SPIKE, QualityTest.STUCK))
    assert (seen.flags[failed] == Flag.FAIL).all()
    assert (seen.flags[np.isin(seen.tests, (QualityTest.STEP, QualityTest.CLOCK))] == 3).all()


@given(words=nurseries(), data=st.data())
@UNHURRIED
def test_the_order_and_number_of_channels_in_a_block_do_not_matter(words, data):
    order = data.draw(st.permutations(range(len(CHANNELS))))
    block = words.block
    shuffled = CellBlock(
        block.first_minute,
        (*(block.channels[i] for i in order), "gone/air"),
        *(
            np.concatenate((array[:, order], np.ones((len(array), 1), array.dtype)), axis=1)
            for array in (block.means, block.present, block.refused)
        ),
    )
    memory, seen = judged(words.kit, {}, block, words.sun)
    again_memory, again = judged(words.kit, {}, shuffled, words.sun)
    assert again_memory == memory
    alike(again, seen)


def test_a_probe_that_is_moved_is_judged_alike_wherever_the_cells_are_cut():
    moved = str(np.datetime64(FIRST + 10, "m")) + ":00Z"
    early = str(np.datetime64(FIRST - 10_000, "m")) + ":00Z"
    probe = {
        "title": "P",
        "channel": [{"id": "air", "quantity": "air_temperature", "unit": "degC", "path": "v"}],
    }
    stood = [
        {"since": early, "until": moved, "house": "h"},
        {"since": moved, "bench": "b"},
    ]
    bare = sites_place()
    site = Site.model_validate(
        {
            **bare,
            "sensor": [
                {**probe, "id": "p", "topic": "p", "position": [{"since": early, "bench": "b"}]},
                {**probe, "id": "q", "topic": "q", "position": stood},
            ],
        }
    )
    kit = quality_kit(site, figures=Figures(apart_min=3))
    means = np.tile(np.array([20, 30], dtype=np.int64) * MICRO, (30, 1))
    nothing = np.zeros(means.shape, dtype=np.bool_)
    block = CellBlock(FIRST, kit.channels, means, ~nothing, nothing)
    words = Words(kit, block, np.full(30, int(SunHeight.UP), dtype=np.int8))
    whole_memory, whole = judged(kit, {}, block, words.sun)
    assert whole.tests[:, 1].tolist().index(QualityTest.CROSS_SENSOR) == 13
    for cut in range(31):
        early_memory, before = judged(kit, {}, *rows_of(words, 0, cut))
        late_memory, after = judged(kit, early_memory, *rows_of(words, cut, 30))
        assert late_memory == whole_memory
        alike(joined([before, after]), whole)


def test_every_figure_of_minutes_is_drawn_short():
    minutes = {one.name for one in fields(Figures) if one.name.endswith("_min")}
    assert minutes == set(SHORT)
    assert set(DOUBTS) == set(Quantity)
