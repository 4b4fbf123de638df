"""The demo, run through as a new user would run it, tells its story and nothing else."""

from __future__ import annotations

import gzip
import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from api.cli.main import CannotGoOn
from api.cli.recording import by_minute, recorded

ROOT = Path(__file__).parents[3]
NURSERY_TIME = timezone(timedelta(hours=11))


def demo(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "api.cli", "demo", *arguments]
    return subprocess.run(
        command, capture_output=True, text=True, timeout=240, cwd=ROOT, check=False
    )


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    data = tmp_path_factory.mktemp("demo") / "data"
    ran = demo("--once", "--json", "--data", str(data))
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout), data


def local_hour(iso: str) -> float:
    at = datetime.fromisoformat(iso).astimezone(NURSERY_TIME)
    return at.hour + at.minute / 60


@pytest.mark.slow
def test_a_bag_dries_about_two_in_the_night_and_is_mended_within_the_hour(night):
    alarms, _ = night[0]["alarms"], night[1]
    dried = [a for a in alarms if a["batch"] == "MG-07" and a["priority"] == "high"]
    assert len(dried) == 1
    assert 1.5 < local_hour(dried[0]["opened"]) < 2.5
    assert 2.5 < local_hour(dried[0]["ended"]) < 3.5


@pytest.mark.slow
def test_the_sun_finds_a_gap_about_nine(night):
    burnt = [a for a in night[0]["alarms"] if a["batch"] == "PE-03" and a["priority"] == "high"]
    assert len(burnt) == 1
    assert 8.5 < local_hour(burnt[0]["opened"]) < 9.5


@pytest.mark.slow
def test_a_silent_probe_makes_its_batch_blind_and_it_is_still_blind_at_the_end(night):
    silent = [a for a in night[0]["alarms"] if a["condition"].startswith("blind.")]
    assert [a["batch"] for a in silent] == ["CI-15"]
    assert silent[0]["ended"] is None
    assert night[0]["standings"]["CI-15"] == "blind"


@pytest.mark.slow
def test_nobody_is_called_for_any_other_batch(night):
    assert {a["batch"] for a in night[0]["alarms"]} == {"MG-07", "PE-03", "CI-15"}
    others = {c: s for c, s in night[0]["standings"].items() if c != "CI-15"}
    assert len(others) >= 10
    assert set(others.values()) == {"steady"}


@pytest.mark.slow
def test_the_messages_lie_in_the_outbox_and_say_what_to_do(night):
    written = sorted((night[1] / "outbox").glob("*.txt"))
    assert written
    dried = [text for file in written if "MG-07" in (text := file.read_text(encoding="utf-8"))]
    assert any("Do first:" in text and "Humidity" in text for text in dried)
    pictures = [file for file in written if file.with_suffix(".png").exists()]
    assert any("MG-07" in file.name for file in pictures)
    for file in pictures:
        assert file.with_suffix(".png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.slow
def test_every_reading_of_the_recording_is_kept_and_none_refused(night):
    sent = recorded(next((ROOT / "demo_data" / "nights").glob("*.jsonl.gz")))
    assert night[0]["readings"]["refused"] == 0
    assert night[0]["readings"]["kept"] > len(sent)  # several values a message


def test_a_folder_the_demo_did_not_make_is_left_alone(tmp_path):
    (tmp_path / "accounts.ods").write_text("not ours")
    ran = demo("--once", "--data", str(tmp_path))
    assert ran.returncode == 2
    assert "did not make" in ran.stderr
    assert (tmp_path / "accounts.ods").read_text() == "not ours"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--speed", "0"], "from 1 to 100000"),
        (["--json"], "goes with --once"),
        (["--folder", "nowhere"], "holds no recorded night"),
        (["--speed", "fast"], "invalid float value"),
    ],
)
def test_a_wrong_option_is_answered_in_a_sentence(arguments, said, tmp_path):
    ran = demo(*arguments, "--data", str(tmp_path / "data"))
    assert ran.returncode == 2
    assert said in ran.stderr
    assert "Traceback" not in ran.stderr


def test_a_broken_recording_names_its_line(tmp_path):
    path = tmp_path / "night.jsonl.gz"
    with gzip.open(path, "wt", encoding="utf-8") as out:
        out.write('{"at": "2026-11-14T01:00:00+00:00", "topic": "a", "payload": {"b": 1}}\n')
        out.write('{"at": "yesterday", "topic": "a", "payload": {"b": 1}}\n')
    with pytest.raises(CannotGoOn, match=r"night\.jsonl\.gz:2: not a recording"):
        recorded(path)


def test_minutes_without_messages_are_played_too(tmp_path):
    path = tmp_path / "night.jsonl.gz"
    with gzip.open(path, "wt", encoding="utf-8") as out:
        for minute in (0, 3):
            out.write(
                json.dumps(
                    {"at": f"2026-11-14T01:0{minute}:10+00:00", "topic": "a", "payload": {"b": 1}}
                )
                + "\n"
            )
    minutes = list(by_minute(recorded(path)))
    assert [len(sent) for _, sent in minutes] == [1, 0, 0, 1]
    assert minutes[0][0] == datetime(2026, 11, 14, 1, 1, tzinfo=UTC)
