"""`graftvigil load` as a technician meets it, alone and beside a running graftvigil."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import threading
import time
import tomllib
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.cli.main import main
from collector.stores.sqlite import SqliteStore

ROOT = Path(__file__).parents[3]
SITE = str(ROOT / "demo_data" / "site.toml")
GOOD = "time,Temp (°F),RH (%)\n14.11.2026 20:00,71.6,88.5\n14.11.2026 20:10,71.6,89\n"


@pytest.fixture
def write(tmp_path):
    def write_file(text: str, name: str = "hand-probe.csv") -> str:
        (tmp_path / name).write_text(text, encoding="utf-8")
        return str(tmp_path / name)

    return write_file


@pytest.fixture
def load(tmp_path, capsys):
    """Run the command over a data folder of its own; give exit code, output and errors."""

    def run(*arguments: str) -> tuple[int, str, str]:
        code = main(["load", "--site", SITE, "--data", str(tmp_path / "data"), *arguments])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def kept(tmp_path) -> dict[tuple[str, str], float]:
    store = SqliteStore(tmp_path / "data" / "readings.sqlite")
    found = {
        (one.channel, datetime.fromtimestamp(one.at_ms / 1000, UTC).isoformat()): one.value
        for one in store.since(0, 1000)
    }
    store.close()
    return found


def test_a_file_is_shown_loaded_and_harmless_to_load_again(load, write, tmp_path):
    path = write(GOOD)
    code, said, trouble = load(path)
    assert (code, trouble) == (0, "")
    shown, _, report = said.partition("2 rows:")
    assert "hand-probe/air" in shown
    assert "degF -> degC" in shown
    assert "zone Etc/GMT-11 (from the site file)" in shown
    assert "4 readings kept, 0 were there before" in report
    assert kept(tmp_path) == {
        ("hand-probe/air", "2026-11-14T09:00:00+00:00"): 22.0,
        ("hand-probe/humidity", "2026-11-14T09:00:00+00:00"): 88.5,
        ("hand-probe/air", "2026-11-14T09:10:00+00:00"): 22.0,
        ("hand-probe/humidity", "2026-11-14T09:10:00+00:00"): 89.0,
    }
    code, said, _ = load(path)
    assert code == 0
    assert "0 readings kept, 4 were there before" in said


def test_a_dry_run_keeps_nothing_and_makes_nothing(load, write, tmp_path):
    code, said, _ = load("--dry-run", write(GOOD))
    assert code == 0
    assert "4 readings would be kept" in said
    assert not (tmp_path / "data").exists()


def test_a_dry_run_compares_with_what_is_kept(load, write):
    path = write(GOOD)
    load(path)
    assert "0 readings would be kept, 4 were there before" in load("--dry-run", path)[1]


def test_refused_rows_are_listed_and_the_code_says_so(load, write, tmp_path):
    rows = "".join(f"14.11.2026 21:{minute:02},hot,88\n" for minute in range(30))
    path, report = write(GOOD + rows), tmp_path / "refused.txt"
    code, said, _ = load(path, "--most", "2", "--report", str(report))
    assert code == 1
    assert "30 refused: not a number 30" in said
    assert said.count('"hot" is not a number') == 2
    assert "and 28 more; --json or --report lists all" in said
    lines = report.read_text(encoding="utf-8").splitlines()
    assert len(lines) == 30
    assert lines[0].startswith(f'{path}: line 4, "Temp (°F)": not a number')


def test_json_is_one_object_with_every_refused_row(load, write):
    rows = "".join(f"14.11.2026 21:00:{n % 60:02},hot,88\n" for n in range(2500))
    good, bad = write(GOOD), write("nothing at all", "bag-07.csv")
    many = write("time,Temp (°F),RH (%)\n" + rows, "many hand-probe.csv")
    code, said, trouble = load("--json", good, bad, many)
    document = json.loads(said)
    assert (code, trouble) == (2, "")
    assert document["exit_code"] == 2
    first, second, third = document["files"]
    assert first["report"]["kept"] == 4
    assert first["detection"]["time"]["date_order"] == "dmy"
    assert first["detection"]["rows_shown"][0] == ["14.11.2026 20:00", "71.6", "88.5"]
    assert first["refused"] == []
    assert "no row with a time and a value" in second["unusable"]["problem"]
    assert third["report"]["refused_counts"] == {"not a number": 2500}
    assert len(third["refused"]) == 2500
    assert third["refused"][2499]["line"] == 2501


def test_a_contradiction_is_told_and_what_is_kept_stays(load, write, tmp_path):
    load(write(GOOD))
    before = kept(tmp_path)
    code, said, _ = load(write(GOOD.replace("88.5", "77.5"), "hand-probe again.csv"))
    assert code == 1
    assert 'line 2, "RH (%)": contradicts what is kept: 77.5 at 2026-11-14T09:00' in said
    assert "where 88.5 is kept" in said
    assert kept(tmp_path) == before


def test_an_ambiguous_file_stands_in_both_readings_and_is_not_kept(load, write, tmp_path):
    path = write(GOOD.replace("14.11.", "04.11."))
    code, said, trouble = load(path)
    assert (code, said) == (2, "")
    assert '--map "date_order=dmy"' in trouble
    assert '--map "date_order=mdy"' in trouble
    assert "04.11.2026 20:00 is 04 November 2026 20:00" in trouble
    assert kept(tmp_path) == {}
    assert load(path, "--map", "date_order=dmy")[0] == 0
    assert len(kept(tmp_path)) == 4


def test_what_was_found_out_is_written_and_used_again(load, write, tmp_path):
    mapping = tmp_path / "logger.map.toml"
    code, _, _ = load(write(GOOD), "--dry-run", "--write-map", str(mapping))
    assert code == 0
    written = tomllib.loads(mapping.read_text(encoding="utf-8"))
    assert written["date_order"] == "dmy"
    assert written["column"]["Temp (°F)"] == {"channel": "hand-probe/air", "unit": "degF"}
    other = write(GOOD.replace("14.11.", "04.11."), "export.csv")
    assert load(other, "--map-file", str(mapping))[0] == 0
    assert ("hand-probe/air", "2026-11-04T09:00:00+00:00") in kept(tmp_path)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--map", "nonsense", "x.csv"], "is not KEY=VALUE"),
        (["--map-file", "nowhere.toml", "x.csv"], "nowhere.toml: cannot be read"),
        (["--write-map", "m.toml", "x.csv", "y.csv"], "--write-map: goes with one FILE"),
        (["--report", "/nowhere/at/all", "x.csv"], "--report: /nowhere/at/all cannot be written"),
        (["--site", "nowhere.toml", "x.csv"], "nowhere.toml"),
        (["nowhere.csv"], "the file cannot be read (no such file or directory)"),
    ],
)
def test_a_wrong_command_gets_one_line(load, arguments, said):
    code, out, trouble = load(*arguments)
    assert code == 2
    assert out == ""
    assert said in trouble
    assert trouble.count("\n") == 1


def test_a_store_that_cannot_be_made_is_said(write, capsys):
    code = main(["load", "--site", SITE, "--data", "/proc/nowhere", write(GOOD)])
    assert code == 2
    assert "/proc/nowhere cannot be made" in capsys.readouterr().err


def test_marks_in_a_file_cannot_reach_the_terminal(load, write):
    path = write("time,Temp (°F),RH\x1b[2J (%)\n14.11.2026 20:00,\x1b]0;x,88.5\n")
    code, said, trouble = load(path)
    assert code == 1
    assert "\x1b" not in said + trouble


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return free.getsockname()[1]


@pytest.fixture
def running(tmp_path):
    """Start graftvigil with a drop folder; give where its parts are."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith("GRAFTVIGIL_")}
    environment["GRAFTVIGIL_DROP"] = str(tmp_path / "drop")
    environment["GRAFTVIGIL_ACCOUNTS"] = "off"
    command = [sys.executable, "-m", "api.cli", "run", "--site", SITE, "--json"]
    command += ["--data", str(tmp_path / "data"), "--listen", f"127.0.0.1:{free_port()}"]
    command += ["--built-in-broker", f"127.0.0.1:{free_port()}"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
    assert process.stdout is not None
    yield json.loads(process.stdout.readline())
    process.terminate()
    assert process.wait(20) in {0, -15}
    process.stdout.close()


def get(url: str) -> dict:
    with urllib.request.urlopen(url, timeout=10) as answer:
        return json.load(answer)


@pytest.mark.service
@pytest.mark.slow
def test_live_readings_come_in_and_the_watch_goes_on_while_a_file_is_loaded(
    running, write, tmp_path
):
    start = datetime(2026, 3, 1, tzinfo=UTC)
    rows = [f"{start + timedelta(seconds=30 * n):%Y-%m-%d %H:%M:%S},{70 + n % 9},80\n"
            for n in range(40_000)]  # fmt: skip
    path = write("time,Temp (°F),RH (%)\n" + "".join(rows))
    command = [sys.executable, "-m", "api.cli", "load", "--site", SITE, "--json"]
    command += ["--data", str(tmp_path / "data"), path]
    loading = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    host, port = running["broker"].removeprefix("mqtt://").split(":")
    published, slowest = 0, 0.0
    while loading.poll() is None:
        sent = ["mosquitto_pub", "-h", host, "-p", port, "-q", "1", "-t", "tern-hollow/hand-probe"]
        began = time.monotonic()
        subprocess.run([*sent, "-m", '{"temperature": 24.1}'], check=True, timeout=20)
        slowest = max(slowest, time.monotonic() - began)
        published += 1
    report = json.loads(loading.stdout.read())["files"][0]["report"]
    loading.stdout.close()
    assert loading.returncode == 0
    assert report["kept"] == 80_000
    assert published >= 3
    assert slowest < 8
    told = get(running["pages"] + "/api/v1/watch")
    assert told["readings_kept"] == 80_000 + published
    assert told["late_readings"] == 0
    assert told["lag_s"] < 180


@pytest.mark.service
def test_a_file_in_the_drop_folder_is_taken(running, write, tmp_path):
    drop = tmp_path / "drop"
    pause = threading.Event()
    for _ in range(200):
        if drop.is_dir():
            break
        pause.wait(0.05)
    (drop / "hand-probe.csv").write_text(GOOD, encoding="utf-8")
    (drop / "notes.csv").write_text("nothing at all\n", encoding="utf-8")
    for _ in range(400):
        if (drop / "taken" / "hand-probe.csv").exists() and (
            drop / "refused" / "notes.csv"
        ).exists():
            break
        pause.wait(0.05)
    assert (drop / "taken" / "hand-probe.csv.report.txt").is_file()
    latest = get(running["pages"] + "/api/v1/readings/latest")
    assert {one["channel"]: one["value"] for one in latest} == {
        "hand-probe/air": 22.0,
        "hand-probe/humidity": 89.0,
    }
    assert "refused/notes.csv" in json.dumps(get(running["pages"] + "/api/v1/rejects"))
