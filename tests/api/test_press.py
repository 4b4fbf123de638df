"""Pictures are made beside us: whatever happens to the renderer, we go on and start another."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from api.drawing.press import CannotPrint, Press

DRAWN = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="8" height="8">'
    '<rect width="8" height="8"/></svg>'
)
RENDERER = (sys.executable, "-m", "api.drawing.printing")
ROOT = Path(__file__).parents[2]


@pytest.fixture
def press():
    one = Press(RENDERER, longest_s=30.0)
    yield one
    one.close()


def children() -> list[int]:
    own = os.getpid()
    listed = Path(f"/proc/{own}/task").glob("*/children")
    return [int(one) for file in listed for one in file.read_text().split()]


def renderers() -> list[int]:
    return [
        one
        for one in children()
        if b"api.drawing.printing" in Path(f"/proc/{one}/cmdline").read_bytes()
    ]


def test_one_renderer_makes_all_pictures(press):
    before = set(renderers())
    first = press.print({"svg_string": DRAWN})
    again = press.print({"svg_string": DRAWN})
    assert first.startswith(b"\x89PNG\r\n")
    assert again == first
    assert len(set(renderers()) - before) == 1


def test_what_cannot_be_drawn_is_told_and_the_next_picture_is_made(press):
    with pytest.raises(ValueError, match="ValueError"):
        press.print({"svg_string": "<svg"})
    with pytest.raises(ValueError, match="unexpected"):
        press.print({"svg_string": DRAWN, "never": "heard of"})
    assert press.print({"svg_string": DRAWN}).startswith(b"\x89PNG")


def test_a_renderer_that_is_killed_is_replaced(press):
    before = set(renderers())
    press.print({"svg_string": DRAWN})
    (one,) = set(renderers()) - before
    os.kill(one, signal.SIGKILL)
    made = []
    for _ in range(2):  # it may be noticed only when it is asked
        try:
            made.append(press.print({"svg_string": DRAWN}))
        except CannotPrint:
            continue
    assert made
    assert made[-1].startswith(b"\x89PNG")


def test_one_that_never_answers_is_ended_in_time():
    slow = Press((sys.executable, "-c", "import time; time.sleep(600)"), longest_s=0.3)
    with pytest.raises(CannotPrint, match=r"more than 0\.3 s"):
        slow.print({"svg_string": DRAWN})
    slow.close()


def test_one_that_cannot_be_started_is_told():
    with pytest.raises(CannotPrint, match="can't be started"):
        Press(("/nowhere/renderer",), longest_s=1.0).print({"svg_string": DRAWN})


def test_many_threads_each_get_their_own_picture(press):
    sizes = range(2, 18)
    made: dict[int, bytes] = {}

    def draw(size: int) -> None:
        made[size] = press.print({"svg_string": DRAWN, "width": size, "height": size})

    threads = [threading.Thread(target=draw, args=(size,)) for size in sizes]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    widths = {size: int.from_bytes(png[16:20]) for size, png in made.items()}
    assert widths == {size: size for size in sizes}


def test_it_ends_when_the_program_is_killed():
    """However we end, no renderer stays behind."""
    program = (
        "import os, signal\n"
        "from api.drawing.press import PRESS\n"
        f"PRESS.print({{'svg_string': {DRAWN!r}}})\n"
        "print(PRESS._running.pid, flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, cwd=ROOT, check=False
    )
    assert ran.returncode == -signal.SIGKILL, ran.stderr
    left = Path(f"/proc/{int(ran.stdout)}")
    pause = threading.Event()
    for _ in range(200):
        if not left.exists() or "\nState:\tZ" in (left / "status").read_text():
            break
        pause.wait(0.05)
    else:
        pytest.fail("the renderer is still there")
