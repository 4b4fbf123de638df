"""What each quality test says, in sentences of someone who looks after the sensors.

One file because all of it is heard through the same ear, and test files do not import each other.
"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from rules.cells import MICRO, CellBlock
from rules.daylight import SunHeight, sun_heights
from rules.doubt import DEEP_SUN_DEG, FIGURES, HIGH_SUN_DEG, Figures, Flag, QualityTest
from rules.sun import sun_elevation_deg, sun_is_up
from rules.trust import judged
from rules.trust_kit import quality_kit

FIRST = 29_631_660
NAN = float("nan")
PASS, SUSPECT, FAIL, MISSING = Flag.PASS, Flag.SUSPECT, Flag.FAIL, Flag.MISSING
DAYS_AGO = "2026-05-01T00:00:00Z"


class Ear:
    """Hears what channels say minute by minute, and what the tests make of it."""

    def __init__(self, site, *, sun=SunHeight.UP, figures: Figures = FIGURES, **said):
        self.kit = quality_kit(site, figures=figures)
        minutes = max(len(values) for values in said.values())
        keys = self.kit.channels
        values = np.full((minutes, len(keys)), NAN)
        for name, heard in said.items():
            key = name.replace("__", "/").replace("_of_", "-")
            values[: len(heard), keys.index(key)] = heard
        present = ~np.isnan(values)
        means = np.where(present, np.rint(np.nan_to_num(values) * MICRO), 0).astype(np.int64)
        heights = np.broadcast_to(np.array(sun, dtype=np.int8), (minutes,))
        block = CellBlock(FIRST, keys, means, present)
        self.memory, self.seen = judged(self.kit, {}, block, heights)

    def flags(self, name):
        return self.seen.flags[:, self.kit.channels.index(name)].tolist()

    def tests(self, name):
        column = self.seen.tests[:, self.kit.channels.index(name)]
        return [QualityTest(one).name.lower() for one in column.tolist()]

    def first(self, name, flag=FAIL):
        """The first minute with a flag, and the test that decided it; None if there is none."""
        flags = self.flags(name)
        if flag not in flags:
            return None
        return flags.index(flag), self.tests(name)[flags.index(flag)]


AIR, DAMP = "bag-07/air_temperature", "bag-07/relative_humidity"


@pytest.fixture
def bag(make):
    """One probe under a bag."""
    return make.site()


@pytest.fixture
def bench(make):
    """One probe in the open on a bench."""
    return make.site(sensor=[make.sensor("bag-07", bench="bench-2")])


@pytest.fixture
def light(make):
    """A lux meter in the sun's light on a bench."""
    return make.site(sensor=[make.sensor("lux", ("illuminance",), bench="bench-2")])


def air(site, values, **more):
    return Ear(site, bag_of_07__air_temperature=values, **more)


def damp(site, values, warm=(), **more):
    said = {"bag_of_07__relative_humidity": values}
    if len(warm):
        said["bag_of_07__air_temperature"] = warm
    return Ear(site, **said, **more)


def lux(site, values, **more):
    return Ear(site, lux__illuminance=values, **more)


class TestSpike:
    def test_one_wild_word_is_held_out_and_the_word_after_it_is_believed(self, bag):
        heard = air(bag, [25.0, 25.0, 55.0, 25.1, 25.1])
        assert heard.flags(AIR) == [Flag.NOT_EVALUATED, PASS, FAIL, PASS, PASS]
        assert heard.tests(AIR)[2] == "spike"
        assert heard.seen.block.present[:, heard.kit.channels.index(AIR)].tolist() == [
            True,
            True,
            False,
            True,
            True,
        ]

    def test_a_real_jump_is_believed_at_its_second_word(self, bag):
        heard = air(bag, [20.0, 20.0, 40.0, 40.2, 40.1])
        assert heard.flags(AIR)[2:] == [FAIL, SUSPECT, PASS]
        assert heard.tests(AIR)[2:] == ["spike", "step", "none"]

    def test_a_flickering_probe_has_every_wild_word_held_out(self, bag):
        heard = air(bag, [25.0, 55.0, 25.0, 55.0, 25.0, 55.0])
        assert [one == FAIL for one in heard.flags(AIR)] == [False, True] * 3

    def test_words_that_leap_about_are_held_out_until_two_agree(self, bag):
        heard = air(bag, [0.0, 20.0, 40.0, 58.0, 58.0])
        assert heard.flags(AIR)[1:4] == [FAIL] * 3
        assert heard.flags(AIR)[4] != FAIL

    def test_exactly_the_threshold_is_no_spike(self, bag):
        assert air(bag, [20.0, 35.0]).first(AIR) is None
        assert air(bag, [20.0, 35.000001]).first(AIR) == (1, "spike")

    def test_a_bag_that_is_opened_is_no_spike_of_humidity(self, bag):
        heard = damp(bag, [99.0, 99.0, 45.0, 44.0])
        assert heard.first(DAMP) is None
        assert heard.first(DAMP, SUSPECT) == (2, "step")

    def test_after_a_quarter_of_an_hour_of_silence_nothing_is_a_leap(self, bag):
        silence = [NAN] * 15
        assert air(bag, [20.0, *silence, 40.0]).flags(AIR)[-1] == Flag.NOT_EVALUATED
        assert air(bag, [20.0, *silence[1:], 40.0]).flags(AIR)[-1] == FAIL

    def test_a_good_word_that_is_too_old_holds_nothing_out(self, bag):
        silence = [NAN] * 9
        heard = air(bag, [20.0, *silence, 40.0, *silence, 60.0])
        assert heard.flags(AIR)[10] == FAIL
        assert heard.flags(AIR)[20] != FAIL
        sooner = air(bag, [20.0, *silence, 40.0, *silence[:4], 60.0])
        assert sooner.flags(AIR)[15] == FAIL

    def test_light_leaps_with_every_cloud(self, light):
        assert set(lux(light, [100_000.0, 9_000.0] * 5).flags("lux/illuminance")) == {PASS}


class TestStep:
    @pytest.mark.published("Zahumensky 2004, WMO CBS guidelines: 3 °C and 15 % in a minute")
    def test_more_in_a_minute_than_the_wmo_finds_credible_is_suspect(self, bag):
        assert air(bag, [20.0, 23.0]).first(AIR, SUSPECT) is None
        assert air(bag, [20.0, 23.000001]).first(AIR, SUSPECT) == (1, "step")
        assert damp(bag, [80.0, 65.0]).first(DAMP, SUSPECT) is None
        assert damp(bag, [80.0, 64.999999]).first(DAMP, SUSPECT) == (1, "step")

    def test_what_is_allowed_grows_with_the_minutes_between_two_words(self, bag):
        assert air(bag, [20.0, NAN, NAN, 29.0]).first(AIR, SUSPECT) is None
        assert air(bag, [20.0, NAN, NAN, 29.1]).first(AIR, SUSPECT) == (3, "step")
        assert air(bag, [20.0, *[NAN] * 5, 34.9]).first(AIR, SUSPECT) is None

    def test_a_suspect_word_is_used(self, bag):
        heard = damp(bag, [99.0, 45.0])
        assert heard.seen.block.present[1, heard.kit.channels.index(DAMP)]

    def test_the_word_after_a_spike_is_measured_from_the_last_good_one(self, bag):
        assert air(bag, [25.0, 55.0, 25.1]).flags(AIR)[2] == PASS


class TestStuck:
    def test_six_hours_of_the_very_same_temperature_are_stuck(self, bag):
        assert air(bag, [25.0] * 362).first(AIR) == (360, "stuck")

    def test_the_least_movement_clears_it(self, bag):
        assert air(bag, [*[25.0] * 300, 25.000001, *[25.0] * 120]).first(AIR) is None

    def test_an_hour_of_silence_begins_afresh(self, bag):
        gap = [NAN] * 59
        assert air(bag, [*[25.0] * 200, *gap, *[25.0] * 150]).first(AIR) == (360, "stuck")
        assert air(bag, [*[25.0] * 200, NAN, *gap, *[25.0] * 150]).first(AIR) is None

    @pytest.mark.published("Zahumensky 2004: humidity is held to move only where it is below 95 %")
    def test_steady_damp_from_95_percent_on_is_never_stuck(self, bag):
        warm = 20.0 + 10.0 * np.sin(np.arange(1440) / 200.0)
        for level in (95.0, 98.0, 100.0):
            assert damp(bag, [level] * 1440, warm).first(DAMP) is None
        assert damp(bag, [94.999999] * 1440, warm).first(DAMP) == (360, "stuck")

    def test_steady_damp_is_stuck_only_once_the_air_has_moved_by_3_degrees(self, bag):
        still = np.full(800, 20.0)
        assert damp(bag, [90.0] * 800, still).first(DAMP) is None
        later = still.copy()
        later[700:] = 23.0
        assert damp(bag, [90.0] * 800, later).first(DAMP) == (700, "stuck")
        later[700:] = 22.999999
        assert damp(bag, [90.0] * 800, later).first(DAMP) is None

    def test_damp_without_a_thermometer_beside_it_is_not_called_stuck(self, make):
        lone = make.site(sensor=[make.sensor("bag-07", ("relative_humidity",))])
        assert damp(lone, [60.0] * 1440).first(DAMP) is None

    def test_light_is_stuck_only_by_minutes_with_sun(self, light):
        key = "lux/illuminance"
        assert lux(light, [5000.0] * 400, sun=SunHeight.UP).first(key) == (360, "stuck")
        assert lux(light, [0.0] * 1440, sun=SunHeight.DOWN).first(key) is None
        night_then_day = [SunHeight.DOWN] * 700 + [SunHeight.UP] * 400
        assert lux(light, [500.0] * 1100, sun=night_then_day).first(key) == (1059, "stuck")

    def test_dark_for_two_hours_under_a_high_sun_is_stuck_however_it_flickers(self, light):
        key = "lux/illuminance"
        faint = [1.0, 60.0] * 100
        assert lux(light, faint, sun=SunHeight.HIGH).first(key) == (120, "stuck")
        assert lux(light, faint, sun=SunHeight.UP).first(key) is None
        lit = [*faint[:100], 108.0, *faint[:100]]
        assert lux(light, lit, sun=SunHeight.HIGH).first(key) is None

    def test_a_lamp_may_shine_evenly_all_day(self, make):
        site = make.site(sensor=[make.sensor("lux", ("ppfd",), bench="bench-2")])
        heard = Ear(site, lux__ppfd=[300.0] * 1440, sun=SunHeight.HIGH)
        assert heard.first("lux/ppfd") is None

    def test_still_air_and_a_wet_pot_stay_as_they_are(self, make):
        site = make.site(
            sensor=[make.sensor("pot", ("air_speed", "substrate_moisture"), bench="bench-2")]
        )
        heard = Ear(site, pot__air_speed=[0.0] * 1440, pot__substrate_moisture=[60.0] * 1440)
        assert heard.first("pot/air_speed") is None
        assert heard.first("pot/substrate_moisture") is None


class TestSaturation:
    WARMING = np.linspace(20.0, 28.0, 120)

    def test_100_percent_through_8_degrees_by_day_fails_on_a_bench(self, bench):
        assert damp(bench, [100.0] * 120, self.WARMING).first(DAMP) == (119, "saturation")

    def test_and_is_only_suspect_under_a_cover_which_can_really_do_it(self, bag):
        heard = damp(bag, [100.0] * 120, self.WARMING)
        assert heard.first(DAMP) is None
        assert heard.first(DAMP, SUSPECT) == (119, "saturation")

    def test_not_by_night_nor_with_a_smaller_swing_nor_below(self, bench):
        dark = SunHeight.DOWN
        assert damp(bench, [100.0] * 120, self.WARMING, sun=dark).first(DAMP) is None
        assert damp(bench, [100.0] * 120, self.WARMING - 0.001 * np.arange(120)).first(DAMP) is None
        assert damp(bench, [99.8] * 120, self.WARMING).first(DAMP) is None
        assert damp(bench, [99.9] * 120, self.WARMING).first(DAMP) == (119, "saturation")

    def test_an_hour_at_least_must_pass(self, bench):
        quick = np.concatenate([np.linspace(20.0, 30.0, 30), np.full(90, 30.0)])
        assert damp(bench, [100.0] * 120, quick).first(DAMP) == (60, "saturation")

    def test_one_drier_word_begins_it_afresh(self, bench):
        words = [100.0] * 120
        words[60] = 99.0
        assert damp(bench, words, self.WARMING).first(DAMP) is None

    def test_a_probe_taken_from_its_bag_begins_afresh(self, make):
        moved = datetime.fromtimestamp((FIRST + 60) * 60, UTC).isoformat()
        stood = [
            {"since": DAYS_AGO, "until": moved, "cover_of": "MG-07"},
            {"since": moved, "bench": "bench-2"},
        ]
        site = make.site(sensor=[make.sensor("bag-07", position=stood)])
        # Of the swing of 8 degrees only 4 are on the bench.
        warm = np.concatenate([self.WARMING, self.WARMING[::-1][:60]])
        assert damp(site, [100.0] * 180, warm).first(DAMP) is None
        assert damp(site, [100.0] * 180, warm).first(DAMP, SUSPECT) is None
        cooling = np.concatenate([np.full(60, 20.0), np.linspace(30.0, 20.0, 120)])
        assert damp(site, [100.0] * 180, cooling).first(DAMP) == (156, "saturation")


class TestCrossSensor:
    def site(self, make, *places):
        return make.site(
            sensor=[
                make.sensor(f"p{i}", ("air_temperature",), **place)
                for i, place in enumerate(places)
            ]
        )

    ON = ({"bench": "bench-2"},) * 3

    def hear(self, site, *levels, minutes=70):
        said = {f"p{i}__air_temperature": [level] * minutes for i, level in enumerate(levels)}
        return Ear(site, **said)

    def firsts(self, heard, flag, count):
        return [heard.first(f"p{i}/air_temperature", flag) for i in range(count)]

    def test_two_that_disagree_for_an_hour_are_both_suspect(self, make):
        heard = self.hear(self.site(make, *self.ON[:2]), 20.0, 25.1)
        assert self.firsts(heard, SUSPECT, 2) == [(60, "cross_sensor")] * 2
        assert self.firsts(heard, FAIL, 2) == [None] * 2

    def test_5_degrees_is_no_contradiction(self, make):
        heard = self.hear(self.site(make, *self.ON[:2]), 20.0, 25.0)
        assert self.firsts(heard, SUSPECT, 2) == [None] * 2

    def test_of_three_the_odd_one_fails_and_the_others_are_believed(self, make):
        heard = self.hear(self.site(make, *self.ON), 20.0, 30.0, 20.5)
        assert self.firsts(heard, FAIL, 3) == [None, (60, "cross_sensor"), None]
        assert self.firsts(heard, SUSPECT, 3) == [None] * 3

    def test_of_three_that_all_differ_the_middle_one_is_believed_and_nobody_fails(self, make):
        heard = self.hear(self.site(make, *self.ON), 10.0, 20.0, 30.0)
        assert self.firsts(heard, FAIL, 3) == [None] * 3
        assert self.firsts(heard, SUSPECT, 3) == [(60, "cross_sensor"), None, (60, "cross_sensor")]

    def test_four_split_in_two_camps_are_all_suspect(self, make):
        heard = self.hear(self.site(make, *self.ON, self.ON[0]), 10.0, 10.5, 30.0, 30.5)
        assert self.firsts(heard, SUSPECT, 4) == [(60, "cross_sensor")] * 4

    def test_of_four_the_outer_two_are_half_and_nobody_fails(self, make):
        heard = self.hear(self.site(make, *self.ON, self.ON[0]), 20.0, 22.0, 30.0, 32.0)
        odd = (60, "cross_sensor")
        assert self.firsts(heard, SUSPECT, 4) == [odd, None, None, odd]
        assert self.firsts(heard, FAIL, 4) == [None] * 4

    def test_what_a_probe_said_where_it_came_from_is_not_held_against_anyone(self, make):
        moved = datetime.fromtimestamp((FIRST + 30) * 60, UTC).isoformat()
        stood = [
            {"since": DAYS_AGO, "until": moved, "house": "north"},
            {"since": moved, "bench": "bench-2"},
        ]
        site = make.site(
            sensor=[
                make.sensor("p0", ("air_temperature",), bench="bench-2"),
                make.sensor("p1", ("air_temperature",), position=stood),
            ]
        )
        for speaks_until, first in ((30, None), (31, (35, "cross_sensor"))):
            heard = Ear(
                site,
                figures=Figures(apart_min=5),
                p0__air_temperature=[20.0] * 60,
                p1__air_temperature=[30.0] * speaks_until,
            )
            assert heard.first("p0/air_temperature", SUSPECT) == first

    def test_one_that_has_fallen_silent_contradicts_nobody(self, make):
        site = self.site(make, *self.ON[:2])
        heard = Ear(site, p0__air_temperature=[20.0] * 200, p1__air_temperature=[30.0] * 40)
        assert heard.first("p0/air_temperature", SUSPECT) is None

    def test_agreeing_for_a_minute_begins_the_hour_afresh(self, make):
        site = self.site(make, *self.ON[:2])
        other = [30.0] * 100
        other[50] = 24.0
        heard = Ear(site, p0__air_temperature=[20.0] * 100, p1__air_temperature=other)
        assert heard.first("p0/air_temperature", SUSPECT) is None

    def test_under_covers_in_the_open_and_elsewhere_nobody_is_compared(self, make):
        for place in ({"cover_of": "MG-07"}, {"open_sky": True}):
            heard = self.hear(self.site(make, place, place), 10.0, 30.0)
            assert self.firsts(heard, SUSPECT, 2) == [None] * 2
        heard = self.hear(self.site(make, {"bench": "bench-2"}, {"house": "north"}), 10.0, 30.0)
        assert self.firsts(heard, SUSPECT, 2) == [None] * 2

    def test_a_stuck_neighbour_has_no_vote(self, make):
        figures = Figures(stuck_min=5)
        site = self.site(make, *self.ON[:2])
        moving = 30.0 + 0.01 * np.arange(100)
        heard = Ear(
            site, figures=figures, p0__air_temperature=[20.0] * 100, p1__air_temperature=moving
        )
        assert heard.first("p0/air_temperature") == (5, "stuck")
        assert heard.first("p1/air_temperature", SUSPECT) is None

    def test_a_soaked_neighbour_has_no_vote(self, make):
        site = make.site(
            sensor=[
                make.sensor("wet", bench="bench-2"),
                make.sensor("dry", ("relative_humidity",), bench="bench-2"),
            ]
        )
        drying = 70.0 + 0.01 * np.arange(120)
        said = {
            "wet__relative_humidity": [100.0] * 120,
            "wet__air_temperature": 20.0 + 0.1 * np.arange(120),
            "dry__relative_humidity": drying,
        }
        heard = Ear(site, figures=Figures(wet_min=10), **said)
        # Soaked for sure once the air has moved by 8 degrees; the hour of the two ends before.
        assert heard.first("wet/relative_humidity", FAIL) == (80, "saturation")
        sooner = Ear(site, figures=Figures(wet_min=10, wet_swing_c=2.0), **said)
        assert sooner.first("wet/relative_humidity", FAIL) == (20, "saturation")
        assert sooner.first("dry/relative_humidity", SUSPECT) is None
        assert heard.first("dry/relative_humidity", SUSPECT) == (60, "cross_sensor")

    def test_a_probe_put_beside_another_has_an_hour_from_then(self, make):
        moved = datetime.fromtimestamp((FIRST + 30) * 60, UTC).isoformat()
        other = [
            {"since": DAYS_AGO, "until": moved, "house": "north"},
            {"since": moved, "bench": "bench-2"},
        ]
        site = make.site(
            sensor=[
                make.sensor("p0", ("air_temperature",), bench="bench-2"),
                make.sensor("p1", ("air_temperature",), position=other),
                make.sensor("p2", ("air_temperature",), house="north"),
            ]
        )
        heard = self.hear(site, 20.0, 30.0, 20.0, minutes=100)
        # It differed from the one in the house before; on the bench its hour begins anew.
        assert heard.first("p1/air_temperature", SUSPECT) == (90, "cross_sensor")
        assert heard.first("p2/air_temperature", SUSPECT) is None


class TestClock:
    def test_light_for_ten_minutes_in_the_depth_of_night_is_suspect(self, light):
        heard = lux(light, [270.0] * 20, sun=SunHeight.DEEP)
        assert heard.first("lux/illuminance", SUSPECT) == (10, "clock")

    def test_neither_faint_light_nor_dusk_nor_a_flash(self, light):
        key = "lux/illuminance"
        assert lux(light, [269.9] * 60, sun=SunHeight.DEEP).first(key, SUSPECT) is None
        assert lux(light, [9000.0] * 60, sun=SunHeight.DOWN).first(key, SUSPECT) is None
        flashes = ([9000.0] * 10 + [0.0]) * 5
        assert lux(light, flashes, sun=SunHeight.DEEP).first(key, SUSPECT) is None

    def test_an_hour_of_silence_begins_it_afresh(self, light):
        key = "lux/illuminance"
        for silent, first in ((59, 65), (60, 76)):
            words = [270.0] * 6 + [NAN] * silent + [270.0] * 30
            heard = lux(light, words, sun=SunHeight.DEEP)
            assert heard.first(key, SUSPECT) == (first, "clock")

    def test_a_lamp_may_burn_at_night(self, make):
        lit = make.sensor("lux", ("illuminance",), bench="bench-2")
        lit["channel"][0]["source"] = "white_led"
        heard = lux(make.site(sensor=[lit]), [9000.0] * 60, sun=SunHeight.DEEP)
        assert heard.first("lux/illuminance", SUSPECT) is None

    def test_a_clock_that_is_off_by_half_a_day_is_found_by_the_sun(self, light):
        minutes = FIRST + np.arange(2 * 1440, dtype=np.int64)
        heights = sun_heights(light.site, minutes)
        true_light = np.where(heights >= SunHeight.UP, 20_000.0 + minutes % 7, 0.0)
        right = lux(light, true_light, sun=heights)
        assert right.first("lux/illuminance", SUSPECT) is None
        wrong = lux(light, np.roll(true_light, 720), sun=heights)
        assert wrong.first("lux/illuminance", SUSPECT)[1] == "clock"


def test_words_of_which_nothing_was_believed_are_told_from_silence(bag):
    kit = quality_kit(bag)
    shape = (3, len(kit.channels))
    refused = np.zeros(shape, dtype=np.bool_)
    refused[1, kit.channels.index(AIR)] = True
    nothing = CellBlock(
        FIRST, kit.channels, np.zeros(shape, np.int64), np.zeros(shape, np.bool_), refused
    )
    memory, seen = judged(kit, {}, nothing, np.zeros(3, np.int8))
    column = kit.channels.index(AIR)
    assert seen.flags[:, column].tolist() == [MISSING, FAIL, MISSING]
    assert seen.tests[:, column].tolist() == [0, QualityTest.RANGE, 0]
    assert set(memory) == {AIR}
    assert memory[AIR].said_minute == FIRST + 1
    assert memory[AIR].said_flag == FAIL


@pytest.mark.published("IOOS QARTOD manuals: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing")
def test_flags_are_those_that_other_tools_read():
    flags = {flag.name: int(flag) for flag in Flag}
    assert flags == {"PASS": 1, "NOT_EVALUATED": 2, "SUSPECT": 3, "FAIL": 4, "MISSING": 9}


def test_what_is_carried_is_small(bag):
    memory = damp(bag, [90.0, 91.0]).memory[DAMP]
    assert (memory.run_low, memory.run_high) == (0, -1)
    assert len(str(list(memory))) < 150
    with_air = damp(bag, [90.0] * 3, [20.0, 22.0, 21.0]).memory[DAMP]
    assert (with_air.run_low, with_air.run_high) == (20 * MICRO, 22 * MICRO)


def test_the_sun_has_four_heights_and_a_day_goes_through_all(make):
    place = make.site().site
    minutes = FIRST + np.arange(1440, dtype=np.int64)
    heights = sun_heights(place, minutes)
    elevation = sun_elevation_deg(place, minutes)
    assert np.array_equal(heights >= SunHeight.DOWN, elevation >= DEEP_SUN_DEG)
    assert np.array_equal(heights >= SunHeight.UP, sun_is_up(place, minutes))
    assert np.array_equal(heights >= SunHeight.HIGH, elevation >= HIGH_SUN_DEG)
    turns = heights[np.flatnonzero(np.diff(heights, prepend=-1))].tolist()
    start = turns.index(int(SunHeight.DEEP))
    assert sorted(set(turns)) == [0, 1, 2, 3]
    assert len(turns) in {6, 7}
    assert start in range(len(turns))
