"""Which sensor speaks for a batch, and that a moved probe never speaks for two places."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rules.evaluator import watchlist
from rules.model.event import Standing
from rules.model.quantities import Felt, Quantity
from rules.speaking import first_cell, span_at, spans_of

ALL = ("air_temperature", "relative_humidity")


def speakers(make, site):
    """Who speaks for the site's first batch on the evening, by felt quantity."""
    span = span_at(spans_of(site, site.batch[0], in_force_from=[None]), first_cell(make.evening))
    return {
        felt.value: tuple(source.channel for source in speaker.sources)
        for felt, speaker in span.speakers.items()
    }


def test_under_a_tied_bag_only_a_probe_in_that_bag_tells_the_air(make):
    site = make.site(
        sensor=[
            make.sensor("bench", (*ALL, "leaf_temperature", "ppfd"), bench="bench-2"),
            make.sensor("other-bag", ALL, cover_of="MG-08"),
        ],
    )
    assert speakers(make, site) == {"ppfd": ("bench/ppfd",)}


def test_once_the_cover_is_off_the_bench_speaks_and_then_the_house(make):
    off = [{"at": "2026-05-03T00:00:00Z", "seen": "cover_off"}]
    house = make.sensor("house", (*ALL, "air_speed"), house="north")
    bench = make.sensor("bench", ("air_temperature",), bench="bench-2")
    away = make.sensor("away", ALL, bench="bench-3")
    uncovered = [make.batch(observation=off)]
    site = make.site(sensor=[house, bench, away], batch=uncovered)
    assert speakers(make, site) == {
        "air_temperature": ("bench/air_temperature",),
        "relative_humidity": ("house/relative_humidity",),
        "air_speed": ("house/air_speed",),
        # Both from one place rather than each from the nearest.
        "vapour_pressure_deficit": ("house/air_temperature", "house/relative_humidity"),
    }


def test_a_cover_put_on_again_silences_the_bench_again(make):
    turns = [
        {"at": "2026-05-03T00:00:00Z", "seen": "cover_off"},
        {"at": "2026-05-04T00:00:00Z", "seen": "cover_closed"},
    ]
    bench = make.sensor("bench", ALL, bench="bench-2")
    site = make.site(sensor=[bench], batch=[make.batch(observation=turns)])
    assert speakers(make, site) == {}


def test_temperature_and_humidity_of_one_sensor_are_paired(make):
    one = make.sensor("one", ("air_temperature",))
    two = make.sensor("two", ("relative_humidity", "air_temperature"))
    found = speakers(make, make.site(sensor=[one, two]))
    assert found["air_temperature"] == ("one/air_temperature",)
    assert found["vapour_pressure_deficit"] == ("two/air_temperature", "two/relative_humidity")


def test_of_equals_the_first_in_the_site_file_speaks(make):
    site = make.site(sensor=[make.sensor("b"), make.sensor("a")])
    assert speakers(make, site)["air_temperature"] == ("b/air_temperature",)


def test_photons_are_believed_before_lux_and_lux_before_watts(make):
    near = [make.sensor("w", ("irradiance",), bench="bench-2")]
    near.append(make.sensor("lx", ("illuminance",), bench="bench-2"))
    assert speakers(make, make.site(sensor=near))["ppfd"] == ("lx/illuminance",)
    near.append(make.sensor("par", ("ppfd",), bench="bench-2"))
    assert speakers(make, make.site(sensor=near))["ppfd"] == ("par/ppfd",)


def test_open_sky_speaks_for_no_batch(make):
    site = make.site(sensor=[make.sensor("sky", ("ppfd", *ALL), open_sky=True)])
    assert speakers(make, site) == {}


def test_some_channels_of_a_sensor_can_stand_elsewhere(make):
    position = [
        {"since": "2026-05-01T00:00:00Z", "cover_of": "MG-07", "channels": ["air_temperature"]},
        {"since": "2026-05-01T00:00:00Z", "house": "south", "channels": ["relative_humidity"]},
    ]
    site = make.site(sensor=[make.sensor("split", ALL, position=position)])
    assert speakers(make, site) == {"air_temperature": ("split/air_temperature",)}


def test_a_probe_moved_to_another_bag_takes_no_old_word_along(make):
    move = make.evening + timedelta(minutes=10, seconds=20)
    position = [
        {"since": "2026-05-01T00:00:00Z", "until": move, "cover_of": "MG-07"},
        {"since": move, "cover_of": "MG-08"},
    ]
    site = make.site(
        sensor=[make.sensor(position=position)],
        batch=[make.batch(), make.batch("MG-08")],
    )
    dry = make.limit("air_too_dry", "relative_humidity", "low", 80.0)
    night = make.night(site, make.plan(healing={"vital": [], "limit": [dry]}))
    # The move falls into minute 10, whose cell still counts for the old bag.
    night.bag(11)
    assert night.now("MG-07").standing is Standing.STEADY
    assert night.now("MG-08").standing is Standing.BLIND
    night.silence(1)
    # Its last word, a minute old, was said in the other bag.
    assert night.now("MG-07").standing is Standing.BLIND
    assert night.now("MG-08").standing is Standing.BLIND
    night.bag(1)
    assert night.now("MG-07").standing is Standing.BLIND
    assert night.now("MG-08").standing is Standing.STEADY


@pytest.mark.parametrize(
    ("quantity", "raw"), [("illuminance", 10_800.0), ("irradiance", 100.0), ("ppfd", 200.0)]
)
def test_every_light_sensor_tells_photons(make, quantity, raw):
    bright = make.limit("too_bright", "ppfd", "high", 300.0)
    site = make.site(sensor=[make.sensor("eye", (quantity,), bench="bench-2")])
    night = make.night(site, make.plan(healing={"vital": [], "limit": [bright]}))
    night.tell(1, **{f"eye__{quantity}": raw})
    assert night.now().felt[Felt.PPFD].value == 200.0


def test_only_channels_that_speak_for_a_batch_are_carried(make):
    site = make.site(sensor=[make.sensor(), make.sensor("sky", ("ppfd",), open_sky=True)])
    plans = make.plan(healing={"vital": ["air_temperature"], "limit": []})
    assert watchlist(site, plans).channels == {f"bag-07/{name}" for name in ALL}
    night = make.night(site, plans).tell(1, sky__ppfd=1.0).bag(1)
    assert sorted(night.state.latest) == [f"bag-07/{name}" for name in ALL]


def test_a_lamp_in_watts_is_refused_and_in_lux_is_not(make):
    def lit(quantity, unit, source):
        sensor = make.sensor("eye", (quantity,), bench="bench-2")
        (channel,) = sensor["channel"]
        return {**sensor, "channel": [{**channel, "unit": unit, "source": source}]}

    with pytest.raises(ValueError, match="measure ppfd or illuminance under lamps"):
        make.site(sensor=[lit("irradiance", "W/m2", "white_led")])
    site = make.site(sensor=[lit("illuminance", "lx", "white_led")])
    assert site.channels["eye/illuminance"].quantity is Quantity.ILLUMINANCE
