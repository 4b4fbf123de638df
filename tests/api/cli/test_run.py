"""`graftvigil run` as a technician meets it: started, spoken to, stopped, started wrongly."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import httpx
import pytest

from api.assemble import OUR_PACKAGES, CannotStart, refuse_foreign_packages

ROOT = Path(__file__).parents[3]


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return free.getsockname()[1]


def command(data: Path, *more: str) -> list[str]:
    site = ROOT / "demo_data" / "site.toml"
    return [sys.executable, "-m", "api.cli", "run", "--site", str(site), "--data", str(data), *more]


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    """Start it on free ports; give (process, where its parts are, its data folder)."""
    data = tmp_path_factory.mktemp("running") / "data"
    environment = {k: v for k, v in os.environ.items() if not k.startswith("GRAFTVIGIL_")}
    environment["GRAFTVIGIL_PUSH_TOKEN"] = "a-token-for-this-test"
    environment["GRAFTVIGIL_ACCOUNTS"] = "off"
    process = subprocess.Popen(
        command(
            data,
            *("--listen", f"127.0.0.1:{free_port()}"),
            *("--built-in-broker", f"127.0.0.1:{free_port()}"),
            "--json",
        ),
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
    )
    assert process.stdout is not None
    where = json.loads(process.stdout.readline())
    yield process, where, data
    process.kill()
    process.wait()
    process.stdout.close()


def get(url: str) -> object:
    with urllib.request.urlopen(url, timeout=10) as answer:
        return json.load(answer)


def publish(where: dict[str, str], topic: str, payload: str) -> None:
    host, port = where["broker"].removeprefix("mqtt://").split(":")
    sent = ["mosquitto_pub", "-h", host, "-p", port, "-q", "1", "-t", topic, "-m", payload]
    subprocess.run(sent, check=True, timeout=20)


@pytest.mark.service
def test_a_reading_sent_by_hand_is_in_the_api_and_on_the_page(running):
    _, where, _ = running
    publish(where, "tern-hollow/hand-probe", '{"temperature": 24.1, "humidity": 93}')
    latest = {one["channel"]: one for one in get(where["pages"] + "/api/v1/readings/latest")}
    values = {key.split("/")[1]: one["value"] for key, one in latest.items() if "hand" in key}
    assert sorted(values.values()) == [24.1, 93.0]
    with urllib.request.urlopen(where["pages"] + "/sensors", timeout=10) as page:
        assert "24.1" in page.read().decode()


@pytest.mark.service
def test_nonsense_is_refused_with_a_reason_and_does_not_stop_anything(running):
    _, where, _ = running
    for payload in ("{", "[]", '{"temperature": "hot"}', '{"temperature": 4000, "humidity": NaN}'):
        publish(where, "tern-hollow/hand-probe", payload)
    publish(where, "some/other/thing", "1")
    publish(where, "tern-hollow/hand-probe", '{"temperature": 20.5, "humidity": 80}')
    refused = get(where["pages"] + "/api/v1/rejects")
    listed = json.dumps(refused)
    assert "some/other/thing" in listed
    assert "hot" in listed
    latest = json.dumps(get(where["pages"] + "/api/v1/readings/latest"))
    assert "20.5" in latest


def test_a_second_one_over_the_same_folder_is_refused(running):
    again = subprocess.run(
        command(running[2]), capture_output=True, text=True, timeout=60, check=False
    )
    assert again.returncode == 2
    assert "in use by another graftvigil" in again.stderr


def test_a_taken_port_is_said_plainly(running, tmp_path):
    _, where, _ = running
    again = subprocess.run(
        command(tmp_path / "other", "--listen", where["pages"].removeprefix("http://")),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert again.returncode == 2
    assert "--listen" in again.stderr
    assert "Traceback" not in again.stderr


@pytest.mark.parametrize(
    ("more", "environment", "said"),
    [
        (["--site", "nowhere.toml"], {}, "nowhere.toml"),
        (["--listen", "0.0.0.0:80"], {"GRAFTVIGIL_ACCOUNTS": "off"}, "accounts are off"),
        ([], {"GRAFTVIGIL_TRUSTED_PROXY": "my proxy"}, "GRAFTVIGIL_TRUSTED_PROXY"),
        (["--listen", "nonsense"], {}, "GRAFTVIGIL_LISTEN"),
        (["--broker", "tcp://host"], {}, "mqtt://"),
        ([], {"GRAFTVIGIL_LATENESS_S": "soon"}, "GRAFTVIGIL_LATENESS_S"),
        ([], {"GRAFTVIGIL_MAIL_SERVER_FILE": "/nowhere/at/all"}, "GRAFTVIGIL_MAIL_SERVER_FILE"),
    ],
)
def test_a_wrong_setting_is_named_with_the_way_out(more, environment, said, tmp_path):
    ran = subprocess.run(
        command(tmp_path / "data", *more),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=os.environ | environment,
    )
    assert ran.returncode == 2
    assert said in ran.stderr
    assert "Traceback" not in ran.stderr


def test_faults_in_the_site_file_are_all_told_before_anything_starts(tmp_path):
    site = tmp_path / "site.toml"
    shutil.copytree(ROOT / "demo_data" / "plans", tmp_path / "plans")
    text = (ROOT / "demo_data" / "site.toml").read_text(encoding="utf-8")
    site.write_text(text.replace('unit = "degC"', 'unit = "celsius"'), encoding="utf-8")
    ran = subprocess.run(
        [
            sys.executable,
            "-m",
            "api.cli",
            "run",
            "--site",
            str(site),
            "--data",
            str(tmp_path / "d"),
        ],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == 2
    assert ran.stderr.count("celsius") == text.count('unit = "degC"')
    assert not (tmp_path / "d").exists()


def test_a_package_of_the_same_name_from_elsewhere_is_refused(tmp_path, monkeypatch):
    stranger = tmp_path / "rules_of_others-1.0.dist-info"
    stranger.mkdir()
    (stranger / "METADATA").write_text("Metadata-Version: 2.1\nName: rules-of-others\nVersion: 1\n")
    (stranger / "top_level.txt").write_text("rules\n")
    (stranger / "RECORD").write_text("rules/__init__.py,,\n")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(CannotStart, match="rules-of-others also provides a package called rules"):
        refuse_foreign_packages()


def test_alone_in_its_environment_it_starts():
    refuse_foreign_packages()
    assert OUR_PACKAGES == ("rules", "collector", "api")


def test_a_first_start_prints_a_code_that_sets_up_the_lead_and_the_next_one_none(tmp_path):
    port, password = free_port(), "moss bucket under third table"
    pages = f"http://127.0.0.1:{port}"
    environment = {k: v for k, v in os.environ.items() if not k.startswith("GRAFTVIGIL_")}
    environment["GRAFTVIGIL_BASE_URL"] = pages
    broker = ("--built-in-broker", f"127.0.0.1:{free_port()}")

    def start(*more: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            command(tmp_path / "data", "--listen", f"127.0.0.1:{port}", *broker, *more),
            stdout=subprocess.PIPE,
            text=True,
            env=environment,
        )

    first = start()
    assert first.stdout is not None
    try:
        lines = [first.stdout.readline() for _ in range(3)]
        said = re.fullmatch(
            rf"Set up: nobody has an account yet. Open {pages}/set-up and type the code (\S+)\n",
            lines[2],
        )
        assert said, lines
        with httpx.Client(base_url=pages, headers={"origin": pages}, timeout=30) as browser:
            assert browser.get("/").headers["location"] == "/set-up"
            form = {"code": said[1], "person": "wren", "password": password, "again": password}
            assert browser.post("/set-up", data=form).status_code == 303
            assert "Wren Castellow" in browser.get("/").text
            kept = dict(browser.cookies)
    finally:
        first.kill()
        first.wait()
        first.stdout.close()
    second = start("--json")
    assert second.stdout is not None
    try:
        assert sorted(json.loads(second.stdout.readline())) == ["broker", "pages"]
        with httpx.Client(base_url=pages, cookies=kept, timeout=30) as browser:
            assert browser.get("/").status_code == 200, "a session outlives a kill"
            assert browser.get("/set-up").headers["location"] == "/sign-in"
    finally:
        second.kill()
        second.wait()
        second.stdout.close()


def test_it_stops_cleanly_when_told(running):
    process, _, _ = running
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=20) in {0, -signal.SIGTERM}
