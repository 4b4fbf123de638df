"""A gateway on this machine that takes messages over HTTP, and a nursery with more people."""

from __future__ import annotations

import json
import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from pydantic import SecretStr

from api.alerts.channels import Channels
from rules.model.site import Site


@dataclass
class Gateway:
    """What a real HTTP gateway on this machine was given; it can be told to refuse."""

    port: int = 0
    refuses: bool = False
    given: list[dict[str, str]] = field(default_factory=list)

    def address(self) -> SecretStr:
        return SecretStr(f"json://127.0.0.1:{self.port}/say")

    def lines(self) -> list[str]:
        return [one["title"] for one in self.given]


@pytest.fixture
def gateway() -> Iterator[Gateway]:
    sink = Gateway()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            if sink.refuses:
                self.send_response(503)
            else:
                sink.given.append(json.loads(body))
                self.send_response(200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *args: object) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    sink.port = server.server_port
    serving = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    serving.start()
    yield sink
    server.shutdown()
    server.server_close()
    serving.join()


@pytest.fixture
def staffed(open_nursery: Callable, small_site: Site, postbox, gateway: Gateway) -> Callable:
    """Open the small nursery with changes to its people, mail and gateway; the watch has begun."""

    def opened(*, site: dict[str, object] | None = None, **people: dict[str, object]):
        told = small_site.model_dump(mode="json")
        for person in told["person"]:
            person.update(people.pop(person["id"], {}))
        told["person"] += [{"id": name, "name": name, **more} for name, more in people.items()]
        channels = Channels(
            SecretStr(f"smtp://127.0.0.1:{postbox.port}"),
            "watch@small.example.invalid",
            reach={"night-phone": gateway.address(), "lead-phone": gateway.address()},
        )
        nursery = open_nursery(channels)
        nursery.site = Site.model_validate(told | (site or {}))
        nursery.shut()
        nursery = nursery.anew()
        closing.append(nursery)
        nursery.watch.turn()
        return nursery

    closing: list[object] = []
    yield opened
    for nursery in closing:
        nursery.shut()


@pytest.fixture
def broker_port(tmp_path) -> Iterator[int]:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    conf = tmp_path / "lamp.conf"
    conf.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    broker = subprocess.Popen(["/usr/sbin/mosquitto", "-c", str(conf)], stderr=subprocess.DEVNULL)
    pause = threading.Event()
    for _ in range(300):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                break
        pause.wait(0.02)
    yield port
    broker.terminate()
    broker.wait(10)
