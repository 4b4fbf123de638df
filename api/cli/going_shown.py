"""Shows on a terminal how far something has come, and ends it well on Ctrl-C or SIGTERM."""

from __future__ import annotations

import contextlib
import signal
import threading
from typing import TYPE_CHECKING

from api.backup.going import Going
from api.backup.trouble import Stopped

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextlib.contextmanager
def going_shown() -> Iterator[Going]:
    """Give what is told how far it has come; a bar stands on a terminal.

    Asked to stop, it ends at the next step with Stopped, and takes away what it had begun.
    """
    from tqdm import tqdm

    stop = threading.Event()
    bar = tqdm(leave=False, disable=None, unit_scale=True)

    def moved(what: str, done: int, whole: int) -> None:
        bar.set_description(what, refresh=False)
        bar.total = whole
        bar.update(done - bar.n)

    before = {
        number: signal.signal(number, lambda *_: stop.set())
        for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        with bar:
            yield Going(stop=stop, moved=moved)
    except KeyboardInterrupt as trouble:
        raise Stopped from trouble
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
