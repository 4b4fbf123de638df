"""Has pictures made in a process of its own, started when one is first asked for.

The renderer holds the interpreter while it works, 50 ms a picture: in our own process each message
that is being sent would wait for it at every line of its talk with a mail server. And should a
drawing ever bring the renderer down, the watch is not brought down with it.
"""

from __future__ import annotations

import atexit
import json
import subprocess
import sys
import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

LONGEST_S = 20.0


class CannotPrint(Exception):
    """The renderer could not be started, went away, or took too long; the message says which."""


class Press:
    """One renderer, used by one thread at a time; started anew when it has gone.

    `program` is what is run, `longest_s` how long one picture may take.
    """

    def __init__(self, program: tuple[str, ...], *, longest_s: float) -> None:
        self._program = program
        self._longest_s = longest_s
        self._lock = threading.Lock()
        self._running: subprocess.Popen[bytes] | None = None

    def print(self, asked: Mapping[str, object]) -> bytes:
        """Return the picture; ValueError for what can't be drawn, CannotPrint for all else."""
        with self._lock:
            running = self._started()
            late = threading.Timer(self._longest_s, running.kill)
            late.daemon = True
            late.start()
            try:
                head, picture = _answered(running, asked)
            except (OSError, ValueError, EOFError) as trouble:
                self._close()
                msg = f"the renderer ended or took more than {self._longest_s:g} s"
                raise CannotPrint(msg) from trouble
            finally:
                late.cancel()
        if "trouble" in head:
            raise ValueError(str(head["trouble"]))
        return picture

    def close(self) -> None:
        """End the renderer; the next picture starts another one."""
        with self._lock:
            self._close()

    def _started(self) -> subprocess.Popen[bytes]:
        if self._running is not None and self._running.poll() is not None:
            self._close()
        if self._running is None:
            try:
                # A session of its own: Ctrl-C is for us, and it ends when we do.
                self._running = subprocess.Popen(  # noqa: S603 - our own program
                    self._program,
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    start_new_session=True,
                )
            except OSError as trouble:
                msg = f"the renderer can't be started: {trouble.strerror}"
                raise CannotPrint(msg) from trouble
        return self._running

    def _close(self) -> None:
        running, self._running = self._running, None
        if running is None:
            return
        running.kill()
        running.wait()
        for pipe in (running.stdin, running.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:
                    continue  # what was still to be written to it can't be


def _answered(
    running: subprocess.Popen[bytes], asked: Mapping[str, object]
) -> tuple[dict[str, object], bytes]:
    to_it, from_it = running.stdin, running.stdout
    if to_it is None or from_it is None:
        raise EOFError
    to_it.write(json.dumps(asked).encode() + b"\n")
    to_it.flush()
    line = from_it.readline()
    if not line:
        raise EOFError
    head: dict[str, object] = json.loads(line)
    count = head.get("bytes", 0)
    picture = from_it.read(count) if isinstance(count, int) else b""
    if len(picture) != count and "trouble" not in head:
        raise EOFError
    return head, picture


# -P: a folder called api in which somebody happens to stand is not ours.
PRESS = Press((sys.executable, "-P", "-m", "api.drawing.printing"), longest_s=LONGEST_S)
atexit.register(PRESS.close)
