"""`graftvigil jar`, as a technician uses it beside the jars."""

from __future__ import annotations

import json
import re
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.cli.main import main
from api.site_files import read_site
from collector.stores.sqlite import SqliteStore
from rules.model.calibration import Calibration
from rules.model.reading import Reading

SITE = Path(__file__).parents[3] / "demo_data" / "site.toml"
CLOSED = datetime(2026, 11, 10, 21, 0, tzinfo=UTC)
AT = ("--at", "2026-11-10T11:00:00+11:00")
STEADY = ("5=70.2", "30=77.3", "45=77.4", "60=77.5", "70=77.5", "80=77.5", "90=77.5")
NACL = ("--salt", "sodium_chloride", "--temperature", "25")


@pytest.fixture
def ask(capsys):
    def asked(*arguments: str):
        code = main(["jar", *arguments])
        told = capsys.readouterr()
        return code, told.out, told.err

    return asked


@pytest.fixture
def told(ask):
    def json_of(*arguments: str, code: int = 0):
        answered, out, err = ask(*arguments, "--json")
        assert (answered, err) == (code, "")
        return json.loads(out)

    return json_of


def written(toml: str) -> Calibration:
    """The calibration in lines to paste, as a site file would read it."""
    (entry,) = tomllib.loads(toml)["sensor"]["channel"]["calibration"]
    return Calibration.model_validate(entry)


def test_without_readings_it_says_how_to_make_the_jar_and_what_to_expect(ask, told):
    code, out, err = ask(*NACL)
    assert (code, err) == (0, "")
    for part in ("wet sand", "should come to 75.3 % (± 0.12)", "2.3 % of humidity", "gloves"):
        assert part in out
    both = told(*NACL, "--salt", "potassium_sulfate")["jars"]
    assert [one["true_pct"] for one in both] == [75.3, 97.3]


def test_one_steady_jar_gives_lines_to_paste(ask, told):
    code, out, err = ask(*NACL, *AT, "--by", "TQ", "--readings", *STEADY)
    assert (code, err) == (0, "")
    assert "steady at 77.5 %, true is 75.3 % (± 1.4)" in out
    pasted = written(out[out.index("[[sensor") :])
    assert pasted.offset == pytest.approx(-2.2, abs=0.01)
    assert pasted.by == "TQ"
    assert pasted.since == datetime(2026, 11, 10, tzinfo=UTC)
    assert pasted.expires == pasted.since + timedelta(days=183)
    assert "true 75.3 ± 1.4 %" in pasted.note
    whole = told(*NACL, *AT, "--readings", *STEADY)
    assert whole["offset_pct"] == pytest.approx(-2.2, abs=0.01)
    assert whole["jars"][0]["uncertainty_pct"] == pytest.approx(1.35, abs=0.02)
    assert written(whole["toml"]).offset == pasted.offset


def test_two_jars_give_a_line(told):
    low = ("10=30", "30=35.5", "45=35.5", "60=35.5", "70=35.5", "80=35.5", "90=35.5")
    whole = told(
        *("--salt", "magnesium_chloride", "--temperature", "25", "--readings", *low),
        *("--salt", "sodium_chloride", "--readings", *STEADY, *AT, "--good-for", "90"),
    )
    pasted = written(whole["toml"])
    assert [(one.raw, one.true) for one in pasted.point] == [(35.5, 32.79), (77.5, 75.3)]
    assert pasted.expires == pasted.since + timedelta(days=90)


def test_a_sensor_that_is_right_is_said_to_be_so(ask):
    right = tuple(one.replace("77", "75") for one in STEADY)
    code, out, _ = ask(*NACL, *AT, "--readings", *right)
    assert code == 0
    assert "right as far as jars can tell" in out
    assert written(out[out.index("[[sensor") :]).offset == 0.0


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        (STEADY[:4], "only 3 readings"),
        (STEADY[:3], "has been in the jar for 45 min"),
        ((*STEADY[:-1], "90=79"), "not steady yet"),
        (tuple(one.replace("=77", "=84") for one in STEADY), "is it potassium_chloride?"),
        (tuple(one.replace("=77", "=64") for one in STEADY), "off the 75.3 %"),
    ],
)
def test_what_cannot_be_trusted_is_refused_with_a_remedy_and_code_1(ask, told, readings, says):
    code, out, err = ask(*NACL, *AT, "--readings", *readings)
    assert (code, err) == (1, "")
    assert out.startswith("Nothing is proposed: ")
    assert says in out
    whole = told(*NACL, *AT, "--readings", *readings, code=1)
    assert (whole["toml"], whole["jars"]) == (None, [])
    assert len(whole["refused"]) == 1


@pytest.fixture
def kept(tmp_path):
    """A store in which the probe of one bag stood in a jar of kitchen salt for two hours."""
    store = SqliteStore(tmp_path / "readings.sqlite")
    at_ms = int(CLOSED.timestamp() * 1000)
    minutes = range(0, 120, 2)
    air = {m: 25.0 + 0.1 * (m % 4) if m >= 90 else 19.0 for m in minutes}  # it came in cold
    store.keep(
        [
            *(Reading("bag-07/humidity", at_ms + m * 60_000, 78.0) for m in minutes),
            *(Reading("bag-07/air", at_ms + m * 60_000, value) for m, value in air.items()),
        ]
    )
    store.close()
    return tmp_path


SPAN = ("--from", "2026-11-11T08:00:00+11:00", "--to", "2026-11-11T10:00:00+11:00")
STORED = ("--site", str(SITE), "--channel", "bag-07/humidity", "--salt", "sodium_chloride")


def test_readings_are_taken_from_the_stores_with_the_sensors_own_temperature(told, kept):
    whole = told(*STORED, *SPAN, "--data", str(kept))
    (jar,) = whole["jars"]
    assert jar["temperature_c"] == pytest.approx(25.1, abs=0.01)
    assert (whole["channel"], whole["unit"]) == ("bag-07/humidity", "%RH")
    pasted = written(whole["toml"])
    assert pasted.offset == pytest.approx(-2.7, abs=0.02)
    assert pasted.since.isoformat() == "2026-11-11T10:00:00+11:00"


def test_the_lines_pasted_into_the_site_file_are_taken_by_it(told, kept, tmp_path):
    toml = told(*STORED, *SPAN, "--data", str(kept))["toml"]
    site, faults = read_site(SITE)
    assert faults == ()
    text = SITE.read_text(encoding="utf-8")
    probe = text.index('id = "bag-07"')
    end = text.index("[[sensor.channel]]", text.index('quantity = "relative_humidity"', probe))
    file = tmp_path / "site.toml"
    file.write_text(f"{text[:end]}{toml}\n\n{text[end:]}", encoding="utf-8")
    checked, faults = read_site(file)
    assert faults == ()
    assert len(checked.channels["bag-07/humidity"].calibration) == 1
    assert site.channels["bag-07/humidity"].calibration == ()


def test_a_channel_in_fractions_is_told_in_fractions(told):
    readings = tuple(
        re.sub(r"=(\d+\.?\d*)", lambda m: f"={float(m[1]) / 100}", one) for one in STEADY
    )
    channel = ("--site", str(SITE), "--channel", "air-5/humidity")
    whole = told(*NACL, *AT, *channel, "--readings", *readings)
    assert whole["unit"] == "fraction"
    assert written(whole["toml"]).offset == pytest.approx(-0.022, abs=1e-4)


WRONG = {
    "unknown salt": (("--salt", "sugar"), '--salt: "sugar" is not known'),
    "no temperature": (("--salt", "sodium_chloride"), "--temperature: write it once"),
    "too hot": ((*NACL[:3], "55"), "does not lie between 10 and 40"),
    "no instant": ((*NACL, "--readings", *STEADY), "--at: say when the readings ended"),
    "not a pair": ((*NACL, *AT, "--readings", "77.5"), '"77.5" is not a pair'),
    "no number": ((*NACL, *AT, "--readings", "60=dry"), '"dry" is not a number'),
    "no humidity": ((*NACL, *AT, "--readings", "60=770"), "is no humidity"),
    "before the lid": ((*NACL, *AT, "--readings=-5=70"), "before the lid was closed"),
    "readings of one jar for two": (
        (*NACL, "--salt", "lithium_chloride", *AT, "--readings", *STEADY),
        "write it once for each --salt, 2 in all",
    ),
    "both kinds": ((*NACL, *AT, *SPAN, "--readings", *STEADY), "leave out --from and --to"),
    "span without stores": ((*NACL, *SPAN), "need --site, --channel and --data"),
    "site without channel": (
        (*NACL, *AT, "--site", str(SITE), "--readings", *STEADY),
        "--site and --channel go together",
    ),
    "channel of light": (
        (*NACL, *AT, "--site", str(SITE), "--channel", "light-1/light", "--readings", *STEADY),
        "measures no humidity here; there are bag-07/humidity",
    ),
    "good for ever": (
        (*NACL, *AT, "--good-for", "9999", "--readings", *STEADY),
        "--good-for: 9999 does not lie between 1 and 1100",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_wrong_input_is_told_in_one_line_with_code_2(ask, name):
    arguments, said = WRONG[name]
    code, out, err = ask(*arguments)
    assert (code, out) == (2, "")
    assert said in err
    assert err.startswith("graftvigil jar: ")
    assert err.count("\n") == 1


def test_stores_and_spans_that_do_not_fit_are_told(ask, kept, tmp_path):
    data = ("--data", str(kept))
    assert "--from and --to: write each once" in ask(*STORED, *SPAN[:2], *data)[2]
    backwards = ("--from", SPAN[3], "--to", SPAN[1])
    assert "is not later than --from" in ask(*STORED, *backwards, *data)[2]
    later = ("--from", "2026-11-12T08:00:00+11:00", "--to", "2026-11-12T10:00:00+11:00")
    assert "--temperature: bag-07 said none" in ask(*STORED, *later, *data)[2]
    assert "is not there" in ask(*STORED, *SPAN, "--data", str(tmp_path / "nowhere"))[2]
    code, out, _ = ask(*STORED, *later, *data, "--temperature", "25")
    assert code == 1
    assert "has been in the jar for 0 min" in out
