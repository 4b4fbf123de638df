"""`graftvigil replay` over files as loggers wrote them, and how it leaves when it is stopped."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from api.cli.main import main

ROOT = Path(__file__).parents[3]
SITE = str(ROOT / "demo_data" / "site.toml")
HEAD = "time,Temp (°C),RH (%)\n"


@pytest.fixture
def write(tmp_path):
    def write_file(text: str, name: str = "bag-07.csv") -> str:
        (tmp_path / name).write_text(text, encoding="utf-8")
        return str(tmp_path / name)

    return write_file


@pytest.fixture
def replay(capsys):
    def run(*arguments: str) -> tuple[int, str, str]:
        code = main(["replay", "--site", SITE, *arguments])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def rows(first_hour: int, minutes: int, humidity: float = 95.0, step: int = 1) -> list[str]:
    return [
        f"2026-11-14 {first_hour + m // 60:02d}:{m % 60:02d},25.0,{humidity + m % 3 / 10}"
        for m in range(0, minutes, step)
    ]


def batch(out: str, code: str = "MG-07") -> dict:
    return json.loads(out)["batches"][code]


def test_a_file_is_replayed_and_nothing_is_left_behind(replay, write, tmp_path):
    before = set(tmp_path.iterdir())
    path = write(HEAD + "\n".join(rows(14, 180)) + "\n")
    code, out, err = replay("--json", path)
    assert (code, err) == (0, "")
    told = json.loads(out)
    assert told["as_it_happened"] is False
    assert told["start"] == "2026-11-14T03:00:00+00:00"
    assert sum(batch(out)["minutes"].values()) == 180
    assert batch(out)["blind_min"] == 0
    assert set(tmp_path.iterdir()) == before | {Path(path)}


def test_a_gap_in_a_file_is_time_in_which_nobody_could_see(replay, write):
    holed = [*rows(14, 60), *rows(17, 60)]
    code, out, _ = replay("--json", write(HEAD + "\n".join(holed) + "\n"))
    assert code == 0
    seen = batch(out)
    assert sum(seen["minutes"].values()) == 240
    assert 100 <= seen["blind_min"] <= 120
    blind = [one for one in json.loads(out)["alarms"] if one["batch"] == "MG-07"]
    assert [one["condition"].partition(".")[0] for one in blind] == ["blind"]
    assert blind[0]["ended"] is not None


def test_rows_doubled_shuffled_cut_short_or_wild_do_not_break_it(replay, write):
    good = rows(14, 240)
    wild = ["2026-11-14 15:30,999,400", "2026-11-14 15:31,25.0", "not a time,1,2", ""]
    mixed = [*good[:120], *good[60:120], *wild, *reversed(good[120:])]
    code, out, err = replay("--json", write(HEAD + "\n".join(mixed) + "\n"))
    assert code == 0
    assert "rows refused" in err
    plain = replay("--json", write(HEAD + "\n".join(good) + "\n", "bag-07-plain.csv"))
    assert batch(out)["minutes"] == batch(plain[1])["minutes"]


def test_a_probe_that_dies_makes_its_batch_blind_to_the_end(replay, write):
    both = [
        f"{row},24.0,94.{n % 7}" if n < 60 else f"{row.partition(',')[0]},,,24.0,94.{n % 7}"
        for n, row in enumerate(rows(14, 300))
    ]
    path = write("time,T7,H7,T12,H12\n" + "\n".join(both) + "\n", "two.csv")
    maps = [f"T{n}=bag-{n:02d}/air degC" for n in (7, 12)]
    maps += [f"H{n}=bag-{n:02d}/humidity %RH" for n in (7, 12)]
    given = [part for one in maps for part in ("--map", one)]
    code, out, err = replay("--json", *given, path)
    if code:
        pytest.fail(err)
    told = json.loads(out)
    still = [one for one in told["alarms"] if one["batch"] == "MG-07" and one["ended"] is None]
    assert [one["condition"].partition(".")[0] for one in still] == ["blind"]
    assert batch(out)["blind_min"] > 200


def test_a_file_without_a_reading_is_refused_with_a_way_on(replay, write):
    code, _, err = replay(write("time,what\n2026-11-14 14:00,hello\n"))
    assert code == 2
    assert "graftvigil load --dry-run" in err


def test_days_that_hold_nothing_are_named(replay, write):
    path = write(HEAD + "\n".join(rows(14, 60)) + "\n")
    code, _, err = replay("--from", "2026-12-01", path)
    assert code == 2
    assert "there is a record of 2026-11-14T03:00:00+00:00" in err


@pytest.mark.slow
def test_ctrl_c_leaves_a_line_and_no_store_behind(write, tmp_path):
    lines = [
        f"2026-{m:02d}-{d:02d} {h:02d}:{q:02d},25.0,{95 + q % 3 / 10}"
        for m in range(8, 11)
        for d in range(1, 29)
        for h in range(24)
        for q in (0, 30)
    ]
    path = write(HEAD + "\n".join(lines) + "\n")
    temporary = tmp_path / "tmp"
    temporary.mkdir()
    running = subprocess.Popen(
        [sys.executable, "-m", "api.cli", "replay", "--site", SITE, path],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ | {"TMPDIR": str(temporary)},
    )
    pause = threading.Event()
    for _ in range(1200):
        # Well into the file: the first rows are kept, most are still to come.
        if any(one.stat().st_size > 100_000 for one in temporary.glob("*/readings.sqlite*")):
            break
        pause.wait(0.05)
    assert running.poll() is None
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert running.returncode == 1, err.decode()
    assert out == b""
    assert err.decode().strip() == "graftvigil replay: stopped; nothing was changed"
    assert list(temporary.iterdir()) == []
