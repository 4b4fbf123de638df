"""A disk that fills up and a disk that takes no writing, as the machine itself makes them.

Both are small file systems in memory, mounted in a name space of their own (unshare), so that no
root is needed and nothing else sees them.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest

pytestmark = [pytest.mark.kill, pytest.mark.service]

PROCESS = Path(__file__).with_name("collector_process.py")
ROOT = Path(__file__).parents[2]
MESSAGES = 20_000
UNSHARE = ["unshare", "--map-root-user", "--mount", "--", "sh", "-c"]


@pytest.fixture
def on_small_disk(tmp_path, mosquitto_port) -> Iterator[subprocess.Popen[str]]:
    """A collector whose readings file lies on a disk of 6 MB, of which a filler takes 5."""
    disk = tmp_path / "disk"
    disk.mkdir()
    script = (
        'mount -t tmpfs -o size=6m none "$1" && head -c 5m /dev/zero >"$1/filler" && '
        'exec "$2" "$3" mqtt "$4" "$1/readings.db"'
    )
    process = subprocess.Popen(
        [*UNSHARE, script, "sh", str(disk), sys.executable, str(PROCESS), str(mosquitto_port)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    yield process
    process.kill()
    process.wait(10)
    process.stdout.close()


def test_a_full_disk_loses_nothing_and_goes_on_when_there_is_room(
    on_small_disk, tmp_path, mosquitto_port
):
    inside = Inside(on_small_disk.pid, tmp_path / "disk")
    first_ms = int(time.time() * 1000) - MESSAGES
    publisher = paho.Client(paho.CallbackAPIVersion.VERSION2)
    publisher.max_inflight_messages_set(1000)
    publisher.connect("127.0.0.1", mosquitto_port)
    publisher.loop_start()
    sent = [
        publisher.publish("yard/sky", json.dumps({"ts": first_ms + n, "light": n % 3000}), qos=1)
        for n in range(MESSAGES)
    ]
    for each in sent:
        each.wait_for_publish(60)
    publisher.disconnect()
    publisher.loop_stop()
    pause = threading.Event()
    seen, still = -1, 0
    while still < 5:  # until it gets no further
        pause.wait(0.3)
        now = int(inside.python(LAST_SEQUENCE))
        seen, still = now, still + 1 if now == seen else 0
    assert 0 < seen < MESSAGES
    assert int(inside.python(ROOM)) < 256 * 1024  # what is left is less than a commit needs
    inside.python('import sys, pathlib; pathlib.Path(sys.argv[1], "filler").unlink()')
    for _ in range(100):
        if int(inside.python(LAST_SEQUENCE)) >= MESSAGES:
            break
        pause.wait(0.2)
    assert on_small_disk.poll() is None
    found, count = json.loads(inside.python(EVERYTHING))
    assert sorted(found) == [[first_ms + n, float(n % 3000)] for n in range(MESSAGES)]
    assert count == MESSAGES


class Inside:
    """Runs a line of Python where the small disk is seen; its first argument is the disk."""

    def __init__(self, pid: int, disk: Path) -> None:
        self.command = [
            *("nsenter", "--target", str(pid), "--user", "--mount", "--preserve-credentials"),
            *(f"--wd={ROOT}", "--", sys.executable, "-c"),
        ]
        self.disk = disk

    def python(self, code: str) -> str:
        return subprocess.run(
            [*self.command, code, str(self.disk)], check=True, capture_output=True, text=True
        ).stdout


# Opening it as a store would write, and there is no room.
LAST_SEQUENCE = """
import sqlite3, sys
db = sqlite3.connect(f"file:{sys.argv[1]}/readings.db?mode=ro", uri=True, timeout=10)
print(db.execute("SELECT coalesce(max(sequence), 0) FROM reading").fetchone()[0])
"""
ROOM = "import os, sys; found = os.statvfs(sys.argv[1]); print(found.f_bavail * found.f_bsize)"
EVERYTHING = """
import json, pathlib, sys
from collector.stores.sqlite import SqliteStore
store = SqliteStore(pathlib.Path(sys.argv[1], "readings.db"))
print(json.dumps([[[r.at_ms, r.value] for r in store.since(0, 10**6)], store.count()]))
"""


@pytest.mark.parametrize("used_before", [False, True])
def test_a_read_only_disk_is_told_at_the_start_with_what_to_do(tmp_path, used_before, unused_port):
    disk = tmp_path / "disk"
    disk.mkdir()
    use = f'"$2" -c "{MAKE_STORE}" "$1/readings.sqlite" && touch "$1/lock" &&'
    make = use if used_before else ""
    script = (
        f'mount -t tmpfs none "$1" && {make} mount -o remount,ro "$1" && '
        'exec "$2" -m api.cli run --site "$3" --data "$1" --listen "127.0.0.1:$4"'
    )
    site = ROOT / "demo_data" / "site.toml"
    said = subprocess.run(
        [*UNSHARE, script, "sh", str(disk), sys.executable, str(site), str(unused_port)],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=ROOT,
        check=False,
    )
    assert said.returncode == 2
    assert "Traceback" not in said.stderr
    assert "Read-only file system" in said.stderr
    assert str(disk) in said.stderr


MAKE_STORE = (
    "import sys, pathlib; from collector.stores.sqlite import SqliteStore; "
    "SqliteStore(pathlib.Path(sys.argv[1])).close()"
)
