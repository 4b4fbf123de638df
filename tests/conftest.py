"""Profiles of Hypothesis, sources for published values, and no silent skip in CI.

One file because fixtures that several folders share can stand nowhere else.
"""

from __future__ import annotations

import fcntl
import gc
import importlib.util
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import httpx
import psycopg
import pytest
from hypothesis import settings

# Pages are tried open, as the demo's are; whoever tries accounts says so in its settings.
os.environ.setdefault("GRAFTVIGIL_ACCOUNTS", "off")

# A shell that runs us beside others starts us deaf to Ctrl-C, and whatever we start would be too.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

IN_CI = bool(os.environ.get("CI"))

# What is loaded once stays; looking through it again and again took a fifth of the time.
gc.set_threshold(20_000, 20, 100)


def pytest_collection_finish() -> None:
    """Leave all that was loaded for the tests out of what is looked through; tidy up old clocks.

    What was killed under libfaketime leaves shared memory behind, named after its process, and
    faketime fails for the next one that is given the same number.
    """
    gc.collect()
    gc.freeze()
    for left in Path("/dev/shm").glob("*faketime_s*_*"):
        number = left.name.rpartition("_")[2]
        if number.isdigit() and not Path("/proc", number).exists():
            left.unlink(missing_ok=True)


settings.register_profile("quick", max_examples=50, deadline=None, derandomize=False)
settings.register_profile("ci", max_examples=30, deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if IN_CI else "quick")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Refuse a test that claims a published value without naming who published it."""
    nameless = [
        item.nodeid
        for item in items
        for mark in item.iter_markers("published")
        if not (mark.args and isinstance(mark.args[0], str) and mark.args[0].strip())
    ]
    if nameless:
        msg = "published() must name its source: " + ", ".join(nameless)
        raise pytest.UsageError(msg)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """Turn a skip into a failure when CI is set: there, everything a test needs is installed."""
    report = yield
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid}: skipped in CI: {report.longrepr}"
    return report


INFLUX_CONF = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
  dir = "{folder}/meta"
[data]
  dir = "{folder}/data"
  wal-dir = "{folder}/wal"
[http]
  bind-address = "127.0.0.1:{http}"
  log-enabled = false
[monitor]
  store-enabled = false
"""
# InfluxDB 1.6 has no /api/v2/write: a rule gives it one.
NGINX_CONF = """
daemon off;
worker_processes 1;
{user}
pid {folder}/nginx.pid;
error_log {folder}/nginx.log;
events {{ worker_connections 64; }}
http {{
  access_log off;
  client_max_body_size 32m;
  client_body_temp_path {folder}/body;
  proxy_temp_path {folder}/proxy;
  fastcgi_temp_path {folder}/fastcgi;
  uwsgi_temp_path {folder}/uwsgi;
  scgi_temp_path {folder}/scgi;
  server {{
    listen 127.0.0.1:{front};
    location = /api/v2/write {{
      rewrite ^ /write?db=$arg_bucket&precision=$arg_precision? break;
      proxy_pass http://127.0.0.1:{http};
    }}
    location / {{ proxy_pass http://127.0.0.1:{http}; }}
  }}
}}
"""


class InfluxServer:
    """A real InfluxDB 1.6 with a folder of its own, and a real nginx in front of it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.http, self.rpc, self.front = (_free_port() for _ in range(3))
        # Started as root, nginx would become another user, who may not write in the test's folder.
        user = "user root;" if os.getuid() == 0 else ""
        ports = {
            "folder": folder,
            "user": user,
            "http": self.http,
            "rpc": self.rpc,
            "front": self.front,
        }
        (folder / "influx.conf").write_text(INFLUX_CONF.format(**ports), encoding="utf-8")
        (folder / "nginx.conf").write_text(NGINX_CONF.format(**ports), encoding="utf-8")
        self._influxd: subprocess.Popen[bytes] | None = None
        self._nginx: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.front}"

    def start(self) -> None:
        self._influxd = _started("influxd", "-config", str(self.folder / "influx.conf"))
        if self._nginx is None:
            self._nginx = _started(
                "/usr/sbin/nginx", "-p", str(self.folder), "-c", str(self.folder / "nginx.conf")
            )
        pause = threading.Event()
        for _ in range(600):
            if _answers(f"{self.url}/ping"):
                return
            pause.wait(0.05)
        pytest.fail("influxd did not start")

    def kill(self) -> None:
        assert self._influxd is not None
        self._influxd.kill()
        self._influxd.wait(10)

    def stop(self) -> None:
        for process in (self._influxd, self._nginx):
            if process is not None and process.poll() is None:
                process.terminate()
                process.wait(20)

    def ask(self, query: str, *, bucket: str = "") -> bytes:
        fields = urllib.parse.urlencode({"q": query, "db": bucket, "epoch": "ms"})
        with urllib.request.urlopen(f"{self.url}/query", fields.encode(), timeout=10) as answer:
            return answer.read()

    def make_bucket(self, name: str) -> str:
        self.ask(f'CREATE DATABASE "{name}"')
        return name


def _postgresql_programs() -> Path:
    """Return the folder of initdb and postgres: Debian keeps them off the path."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else Path("/usr/bin")


class PostgresqlServer:
    """A real PostgreSQL with a folder of its own; each test makes a database of its own."""

    def __init__(self, folder: Path) -> None:
        self.port = _free_port()
        self._folder = folder
        self._made = 0
        self._server: subprocess.Popen[bytes] | None = None
        # It refuses to run as root.
        self._as_other = {"user": 65534, "group": 65534, "extra_groups": []} if _is_root() else {}
        if _is_root():
            os.chown(folder, 65534, 65534)

    def start(self) -> None:
        programs = _postgresql_programs()
        if not (self._folder / "data").exists():
            subprocess.run(
                [
                    programs / "initdb",
                    *("--auth=trust", "--username=grower", "--encoding=UTF8", "--locale=C"),
                    *("--no-sync", "-D", self._folder / "data"),
                ],
                check=True,
                capture_output=True,
                cwd=self._folder,
                **self._as_other,
            )
        self._server = subprocess.Popen(
            [
                programs / "postgres",
                *("-D", self._folder / "data", "-p", str(self.port)),
                *("-c", "listen_addresses=127.0.0.1"),
                *("-c", f"unix_socket_directories={self._folder}"),
                *("-c", "fsync=off"),  # nobody pulls the plug of the test's server
                # Its worker visits the databases, and one that is visited can't be copied.
                *("-c", "autovacuum=off"),
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            cwd=self._folder,
            **self._as_other,
        )
        pause = threading.Event()
        for _ in range(600):
            try:
                psycopg.connect(self.address("postgres"), connect_timeout=2).close()
            except psycopg.OperationalError:
                pause.wait(0.05)
            else:
                return
        pytest.fail("postgres did not start")

    def address(self, database: str) -> str:
        return f"postgresql://grower@127.0.0.1:{self.port}/{database}"

    def make_database(self) -> str:
        """Make an empty database and return its address."""
        self._made += 1
        name = f"records_{self._made}"
        with psycopg.connect(self.address("postgres"), autocommit=True) as db:
            db.execute(f"CREATE DATABASE {name}")
        return self.address(name)

    def kill(self) -> None:
        assert self._server is not None
        self._server.kill()
        self._server.wait(20)

    def stop(self) -> None:
        if self._server is not None and self._server.poll() is None:
            self._server.send_signal(signal.SIGINT)  # ends sessions that are still open
            self._server.wait(20)


def _is_root() -> bool:
    return os.getuid() == 0


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _started(*command: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def _answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=2) as answer:
            return answer.status == 204
    except OSError:
        return False


@pytest.fixture(scope="session")
def influx_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[InfluxServer]:
    """One InfluxDB for all tests that leave it running; each makes a bucket of its own."""
    server = InfluxServer(tmp_path_factory.mktemp("influx"))
    server.start()
    yield server
    server.stop()


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[PostgresqlServer]:
    """One PostgreSQL for all tests that leave it running."""
    with tempfile.TemporaryDirectory(prefix="graftvigil-postgresql-") as folder:
        server = PostgresqlServer(Path(folder))
        server.start()
        yield server
        server.stop()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.service)])
def records_at(request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    """Where new records are to be opened: what this fixture is asked for is tried in both."""
    if request.param == "sqlite":
        return tmp_path / "deep" / "records.db"
    return request.getfixturevalue("postgresql_server").make_database()


@pytest.fixture
def make_influx_server(tmp_path: Path) -> Iterator[Callable[[], InfluxServer]]:
    """An InfluxDB of the test's own, to be killed or stopped."""
    made: list[InfluxServer] = []

    def make() -> InfluxServer:
        folder = tmp_path / f"influx-{len(made)}"
        folder.mkdir()
        made.append(InfluxServer(folder))
        made[-1].start()
        return made[-1]

    yield make
    for server in made:
        server.stop()


_SCREENS = Path(__file__).parent / "screens"


def _loaded(name: str, file: str) -> ModuleType:
    """Return a module that stands beside the tests of screens, loaded once for all folders."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, _SCREENS / file)
        assert spec is not None
        assert spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@pytest.fixture(scope="session")
def pages_nursery() -> ModuleType:
    """What opens, fills and serves Tern Hollow on its recorded night."""
    return _loaded("pages_nursery", "nursery.py")


@pytest.fixture(scope="session")
def cover_days(pages_nursery: ModuleType) -> ModuleType:
    """What opens and fills Tern Hollow after four hot days."""
    return _loaded("cover_days", "cover_days.py")


@pytest.fixture(scope="session")
def filled_once(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Fill a folder that is only to be copied; of several processes, the first one fills it."""
    share = Path(os.environ.get("TESTS_SHARE") or tmp_path_factory.mktemp("share"))

    def once(name: str, fill: Callable[[Path], object]) -> Path:
        folder, half = share / name, share / f"{name}.half"
        with (share / f"{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not folder.exists():
                shutil.rmtree(half, ignore_errors=True)  # of one that was stopped
                half.mkdir()
                fill(half)
                half.rename(folder)
        return folder

    return once


@pytest.fixture(scope="session")
def filled(pages_nursery: ModuleType, filled_once: Callable[..., Path]) -> Path:
    """A folder into which the recorded night was played, to be copied."""
    return filled_once("night", pages_nursery.fill)


@pytest.fixture
def tern_hollow(pages_nursery: ModuleType, filled: Path, tmp_path: Path) -> Iterator[object]:
    """Tern Hollow at ten past two, with stores of the test's own."""
    opened = pages_nursery.nursery(pages_nursery.copied(filled, tmp_path / "data"))
    yield opened
    opened.close()


@pytest.fixture
def serving(pages_nursery: ModuleType) -> Callable[..., object]:
    """What serves parts in a thread, and gives the address."""
    return pages_nursery.serving


@pytest.fixture
def client(serving: Callable[..., object], tern_hollow) -> Iterator[httpx.Client]:
    """A client that speaks to the real application."""
    with serving(tern_hollow.parts) as address, httpx.Client(base_url=address, timeout=30) as one:
        yield one


@pytest.fixture(scope="session")
def looked_at(
    pages_nursery: ModuleType, filled: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """The address of a Tern Hollow that all tests which only look have in common."""
    opened = pages_nursery.nursery(
        pages_nursery.copied(filled, tmp_path_factory.mktemp("looked-at") / "data")
    )
    with pages_nursery.serving(opened.parts) as address:
        yield address
    opened.close()


class OnlyLooking(httpx.Client):
    """A client that changes nothing, so that what it looks at can be shared."""

    def request(self, method: str, *args: object, **kwargs: object) -> httpx.Response:
        assert method in {"GET", "HEAD"}, "take the fixture `client` to change something"
        return super().request(method, *args, **kwargs)


@pytest.fixture
def looking(looked_at: str) -> Iterator[httpx.Client]:
    """A client for a test that only looks."""
    with OnlyLooking(base_url=looked_at, timeout=30) as one:
        yield one


@pytest.fixture(scope="session")
def four_days(cover_days: ModuleType, filled_once: Callable[..., Path]) -> Path:
    """A folder into which four hot days were played, to be copied."""
    return filled_once("four-days", cover_days.fill)


@pytest.fixture
def hot_bags(
    pages_nursery: ModuleType, cover_days: ModuleType, four_days: Path, tmp_path: Path
) -> Iterator[object]:
    """Tern Hollow after four hot days, with stores of the test's own."""
    opened = cover_days.opened(pages_nursery.copied(four_days, tmp_path / "days"))
    yield opened
    opened.close()
