"""The commands that pages show, and the places where they are run as they stand.

DEVELOPERS.md, "Commands on a page", has the words behind ``sh`` and ``console``.
"""

from __future__ import annotations

import contextlib
import os
import re
import select
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import pytest

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
FENCE = re.compile(
    r"^(?P<indent> {0,3})```(?P<info>[^\n`]*)\n(?P<text>.*?)^ *```$"
    r"|^<!-- before(?P<words>[^\n]*)\n(?P<before>.*?)^-->$",
    re.M | re.S,
)
LONGEST_S = 120
SHARED = {"demo": "sh deploy/demo.sh", "run": "graftvigil run --site site.toml"}
"""Places that several pages share, and the command that runs there all the while."""

# Nothing else answers in a network of its own, so every port is free and no name leads outside.
LOOPBACK_UP = (
    "import fcntl, socket, struct; fcntl.ioctl(socket.socket(), 0x8914, "
    "struct.pack('16sh14x', b'lo', 0x41))"
)


def matches(shown: str, said: str) -> bool:
    """Return whether a command said what the page shows; … stands for anything left out."""
    pattern = ""
    for line in shown.rstrip("\n").split("\n"):
        if line.strip() == "…":
            pattern += r"(?:[^\n]*\n)*"
        else:
            pattern += r"[^\n]*".join(map(re.escape, line.split("…"))) + r"\n"
    return re.fullmatch(pattern, said.rstrip("\n") + "\n") is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One fenced block of commands of a page."""

    page: str
    line: int
    text: str
    console: bool
    place: str
    stays: bool
    exits: frozenset[int]
    not_run: str
    run_by: str
    file: str

    @property
    def where(self) -> str:
        return f"{self.page}:{self.line}"

    def is_as_shown(self, shown: str, said: str) -> bool:
        """Return whether a command said what the page shows."""
        return matches(shown, said)

    def steps(self) -> list[tuple[str, str | None]]:
        """Return each command with the output that the page shows; None: it shows none."""
        if self.file:
            return [(f"cat > {self.file} <<'END_OF_FILE'\n{self.text}END_OF_FILE", None)]
        if not self.console:
            return [(self.text, None)]
        steps: list[tuple[str, str | None]] = []
        for part in re.split(r"^\$ ", self.text, flags=re.M)[1:]:
            command, output = re.fullmatch(r"((?:[^\n]*\\\n)*[^\n]*)\n(.*)", part, re.S).groups()
            steps.append((command, output))
        assert steps, f"{self.where}: a console block has no line that begins with $"
        return steps


class NotUnderstood(ValueError):
    """The words behind ``sh`` or ``console`` are none of DEVELOPERS.md."""


def read_block(page: str, line: int, info: str, text: str) -> Block:
    """Return a block by the words of its fence."""
    kind, _, words = info.strip().partition(" ")
    words, _, not_run = words.partition("not-run:")
    found = {"in": "", "exit": "0", "run-by": "", "file": ""}
    stays = False
    for word in words.split():
        name, _, value = word.partition("=")
        if word == "stays":
            stays = True
        elif value and name in found:
            found[name] = value
        else:
            msg = f"{page}:{line}: {word!r} is no word of a fence; DEVELOPERS.md has them"
            raise NotUnderstood(msg)
    if found["in"] and found["in"] not in SHARED:
        msg = f"{page}:{line}: in={found['in']}: there are {', '.join(SHARED)}"
        raise NotUnderstood(msg)
    if "not-run:" in info and len(not_run.split()) < 2:
        msg = f"{page}:{line}: not-run: gives no reason"
        raise NotUnderstood(msg)
    return Block(
        page=page,
        line=line,
        text=text,
        console=kind == "console",
        place=found["in"],
        stays=stays,
        exits=frozenset(int(code) for code in found["exit"].split("|")),
        not_run=not_run.strip(),
        run_by=found["run-by"],
        file=found["file"],
    )


def blocks_of(page: Path) -> list[Block]:
    """Return the blocks of commands of a page, in its order."""
    text = page.read_text(encoding="utf-8")
    blocks = []
    for found in FENCE.finditer(text):
        if found["before"] is not None:
            info, inside = f"sh{found['words']}", found["before"]
        else:
            info, inside = found["info"], found["text"]
            inside = re.sub(rf"^{found['indent']}", "", inside, flags=re.M)
        if info.split(" ")[0] in {"sh", "console"} or " file=" in info:
            line = text.count("\n", 0, found.start()) + 1
            blocks.append(read_block(str(page.relative_to(ROOT)), line, info, inside))
    return blocks


class Place:
    """A scratch clone with a shell in it, in a network of its own."""

    def __init__(self, folder: Path, path: str, *, opening: str = "") -> None:
        self._notes = folder.with_name(folder.name + "-notes")
        self._notes.mkdir()
        self._count = 0
        self._staying: list[tuple[int, Path, str]] = []
        self._shell = subprocess.Popen(
            ["unshare", "--map-root-user", "--net", "sh"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd=folder,
            env={
                **{k: v for k, v in os.environ.items() if not k.startswith("GRAFTVIGIL_")},
                "PATH": path,
                "CURL_HOME": str(folder),
                "HOME": str(folder),
                "COLUMNS": "80",
            },
            text=True,
            start_new_session=True,
        )
        self.opening = opening
        self.is_over = False
        try:
            self._tell(f'"{sys.executable}" -S -c "{LOOPBACK_UP}"; echo $?')
            assert self._hear() == "0", "no network of its own"
            if opening:
                self.stay(opening)
        except BaseException:
            self.leave()
            raise

    def run(self, command: str, *, exits: frozenset[int] = frozenset({0})) -> tuple[int, str]:
        """Run commands in the shell; return the exit code, and all that they said."""
        unit, out = self._unit(command)
        stop = "set -e; " if exits == {0} else ""
        self._tell(f'{stop}. "{unit}" >"{out}" 2>&1 </dev/null; echo $?; set +e')
        heard = self._hear()
        code = int(heard) if heard else self._shell.wait(10)
        self.is_over = not heard  # the shell ended with the command that failed
        return code, out.read_text(encoding="utf-8")

    def stay(self, command: str) -> str:
        """Start a command that goes on until the place is left; return what it said by then."""
        unit, out = self._unit(f"exec {command}")
        self._tell(f'( . "{unit}" ) >"{out}" 2>&1 </dev/null & echo $!')
        pid = int(self._hear())
        pause = threading.Event()
        for _ in range(LONGEST_S * 10):
            said = out.read_text(encoding="utf-8")
            if re.search(r"^(?:Pages: .*|\{\"pages\": .*)\n", said, re.M):
                self._staying.append((pid, out, command))
                return said
            if not Path(f"/proc/{pid}").exists():
                break
            pause.wait(0.1)
        pytest.fail(f"{command}: it did not say where its pages are:\n{said}")

    def leave(self) -> None:
        """Stop what still runs; it is to end well."""
        ended = []
        for pid, out, command in reversed(self._staying):
            os.kill(pid, signal.SIGTERM)
            if self.is_over:
                continue  # nobody is left to wait for it; the test has failed already
            self._tell(f"wait {pid}; echo $?")
            ended.append((command, self._hear(), out.read_text(encoding="utf-8")))
        with contextlib.suppress(BrokenPipeError):
            self._shell.stdin.close()
        self._shell.wait(20)
        self._shell.stdout.close()
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self._shell.pid, signal.SIGTERM)  # what a page left running behind it
        for command, code, said in ended:
            assert code == "0", f"{command}: ended with {code}:\n{said}"

    def _unit(self, command: str) -> tuple[Path, Path]:
        self._count += 1
        unit = self._notes / f"{self._count}.sh"
        unit.write_text(command + "\n", encoding="utf-8")
        out = self._notes / f"{self._count}.out"
        out.touch()
        return unit, out

    def _tell(self, line: str) -> None:
        self._shell.stdin.write(line + "\n")
        self._shell.stdin.flush()

    def _hear(self) -> str:
        ready, _, _ = select.select([self._shell.stdout], [], [], LONGEST_S)
        assert ready, f"no end after {LONGEST_S} s"
        return self._shell.stdout.readline().strip()


@pytest.fixture(scope="session")
def command_path(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A search path on which `graftvigil` is there at once: see ready_command.py."""
    folder = tmp_path_factory.mktemp("ready")
    beside = Path(__file__).parent
    real = Path(sys.executable).with_name("graftvigil")
    command = folder / "graftvigil"
    command.write_text(
        "#!/bin/sh\n"
        "# What stays or speaks to a server runs by itself; the rest in the one that is ready.\n"
        f'case " $* " in " run "* | " demo "* | *" --test "*) exec "{real}" "$@" ;; esac\n'
        f'exec "{sys.executable}" -I -S "{beside}/ready_command.py" ask "{folder}/socket" "$@"\n',
        encoding="utf-8",
    )
    command.chmod(0o755)
    ready = subprocess.Popen(
        [sys.executable, str(beside / "ready_command.py"), "serve", str(folder / "socket")],
        stdout=subprocess.PIPE,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        text=True,
    )
    assert ready.stdout.readline() == "ready\n"
    yield f"{folder}:/usr/local/bin:/usr/bin:/bin:/usr/sbin:/sbin"
    ready.terminate()
    ready.wait(20)
    ready.stdout.close()


@pytest.fixture(scope="module")
def places(
    command_path: str, filled: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[object]:
    """What makes a place for a page, or gives the shared one of a name, and leaves those."""
    shared: dict[str, Place] = {}

    def clone(name: str, *, night: bool) -> Path:
        folder = tmp_path_factory.mktemp(name or "page")
        shutil.copytree(ROOT / "demo_data" / "plans", folder / "plans")
        shutil.copy(ROOT / "demo_data" / "site.toml", folder / "site.toml")
        (folder / "demo_data").symlink_to(ROOT / "demo_data")
        (folder / ".curlrc").write_text("fail-with-body\n", encoding="utf-8")
        (folder / ".venv" / "bin").mkdir(parents=True)
        (folder / ".venv" / "bin" / "graftvigil").symlink_to(
            Path(command_path.split(":")[0]) / "graftvigil"
        )
        (folder / "deploy").mkdir()
        passed_on = {f"deploy/{one.name}": f'sh "{one}"' for one in (ROOT / "deploy").glob("*.sh")}
        passed_on[".venv/bin/python"] = f'"{sys.executable}"'
        for name, real in passed_on.items():
            (folder / name).write_text(f'#!/bin/sh\nexec {real} "$@"\n', encoding="utf-8")
            (folder / name).chmod(0o755)
        if night:
            (folder / "graftvigil-data").mkdir()
            for kept in ("readings", "records"):
                shutil.copy(filled / f"{kept}.db", folder / "graftvigil-data" / f"{kept}.sqlite")
        return folder

    def place(name: str) -> Place:
        if not name:
            return Place(clone("page", night=True), command_path)
        if name in shared and shared[name].is_over:
            shared.pop(name).leave()
        if name not in shared:
            shared[name] = Place(clone(name, night=False), command_path, opening=SHARED[name])
        return shared[name]

    def leave_all_but(names: frozenset[str]) -> None:
        for name in shared.keys() - names:
            shared.pop(name).leave()

    yield SimpleNamespace(place=place, leave_all_but=leave_all_but)
    leave_all_but(frozenset())


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the clone."""
    return ROOT


@pytest.fixture(scope="session")
def pages() -> list[Path]:
    """Every page that people read."""
    return PAGES


@pytest.fixture(scope="session")
def blocks() -> list[Block]:
    """Every block of commands of every page."""
    return [block for page in PAGES for block in blocks_of(page)]


@pytest.fixture(scope="session")
def convention() -> SimpleNamespace:
    """How a block is read and compared, to be tried itself."""
    return SimpleNamespace(read=read_block, NotUnderstood=NotUnderstood, matches=matches)


@pytest.fixture(scope="session")
def outside_of_fences():
    """Return what gives the lines of a page that stand in a block, but in none of commands."""

    def lines(page: Path) -> list[tuple[int, str]]:
        found = []
        fence = ""
        for number, line in enumerate(page.read_text(encoding="utf-8").split("\n"), 1):
            mark = re.match(r" {0,3}```(\w*)", line)
            if mark:
                fence = "" if fence else mark[1] or "none"
            elif fence not in {"sh", "console", "python"} and (fence or line.startswith("    ")):
                found.append((number, line))
        return found

    return lines


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Make a test of each page that has commands to be run here, with the places needed later.

    Those beside the demo come first: it is at work all the while, and is left after the last.
    """
    if "shown_page" in metafunc.fixturenames:
        shown = {
            str(page.relative_to(ROOT)): [
                block for block in blocks_of(page) if not (block.not_run or block.run_by)
            ]
            for page in PAGES
        }
        order = sorted(
            (page for page, own in shown.items() if own),
            key=lambda page: not any(block.place == "demo" for block in shown[page]),
        )
        values = [
            (
                shown[page],
                frozenset(block.place for later in order[at + 1 :] for block in shown[later]),
            )
            for at, page in enumerate(order)
        ]
        metafunc.parametrize("shown_page", values, ids=order)
