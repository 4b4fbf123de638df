"""A real mosquitto on a port of its own, that keeps for an absent client whatever is sent."""

from __future__ import annotations

import os
import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def unused_port() -> int:
    return free_port()


@pytest.fixture
def start_mosquitto(tmp_path) -> Callable[[int], subprocess.Popen[bytes]]:
    """A mosquitto on a given port that writes its sessions to disk at every change.

    Started again it goes on from there. Whoever starts it ends it.
    """

    def start(port: int) -> subprocess.Popen[bytes]:
        folder = tmp_path / "mosquitto"
        folder.mkdir(exist_ok=True)
        conf = folder / "mosquitto.conf"
        conf.write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\nuser root\n"
            "max_queued_messages 0\nmax_inflight_messages 0\n"
            f"persistence true\npersistence_location {folder}/\n"
            "autosave_on_changes true\nautosave_interval 1\n"
        )
        broker = subprocess.Popen(
            ["/usr/sbin/mosquitto", "-c", str(conf)], stderr=subprocess.DEVNULL
        )
        wait_for_port(port)
        return broker

    return start


@pytest.fixture
def mosquitto_port(tmp_path) -> Iterator[int]:
    port = free_port()
    conf = tmp_path / "mosquitto.conf"
    conf.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\n"
        "max_queued_messages 0\nmax_inflight_messages 0\n"
    )
    broker = subprocess.Popen(["/usr/sbin/mosquitto", "-c", str(conf)], stderr=subprocess.DEVNULL)
    try:
        wait_for_port(port)
        yield port
    finally:
        broker.terminate()
        broker.wait(10)


def wait_for_port(port: int) -> None:
    pause = threading.Event()
    for _ in range(300):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        pause.wait(0.02)
    pytest.fail(f"nothing listens on port {port}")


@pytest.fixture
def kill_tally() -> Callable[[str], None]:
    """Count a kill of a part by its name, in the file that KILL_TALLY names, if any."""

    def count(part: str) -> None:
        if (named := os.environ.get("KILL_TALLY")) is not None:
            with Path(named).open("a", encoding="utf-8") as tally:
                tally.write(part + "\n")

    return count
