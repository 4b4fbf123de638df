"""A calibration puts right what is judged, from its own instant on, and never what is kept."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from rules.cells import MICRO, block_of, calibrated
from rules.model.calibration import SANE, Calibration, absurdity_of
from rules.model.place import Channel
from rules.model.quantities import MEANINGS, LightSource, Quantity
from rules.model.reading import MINUTE_MS, Reading

SINCE = datetime(2026, 5, 4, 13, 0, tzinfo=UTC)
SINCE_MS = int(SINCE.timestamp() * 1000)
MINUTE = SINCE_MS // MINUTE_MS


def calibration(**changes):
    return {"since": SINCE, **changes}


def channel(*calibrations, quantity="relative_humidity", unit="%RH", **changes) -> Channel:
    return Channel.model_validate(
        {
            "id": "c",
            "quantity": quantity,
            "unit": unit,
            "path": "v",
            "calibration": calibrations,
            **changes,
        }
    )


def site_with(make, *calibrations, unit="%RH"):
    probe = make.sensor()
    damp = next(one for one in probe["channel"] if one["id"] == "relative_humidity")
    damp |= {"calibration": calibrations, "unit": unit}
    return make.site(sensor=[probe])


def damp_at(make, site, at_ms, raw):
    cell = make.cell(site, at_ms // MINUTE_MS, [Reading("bag-07/relative_humidity", at_ms, raw)])
    return cell.means.get("bag-07/relative_humidity", 0) / MICRO


def test_a_reading_is_put_right_from_the_very_instant_of_the_check(make):
    site = site_with(make, calibration(offset=-2.0))
    assert damp_at(make, site, SINCE_MS - 1, 90.0) == 90.0
    assert damp_at(make, site, SINCE_MS, 90.0) == 88.0


def test_one_minute_may_hold_readings_from_before_and_after_a_check(make):
    half = {"since": SINCE + timedelta(seconds=30), "offset": -2.0}
    site = site_with(make, half)
    readings = [
        Reading("bag-07/relative_humidity", SINCE_MS + 10_000, 90.0),
        Reading("bag-07/relative_humidity", SINCE_MS + 40_000, 90.0),
    ]
    assert make.cell(site, MINUTE, readings).means == {"bag-07/relative_humidity": 89 * MICRO}


def test_the_check_last_begun_counts_whatever_order_they_are_written_in(make):
    later = {"since": SINCE + timedelta(days=30), "offset": -3.0}
    site = site_with(make, later, calibration(offset=-2.0))
    assert damp_at(make, site, SINCE_MS, 90.0) == 88.0
    assert damp_at(make, site, SINCE_MS + 31 * 86_400_000, 90.0) == 87.0


def test_an_expired_check_goes_on_being_applied_but_is_said_to_be_out(make):
    day = timedelta(days=1)
    site = site_with(make, calibration(offset=-2.0, expires=SINCE + day))
    assert damp_at(make, site, SINCE_MS + 86_400_000, 90.0) == 88.0
    damp = site.channels["bag-07/relative_humidity"]
    held = damp.calibration_at(SINCE + day)
    assert held is not None
    assert held.is_out(SINCE + day)
    assert not held.is_out(SINCE + day - timedelta(seconds=1))
    assert damp.calibration_at(SINCE - timedelta(seconds=1)) is None


def test_two_points_make_the_line_through_both():
    jars = [{"raw": 35.0, "true": 33.0}, {"raw": 77.0, "true": 75.0}]
    put_right = calibrated(
        channel(calibration(point=jars)), np.full(3, SINCE_MS), np.array([35.0, 77.0, 56.0])
    )
    assert put_right == pytest.approx([33.0, 75.0, 54.0])


def test_figures_are_in_the_unit_that_the_device_sends(make):
    site = site_with(make, calibration(offset=-0.02), unit="fraction")
    assert damp_at(make, site, SINCE_MS, 0.9) == pytest.approx(88.0)
    warm = channel(calibration(offset=-1.8), quantity="air_temperature", unit="degF")
    assert warm.calibration_at(SINCE) is not None


def test_a_wet_probe_that_reads_too_much_is_put_right_before_it_is_judged(make):
    # 105 % raw would not be believed; put right by 3 % it is the 102 % of a wet probe, and so 100.
    assert damp_at(make, site_with(make, calibration(offset=-3.0)), SINCE_MS, 105.0) == 100.0
    assert damp_at(make, site_with(make), SINCE_MS, 105.0) == 0.0


def test_a_minute_of_which_nothing_was_believed_is_told_from_silence(make):
    site = site_with(make)
    said = [
        Reading("bag-07/relative_humidity", SINCE_MS, 108.0),
        Reading("bag-07/air_temperature", SINCE_MS, 64.0),
        Reading("bag-07/air_temperature", SINCE_MS + 1, 25.0),
    ]
    cell = make.cell(site, MINUTE, said)
    assert cell.refused == {"bag-07/relative_humidity"}
    assert set(cell.means) == {"bag-07/air_temperature"}
    assert make.cell(site, MINUTE, []).refused == set()
    block = block_of(site, MINUTE - 1, 3, said)
    assert block.refused is not None
    assert block.refused.sum() == 1


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ({}, "either offset and gain"),
        ({"offset": 1.0, "point": [{"raw": 1.0, "true": 2.0}] * 2}, "either offset and gain"),
        ({"gain": 0.499}, "gain:"),
        ({"gain": 2.001}, "gain:"),
        ({"point": [{"raw": 75.0, "true": 74.0}]}, "point:"),
        ({"point": [{"raw": 75.0, "true": 74.0}, {"raw": 75.0, "true": 30.0}]}, "point:"),
        ({"offset": 1.0, "expires": SINCE}, "expires:"),
    ],
)
def test_a_calibration_that_cannot_be_is_refused(written, said):
    with pytest.raises(ValidationError, match=said):
        Calibration.model_validate(calibration(**written))


@pytest.mark.parametrize(
    ("offset", "fits"), [(15.0, True), (-15.0, True), (15.01, False), (-15.01, False)]
)
def test_humidity_is_put_right_by_15_percent_at_most(offset, fits):
    told = absurdity_of(Calibration(since=SINCE, offset=offset), Quantity.RELATIVE_HUMIDITY, "%RH")
    assert (told is None) == fits


def test_points_must_lie_apart_in_the_units_of_the_device():
    def told(high):
        points = [{"raw": 0.60, "true": 0.60}, {"raw": high, "true": high}]
        written = Calibration.model_validate(calibration(point=points))
        return absurdity_of(written, Quantity.RELATIVE_HUMIDITY, "fraction")

    assert told(0.7501) is None
    assert "apart" in told(0.7499)


def test_two_checks_at_one_instant_are_refused_in_whatever_zone_they_are_written():
    again = {"since": "2026-05-04T20:00:00+07:00", "offset": 1.0}
    with pytest.raises(ValidationError, match="same instant"):
        channel(calibration(offset=2.0), again)


@pytest.mark.parametrize("quantity", tuple(Quantity))
def test_every_quantity_and_unit_can_be_calibrated(quantity):
    source = LightSource.SUN if "lumin" in quantity or "irrad" in quantity else None
    for unit, factors in MEANINGS[quantity].units.items():
        sane = SANE[quantity]
        by = sane.most_off / factors.scale
        fitting = channel(
            calibration(offset=by * 0.99), quantity=quantity, unit=unit, source=source
        )
        assert fitting.calibration[0].line() == (1.0, by * 0.99)
        with pytest.raises(ValidationError, match="no matter of calibration"):
            channel(calibration(offset=by * 1.01), quantity=quantity, unit=unit, source=source)


@given(
    raw=st.lists(st.floats(0, 100), min_size=1, max_size=8),
    minutes=st.lists(st.integers(-3, 3), min_size=8, max_size=8),
    lines=st.lists(
        st.tuples(st.integers(-2, 2), st.floats(-5, 5), st.floats(0.9, 1.1)),
        max_size=3,
        unique_by=lambda one: one[0],
    ),
)
def test_many_readings_are_put_right_just_as_each_alone(raw, minutes, lines):
    probe = channel(
        *(
            {"since": SINCE + timedelta(minutes=at), "offset": offset, "gain": gain}
            for at, offset, gain in lines
        )
    )
    at_ms = SINCE_MS + np.array(minutes[: len(raw)]) * MINUTE_MS
    together = calibrated(probe, at_ms, np.array(raw))
    for i, value in enumerate(raw):
        at = SINCE + timedelta(minutes=minutes[i])
        held = probe.calibration_at(at)
        gain, offset = held.line() if held is not None else (1.0, 0.0)
        assert together[i] == value * gain + offset
        assert together[i] == calibrated(probe, at_ms[i : i + 1], np.array([value]))[0]
