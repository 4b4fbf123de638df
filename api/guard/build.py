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
    from api.nodes.leases import Leases
    from api.watch.clock import Clock


def guard_of(body: Body, clock: Clock, channels: Channels, leases: Leases | None) -> Guard:
    """Return what looks after the parts; nothing runs yet. `leases`: those of one node of several.

    Of several the one that sees to the nursery speaks; the others look after themselves.
    """
    steady, settings = SteadyClock(), body.settings
    guard = Guard(
        Senses(body, clock, steady),
        Direct(body.book, channels, settings.base_url.rstrip("/")),
        HouseRules(
            lag_s=float(settings.watch_behind_s),
            disk_low=settings.disk_low_mb * MB,
            disk_out=settings.disk_out_mb * MB,
        ),
        Ending(),
        delays_s={
            **DELAYS_S,
            Sign.BROKER: (float(settings.broker_away_s), DELAYS_S[Sign.BROKER][1]),
        },
    )
    if leases is not None:
        guard.speaks, guard.demand = leases.speaks, leases.demand_nursery
    if settings.heartbeat_url is not None:
        guard.heartbeat = Heartbeat(
            settings.heartbeat_url,
            settings.heartbeat_method,
            settings.heartbeat_min * 60,
            guard.is_well
            if leases is None
            else lambda: leases.sees_to_nursery() and guard.is_well(),
            steady,
        )
    return guard
