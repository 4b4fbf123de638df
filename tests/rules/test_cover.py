"""Heat under a cover: the line is found through odd half hours, and too little says how much."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_data.trial import Kind, trial
from rules.cover import (
    EMPTY,
    LEAST_DAYS,
    LEAST_SPANS,
    MOST_SPANS,
    SPAN_MIN,
    CoverCourse,
    CoverFit,
    CoverRecord,
    TooThin,
    course_under_cover,
    fit_cover,
    gather,
    light_to_stop,
    peak_of,
    shade_before,
)

MIDNIGHT = 29_662_560
MICRO = 1_000_000


def record_on_a_line(
    slope: float, offset: float, *, days: int = 3, odd: float = 0.0, seed: int = 1
):
    """Half hours of some days on a line, a share of them anywhere."""
    chance = np.random.default_rng(seed)
    spans = []
    for day in range(days):
        for half_hour in range(24):
            light = round(260.0 * np.sin(np.pi * (half_hour + 0.5) / 24))
            rise = offset + slope * light
            if chance.random() < odd:
                rise += chance.choice([-6.0, 9.0])
            spans.append((MIDNIGHT + day * 1440 + 360 + half_hour * SPAN_MIN, light, rise * 100))
    return CoverRecord(spans=tuple((at, light, round(rise)) for at, light, rise in spans))


def test_a_known_line_is_found():
    fit = fit_cover(record_on_a_line(0.012, -0.2))
    assert isinstance(fit, CoverFit)
    assert fit.slope_c_per_umol == pytest.approx(0.012, abs=0.0003)
    assert fit.offset_c == pytest.approx(-0.2, abs=0.02)
    assert (fit.spans, fit.days) == (72, 3)


@pytest.mark.published("Sen 1968, J. Am. Stat. Assoc. 63:1379: breakdown at 29 %")
@pytest.mark.parametrize("seed", range(5))
def test_a_sixth_of_half_hours_with_an_open_bag_does_not_pull_the_line_away(seed):
    record = record_on_a_line(0.012, -0.2, days=6, odd=0.17, seed=seed)
    fit = fit_cover(record)
    assert fit.slope_c_per_umol == pytest.approx(0.012, abs=0.0015)
    table = np.array(record.spans, dtype=float)
    least_squares = np.polyfit(table[:, 1], table[:, 2] / 100, 1)[0]
    assert abs(least_squares - 0.012) > abs(fit.slope_c_per_umol - 0.012)


def test_a_record_of_one_dull_morning_says_how_much_more_it_needs():
    spans = tuple((MIDNIGHT + 360 + i * SPAN_MIN, 40 + i, 50) for i in range(5))
    thin = fit_cover(CoverRecord(spans=spans))
    assert thin == TooThin(more_spans=LEAST_SPANS - 5, more_days=1, more_range_umol=57)
    assert thin.needed("en") == (
        "needs 9.5 more hours of light, readings on 1 more day(s), "
        "light that varies by 57 µmol more"
    )
    assert thin.needed("es").startswith("hace falta 9.5 h más de luz medida")


def test_no_record_at_all_needs_everything():
    assert fit_cover(EMPTY) == TooThin(LEAST_SPANS, LEAST_DAYS, 60)


def test_a_record_that_meets_each_need_is_enough_and_one_short_of_it_is_not():
    enough = record_on_a_line(0.012, 0.0, days=2)
    assert isinstance(fit_cover(enough), CoverFit)
    one_day = CoverRecord(spans=enough.spans[:24])
    assert fit_cover(one_day) == TooThin(0, 1, 0)


@st.composite
def minutes_of_light(draw):
    """A stretch of cells with gaps, and a place to cut it."""
    first = MIDNIGHT + draw(st.integers(0, 59))
    count = draw(st.integers(1, 150))
    chance = np.random.default_rng(draw(st.integers(0, 1000)))
    light = chance.integers(0, 300 * MICRO, count)
    rise = chance.integers(-2 * MICRO, 5 * MICRO, count)
    present = chance.random(count) < draw(st.sampled_from([0.0, 0.5, 0.9, 1.0]))
    return first, light, rise, present, draw(st.integers(0, count))


@given(minutes_of_light())
def test_minute_by_minute_and_all_at_once_gather_the_same(case):
    first, light, rise, present, cut = case
    at_once = gather(EMPTY, first, light=light, rise=rise, present=present)
    record = EMPTY
    for i in range(len(present)):
        one = slice(i, i + 1)
        record = gather(record, first + i, light=light[one], rise=rise[one], present=present[one])
    assert record == at_once
    if 0 < cut < len(present):
        halves = gather(EMPTY, first, light=light[:cut], rise=rise[:cut], present=present[:cut])
        halves = gather(
            halves, first + cut, light=light[cut:], rise=rise[cut:], present=present[cut:]
        )
        assert halves == at_once


def test_old_half_hours_make_room_and_nights_are_left_out():
    minutes = 12 * 1440
    clock = np.arange(minutes) % 1440
    light = np.rint(250 * MICRO * np.maximum(np.sin((clock - 360) * np.pi / 720), 0)).astype(int)
    record = gather(
        EMPTY, MIDNIGHT, light=light, rise=light // 100, present=np.ones(minutes, dtype=bool)
    )
    assert len(record.spans) == MOST_SPANS
    assert min(span[1] for span in record.spans) >= 5
    assert record.spans[-1][0] == MIDNIGHT + 11 * 1440 + 1050


@pytest.fixture(scope="module")
def tied():
    """A tied bag of the demonstration's physics, through five days and a sixth held back."""
    return trial((Kind(0.005, 0.4, 999.0),), days=6, seed=3)


def test_tomorrows_peak_under_a_bag_of_other_physics_is_foretold(tied):
    known = 5 * 1440
    rise = tied.air_c[:, 0] - tied.house_c
    record = gather(
        EMPTY,
        MIDNIGHT,
        light=np.rint(tied.ppfd_umol_m2_s[:known] * MICRO).astype(np.int64),
        rise=np.rint(rise[:known] * MICRO).astype(np.int64),
        present=np.ones(known, dtype=bool),
    )
    fit = fit_cover(record)
    assert isinstance(fit, CoverFit)
    assert 0.003 < fit.slope_c_per_umol < 0.02
    hourly = slice(known, known + 1440, 30)
    course = course_under_cover(
        fit,
        MIDNIGHT + np.arange(known, known + 1440, 30),
        light_umol=tied.ppfd_umol_m2_s[hourly],
        house_c=tied.house_c[hourly],
        house_unsure_c=0.3,
    )
    peak = peak_of(fit, course)
    truth = tied.air_c[known:, 0].reshape(48, 30).mean(axis=1)
    assert peak.central_c == pytest.approx(truth.max(), abs=0.4)
    assert peak.low_c < truth.max() < peak.high_c + 0.2
    assert abs(peak.at_minute - (MIDNIGHT + known + int(np.argmax(truth)) * 30)) <= 60


FIT = CoverFit(0.02, 0.5, -0.4, 0.6, 300.0, 100, 5)


def course(light, house) -> CoverCourse:
    return course_under_cover(
        FIT,
        MIDNIGHT + 30 * np.arange(len(light)),
        light_umol=np.array(light, dtype=float),
        house_c=np.array(house, dtype=float),
        house_unsure_c=0.0,
    )


def test_the_peak_says_when_and_whether_light_is_beyond_the_record():
    warm = course([100, 300, 360, 200], [28.0, 30.0, 31.0, 31.0])
    peak = peak_of(FIT, warm)
    assert peak.at_minute == MIDNIGHT + 60
    assert peak.central_c == pytest.approx(31.0 + 0.5 + 7.2)
    assert peak.beyond_record
    assert peak.high_c - peak.central_c == pytest.approx(0.6 * 1.2)
    # A tenth more than was seen is within what a clear sky is known to.
    assert not peak_of(FIT, course([100, 330], [28.0, 30.0])).beyond_record


def test_shade_must_be_up_before_the_warm_edge_meets_the_bound():
    warm = course([0, 100, 200], [28.0, 28.0, 28.0])  # warm edge 29.1, 31.1, 33.1
    assert shade_before(warm, 32.1) == MIDNIGHT + 45
    assert shade_before(warm, 33.2) is None
    assert shade_before(warm, 29.0) == MIDNIGHT


def test_how_much_light_to_stop():
    warm = course([0, 100, 200], [28.0, 28.0, 30.0])  # likely 28.5, 30.5, 34.5
    assert light_to_stop(FIT, warm, 35.0) == 0.0
    stopped = light_to_stop(FIT, warm, 32.5)
    assert stopped == pytest.approx(0.5)
    shaded = course([0, 50, 100], [28.0, 28.0, 30.0])
    assert float(shaded.central_c.max()) == pytest.approx(32.5)
    assert light_to_stop(FIT, warm, 30.0) is None
