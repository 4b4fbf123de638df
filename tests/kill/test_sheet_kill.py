"""The whole program killed around the moment of a night sheet: each reader is owed it once."""

from __future__ import annotations

import email
import email.policy
import json
import os
import random
import socket
import subprocess
import sys
import threading
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from aiosmtpd.controller import Controller

from api.records.outbox import MessageKind, newest_messages
from api.records.session import open_records, reading
from api.site_files import read_site

pytestmark = [pytest.mark.kill, pytest.mark.service, pytest.mark.slow]

ROOT = Path(__file__).parents[2]
KILLS = 5


class Postbox:
    """Counts who was sent a night sheet; other mail is taken and forgotten."""

    def __init__(self) -> None:
        self.sheets: Counter[str] = Counter()

    async def handle_DATA(self, server: object, session: object, envelope: object) -> str:  # noqa: N802
        content = envelope.content  # type: ignore[attr-defined]
        mail = email.message_from_bytes(content, policy=email.policy.default)
        if str(mail["Subject"]).startswith(("Tonight at", "Esta noche en")):
            self.sheets.update(envelope.rcpt_tos)  # type: ignore[attr-defined]
        return "250 kept"


def test_kills_around_a_sheet_lose_none_and_owe_none_twice(tmp_path, mosquitto_port, unused_port):
    moments = random.Random(int(os.environ.get("KILL_SEED", "11")))
    pause = threading.Event()
    site, faults = read_site(ROOT / "demo_data" / "site.toml")
    assert site is not None, faults
    due = datetime.now(UTC).astimezone(ZoneInfo(site.site.time_zone)) - timedelta(minutes=1)
    with socket.create_server(("127.0.0.1", 0)) as free:
        mail_port: int = free.getsockname()[1]
    box = Postbox()
    controller = Controller(box, hostname="127.0.0.1", port=mail_port)
    controller.start()
    data = tmp_path / "data"
    command = [
        *(sys.executable, "-m", "api.cli", "run", "--json"),
        *("--site", str(ROOT / "demo_data" / "site.toml"), "--data", str(data)),
        *("--broker", f"mqtt://127.0.0.1:{mosquitto_port}"),
        *("--listen", f"127.0.0.1:{unused_port}"),
    ]
    environment = os.environ | {
        "GRAFTVIGIL_SHEET_EVENING": f"{due:%H:%M}",
        "GRAFTVIGIL_SHEET_MORNING": "",
        "GRAFTVIGIL_MAIL_SERVER": f"smtp://127.0.0.1:{mail_port}",
    }

    def start() -> subprocess.Popen[str]:
        program = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env=environment,
        )
        assert program.stdout is not None
        assert "pages" in json.loads(program.stdout.readline())
        return program

    def kill(program: subprocess.Popen[str]) -> None:
        program.kill()
        program.wait(10)
        assert program.stdout is not None
        program.stdout.close()

    try:
        for _ in range(KILLS):
            program = start()
            pause.wait(moments.uniform(0.0, 1.5))
            kill(program)
        program = start()
        records = data / "records.sqlite"
        rows = []
        for _ in range(900):
            engine = open_records(records)
            with reading(engine) as db:
                found = newest_messages(db, most=200)
            engine.dispose()
            rows = [row for row in found if row.kind is MessageKind.SHEET]
            if rows and all(row.sent_at is not None for row in rows):
                break
            pause.wait(0.1)
        kill(program)
    finally:
        controller.stop()
    assert rows
    assert len({row.cause for row in rows}) == 1
    assert len({row.person for row in rows}) == len(rows)
    assert all(row.sent_at is not None for row in rows)
    # Every reader has it; a kill between sending and recording sends one message once more.
    assert len(box.sheets) == len(rows)
    assert sum(box.sheets.values()) - len(rows) <= KILLS
