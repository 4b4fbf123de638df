"""What alarms asked of people, as the lead reads it: of a season with faults."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from api.cli.main import CannotGoOn, main
from api.cli.rings import local_span
from api.site_files import read_site
from collector.stores.sqlite import SqliteStore
from demo_data.trial import Kind, trial
from rules.model.reading import Reading

ROOT = Path(__file__).parents[3]
MIDNIGHT = datetime(2026, 11, 20, 13, 0, tzinfo=UTC)  # local, at Tern Hollow
FIRST = int(MIDNIGHT.timestamp()) // 60
DAYS = 92
EVERY_MIN = 3
FANS_STILL = (20, 21, 70)
DAY = 1440
BAGS = 4
NOISE_PCT, NOISE_C = 0.3, 0.08

SITE = """
lead = "isaura"
[site]
title = "Tern Hollow"
latitude_deg = -24.0
longitude_deg = 160.0
elevation_m = 40.0
time_zone = "Etc/GMT-11"
[[person]]
id = "isaura"
name = "Isaura Peñalver"
email = "isaura@tern-hollow.invalid"
[[person]]
id = "corvin"
name = "Corvin Hale"
email = "corvin@tern-hollow.invalid"
[[shift]]
who = "corvin"
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
start = 00:00:00
end = 00:00:00
[[house]]
id = "h"
title = "Healing house"
shade_fraction = 0.8
length_m = 60
width_m = 20
[[bench]]
id = "b"
house = "h"
title = "bench 1"
x_m = 1
y_m = 1
length_m = 50
width_m = 2
"""
BAG = """
[[sensor]]
id = "p{0}"
title = "probe {0}"
topic = "season/{0}"
[[sensor.channel]]
id = "air"
quantity = "air_temperature"
unit = "degC"
path = "t"
[[sensor.channel]]
id = "humidity"
quantity = "relative_humidity"
unit = "%RH"
path = "h"
[[sensor.position]]
since = "2026-11-01T00:00:00+00:00"
cover_of = "MG-0{0}"
[[batch]]
code = "MG-0{0}"
species = "mango"
cultivar = "early yellow"
rootstock = "local seedling"
method = "side_veneer"
scion = "leafy"
wrap = "stretch_film"
cover = "tied_bag"
count = 24
grafter = "TQ"
grafted_on = "2026-11-20"
bench = "b"
plan = "leafy-bag"
[[batch.stage]]
stage = "healing"
since = "2026-11-20T15:00:00+11:00"
because = "grafted"
"""


def minute(day: int, hour: float) -> int:
    return day * DAY + round(hour * 60)


def season() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return air and humidity in every bag and what was heard, with faults a nursery meets."""
    kinds = tuple(Kind(0.005, 0.4, 20.0) for _ in range(BAGS))
    days = trial(kinds, days=2, seed=11)
    chance = np.random.default_rng(20261129)
    air = np.tile(days.air_c[: 2 * DAY], (DAYS // 2, 1))
    humidity = np.tile(days.humidity_pct[: 2 * DAY], (DAYS // 2, 1))
    heard = np.ones(air.shape, dtype=bool)
    # A bag that comes undone a little and is pulled shut again, for half a night, in two months.
    for day in (5, 48):
        wobble = slice(minute(day, 1), minute(day, 6))
        at = np.arange(wobble.stop - wobble.start)
        humidity[wobble, 0] = np.where(at % 26 < 13, 86.0, 97.0)
    # A probe dies for two days.
    heard[minute(10, 9) : minute(12, 9), 3] = False
    # The hub is out for an hour and a half.
    heard[minute(15, 10) : minute(15, 11.5)] = False
    # The fans stand still on three afternoons.
    for day in FANS_STILL:
        still = slice(minute(day, 11), minute(day, 16))
        air[still] += 16.0
        humidity[still] -= 12.0
    air += chance.normal(0.0, NOISE_C, air.shape)
    humidity += chance.normal(0.0, NOISE_PCT, humidity.shape)
    return air, np.clip(humidity, 0.0, 100.0), heard


@pytest.fixture(scope="module")
def nursery(tmp_path_factory) -> Path:
    """A folder with a site, the plan of leafy bags and a store that holds the season."""
    folder = tmp_path_factory.mktemp("season")
    (folder / "site.toml").write_text(SITE + "".join(BAG.format(n) for n in range(BAGS)))
    (folder / "plans").mkdir()
    shutil.copy(ROOT / "demo_data" / "plans" / "leafy-bag.toml", folder / "plans")
    (folder / "data").mkdir()
    air, humidity, heard = season()
    store = SqliteStore(folder / "data" / "readings.sqlite")
    for begin in range(0, DAYS * DAY, DAY):
        readings = []
        for bag in range(BAGS):
            for row in range(begin, begin + DAY, EVERY_MIN):
                if heard[row, bag]:
                    at_ms = (FIRST + row) * 60_000 + 17_000
                    readings.append(Reading(f"p{bag}/air", at_ms, round(air[row, bag], 2)))
                    humid = round(humidity[row, bag], 2)
                    readings.append(Reading(f"p{bag}/humidity", at_ms, humid))
        store.keep(readings)
    store.close()
    return folder


@pytest.fixture(scope="module")
def replayed(nursery) -> dict:
    return json.loads(said(nursery, "replay", "--rings", "--json", *SPAN))


SPAN = ("--from", "2026-11-21", "--to", "2027-02-20")


def said(folder: Path, command: str, *arguments: str) -> str:
    """Run a command over the folder; return what it prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = main(
            [
                command,
                *("--site", str(folder / "site.toml")),
                *("--data", str(folder / "data")),
                *arguments,
            ]
        )
    assert code == 0
    return out.getvalue()


def limit(replayed: dict, condition: str) -> dict:
    (found,) = [one for one in replayed["rings"]["limits"] if one["condition"] == condition]
    return found


@pytest.mark.slow
def test_each_fault_of_the_season_shows_in_the_figures(replayed):
    load = replayed["rings"]
    assert load["days"] == DAYS
    assert load["rings"]["count"] == sum(one["rang"] for one in replayed["alarms"])
    figures = {one["figure"]: one for one in load["figures"] + load["rings"]["figures"]}
    # With the fans still, three limits of four bags break together: a flood by that figure.
    assert figures["most_in_10_min"]["value"] == 3 * BAGS
    assert figures["most_in_10_min"]["verdict"] == "beyond"
    assert 0 < figures["flood_share"]["value"] < 0.01
    assert figures["per_day"]["verdict"] == "good"
    assert figures["chattering"]["value"] >= 1
    assert figures["chattering"]["verdict"] == "beyond"
    assert figures["stale"]["value"] == 1  # the dead probe
    blind = limit(replayed, "blind.vapour_pressure_deficit")
    assert (blind["rings"], blind["batches"]) == (5, 4)
    assert 2 * DAY - 60 < blind["longest_open_min"] < 2 * DAY + 60
    heat = limit(replayed, "heat-danger")
    assert heat["rings"] == len(FANS_STILL) * BAGS
    assert heat["brief_share"] == 0.0
    dry = limit(replayed, "air-dry")
    assert dry["chatter_share"] > 0
    assert dry["unanswered_share"] == 1.0


@pytest.mark.slow
def test_the_fans_are_told_together_and_at_night_nobody_is_called_for_what_can_wait(replayed):
    messages = replayed["messages"]["nobody_answers"]
    rings = replayed["rings"]["rings"]["count"]
    assert set(messages) == {"isaura", "corvin"}
    assert 0 < messages["isaura"] < messages["corvin"]
    told = replayed["rings"]["messages"]["corvin"]
    assert told["count"] == messages["corvin"]
    # Each danger is told up to four times, and its end: less than that, as floods are gathered.
    assert messages["corvin"] < 5 * rings


@pytest.mark.slow
def test_the_command_prints_the_same_for_a_person(nursery, replayed):
    text = said(nursery, "replay", "--rings", *SPAN)
    assert "2026-11-21 00:00 to 2027-02-21 00:00 at the site" in text
    assert "too short to judge by" not in text
    assert f"{replayed['rings']['rings']['count']} rings, as if one person were told" in text
    assert "ANSI/ISA-18.2-2016" in text
    assert "from secondary summaries" in text
    assert "air-dry (leafy-bag, healing; medium)" in text
    assert "over by itself within 10 min" in text
    assert "too few answers to say how soon" in text


@pytest.mark.slow
def test_blind_time_and_water_left_are_told_by_batch(replayed):
    by_bag = replayed["batches"]
    assert 2 * DAY - 60 < by_bag["MG-03"]["blind_min"] < 2 * DAY + 180
    assert by_bag["MG-00"]["blind_min"] < 120
    for one in by_bag.values():
        assert sum(one["minutes"].values()) == DAYS * DAY
        assert 0 <= one["reserve_low_pct"]["value"] <= 100
    told = {one["batch"] for one in replayed["alarms"] if one["condition"].startswith("blind")}
    assert told == {f"MG-0{n}" for n in range(BAGS)}


@pytest.mark.slow
def test_standing_minute_by_minute_is_written_to_a_file(nursery, tmp_path):
    file = tmp_path / "minutes.csv"
    days = ("--from", "2026-12-01", "--to", "2026-12-02")
    told = json.loads(said(nursery, "replay", "--json", "--minutes", str(file), *days))
    head, *rows = file.read_text().splitlines()
    assert head == "time,batch,standing"
    assert len(rows) == 2 * DAY * BAGS
    blind = sum(row.endswith(",MG-03,blind") for row in rows)
    assert blind == told["batches"]["MG-03"]["blind_min"]
    assert blind > DAY


def test_without_records_it_says_what_to_do(nursery, capsys):
    site, data = str(nursery / "site.toml"), str(nursery / "data")
    assert main(["rings", "--site", site, "--data", data]) == 2
    assert "Name the folder with --data" in capsys.readouterr().err
    assert main(["replay", "--site", site, "--data", data]) == 2
    assert "name their days with --from and --to" in capsys.readouterr().err


def test_days_are_local_and_both_included(nursery):
    site, _ = read_site(nursery / "site.toml")
    start, end = local_span("2026-11-21", "2026-11-21", site)
    assert (start, end) == (MIDNIGHT, MIDNIGHT.replace(day=21))
    with pytest.raises(CannotGoOn, match="write the earlier day under --from"):
        local_span("2026-11-21", "2026-11-20", site)
    with pytest.raises(CannotGoOn, match="is not a date"):
        local_span("yesterday", None, site)
