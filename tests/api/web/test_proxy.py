"""The proxies that we hand out: real nginx with our files, in front of real pages."""

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


def in_compose(secrets: Path, own: Path, port: int, pages: str) -> str:
    """The containers' file, with places of the test's own and no more."""
    return turned(
        (FOLDER / "nginx.conf").read_text(encoding="utf-8"),
        {
            "/tmp/": f"{own}/",  # first: what comes in may lie there too
            "listen 8443 ": f"listen 127.0.0.1:{port} ",
            "http://graftvigil:8484": pages,
            "/run/secrets/proxy-certificate": f"{secrets}/proxy.crt",
            "/run/secrets/proxy-key": f"{secrets}/proxy.key",
            "/dev/stderr": f"{own}/errors",
        },
    )


def on_a_board(secrets: Path, own: Path, port: int, pages: str) -> str:
    """The board's site, inside what Debian's nginx.conf puts around it."""
    site = turned(
        (FOLDER.parent / "nginx" / "graftvigil.conf").read_text(encoding="utf-8"),
        {
            "listen 80;": f"listen unix:{own}/plain;",
            "listen 443 ": f"listen 127.0.0.1:{port} ",
            "http://127.0.0.1:8484": pages,
            "/etc/ssl/graftvigil/pages.crt": f"{secrets}/proxy.crt",
            "/etc/ssl/graftvigil/pages.key": f"{secrets}/proxy.key",
        },
    )
    folders = "".join(
        f"{one}_temp_path {own}/{one};" for one in ("proxy", "fastcgi", "uwsgi", "scgi")
    )
    return (
        f"pid {own}/nginx.pid; events {{}} http {{ access_log off; {folders} "
        f"client_body_temp_path {own}/body; {site} }}"
    )


def turned(text: str, places: dict[str, str]) -> str:
    for was, now in places.items():
        assert was in text, was
        text = text.replace(was, now)
    return text


@pytest.fixture(scope="module", params=[in_compose, on_a_board])
def proxy(request, secrets, looked_at, tmp_path_factory) -> Iterator[int]:
    """A real nginx with our file in front of real pages."""
    own = tmp_path_factory.mktemp("proxy")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    conf = own / "nginx.conf"
    conf.write_text(request.param(secrets, own, port, looked_at))
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
