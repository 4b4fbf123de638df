"""Replays over the API: files and stored readings, in the background, and nothing left behind."""

from __future__ import annotations

import json
import threading
from pathlib import Path

import httpx
import pytest

from api.cli.main import main
from api.records.alarms import standing_alarms
from api.records.session import reading
from api.replays.receiving import MOST_FILE_BYTES, MOST_FILES

ROOT = Path(__file__).parents[3]
SITE = str(ROOT / "demo_data" / "site.toml")
REPLAYS = "/api/v1/replays"
HEAD = "time,Temp (°C),RH (%)\n"
ENDED = ("done", "failed", "stopped")


def rows(first_hour: int, minutes: int, humidity: float = 95.0) -> list[str]:
    return [
        f"2026-11-14 {first_hour + m // 60:02d}:{m % 60:02d},25.0,{humidity + m % 3 / 10}"
        for m in range(minutes)
    ]


def text_of(lines: list[str]) -> bytes:
    return (HEAD + "\n".join(lines) + "\n").encode()


def holed() -> bytes:
    """Two hours with a hole of one hour, doubled and shuffled rows, then a probe that dies."""
    good = [*rows(14, 60), *rows(16, 60)]
    mixed = [*good[:40], *good[20:40], *reversed(good[40:])]
    dead = [f"{row.partition(',')[0]},,---" for row in rows(17, 120)]
    return text_of([*mixed, *dead])


def season() -> bytes:
    """Half a year of hours: long enough to be stopped in the middle."""
    lines = [
        f"2026-{month:02d}-{day:02d} {hour:02d}:00,25.0,95.{hour % 10}"
        for month in range(5, 11)
        for day in range(1, 29)
        for hour in range(24)
    ]
    return text_of(lines)


@pytest.fixture(scope="module")
def hollow(pages_nursery, filled, tmp_path_factory):
    """Tern Hollow for this module alone: a replay changes nothing in it, which is tried here."""
    data = tmp_path_factory.mktemp("replays")
    opened = pages_nursery.nursery(pages_nursery.copied(filled, data / "data"))
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def web(pages_nursery, hollow):
    with (
        pages_nursery.serving(hollow.parts) as address,
        httpx.Client(base_url=address, timeout=60) as one,
    ):
        yield one


def ask(web, *files: tuple[str, bytes], **fields: object) -> httpx.Response:
    sent = [("file", (name, body)) for name, body in files]
    if not sent:  # a form of the same kind, with no file in it
        sent = [(name, (None, str(value))) for name, value in fields.items()]
        return web.post(REPLAYS, files=sent or [("look", (None, "false"))])
    return web.post(REPLAYS, files=sent, data=fields)


def ended(web, number: int) -> dict:
    pause = threading.Event()
    for _ in range(600):
        told = web.get(f"{REPLAYS}/{number}").json()
        if told["stage"] in ENDED:
            return told
        pause.wait(0.05)
    pytest.fail(f"still {told['stage']} at {told['share']}")


def scratch(hollow) -> list[Path]:
    home = hollow.parts.settings.data / "replay"
    return list(home.iterdir()) if home.exists() else []


def test_a_file_with_a_hole_comes_to_what_the_command_says(web, hollow, tmp_path, capsys):
    before = hollow.parts.store.last_sequence()
    with reading(hollow.parts.records) as db:
        standing = standing_alarms(db)
    told = ask(web, ("bag-07.csv", holed()))
    assert told.status_code == 202, told.text
    done = ended(web, told.json()["number"])
    assert (done["stage"], done["share"]) == ("done", 1.0), done
    (tmp_path / "bag-07.csv").write_bytes(holed())
    assert main(["replay", "--site", SITE, "--json", str(tmp_path / "bag-07.csv")]) == 0
    by_command = json.loads(capsys.readouterr().out)
    figures = done["figures"]
    for name in ("alarms", "batches", "messages", "as_it_happened"):
        said = json.loads(json.dumps(figures[name]).replace('Z"', '+00:00"'))
        assert said == by_command[name], name
    seen = figures["batches"]["MG-07"]
    assert sum(seen["minutes"].values()) == 180
    assert 40 <= seen["blind_min"] <= 60
    assert {one["condition"].partition(".")[0] for one in figures["alarms"]} == {"blind"}
    assert [(one["rows"], one["refused"]) for one in done["files"]] == [(260, 0)]

    assert hollow.parts.store.last_sequence() == before
    with reading(hollow.parts.records) as db:
        assert standing_alarms(db) == standing
    assert scratch(hollow) == []


def test_a_probe_that_dies_beside_one_that_lives_is_blind_to_the_end(web):
    lines = ["time,T7,H7,T12,H12"]
    for minute, row in enumerate(rows(14, 240)):
        own = "25.0,95.0" if minute < 60 else ","
        lines.append(f"{row.partition(',')[0]},{own},24.0,94.{minute % 7}")
    maps = [f"T{n}=bag-{n:02d}/air degC" for n in (7, 12)]
    maps += [f"H{n}=bag-{n:02d}/humidity %RH" for n in (7, 12)]
    told = ask(web, ("two.csv", "\n".join(lines).encode()), map=maps)
    done = ended(web, told.json()["number"])
    of_dead = done["figures"]["batches"]["MG-07"]
    assert 160 <= of_dead["blind_min"] <= 180
    assert of_dead["minutes"].get("steady", 0) <= 240 - of_dead["blind_min"]
    still = [one for one in done["figures"]["alarms"] if one["batch"] == "MG-07"]
    said = [(one["condition"].partition(".")[0], one["ended"]) for one in still]
    assert said == [("blind", None)]


def test_stored_readings_as_it_happened_ring_as_they_rang(web):
    rang = {(one["batch"], one["condition"]) for one in web.get("/api/v1/alarms").json()}
    for hindsight in ("false", "true"):
        told = ask(web, hindsight=hindsight)
        assert told.status_code == 202, told.text
        assert told.json()["of_files"] is False
        done = ended(web, told.json()["number"])
        assert done["stage"] == "done", done
        assert done["figures"]["as_it_happened"] is (hindsight == "false")
        if hindsight == "false":
            again = {(one["batch"], one["condition"]) for one in done["figures"]["alarms"]}
            assert again == rang
            assert again


def test_there_is_one_at_a_time_and_it_can_be_stopped(web, hollow):
    told = ask(web, ("bag-07.csv", season()))
    assert told.status_code == 202, told.text
    number = told.json()["number"]
    second = ask(web, ("bag-07.csv", holed()))
    assert second.status_code == 409
    assert "Another replay runs" in second.json()["detail"]
    (listed,) = web.get(REPLAYS).json()
    assert (listed["number"], listed["stage"] in ("reading", "judging")) == (number, True)
    assert web.delete(f"{REPLAYS}/{number}").status_code == 204
    stopped = ended(web, number)
    assert (stopped["stage"], stopped["figures"]) == ("stopped", None)
    pause = threading.Event()
    for _ in range(100):
        if not scratch(hollow):
            break
        pause.wait(0.05)
    assert scratch(hollow) == []
    assert web.delete(f"{REPLAYS}/{number}").status_code == 204
    assert web.get(REPLAYS).json() == []
    assert web.get(f"{REPLAYS}/{number}").status_code == 404
    assert web.delete(f"{REPLAYS}/{number}").status_code == 404


def test_files_are_looked_at_corrected_and_begun(web):
    unnamed = text_of(rows(14, 60))
    refused = ask(web, ("export.csv", unnamed))
    assert refused.status_code == 422
    (wrong,) = refused.json()["errors"]
    assert wrong["where"] == "export.csv"
    assert "Temp (°C)" in wrong["detail"]
    assert "bag-07/air" in wrong["detail"]

    shown = ask(web, ("export.csv", unnamed), look="true")
    assert (shown.status_code, shown.json()["stage"]) == (202, "shown")
    number = shown.json()["number"]
    assert shown.json()["files"][0]["read_as"] is None
    at = f"{REPLAYS}/{number}/begin"
    assert web.post(at, json={}).status_code == 422
    assert web.post(at, json={"map": [["zone=Nowhere/At"]]}).status_code == 422
    assert web.post(at, json={"map": [[], []]}).status_code == 422
    said = ["#2=bag-07/air", "#3=bag-07/humidity"]
    begun = web.post(at, json={"map": [said]})
    assert begun.status_code == 202, begun.text
    (column, _) = begun.json()["files"][0]["read_as"]["columns"]
    assert (column["channel"], column["channel_from"]) == ("bag-07/air", "you")
    assert ended(web, number)["stage"] == "done"
    assert web.post(at, json={}).status_code == 409
    assert web.post(f"{REPLAYS}/1/begin", json={}).status_code == 404


def test_rows_that_are_refused_are_named_with_line_and_fix(web):
    body = text_of([*rows(14, 30), "2026-11-14 14:40,hot,95", "2026-11-14 14:41,25,400"])
    done = ended(web, ask(web, ("bag-07.csv", body)).json()["number"])
    (file,) = done["files"]
    assert file["refused"] == 2
    assert [(one["line"], one["column"]) for one in file["first_refused"]] == [
        (32, "Temp (°C)"),
        (33, "RH (%)"),
    ]
    assert all(one["fix"] for one in file["first_refused"])


@pytest.mark.parametrize(
    ("files", "fields", "status"),
    [
        ([("bag-07.csv", b"\0" * (MOST_FILE_BYTES + 1))], {}, 413),
        ([(f"bag-07-{n}.csv", b"x") for n in range(MOST_FILES + 1)], {}, 422),
        ([("bag-07.pdf", b"%PDF")], {}, 422),
        ([("bag-07.xlsx", b"no workbook")], {}, 422),
        ([("bag-07.parquet", b"no parquet")], {}, 422),
        ([("bag-07.csv", b"")], {}, 422),
        ([], {"from": "yesterday"}, 422),
        ([], {"from": "2026-11-14", "to": "2026-11-13"}, 422),
        ([], {"hindsight": "perhaps"}, 422),
        ([], {"colour": "red"}, 422),
    ],
    ids=lambda one: str(one)[:20],
)
def test_what_can_t_be_taken_is_refused_and_leaves_nothing(web, hollow, files, fields, status):
    answer = ask(web, *files, **fields)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert len(answer.json()["detail"]) > 20
    assert scratch(hollow) == []


def test_what_is_no_form_or_is_cut_off_is_refused(web, hollow):
    assert web.post(REPLAYS, json={"from": "2026-11-14"}).status_code == 422
    kind = {"content-type": "multipart/form-data; boundary=x"}
    head = b'--x\r\ncontent-disposition: form-data; name="file"; filename="bag-07.csv"\r\n\r\n'
    assert web.post(REPLAYS, content=head + b"1,2", headers=kind).status_code == 422
    assert web.post(REPLAYS, content=b"stray", headers=kind).status_code == 422
    assert scratch(hollow) == []


def test_a_replay_that_finds_nothing_says_why(web):
    body = text_of(["2026-11-14 14:00,---,---", "2026-11-14 14:01,---,---"])
    failed = ended(web, ask(web, ("bag-07.csv", body)).json()["number"])
    assert (failed["stage"], failed["trouble"]["why"]) == ("failed", "no_reading")
    failed = ended(web, ask(web, **{"from": "2020-01-01", "to": "2020-01-02"}).json()["number"])
    assert failed["trouble"]["why"] == "nothing_there"
    assert "there is a record of 2026-11-" in failed["trouble"]["says"]
    far = text_of(["2020-11-14 14:00,25,95", "2026-11-14 14:01,25,95"])
    failed = ended(web, ask(web, ("bag-07.csv", far)).json()["number"])
    assert failed["trouble"]["why"] == "too_long"


def test_a_name_with_a_path_in_it_stays_in_its_folder(web, hollow):
    evil = "../../../bag-07.csv"
    shown = ask(web, (evil, text_of(rows(14, 5))), look="true").json()
    assert [one["name"] for one in shown["files"]] == ["bag-07.csv"]
    (folder,) = scratch(hollow)
    assert [one.name for one in folder.rglob("*") if one.is_file()] == ["bag-07.csv"]
    assert web.delete(f"{REPLAYS}/{shown['number']}").status_code == 204
    assert scratch(hollow) == []


def test_a_disk_with_little_room_left_takes_no_files(web, hollow, monkeypatch):
    from api.replays import receiving

    monkeypatch.setattr(receiving, "LEAVE_FREE_BYTES", 2**60)
    full = ask(web, ("bag-07.csv", holed()))
    assert full.status_code == 507
    assert "too little room" in full.json()["detail"]
    assert scratch(hollow) == []


def test_what_a_crash_left_is_wiped_at_the_next_start(hollow, tmp_path):
    from dataclasses import replace

    from api.replays.running import Replays
    from api.settings import Settings

    left = tmp_path / "replay" / "7" / "0"
    left.mkdir(parents=True)
    (left / "bag-07.csv").write_bytes(holed())
    kept = tmp_path / "readings.sqlite"
    kept.write_bytes(b"")
    again = Replays(replace(hollow.parts, settings=Settings(data=tmp_path)))
    assert list(tmp_path.iterdir()) == [kept]
    assert again.now is None
