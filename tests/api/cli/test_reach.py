"""The command that lists ways and sends a real test message by them."""

from __future__ import annotations

import email
import email.policy
import json
import shutil
import socket
from collections.abc import Iterator
from email.message import EmailMessage
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller

from api.cli.main import main

GOOD = Path(__file__).parents[2] / "faulty" / "good" / "site.toml"


class Box:
    def __init__(self) -> None:
        self.mail: list[EmailMessage] = []

    async def handle_DATA(self, server: object, session: object, envelope: object) -> str:  # noqa: N802
        content = envelope.content  # type: ignore[attr-defined]
        self.mail.append(email.message_from_bytes(content, policy=email.policy.default))
        return "250 kept"


@pytest.fixture
def mail_server(monkeypatch) -> Iterator[Box]:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    box = Box()
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    monkeypatch.setenv("GRAFTVIGIL_MAIL_SERVER", f"smtp://127.0.0.1:{port}")
    yield box
    controller.stop()


@pytest.fixture
def site(tmp_path, monkeypatch) -> Path:
    for name in ("MAIL_SERVER", "REACH_NIGHT_PHONE"):
        monkeypatch.delenv(f"GRAFTVIGIL_{name}", raising=False)
    file = tmp_path / "site.toml"
    shutil.copy(GOOD, file)
    mail = 'email = "mei@valley.example"\n'
    file.write_text(file.read_text().replace(mail, f'{mail}reach = ["night-phone"]\n'))
    return file


def test_lists_each_way_in_order_and_what_it_still_needs(site, capsys, monkeypatch):
    assert main(["reach", "--site", str(site)]) == 1
    assert capsys.readouterr().out == (
        "mei, Mei: email (set GRAFTVIGIL_MAIL_SERVER); "
        "night-phone (set GRAFTVIGIL_REACH_NIGHT_PHONE)\n"
    )
    monkeypatch.setenv("GRAFTVIGIL_MAIL_SERVER", "smtp://127.0.0.1:25")
    monkeypatch.setenv("GRAFTVIGIL_REACH_NIGHT_PHONE", "json://token-3f@127.0.0.1/say")
    assert main(["reach", "--site", str(site)]) == 0
    said = capsys.readouterr().out
    assert said == "mei, Mei: email; night-phone\n"


def test_as_json_it_names_what_is_missing(site, capsys):
    assert main(["reach", "--site", str(site), "--json"]) == 1
    ways = json.loads(capsys.readouterr().out)["ways"]
    assert ways[1] == {
        "person": "mei", "way": "night-phone", "needs": "GRAFTVIGIL_REACH_NIGHT_PHONE",
    }  # fmt: skip


@pytest.mark.service
def test_a_test_is_a_real_message_that_says_it_is_one(site, capsys, mail_server):
    assert main(["reach", "--site", str(site), "--test", "mei", "--by", "email"]) == 0
    (mail,) = mail_server.mail
    assert str(mail["To"]) == "mei@valley.example"
    assert str(mail["Subject"]) == "Test: Mei can be reached by e-mail. Nothing is wrong."
    assert "There is nothing to do." in " ".join(mail.get_content().split())
    assert capsys.readouterr().out.startswith("email: sent\n")


@pytest.mark.service
def test_a_way_that_fails_is_said_and_the_others_still_tried(site, capsys, mail_server):
    assert main(["reach", "--site", str(site), "--test", "mei", "--json"]) == 1
    sent = json.loads(capsys.readouterr().out)["sent"]
    assert sent[0] == {"way": "email", "error": None}
    assert sent[1]["error"] == "no address for night-phone: set GRAFTVIGIL_REACH_NIGHT_PHONE"
    assert len(mail_server.mail) == 1


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (["--test", "may"], 'no person "may"'),
        (["--test", "mei", "--by", "fax"], 'no way "fax"'),
        (["--by", "email"], "goes with --test"),
    ],
)
def test_what_is_not_there_is_said(site, capsys, typed, says):
    assert main(["reach", "--site", str(site), *typed]) == 2
    assert says in capsys.readouterr().err
