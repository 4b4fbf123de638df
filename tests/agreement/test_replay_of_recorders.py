"""What other people's loggers recorded is replayed without a crash, and never steady in a gap.

Recorded by others: a rooftop station of the US National Renewable Energy Laboratory at five minutes
(four days), the NREL M2 mast at one minute (a day), the station Payerne of the Baseline Surface
Radiation Network at one minute (June 2016) and NOAA's station Alamosa of the SURFRAD network at one
minute (a day), as packed with pvanalytics and pvlib for their own tests. The first two are loaded
as they stand; the others, whose tables have no row of names, are read by pvlib and saved as CSV.

Faults of loggers (gaps, rows twice, rows that contradict one another, rows out of order, a sensor
that dies) are put into the month, by seed. In which minutes a reading speaks is counted here from
the rows themselves.
"""

from __future__ import annotations

import csv
import json
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pvlib.iotools import read_bsrn, read_surfrad

from api.cli.main import main

RECORDED = Path(sys.prefix) / "recorded"
MAST = RECORDED / "pvlib" / "data" / "midc_20181014.txt"
MONTH = RECORDED / "pvlib" / "data" / "bsrn-pay0616.dat.gz"
DAY = RECORDED / "pvlib" / "data" / "surfrad-slv16001.dat"
ROOF = RECORDED / "pvanalytics" / "data" / "rmis_weather_data.csv"

SITE = """
lead = "isaura"

[site]
title = "Tern Hollow"
latitude_deg = 46.8
longitude_deg = 6.9
elevation_m = 491.0
time_zone = "{zone}"

[[house]]
id = "h"
title = "House"
shade_fraction = 0.6
length_m = 12
width_m = 6

[[bench]]
id = "b"
house = "h"
title = "Bench"
x_m = 1
y_m = 1
length_m = 8
width_m = 1

[[person]]
id = "isaura"
name = "Isaura"
email = "isaura@example.invalid"

[[sensor]]
id = "mast"
title = "Mast"
topic = "site/mast"
channel = [
  {{ id = "air", quantity = "air_temperature", path = "air", {rest_of_air} }},
  {{ id = "damp", quantity = "relative_humidity", path = "damp", {rest_of_damp} }},
]
position = [{{ since = 2016-01-01T00:00:00Z, cover_of = "MG-07" }}]

[[batch]]
code = "MG-07"
species = "mango"
cultivar = "any"
rootstock = "any"
method = "cleft"
scion = "leafy"
wrap = "tape"
cover = "tied_bag"
count = 10
grafter = "QX"
grafted_on = 2016-01-01
bench = "b"
plan = "bag"
stage = [{{ stage = "healing", since = 2016-01-01T12:00:00Z, because = "grafted" }}]
"""

PLAN = """
id = "bag"
version = 1
title = {{ en = "Bag", es = "Bolsa" }}
scion = "leafy"
cover = ["tied_bag"]
source = "common practice, no source"

[stage.healing]
vital = {vital}
blind_after_min = 10

[[stage.healing.limit]]
id = "{name}"
quantity = "{quantity}"
side = "low"
bound = {bound}
deadband = 0.0
on_delay_min = 3
off_delay_min = 3
full_margin = 10.0
priority = "medium"
says = {{ en = "low", es = "bajo" }}
action = {{ en = "look", es = "mire" }}
"""


BLIND_AFTER_MIN = 10


@dataclass(frozen=True)
class Replayed:
    """What the command wrote: its JSON, and the standing by minute since 1970."""

    told: dict
    standing: dict[int, str]

    def minutes(self, word: str) -> set[int]:
        return {minute for minute, said in self.standing.items() if said == word}


@pytest.fixture
def replay_file(tmp_path, capsys):
    """Replay one file by the command, for a batch that must have what `vital` names."""

    def run(
        path: Path,
        *settings: str,
        vital: tuple[str, ...],
        bound: float,
        speaks_min: int = 5,
        zone: str = "UTC",
    ) -> Replayed:
        stale = f"stale_after_min = {speaks_min}"
        site = SITE.format(
            zone=zone, rest_of_air=f'unit = "degC", {stale}', rest_of_damp=f'unit = "%RH", {stale}'
        )
        plan = PLAN.format(vital=json.dumps(vital), name="low", quantity=vital[-1], bound=bound)
        (tmp_path / "site.toml").write_text(site)
        (tmp_path / "plans").mkdir(exist_ok=True)
        (tmp_path / "plans" / "bag.toml").write_text(plan)
        out = tmp_path / "minutes.csv"
        asked = ["replay", "--site", str(tmp_path / "site.toml"), "--data", str(tmp_path), "--json"]
        for setting in settings:
            asked += ["--map", setting]
        status = main([*asked, "--minutes", str(out), str(path)])
        told = capsys.readouterr()
        assert status == 0, told.err
        with out.open(newline="") as lines:
            standing = {
                int(datetime.fromisoformat(row["time"]).timestamp()) // 60: row["standing"]
                for row in csv.DictReader(lines)
            }
        return Replayed(json.loads(told.out), standing)

    return run


def minutes_of(at: pd.DatetimeIndex) -> np.ndarray:
    return np.unique(at.as_unit("s").asi8 // 60)


def spoken(at: pd.DatetimeIndex, speaks_min: int = 5) -> set[int]:
    """Return the minutes in which a reading speaks: its own, and those until it is stale."""
    return set((minutes_of(at)[:, None] + np.arange(speaks_min + 1)).ravel().tolist())


def saved(rows: pd.DataFrame, path: Path) -> Path:
    """Save rows as they stand, in their order."""
    told = pd.DataFrame(
        {
            "time": [at.isoformat() for at in rows.index],
            "temp C": rows["temp_air"].to_numpy(),
            "RH %": rows["relative_humidity"].to_numpy(),
        }
    )
    told.to_csv(path, index=False)
    return path


COLUMNS = ("temp C=mast/air degC", "RH %=mast/damp %RH")
BOTH = ("air_temperature", "relative_humidity")


@pytest.fixture(scope="module")
def month() -> pd.DataFrame:
    rows, _ = read_bsrn(MONTH)
    return rows[list(rows.columns.intersection(["temp_air", "relative_humidity"]))]


@pytest.mark.published("NREL rooftop weather station, four days of 2022, in pvanalytics' data")
def test_a_rooftop_station_is_replayed_as_it_stands(replay_file):
    names = ("Ambient Temperature=mast/air degC", "Relative Humidity=mast/damp %RH")
    done = replay_file(ROOF, *names, vital=BOTH, bound=60.0, speaks_min=15, zone="Etc/GMT+7")
    rows = pd.read_csv(ROOF, index_col=0)
    rows.index = pd.to_datetime(rows.index, format="%m/%d/%Y %H:%M").tz_localize("Etc/GMT+7")
    heard = rows[["Ambient Temperature", "Relative Humidity"]].dropna()
    assert done.minutes("steady")
    assert done.minutes("steady") <= spoken(heard.index, 15)
    dry = rows.index[rows["Relative Humidity"] < 60.0]
    # A limit speaks after three minutes: no alarm is there where no row was dry, and some is.
    assert len(dry) > 50
    assert done.told["alarms"]
    assert not done.minutes("steady") & set(minutes_of(dry).tolist())


@pytest.mark.published("NREL M2 mast, 14 October 2018, in pvlib's data")
def test_a_mast_with_a_day_at_a_minute_is_replayed_as_it_stands(replay_file):
    name = "Temperature @ 2m [deg C]"
    vital = ("air_temperature",)
    done = replay_file(MAST, f"{name}=mast/air", vital=vital, bound=-7.0, zone="Etc/GMT+7")
    rows = pd.read_csv(MAST)
    at = pd.to_datetime(rows.iloc[:, 0] + " " + rows["MST"]).dt.tz_localize("Etc/GMT+7")
    cold = minutes_of(pd.DatetimeIndex(at[rows[name] < -7.0]))
    assert len(rows) == 1440
    assert done.minutes("steady")
    assert not done.minutes("steady") & set(cold.tolist())


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # pvlib's, of pandas
@pytest.mark.published("NOAA SURFRAD, Alamosa, 1 January 2016, in pvlib's data")
def test_a_day_in_the_mountains_is_replayed(replay_file, tmp_path):
    rows, _ = read_surfrad(DAY)
    done = replay_file(saved(rows, tmp_path / "day.csv"), *COLUMNS, vital=BOTH, bound=45.0)
    dry = set(minutes_of(rows.index[rows["relative_humidity"] < 45.0]).tolist())
    assert done.minutes("steady")
    assert not done.minutes("steady") & dry


@pytest.mark.published("BSRN, Payerne, June 2016, in pvlib's data")
def test_a_whole_month_by_the_minute_is_replayed(replay_file, tmp_path, month):
    done = replay_file(saved(month, tmp_path / "month.csv"), *COLUMNS, vital=BOTH, bound=60.0)
    dry = set(minutes_of(month.index[month["relative_humidity"] < 60.0]).tolist())
    assert len(month) == 30 * 1440
    assert len(done.standing) >= len(month)
    assert len(done.minutes("steady")) > 10 * 1440
    assert not done.minutes("steady") & dry


@pytest.fixture
def few_days(month) -> pd.DataFrame:
    return month.iloc[: 4 * 1440]


@pytest.mark.published("BSRN, Payerne, June 2016, in pvlib's data; faults put in by seed")
def test_gaps_are_blind_and_never_steady(replay_file, tmp_path, few_days):
    chance = np.random.default_rng(8)
    there = np.ones(len(few_days), dtype=bool)
    for begin, length in zip(
        chance.integers(0, len(few_days), 40), chance.integers(2, 200, 40), strict=True
    ):
        there[begin : begin + length] = False
    rows = few_days[there]
    done = replay_file(saved(rows, tmp_path / "gaps.csv"), *COLUMNS, vital=BOTH, bound=60.0)
    assert done.minutes("steady")
    assert done.minutes("steady") <= spoken(rows.index)
    silent = set(done.standing) - spoken(rows.index, 5 + BLIND_AFTER_MIN)
    assert len(silent) > 500
    assert {done.standing[minute] for minute in silent} == {"blind"}


@pytest.mark.published("BSRN, Payerne, June 2016, in pvlib's data; faults put in by seed")
def test_rows_twice_and_out_of_order_come_to_the_same(replay_file, tmp_path, few_days):
    plain = replay_file(saved(few_days, tmp_path / "plain.csv"), *COLUMNS, vital=BOTH, bound=60.0)
    chance = np.random.default_rng(9)
    again = np.sort(np.concatenate([np.arange(len(few_days)), chance.integers(0, 5760, 900)]))
    blocks = np.split(again, np.flatnonzero(np.diff(again // 50)) + 1)
    mixed = np.concatenate([blocks[place] for place in chance.permutation(len(blocks))])
    assert not few_days.index[mixed].is_monotonic_increasing
    rows = few_days.iloc[mixed]
    done = replay_file(saved(rows, tmp_path / "mixed.csv"), *COLUMNS, vital=BOTH, bound=60.0)
    assert done.standing == plain.standing
    assert done.told["alarms"] == plain.told["alarms"]


@pytest.mark.published("BSRN, Payerne, June 2016, in pvlib's data; faults put in by seed")
def test_of_rows_that_contradict_one_another_the_first_counts(replay_file, tmp_path, few_days):
    plain = replay_file(saved(few_days, tmp_path / "plain.csv"), *COLUMNS, vital=BOTH, bound=60.0)
    other = few_days.iloc[::7] - 5.0
    rows = pd.concat([few_days, other])
    done = replay_file(saved(rows, tmp_path / "twofold.csv"), *COLUMNS, vital=BOTH, bound=60.0)
    assert done.standing == plain.standing


@pytest.mark.published("BSRN, Payerne, June 2016, in pvlib's data; faults put in by seed")
@pytest.mark.parametrize("mark", ["---", "", "-9999", "NaN"])
def test_a_sensor_that_dies_leaves_its_batch_blind(replay_file, tmp_path, few_days, mark):
    dead = 2 * 1440
    rows = few_days.astype(object)
    rows.iloc[dead:, rows.columns.get_loc("relative_humidity")] = mark
    done = replay_file(saved(rows, tmp_path / "dead.csv"), *COLUMNS, vital=BOTH, bound=60.0)
    heard = spoken(few_days.index[:dead])
    assert done.minutes("steady")
    assert done.minutes("steady") <= heard
    after = set(done.standing) - spoken(few_days.index[:dead], 5 + BLIND_AFTER_MIN)
    assert len(after) > 1000
    assert {done.standing[minute] for minute in after} == {"blind"}
