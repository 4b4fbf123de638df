"""What no sensor tells, as the watch carries it: leaf, reserve, hours left, heat to come."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from rules.drying import FRESH, in_one_minute, spend
from rules.model.plan import CarePlan
from rules.reserve import hours_to_critical, reserve_pct

SEEN = {"vital": ["relative_humidity"]}


def bagged(make, **changes):
    batch = make.batch(grafted_on="2026-05-04", **changes)
    batch["stage"] = changes.get(
        "stage", [{"stage": "healing", "since": "2026-05-04T12:00:00Z", "because": "grafted"}]
    )
    return make.site(
        sensor=[
            make.sensor(),
            make.sensor("sky", ("ppfd",), bench="bench-2"),
            make.sensor("house", ("air_temperature",), house="north"),
        ],
        batch=[batch],
    )


def leafy(make, *limits, **stage):
    return make.plan(drying="leafy-bag", healing={**SEEN, "limit": list(limits), **stage})


def test_the_reserve_is_the_very_account_kept_by_hand(make):
    night = make.night(bagged(make), leafy(make), make.evening)
    kit = night.watched.batches[0].versions[0].kit
    account, chance = FRESH, np.random.default_rng(3)
    for minute in range(90):
        air, damp, light = chance.uniform((24, 70, 0), (36, 100, 300))
        night.bag(0)
        told = {"bag_of_07__air_temperature": air, "bag_of_07__relative_humidity": damp}
        told["sky__ppfd"] = light
        night.tell(1, **told)
        around = in_one_minute(
            night.first + minute,
            air_temperature_c=round(air * 1e6) / 1e6,
            relative_humidity_pct=round(damp * 1e6) / 1e6,
            ppfd_umol_m2_s=round(light * 1e6) / 1e6,
            leaf_temperature_c=None,
            air_speed_m_s=None,
            sun_up=False,
            film_open=False,
        )
        spending = spend(kit.figures, account, around)
        account = spending.account
    now = night.now().drying
    by_hand = reserve_pct(kit.figures, spending.spent_ng)
    hours = hours_to_critical(kit.figures, spending)
    assert now.reserve_pct.central == by_hand.central[0] < 99.0
    assert (now.reserve_pct.low, now.reserve_pct.high) == (by_hand.low[0], by_hand.high[0])
    assert now.hours.central == hours.central[0]
    assert now.since_minute == night.first
    assert now.guessed_min == 0


def test_a_dry_bag_is_called_out_hours_before_the_scion_is_lost(make):
    short = make.limit("hours-short", "hours_to_critical", "low", 24.0, priority="medium")
    night = make.night(bagged(make), leafy(make, short))
    night.bag(60, temperature=26.0, humidity=99.5)
    assert night.opened() == []
    night.bag(60, temperature=30.0, humidity=40.0)
    ((name, at_minute, _),) = night.opened()
    assert name == "hours-short"
    assert 60 < at_minute < 70
    assert night.now().drying.reserve_pct.central > 80.0


def test_a_batch_that_was_grafted_before_the_watch_began_counts_as_fresh_then_and_says_so(make):
    night = make.night(make.site(), leafy(make))
    night.bag(30)
    assert night.now().drying.since_minute == night.first


def test_nothing_is_reckoned_before_grafting(make):
    later = [{"stage": "healing", "since": "2026-05-04T13:30:00Z", "because": "grafted"}]
    night = make.night(bagged(make, stage=later), leafy(make))
    night.bag(20)
    assert night.now().drying is None
    night.bag(20)
    assert night.now().drying.since_minute == night.first + 30


def test_a_stage_that_is_moved_leaves_the_scion_as_dry_as_it_was(make):
    stages = [
        {"stage": "healing", "since": "2026-05-04T12:00:00Z", "because": "grafted"},
        {"stage": "new_growth", "since": "2026-05-04T14:00:00Z", "because": "a bud opened"},
    ]
    need = {"vital": ["relative_humidity"], "limit": []}
    plans = make.plan(drying="leafy-bag", healing=need, new_growth=need)
    night = make.night(bagged(make, stage=stages), plans)
    night.bag(60, temperature=32.0, humidity=30.0)
    before = night.now().drying
    night.bag(1, temperature=32.0, humidity=30.0)
    assert night.now().stage == "new_growth"
    after = night.now().drying
    assert after.since_minute == before.since_minute
    assert after.reserve_pct.central < before.reserve_pct.central < 97.0


def test_a_droop_brings_the_account_to_where_leaves_hang(make):
    drooped = [{"at": "2026-05-04T13:30:00Z", "seen": "droop"}]
    calm = make.night(bagged(make), leafy(make)).bag(40, humidity=99.0)
    hanging = make.night(bagged(make, observation=drooped), leafy(make)).bag(40, humidity=99.0)
    assert calm.now().drying.reserve_pct.central > 99.0
    # Turgor is lost at 82 %, the scion at 60 % of its fresh water: 22 of 40 parts are left.
    assert hanging.now().drying.reserve_pct.central == pytest.approx(55.0, abs=1.0)
    assert hanging.bag(60, humidity=99.0).now().drying.reserve_pct.central < 60.0


def test_minutes_without_readings_open_the_band_and_are_counted(make):
    night = make.night(bagged(make), leafy(make))
    night.bag(30, temperature=30.0, humidity=60.0)
    seen = night.now().drying.reserve_pct
    night.silence(60)
    now = night.now().drying
    assert now.guessed_min == 60 - 5  # the last word speaks on for five minutes
    assert now.hours is None
    assert now.reserve_pct.high == pytest.approx(seen.high, abs=1.0)
    assert now.reserve_pct.low < seen.low - 1.0
    assert "moisture_reserve" not in night.now().felt


def test_the_water_of_a_batch_that_nothing_was_ever_seen_of_is_not_told(make):
    night = make.night(bagged(make), leafy(make))
    night.silence(60)
    assert night.now().drying is None
    night.bag(1, temperature=30.0, humidity=60.0)
    assert night.now().drying.guessed_min == 60
    night.silence(60)
    assert night.now().drying is not None


def test_a_droop_tells_of_the_water_without_any_sensor(make):
    drooped = [{"at": "2026-05-04T13:30:00Z", "seen": "droop"}]
    night = make.night(bagged(make, observation=drooped), leafy(make))
    night.silence(29)
    assert night.now().drying is None
    night.silence(3)
    assert night.now().drying.reserve_pct.central == pytest.approx(55.0, abs=1.0)


def test_a_leaf_that_no_sensor_tells_is_warmer_than_the_air_in_light(make):
    hot = make.limit("leaf-hot", "leaf_temperature", "high", 33.0, on_delay_min=2)
    night = make.night(bagged(make), leafy(make, hot), make.morning)
    night.tell(
        10,
        bag_of_07__air_temperature=32.0,
        bag_of_07__relative_humidity=98.0,
        sky__ppfd=300.0,
    )
    leaf = night.now().felt["leaf_temperature"]
    assert leaf.channel is None
    assert 33.5 < leaf.value < 38.0
    assert [name for name, _, _ in night.opened()] == ["leaf-hot"]


def test_a_leaf_that_a_silent_sensor_should_tell_is_not_made_up(make):
    probe = make.sensor(quantities=("air_temperature", "relative_humidity", "leaf_temperature"))
    site = make.site(sensor=[probe], batch=[make.batch()])
    night = make.night(site, leafy(make))
    night.bag(10)
    assert night.now().felt["leaf_temperature"].value is None


def test_a_film_that_split_wakes_the_limit_that_waits_for_it(make):
    dry = make.limit(
        "bare", "vapour_pressure_deficit", "high", 1.2, film="open", deadband=0.1, on_delay_min=5
    )
    seen = [
        {"at": "2026-05-04T13:20:00Z", "seen": "film_split"},
        {"at": "2026-05-04T13:40:00Z", "seen": "rewrapped"},
    ]
    batch = make.batch(scion="leafless", cover="none", observation=seen)
    site = make.site(sensor=[make.sensor(bench="bench-2")], batch=[batch])
    plans = make.plan(drying="leafless-film", healing={"vital": [], "limit": [dry]})
    night = make.night(site, plans)
    night.bag(60, temperature=30.0, humidity=50.0)
    assert night.opened() == [("bare", 24, 20)]
    assert night.closed() == [("bare", 42)]
    assert not night.now().judged[0].speaks


def test_a_split_film_dries_a_stick_many_times_faster(make):
    seen = [{"at": "2026-05-04T12:30:00Z", "seen": "film_split"}]
    spent = {}
    for name, observation in (("whole", []), ("split", seen)):
        batch = make.batch(scion="leafless", cover="none", observation=observation)
        site = make.site(sensor=[make.sensor(bench="bench-2")], batch=[batch])
        plans = make.plan(drying="leafless-film", healing={**SEEN, "limit": []})
        night = make.night(site, plans).bag(120, temperature=30.0, humidity=50.0)
        spent[name] = 100.0 - night.now().drying.reserve_pct.central
    assert spent["split"] > 50 * spent["whole"] > 0.0


def warm_days(make, night, days: int):
    """Clear days in the house, and a bag that light warms by 0.02 °C a µmol, every ten minutes."""
    from rules.sky import clear_sky_by_day_umol_m2_s

    for _ in range(days * 1440):
        clear = clear_sky_by_day_umol_m2_s(night.site.site, np.array([night.minute]))[0]
        light = 0.2 * float(clear)
        house = 25.0 + 0.1 * (night.minute % 2)  # what never changes at all is a stuck sensor
        night.tell(
            1,
            bag_of_07__air_temperature=house + 0.5 + 0.02 * light,
            bag_of_07__relative_humidity=98.0,
            sky__ppfd=light,
            house__air_temperature=house,
        )


def test_at_dusk_the_heat_of_the_next_day_is_told_and_judged(make):
    hot = make.limit("hot-ahead", "expected_peak", "high", 30.0, on_delay_min=1, deadband=0.5)
    night = make.night(bagged(make), leafy(make, hot), make.morning)
    warm_days(make, night, 3)
    opened = [(name, minute) for name, minute, _ in night.opened()]
    assert [name for name, _ in opened] == ["hot-ahead"]
    dusk = datetime.fromtimestamp((night.first + opened[0][1]) * 60, UTC) + timedelta(hours=7)
    assert 18 <= dusk.hour < 19
    peak = night.now().peak
    noon = datetime.fromtimestamp(peak.at_minute * 60, UTC) + timedelta(hours=7)
    assert 11 <= noon.hour <= 12
    # 0.2 of a clear noon near 2100 µmol is 420, and the house's cloth could let half of it through.
    assert peak.central / 100.0 == pytest.approx(25.5 + 0.02 * 0.5 * 2150.0, abs=1.5)
    assert night.now().felt["expected_peak"].value == peak.central / 100.0


def test_a_probe_that_moved_knows_nothing_of_the_cover_it_came_into(make):
    moved = make.sensor(
        position=[
            {"since": "2026-05-01T00:00:00Z", "until": "2026-05-07T12:00:00Z", "cover_of": "MG-07"},
            {"since": "2026-05-07T13:00:00Z", "cover_of": "MG-07"},
        ]
    )
    site = bagged(make).model_dump()
    site["sensor"] = [moved, *site["sensor"][1:]]
    night = make.night(type(bagged(make)).model_validate(site), leafy(make), make.morning)
    warm_days(make, night, 2)
    assert night.now().peak is not None
    warm_days(make, night, 1)
    moved_in = int(datetime(2026, 5, 7, 13, 0, tzinfo=UTC).timestamp()) // 60
    record = night.state.batches["MG-07"].reckoned.cover.record
    assert min(at for at, _, _ in record.spans) >= moved_in
    assert night.now().peak is None


def test_a_new_version_of_the_plan_judges_from_its_own_minute(make):
    plan = make.plan(
        healing={"vital": [], "limit": [make.limit("dry", "relative_humidity", "low", 80.0)]}
    )["leafy"][0]
    text = plan.model_dump(mode="json") | {"version": 2, "in_force_from": "2026-05-04T13:30:00Z"}
    text["stage"]["healing"]["limit"][0]["bound"] = 95.0
    versions = {"leafy": (plan, CarePlan.model_validate(text))}
    night = make.night(make.site(), versions)
    night.bag(60, humidity=90.0)
    assert night.opened() == [("dry", 34, 30)]
