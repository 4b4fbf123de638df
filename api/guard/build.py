"""Builds the guard from the settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.guard.direct import Direct
from api.guard.ending import Ending
from api.guard.facts import Senses
from api.guard.heartbeat import Heartbeat
from api.guard.service import Guard
from api.watch.clock import SteadyClock
from rules.vital_delays import DELAYS_S
from rules.vital_facts import MB, HouseRules
from rules.vital_signs import Sign

if TYPE_CHECKING:
    from api.alerts.channels import Channels
    from api.guard.facts import Body
    from api.watch.clock import Clock


def guard_of(body: Body, clock: Clock, channels: Channels) -> Guard:
    """Return what looks after the parts; nothing runs yet."""
    steady, settings = SteadyClock(), body.settings
    guard = Guard(
        Senses(body, clock, steady),
        Direct(body.book, channels, settings.base_url.rstrip("/")),
        HouseRules(disk_low=settings.disk_low_mb * MB, disk_out=settings.disk_out_mb * MB),
        Ending(),
        delays_s={
            **DELAYS_S,
            Sign.BROKER: (float(settings.broker_away_s), DELAYS_S[Sign.BROKER][1]),
        },
    )
    if settings.heartbeat_url is not None:
        guard.heartbeat = Heartbeat(
            settings.heartbeat_url,
            settings.heartbeat_method,
            settings.heartbeat_min * 60,
            guard.is_well,
            steady,
        )
    return guard
