"""A lamp of the whole program, and one that is lit on trial beside a program that runs."""

from __future__ import annotations

import json
import os
import shutil
import socket
import threading
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from api.alerts.links import LASTS, Link
from api.assemble import assemble
from api.cli.main import main
from api.records.alarms import raise_alarm
from api.records.courses import raised_by
from api.records.session import reading, writing
from api.settings import load_settings
from api.watch.clock import TurnedClock
from collector.outgoing import Fate
from collector.settings import BrokerAddress
from rules.model.alarm import Priority

pytestmark = pytest.mark.service

NIGHT = datetime(2026, 11, 13, 15, 0, tzinfo=UTC)
DEMO = Path(__file__).parents[3] / "demo_data"
SHED = {"id": "shed", "title": "Lamp in the shed", "topic": "yard/shed"}


@pytest.fixture
def demo(tmp_path):
    """Tern Hollow as it is put together, with a lamp, over the built-in broker."""
    site = tmp_path / "site.toml"
    lamp = "\n".join(f'{name} = "{value}"' for name, value in SHED.items())
    site.write_text((DEMO / "site.toml").read_text() + f"\n[[lamp]]\n{lamp}\n")
    given = {
        "site": site,
        "plans": DEMO / "plans",
        "data": tmp_path / "data",
        "listen": "127.0.0.1:0",
        "built_in_broker": "127.0.0.1:0",
        "accounts": "off",
    }
    made = assemble(
        load_settings(os.environ, given), TurnedClock(NIGHT), notice=None, first_minute=None
    )
    made.start(turned_by_hand=False)
    yield made
    made.stop()


def in_danger(parts):
    with writing(parts.records) as db:
        moved = raise_alarm(
            db,
            batch="MG-07",
            condition="air-dry-danger",
            priority=Priority.HIGH,
            opened_at=NIGHT,
            since=NIGHT,
            value=60.0,
        )
    return moved.alarm


def test_the_whole_program_lights_it_and_the_link_in_a_message_puts_it_out(
    demo, serving, ear_at, until
):
    ear = ear_at(demo.built_in_broker[1], SHED["topic"])
    parts = demo.parts
    until(lambda: [said for _, said, _ in ear.heard] == ["off"])
    alarm = in_danger(parts)
    until(lambda: ear.heard[-1][1] == "on")
    with reading(parts.records) as db:
        change_id = raised_by(db, (alarm.id,))[alarm.id]
    link = Link(alarm.id, change_id, "tobin", parts.clock.now() + LASTS)
    with serving(parts) as address:
        answer = f"{address}/answer/{parts.links.token(link)}"
        assert httpx.post(answer, data={"answer": "going"}).status_code == 303
        until(lambda: ear.heard[-1][1] == "off")


def test_the_page_of_staff_says_what_it_should_be_and_lights_it_for_a_trial(
    demo, serving, ear_at, until, monkeypatch
):
    monkeypatch.setattr("api.alerts.lamp_trials.LIT_S", 0.3)
    ear = ear_at(demo.built_in_broker[1], SHED["topic"])
    until(lambda: [said for _, said, _ in ear.heard] == ["off"])
    with serving(demo.parts) as address:
        page = httpx.get(f"{address}/staff").text
        assert "should be off" in page
        assert (
            "Nothing waits for a person. For: all houses. Not tried since graftvigil was started."
            in page
        )
        assert httpx.post(f"{address}/staff/light", data={"lamp": "shed"}).status_code == 303
        until(lambda: [said for _, said, _ in ear.heard] == ["off", "on", "off"])
        until(lambda: "the broker passed it on" in httpx.get(f"{address}/staff").text)
        _, lamp = httpx.get(f"{address}/api/v1/lamps").json()
        assert (lamp["id"], lamp["lit"], lamp["trial"]["fate"]) == ("shed", False, "accepted")
        in_danger(demo.parts)
        assert all(one["lit"] for one in httpx.get(f"{address}/api/v1/lamps").json())
        spanish = httpx.get(f"{address}/staff", headers={"accept-language": "es"}).text
        assert "Una alarma espera a alguien. Para: todas las casas." in spanish
        gone = httpx.post(f"{address}/staff/light", data={"lamp": "barn"})
        assert gone.status_code == 422
        assert "not in the site file any more" in gone.text


def test_a_lamp_is_tried_once_at_a_time_and_why_it_was_not_reached_is_said(
    demo, serving, until, monkeypatch
):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    begun = threading.Event()
    trials = demo.parts.lamp_trials
    monkeypatch.setattr("api.alerts.lamp_trials.LIT_S", 30.0)
    monkeypatch.setattr(trials, "_stopping", begun)
    with serving(demo.parts) as address:
        light = f"{address}/api/v1/lamps/shed/light"
        first = httpx.post(light)
        assert (first.status_code, first.json()["trial"]["fate"]) == (202, "under_way")
        again = httpx.post(light)
        assert again.status_code == 409
        assert "being tried already" in again.json()["detail"]
        assert httpx.post(f"{address}/api/v1/lamps/barn/light").status_code == 404
        begun.set()
        until(lambda: trials.last("shed").fate is Fate.ACCEPTED)
        nobody = BrokerAddress("127.0.0.1", port, tls=False, user=None, password=None)
        monkeypatch.setattr(trials, "_address", lambda: nobody)
        assert httpx.post(light).status_code == 202
        until(lambda: trials.last("shed").fate is Fate.LOST)
        page = httpx.get(f"{address}/staff").text
        assert f"no broker answers at 127.0.0.1:{port}" in page


@pytest.fixture
def site_file(tmp_path, port, monkeypatch):
    good = Path(__file__).parents[2] / "faulty" / "good" / "site.toml"
    file = tmp_path / "site.toml"
    shutil.copy(good, file)
    lamp = "\n".join(f'{name} = "{value}"' for name, value in SHED.items())
    file.write_text(f"{file.read_text()}\n[[lamp]]\n{lamp}\n")
    monkeypatch.setenv("GRAFTVIGIL_BROKER", f"mqtt://127.0.0.1:{port}")
    return file


@pytest.mark.parametrize("truth", ["off", "on"])
def test_a_trial_lights_it_and_then_tells_it_the_truth_again(
    make_yard, port, site_file, capsys, truth, until
):
    yard = make_yard()
    yard.listen_at(port)
    if truth == "on":
        yard.raised()
    assert yard.shows() == truth
    device = yard.listens("yard/shed")
    until(lambda: device.heard)
    asked = ["reach", "--site", str(site_file), "--light", "shed", "--seconds", "1"]
    assert main(asked) == 0
    assert "shed: told on" in capsys.readouterr().out
    until(lambda: len(device.heard) == 3)
    assert [said for _, said, _ in device.heard] == [truth, "on", truth]
    assert yard.shows() == truth  # what the broker has put by was never touched


def test_a_trial_that_reaches_no_lamp_says_why(
    site_file, capsys, monkeypatch, tmp_path, make_mosquitto
):
    asked = ["reach", "--site", str(site_file), "--light"]
    (tmp_path / "acl").write_text("topic read #\n")
    deaf = make_mosquitto(f"acl_file {tmp_path / 'acl'}\n")
    monkeypatch.setenv("GRAFTVIGIL_BROKER", f"mqtt://127.0.0.1:{deaf.port}")
    monkeypatch.setattr("collector.lamp_trial.ANSWER_S", 0.5)
    assert main([*asked, "shed", "--json"]) == 1
    assert "Let our user write" in json.loads(capsys.readouterr().out)["error"]
    deaf.stop()
    assert main([*asked, "shed"]) == 1
    assert f"no broker answers at 127.0.0.1:{deaf.port}" in capsys.readouterr().out
    assert main([*asked, "house"]) == 2
    assert 'no lamp "house". Known are shed' in capsys.readouterr().err
    assert main([*asked, "shed", "--seconds", "0"]) == 2
    assert "--seconds: is 0" in capsys.readouterr().err
