"""The proxy of the compose files: real nginx with our file, in front of real pages."""

from __future__ import annotations

import socket
import ssl
import subprocess
import threading
import urllib.error
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.service

FOLDER = Path(__file__).parents[3] / "deploy" / "compose"
WAIT_S = 20


@pytest.fixture(scope="module")
def secrets(tmp_path_factory) -> Path:
    """A certificate and its key, as our script makes them."""
    made = tmp_path_factory.mktemp("compose") / "secrets"
    script = ["sh", str(FOLDER / "make_secrets.sh"), "localhost", str(made)]
    subprocess.run(script, capture_output=True, check=True)
    return made


@pytest.fixture(scope="module")
def proxy(secrets, looked_at, tmp_path_factory) -> Iterator[int]:
    """A real nginx with our file in front of real pages: its places are the test's, no more."""
    own = tmp_path_factory.mktemp("proxy")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    text = (FOLDER / "nginx.conf").read_text(encoding="utf-8")
    for was, now in {
        "/tmp/": f"{own}/",  # first: what comes in may lie there too
        "listen 8443 ": f"listen 127.0.0.1:{port} ",
        "http://graftvigil:8484": looked_at,
        "/run/secrets/proxy-certificate": f"{secrets}/proxy.crt",
        "/run/secrets/proxy-key": f"{secrets}/proxy.key",
        "/dev/stderr": f"{own}/errors",
    }.items():
        assert was in text, was
        text = text.replace(was, now)
    conf = own / "nginx.conf"
    conf.write_text(text)
    asked = ["/usr/sbin/nginx", "-p", str(own), "-c", str(conf), "-e", f"{own}/errors"]
    tried = subprocess.run([*asked, "-t"], capture_output=True, text=True, check=False)
    assert tried.returncode == 0, tried.stderr
    server = subprocess.Popen([*asked, "-g", "daemon off;"], stderr=subprocess.DEVNULL)
    pause = threading.Event()
    for _ in range(WAIT_S * 20):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            break
        except OSError:
            pause.wait(0.05)
    yield port
    server.terminate()
    server.wait(timeout=WAIT_S)


def test_pages_come_through_the_proxy_by_tls_alone(proxy, secrets):
    context = ssl.create_default_context(cafile=secrets / "proxy.crt")
    with urllib.request.urlopen(
        f"https://localhost:{proxy}/cautions", timeout=WAIT_S, context=context
    ) as answer:
        page = answer.read().decode()
        assert answer.status == 200
        assert answer.headers["strict-transport-security"].startswith("max-age=")
        assert "nginx/" not in answer.headers["server"]
    assert "<h1>" in page
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(f"http://localhost:{proxy}/cautions", timeout=WAIT_S)
    assert refused.value.code == 400
    refused.value.close()


def test_an_open_page_hears_at_once_through_the_proxy(proxy, secrets):
    context = ssl.create_default_context(cafile=secrets / "proxy.crt")
    with urllib.request.urlopen(
        f"https://localhost:{proxy}/events", timeout=WAIT_S, context=context
    ) as stream:
        assert stream.headers["content-type"].startswith("text/event-stream")
        assert stream.readline()
