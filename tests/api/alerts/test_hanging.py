"""A gateway that takes the call and never answers holds up nobody who is told by another way."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from pydantic import SecretStr

from api.alerts.channels import Channels
from api.alerts.service import AlertService
from api.records.outbox import newest_messages

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

DRY, DAMP = 71.0, 95.0
PATIENCE_S = 0.5

pytestmark = pytest.mark.service


class Going:
    """A clock that was set by hand and then goes on as clocks do."""

    def __init__(self, nursery) -> None:
        self._nursery = nursery
        self._begun_s = time.monotonic()

    def now(self) -> datetime:
        since = timedelta(seconds=time.monotonic() - self._begun_s)
        return self._nursery.clock.now() + since


@pytest.fixture
def hanging() -> Iterator[tuple[SecretStr, list[float]]]:
    """A gateway that takes every call and answers none, with when it was called."""
    called: list[float] = []
    held: list[socket.socket] = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def take() -> None:
            with contextlib.suppress(OSError):
                while True:
                    held.append(server.accept()[0])
                    called.append(time.monotonic())

        taking = threading.Thread(target=take, daemon=True)
        taking.start()
        port = server.getsockname()[1]
        yield SecretStr(f"json://127.0.0.1:{port}/?cto={PATIENCE_S}&rto={PATIENCE_S}"), called
        server.shutdown(socket.SHUT_RDWR)
        taking.join(5)
        for one in held:
            one.close()


def test_danger_goes_out_by_other_ways_before_one_that_hangs_is_tried_again(
    staffed, gateway, hanging
):
    address, called = hanging
    nursery = staffed(corvin={"email": None, "reach": ["old-phone", "night-phone"]})
    reach = {"old-phone": address, "night-phone": gateway.address()}
    channels = Channels(None, "watch@small.example.invalid", reach=reach)
    alerts = AlertService(
        nursery.book,
        nursery.records,
        Going(nursery),
        channels,
        base_url="http://shed.invalid/",
        slow=timedelta(seconds=PATIENCE_S / 2),
    )
    both = {"MG_07": DRY, "AV_09": DRY}
    for minute, humidity in enumerate([{}, {}, both, both, both, both]):
        nursery.keep(minute, **humidity)
        nursery.close(minute)

    alerts.turn()
    # Two alarms by two ways each: the way that hangs was called once, the other has told both.
    assert len(called) == 1
    assert [line[:5] for line in gateway.lines()] == ["MG-07", "AV-09"]

    for minute in range(6, 10):  # both are over, which is owed by both ways as well
        nursery.keep(minute)
        nursery.close(minute)
    alerts.turn()
    told = gateway.lines()[2:]
    assert len(told) == 2
    assert all("back inside" in line for line in told)
    assert len(called) == 2  # it came last this time, and once

    with nursery.db() as db:
        rows = newest_messages(db, most=99)
    by_old = [row for row in rows if row.channel == "old-phone"]
    assert all(row.sent_at is None and row.gave_up_at is None for row in by_old)
    assert sorted(row.attempts for row in by_old) == [0, 0, 1, 1]  # none is dropped

    channels.reach = {"old-phone": gateway.address(), "night-phone": gateway.address()}
    nursery.clock.turn_by(timedelta(minutes=2))
    alerts.turn()
    told = gateway.lines()[4:]  # it works again, and tells all that waited
    assert sorted(line[:5] for line in told) == ["AV-09", "AV-09", "MG-07", "MG-07"]
    assert len(called) == 2
