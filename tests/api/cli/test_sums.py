"""`graftvigil air`, `light` and `sun` as a grower meets them at the shed's computer."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.cli.main import main
from collector.stores.sqlite import SqliteStore
from rules.air import vapour_pressure_deficit_kpa
from rules.model.reading import Reading

DEMO = Path(__file__).parents[3] / "demo_data" / "site.toml"
AIR_KEYS = [
    "saturation_vapour_pressure_kpa",
    "vapour_pressure_kpa",
    "vapour_pressure_deficit_kpa",
    "leaf_vapour_pressure_deficit_kpa",
    "dew_point_c",
    "wet_bulb_c",
    "humidity_ratio_kg_kg",
    "absolute_humidity_g_m3",
]
LIGHT_KEYS = ["ppfd_umol_m2_s", "illuminance_lx", "par_irradiance_w_m2", "irradiance_w_m2"]


@pytest.fixture
def ask(capsys):
    """Run a command and return its exit code, what it printed, and what it complained of."""

    def asked(*words: str):
        code = main(words)
        said = capsys.readouterr()
        return code, said.out, said.err

    return asked


@pytest.fixture
def told(ask):
    """Run a command with --json and return its one object."""

    def asked(*words: str):
        code, out, err = ask(*words, "--json")
        assert (code, err) == (0, "")
        assert out.count("\n") == 1
        return json.loads(out)

    return asked


def test_air_is_one_object_with_units_in_its_keys(told):
    air = told("air", "--temperature", "25", "--humidity", "60")
    assert list(air) == AIR_KEYS
    assert air["leaf_vapour_pressure_deficit_kpa"] is None
    assert air["vapour_pressure_deficit_kpa"] == pytest.approx(
        vapour_pressure_deficit_kpa(25.0, 60.0), rel=1e-5
    )


@pytest.mark.published("psychrolib 2.5.0 and CoolProp 8.0.0, air at 101325 Pa")
def test_air_of_thirty_degrees_and_ninety_percent(told):
    air = told("air", "--temperature", "30", "--humidity", "90", "--leaf-temperature", "30")
    printed = {
        "dew_point_c": (28.18, 0.03),
        "wet_bulb_c": (28.59, 0.03),
        "humidity_ratio_kg_kg": (0.02438, 0.0001),
        "absolute_humidity_g_m3": (27.32, 0.04),
        "vapour_pressure_deficit_kpa": (0.425, 0.003),
        "leaf_vapour_pressure_deficit_kpa": (0.425, 0.003),
    }
    for key, (value, within) in printed.items():
        assert air[key] == pytest.approx(value, abs=within), key


def test_a_cool_leaf_is_wetted(told):
    air = told("air", "--temperature", "30", "--humidity", "95", "--leaf-temperature", "28")
    assert air["leaf_vapour_pressure_deficit_kpa"] == pytest.approx(-0.251, abs=0.001)


def test_high_up_the_wet_bulb_is_lower(told):
    shore = told("air", "--temperature", "35", "--humidity", "40")
    hills = told("air", "--temperature", "35", "--humidity", "40", "--elevation", "1500")
    assert hills["wet_bulb_c"] < shore["wet_bulb_c"]
    assert hills["vapour_pressure_kpa"] == shore["vapour_pressure_kpa"]


def test_air_without_vapour_has_no_dew_point(told):
    assert told("air", "--temperature", "-5", "--humidity", "0")["dew_point_c"] is None


def test_air_can_be_read_by_people_too(ask):
    code, out, _ = ask("air", "--temperature", "30", "--humidity", "95")
    assert code == 0
    assert "leaf_vapour_pressure_deficit_kpa  not known\n" in out
    assert "psychrometric_constant_kpa_c      0.06738\n" in out


def test_light_is_one_object_with_units_in_its_keys(told):
    light = told("light", "--value", "54000", "--unit", "lx", "--source", "sun")
    assert list(light) == LIGHT_KEYS
    assert list(light.values()) == pytest.approx([1000.0, 54_000.0, 218.818, 500.0])


@pytest.mark.parametrize(
    ("words", "ppfd"),
    [
        (("1000", "umol/m2/s", "sun"), 1000.0),
        (("54", "klx", "sun"), 1000.0),
        (("1003", "fc", "sun"), 199.93),
        (("500", "W/m2", "sun"), 1000.0),
        (("0.5", "kW/m2", "blue_sky"), 1200.0),
        (("100", "W/m2", "sun", "quantum"), 457.0),
        (("100", "W/m2", "white_led", "quantum"), 469.0),
        (("6900", "lx", "white_led", "photometric"), 100.0),
    ],
)
def test_every_unit_and_sensor_leads_to_ppfd(told, words, ppfd):
    value, unit, source, *sensor = words
    extra = ["--sensor", *sensor] if sensor else []
    light = told("light", "--value", value, "--unit", unit, "--source", source, *extra)
    assert light["ppfd_umol_m2_s"] == pytest.approx(ppfd, rel=1e-4)


def test_under_a_lamp_watts_of_all_sunlight_are_not_known(told):
    light = told("light", "--value", "6900", "--unit", "lx", "--source", "white_led")
    assert light["irradiance_w_m2"] is None


def test_at_a_bench_and_a_moment_light_is_held_against_the_sky(told):
    asked = ("light", "--unit", "umol/m2/s", "--source", "sun", "--site", str(DEMO))
    ten = ("--bench", "b1", "--at", "2026-11-15T10:00:00+11:00")
    gap = told(*asked, *ten, "--value", "900")
    assert list(gap)[:4] == LIGHT_KEYS
    assert gap["direct_sun"] is True
    assert gap["clear_sky_share"] == pytest.approx(
        900.0 / gap["clear_sky_ppfd_umol_m2_s"], rel=1e-5
    )
    assert told(*asked, *ten, "--value", "200")["direct_sun"] is False
    night = told(*asked, "--bench", "b1", "--at", "2026-11-15T01:00:00+11:00", "--value", "0")
    assert night["clear_sky_share"] is None
    assert night["direct_sun"] is False


def test_a_day_of_sun_at_tern_hollow(told):
    day = told("sun", "--site", str(DEMO), "--date", "2026-11-15")
    assert re.fullmatch(r"2026-11-15T05:26:\d\d\+11:00", day["sunrise"])
    assert day["sunset"].startswith("2026-11-15T18:42:")
    assert "Ineichen & Perez" in day["clear_sky_model"]
    assert [hour["start"][11:16] for hour in day["hours"]] == [f"{h:02}:00" for h in range(24)]
    noon = day["hours"][12]
    assert 1900 < noon["clear_sky_ppfd_umol_m2_s"] < 2300
    shaded = noon["shaded_ppfd_umol_m2_s"]
    assert shaded["healing"] == pytest.approx(0.12 * noon["clear_sky_ppfd_umol_m2_s"], abs=0.1)
    assert day["hours"][0]["clear_sky_ppfd_umol_m2_s"] == 0.0
    # The hours make up the day.
    hourly = sum(hour["clear_sky_ppfd_umol_m2_s"] for hour in day["hours"]) * 3600 / 1e6
    assert day["clear_sky_light_sum_mol_m2"] == pytest.approx(hourly, abs=0.02)


def test_the_windbreak_keeps_the_morning_sun_from_two_benches(told):
    day = told("sun", "--site", str(DEMO), "--date", "2026-11-15")
    reach = {one["bench"]: one["sun_can_reach"] for one in day["benches"]}
    (open_bench,) = reach["b1"]
    assert open_bench["start"][11:16] == "05:27"
    assert reach["b4"][0]["start"] > open_bench["start"]
    assert reach["b6"][0]["start"] > reach["b4"][0]["start"]
    assert reach["b4"][-1]["end"] == open_bench["end"]
    assert reach["b6"][-1]["end"] < open_bench["end"]  # the ridge in the west


def test_a_day_on_which_the_clock_changes_has_its_own_hours(told, tmp_path):
    site = tmp_path / "site.toml"
    text = DEMO.read_text(encoding="utf-8").replace("Etc/GMT-11", "Australia/Sydney")
    site.write_text(text, encoding="utf-8")
    assert len(told("sun", "--site", str(site), "--date", "2026-10-04")["hours"]) == 23
    assert len(told("sun", "--site", str(site), "--date", "2026-04-05")["hours"]) == 25


@pytest.mark.parametrize(
    ("day", "said"), [("2026-06-21", "The sun is up all day"), ("2026-12-21", "does not rise")]
)
def test_a_polar_day_and_a_polar_night_are_told(ask, told, tmp_path, day, said):
    site = tmp_path / "site.toml"
    text = DEMO.read_text(encoding="utf-8").replace("latitude_deg = -24.0", "latitude_deg = 75.0")
    site.write_text(text, encoding="utf-8")
    assert said in ask("sun", "--site", str(site), "--date", day)[1]
    asked = told("sun", "--site", str(site), "--date", day)
    assert (asked["sunrise"], asked["sunset"]) == (None, None)
    assert asked["daylight_min"] in {0, 1440}


def test_a_hazier_sky_is_a_dimmer_one(told):
    asked = ("sun", "--site", str(DEMO), "--date", "2026-11-15")
    usual = told(*asked)["clear_sky_light_sum_mol_m2"]
    assert told(*asked, "--turbidity", "5")["clear_sky_light_sum_mol_m2"] < usual


def test_the_sheet_for_people_names_every_bench(ask):
    code, out, err = ask("sun", "--site", str(DEMO), "--date", "2026-11-15")
    assert (code, err) == (0, "")
    assert "Sunrise 05:26:" in out
    for bench in ("b1", "b2", "b3", "b4", "b5", "b6", "try"):
        assert f"\n{bench}: " in out


def test_what_the_sensors_saw_is_told_with_what_they_missed(ask, told, tmp_path):
    store = SqliteStore(tmp_path / "readings.sqlite")
    start = int(datetime(2026, 11, 14, 23, 0, tzinfo=UTC).timestamp() * 1000)
    channel = told("sun", "--site", str(DEMO), "--date", "2026-11-15", "--data", str(tmp_path))
    names = [one["channel"] for one in channel["seen"]]
    assert names
    assert all(one["seen_min"] == 0 for one in channel["seen"])
    store.keep([Reading(names[0], start + i * 60_000, 10.0) for i in range(60)])
    store.close()
    asked = ("sun", "--site", str(DEMO), "--date", "2026-11-15", "--data", str(tmp_path))
    first = told(*asked)["seen"][0]
    assert 60 <= first["seen_min"] < 120  # an hour, and then until the last word is stale
    assert first["light_sum_mol_m2"] > 0.0
    assert first["day_min"] == 1440
    assert f"{names[0]} at " in ask(*asked)[1]


AIR = ("air", "--temperature", "25", "--humidity", "60")
LIGHT = ("light", "--value", "100", "--unit", "lx", "--source", "sun")
SUN = ("sun", "--site", str(DEMO), "--date", "2026-11-15")
WRONG = {
    "humidity of 140": ((*AIR, "--humidity", "140"), "relative humidity: 140 does not lie between"),
    "temperature in words": (
        (*AIR, "--temperature", "abc"),
        '--temperature: "abc" is not a number',
    ),
    "temperature with a comma": ((*AIR, "--temperature", "25,5"), "with a point for the fraction"),
    "temperature nan": ((*AIR, "--temperature", "nan"), "is not a number"),
    "temperature inf": ((*AIR, "--temperature", "inf"), "is not a number"),
    "too hot": (
        (*AIR, "--temperature", "80"),
        "temperature: 80 does not lie between -20 and 60 °C",
    ),
    "leaf too hot": ((*AIR, "--leaf-temperature", "80"), "leaf temperature: 80 does not lie"),
    "too high": ((*AIR, "--elevation", "20000"), "elevation: 20000 does not lie between -500"),
    "unknown source": ((*LIGHT, "--source", "moon"), '--source: "moon" is not known; write one of'),
    "unknown unit": ((*LIGHT, "--unit", "W"), '--unit: "W" is not a unit of light; write one of'),
    "unknown sensor": ((*LIGHT, "--sensor", "eye"), '--sensor: "eye" is not known'),
    "sensor of another kind": ((*LIGHT, "--sensor", "quantum"), "does not measure lx"),
    "light below zero": ((*LIGHT, "--value", "-1"), "illuminance: -1 must be 0 lx or more"),
    "watts under a lamp": (
        (*LIGHT, "--unit", "W/m2", "--source", "metal_halide"),
        "no factor from W m⁻² of metal_halide light",
    ),
    "bench without a moment": ((*LIGHT, "--bench", "b1"), "go together"),
    "no such bench": (
        (*LIGHT, "--site", str(DEMO), "--bench", "b9", "--at", "2026-11-15T10:00:00Z"),
        'there is no bench "b9"; write one of b1, b2',
    ),
    "moment without an offset": (
        (*LIGHT, "--site", str(DEMO), "--bench", "b1", "--at", "2026-11-15T10:00:00"),
        "write it with its offset from UTC",
    ),
    "missing site": ((*SUN, "--site", "no-such.toml"), "no-such.toml:1: file: cannot be read"),
    "date in another order": ((*SUN, "--date", "15.11.2026"), "is not a date; write it as in"),
    "a day there is not": ((*SUN, "--date", "2026-02-30"), '"2026-02-30" is not a date'),
    "a day long ago": ((*SUN, "--date", "0001-01-01"), "the year 1 does not lie between"),
    "haze of nothing": ((*SUN, "--turbidity", "0"), "Linke turbidity: 0 does not lie between"),
    "haze in words": ((*SUN, "--turbidity", "thick"), '"thick" is not a number'),
    "no stores there": ((*SUN, "--data", "no-such-folder"), "is not there. Name the folder"),
}


@pytest.mark.parametrize("kind", WRONG)
@pytest.mark.parametrize("form", [(), ("--json",)])
def test_bad_input_is_exit_code_two_and_one_clear_line(ask, kind, form):
    words, said = WRONG[kind]
    code, out, err = ask(*words, *form)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.startswith(f"graftvigil {words[0]}: ")
    assert said in err


def test_a_faulty_site_is_told_by_its_first_fault_and_how_many_more(ask, tmp_path):
    site = tmp_path / "site.toml"
    text = DEMO.read_text(encoding="utf-8")
    site.write_text(
        text.replace("latitude_deg = -24.0", "latitude_deg = -240.0").replace(
            "shade_fraction = 0.88", "shade_fraction = 88"
        ),
        encoding="utf-8",
    )
    code, _, err = ask("sun", "--site", str(site), "--date", "2026-11-15")
    assert code == 2
    assert err.count("\n") == 1
    assert "site.latitude_deg" in err
    assert "(1 more; `graftvigil check` lists all)" in err


def test_the_command_as_it_is_installed_answers_alike():
    words = [sys.executable, "-m", "api.cli", *AIR, "--json"]
    said = subprocess.run(words, capture_output=True, text=True, check=True)
    assert list(json.loads(said.stdout)) == AIR_KEYS
    assert said.stderr == ""
    wrong = subprocess.run(
        [*words, "--humidity", "140"], capture_output=True, text=True, check=False
    )
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert wrong.stderr.count("\n") == 1
