"""The compose files: hardened, closed but for two ports, secrets from files.

No container is run here. What can be run without one is: the script that makes secrets here, nginx
with our file in tests/api/web/test_proxy.py, and the broker's configuration in test_brokers.py.
"""

from __future__ import annotations

import re
import stat
import subprocess
from typing import TYPE_CHECKING

import pytest
import yaml

from api.settings import SECRETS, Settings, load_settings
from collector.settings import broker_address

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def folder(root) -> Path:
    return root / "deploy" / "compose"


@pytest.fixture(scope="module")
def composed(folder) -> dict:
    return yaml.safe_load((folder / "compose.yaml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def secrets(folder, tmp_path_factory) -> Path:
    """The secrets, as our script makes them."""
    made = tmp_path_factory.mktemp("compose") / "secrets"
    run = ["sh", str(folder / "make_secrets.sh"), "localhost", str(made)]
    said = subprocess.run(run, capture_output=True, text=True, check=True)
    assert "mail-server is empty" in said.stderr
    before = {one.name: one.read_bytes() for one in made.iterdir()}
    again = subprocess.run(run, capture_output=True, text=True, check=True)
    assert again.stdout == ""
    assert {one.name: one.read_bytes() for one in made.iterdir()} == before
    return made


def test_nothing_is_published_but_the_proxy_and_the_broker_with_tls(composed):
    published = {name: one["ports"] for name, one in composed["services"].items() if "ports" in one}
    assert published == {"proxy": ["443:8443"], "broker": ["8883:8883"]}
    assert composed["networks"]["back"]["internal"] is True
    for name in ("postgres", "influx"):
        assert composed["services"][name]["networks"] == ["back"]


def test_every_service_is_hardened_and_watched(composed):
    assert set(composed["services"]) == {"graftvigil", "proxy", "broker", "influx", "postgres"}
    for name, one in composed["services"].items():
        assert one["read_only"] is True, name
        assert one["cap_drop"] == ["ALL"], name
        assert "cap_add" not in one, name
        assert one["security_opt"] == ["no-new-privileges:true"], name
        assert one["healthcheck"]["test"][0] == "CMD", name
        assert "mem_limit" in one, name
        assert "privileged" not in one, name
        if name != "graftvigil":  # its image says so itself
            assert int(one["user"].split(":")[0]) > 0, name


def test_its_image_is_not_root_and_built_from_the_hashed_list(folder):
    text = (folder / "Containerfile").read_text(encoding="utf-8")
    assert re.findall(r"^USER (\S+)$", text, re.M) == ["10001:10001"]
    joined = text.replace("\\\n", " ")
    installs = re.findall(r"^RUN .*pip install(.*)$", joined, re.M)
    assert len(installs) == 2
    assert "--require-hashes" in installs[0]
    assert "/src/deploy/requirements.txt" in installs[0]
    assert "--no-index" in installs[1]
    kept_out = (folder / "Containerfile.dockerignore").read_text(encoding="utf-8")
    lines = [line for line in kept_out.splitlines() if line and not line.startswith("#")]
    assert lines[0] == "*"
    wanted = {line[1:] for line in lines if line.startswith("!")}
    copied = set(re.findall(r"^COPY (?!--from)(.*) \S+$", text, re.M))
    assert wanted == {name for one in copied for name in one.split()}


def test_each_secret_is_a_file_that_the_script_makes_and_no_value(composed, secrets, folder):
    files = {name: one["file"] for name, one in composed["secrets"].items()}
    assert {path.removeprefix("./secrets/") for path in files.values()} == {
        one.name for one in secrets.iterdir()
    }
    for name, one in composed["services"].items():
        assert set(one["secrets"]) <= set(files), name
        for key, value in one.get("environment", {}).items():
            if re.search("PASSWORD|TOKEN|SECRET|RECORDS_URL|MAIL_SERVER", key):
                assert key.endswith("_FILE"), key
                assert value.removeprefix("/run/secrets/") in one["secrets"], key
    assert stat.S_IMODE(secrets.stat().st_mode) == 0o700
    made = (secrets / "broker-password").read_text().strip()
    assert re.fullmatch(r"[0-9a-f]{48}", made)
    assert made not in (secrets / "broker-passwords").read_text()
    ignored = (folder.parents[1] / ".gitignore").read_text().splitlines()
    assert "/deploy/compose/secrets/" in ignored


def test_graftvigil_takes_its_settings(composed, secrets, monkeypatch):
    monkeypatch.delenv("GRAFTVIGIL_ACCOUNTS", raising=False)
    given = dict(composed["services"]["graftvigil"]["environment"])
    known = {f"GRAFTVIGIL_{name.upper()}" for name in Settings.model_fields}
    known |= {f"GRAFTVIGIL_{name.upper()}_FILE" for name in SECRETS}
    assert set(given) <= known
    environment = {}
    for key, text in given.items():
        filled = re.sub(r"\$\{GRAFTVIGIL_NAME[^}]*\}", "watch.example", text)
        filled = re.sub(r"\$\{\w+:-([^}]*)\}", r"\1", filled)
        environment[key] = filled.replace("/run/secrets", str(secrets))
        monkeypatch.setenv(key, environment[key])
    settings = load_settings(environment, {})
    assert settings.base_url == "https://watch.example"
    assert settings.accounts == "on"
    assert settings.records_at.startswith("postgresql://graftvigil:")
    assert broker_address(settings.broker, password="x").host == "broker"
    proxy = composed["services"]["proxy"]["networks"]["front"]["ipv4_address"]
    assert settings.trusted_proxy == proxy


def test_the_broker_of_the_containers_is_that_of_a_board(folder):
    def lines(path: Path) -> set[str]:
        text = re.sub(r" /\S+", "", path.read_text(encoding="utf-8"))
        return {line for line in text.splitlines() if line and not line.startswith("#")}

    board = lines(folder.parent / "mosquitto" / "sensors.conf")
    here = lines(folder / "mosquitto.conf")
    assert board - here == {"listener 1883 127.0.0.1"}
    assert here - board == {
        *("listener 1883", "persistence true", "persistence_location", "log_dest stderr")
    }
