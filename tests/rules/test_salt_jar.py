"""What a technician is told about a jar, and what is proposed to be written down."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model.calibration import absurdity_of
from rules.model.quantities import Quantity
from rules.salt_jar import (
    COLDEST_C,
    WARMEST_C,
    JarPoint,
    JarRecord,
    Proposal,
    Refusal,
    Salt,
    calibration_of,
    fixed_point_pct,
    fixed_point_uncertainty_pct,
    judge_jar,
    propose,
)

AT = datetime(2026, 11, 10, tzinfo=UTC)
NACL, KCL = Salt.SODIUM_CHLORIDE, Salt.POTASSIUM_CHLORIDE


def record(salt=NACL, *, off=0.0, minutes=90, warm=25.0, moved=0.0, drift=0.0, every=5):
    """A sensor in a jar that comes to the fixed point plus `off`, drifting by `drift` an hour."""
    at = np.arange(0.0, minutes + 0.1, every)
    end = fixed_point_pct(salt, warm) + off
    humidity = end + drift * (at - minutes) / 60.0 - 8.0 * np.exp(-at / 5.0)
    return JarRecord(salt, warm, moved, tuple(at.tolist()), tuple(humidity.tolist()))


def point(salt=NACL, *, off=0.0, uncertain=1.4, warm=25.0):
    true = fixed_point_pct(salt, warm)
    return JarPoint(salt, warm, true, true + off, uncertain)


def test_a_steady_jar_gives_its_point():
    found = judge_jar(record(off=2.0))
    assert isinstance(found, JarPoint)
    assert found.raw_pct == pytest.approx(77.3, abs=0.05)
    assert found.true_pct == fixed_point_pct(NACL, 25.0)
    # Fixed point 0.12, jar 1.0, 0.2 °C between sensor and salt 0.9: the root of their squares.
    assert found.uncertainty_pct == pytest.approx(1.36, abs=0.03)


@pytest.mark.parametrize(
    ("how", "problem"),
    [
        ({"minutes": 55}, "has been in the jar for 55 min"),
        ({"minutes": 0}, "has been in the jar for 0 min"),
        ({"drift": 0.7}, "not steady yet"),
        ({"drift": -0.7}, "not steady yet"),
        ({"moved": 0.6}, "temperature moved by 0.6"),
        ({"every": 30}, "readings in the last 30 min"),
        ({"off": 5.1}, "potassium_chloride"),
        ({"off": -10.1}, "10.1 % off"),
    ],
)
def test_a_jar_that_cannot_be_trusted_is_refused_with_a_remedy(how, problem):
    found = judge_jar(record(**how))
    assert isinstance(found, Refusal)
    assert problem in found.problem
    assert len(found.remedy) > 10


@pytest.mark.parametrize(
    "how", [{"minutes": 60}, {"drift": 0.4}, {"moved": 0.5}, {"off": 4.0}, {"off": -9.9}]
)
def test_what_lies_just_inside_is_taken(how):
    assert isinstance(judge_jar(record(**how)), JarPoint)


def test_nothing_said_at_all_is_no_jar():
    assert isinstance(judge_jar(JarRecord(NACL, 25.0, 0.0, (), ())), Refusal)


def test_a_mixed_up_jar_is_named():
    found = judge_jar(record(KCL))
    mixed = JarRecord(
        NACL, 25.0, 0.0, *(getattr(record(KCL), n) for n in ("minutes", "humidity_pct"))
    )
    refused = judge_jar(mixed)
    assert isinstance(found, JarPoint)
    assert isinstance(refused, Refusal)
    assert "is it potassium_chloride?" in refused.remedy


def test_one_jar_asks_for_an_offset():
    asked = propose([point(off=3.0)])
    assert isinstance(asked, Proposal)
    assert asked.offset_pct == pytest.approx(-3.0)
    assert not asked.within


def test_a_difference_within_the_uncertainty_is_not_corrected():
    for off in (1.39, -1.39, 0.0):
        asked = propose([point(off=off)])
        assert isinstance(asked, Proposal)
        assert (asked.offset_pct, asked.within) == (0.0, True)
    assert not propose([point(off=1.41)]).within
    both = propose([point(off=1.0), point(Salt.MAGNESIUM_CHLORIDE, off=-1.0)])
    assert (both.offset_pct, both.within) == (0.0, True)


def test_two_jars_ask_for_a_line_that_makes_both_true():
    low, high = point(Salt.MAGNESIUM_CHLORIDE, off=2.0), point(Salt.POTASSIUM_SULFATE, off=-3.0)
    asked = propose([high, low])
    assert isinstance(asked, Proposal)
    assert asked.offset_pct is None
    gain, offset = calibration_of(asked, "%RH", since=AT).line()
    for one in (low, high):
        assert gain * one.raw_pct + offset == pytest.approx(one.true_pct, abs=0.02)


def test_it_is_written_in_the_unit_that_the_sensor_declares():
    asked = propose([point(off=3.0)])
    assert calibration_of(asked, "fraction", since=AT).offset == pytest.approx(-0.03)
    two = propose([point(Salt.MAGNESIUM_CHLORIDE, off=2.0), point(off=4.0)])
    written = calibration_of(two, "fraction", since=AT, expires=AT + timedelta(days=183))
    assert [one.raw for one in written.point] == pytest.approx([0.3479, 0.793], abs=1e-4)
    assert written.expires == AT + timedelta(days=183)


@pytest.mark.parametrize(
    ("points", "problem"),
    [
        ([], "0 jars"),
        ([point()] * 3, "3 jars"),
        ([point(off=3.0), point(off=3.0)], "too close"),
        ([point(off=-9.0), point(KCL, off=9.0)], "multiplies by 0.33"),
        ([point(off=-7.3), point(Salt.POTASSIUM_SULFATE)], "absurd away from the jars"),
    ],
)
def test_absurd_pairs_of_jars_are_refused(points, problem):
    asked = propose(points)
    assert isinstance(asked, Refusal)
    assert problem in asked.problem


def test_the_table_on_the_page_is_the_code():
    page = Path(__file__).parents[2] / "docs" / "salt_jars.md"
    rows = re.findall(r"^\| `(\w+)` \| (.*) \|$", page.read_text(encoding="utf-8"), re.M)
    assert [name for name, _ in rows] == list(Salt)
    for name, cells in rows:
        told = cells.split(" | ")[:4]
        for warm, cell in zip((15.0, 20.0, 25.0, 30.0), told, strict=True):
            known = fixed_point_uncertainty_pct(Salt(name), warm)
            assert cell == f"{fixed_point_pct(Salt(name), warm):.1f} ± {known:.2f}"


@given(
    salts=st.permutations(list(Salt)),
    off=st.tuples(st.floats(-10, 10), st.floats(-10, 10)),
    count=st.integers(1, 2),
    warm=st.floats(COLDEST_C, WARMEST_C),
    unit=st.sampled_from(("%RH", "fraction")),
)
def test_whatever_is_proposed_is_taken_by_the_site_file(salts, off, count, warm, unit):
    points = [point(salt, off=by, warm=warm) for salt, by in zip(salts[:count], off, strict=False)]
    asked = propose(points)
    if isinstance(asked, Proposal):
        written = calibration_of(asked, unit, since=AT)
        assert absurdity_of(written, Quantity.RELATIVE_HUMIDITY, unit) is None


@pytest.mark.parametrize("salt", Salt)
def test_outside_its_range_no_fixed_point_is_told(salt):
    for wrong in (9.9, 40.1, float("inf")):
        with pytest.raises(ValueError, match="jar temperature"):
            fixed_point_pct(salt, wrong)
        with pytest.raises(ValueError, match="jar temperature"):
            fixed_point_uncertainty_pct(salt, wrong)
    many = fixed_point_pct(salt, np.array([10.0, 25.0, 40.0]))
    assert many.tolist() == [fixed_point_pct(salt, one) for one in (10.0, 25.0, 40.0)]
