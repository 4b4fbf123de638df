"""Which findings have lasted long enough to be said, and which are over for long enough.

Time runs by a clock that never jumps: seconds from any beginning, as the caller counts them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.vital_signs import Finding, Sign

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rules.vital_signs import Examined

DELAYS_S: Mapping[Sign, tuple[float, float]] = MappingProxyType(
    {
        Sign.BROKER: (180.0, 60.0),
        Sign.ARRIVALS: (60.0, 120.0),
        Sign.HUB: (120.0, 120.0),
        Sign.SENSOR: (120.0, 120.0),
        Sign.DEVICE_CLOCK: (600.0, 600.0),
        Sign.BATTERY: (1800.0, 3600.0),
        Sign.KEEPING: (60.0, 60.0),
        Sign.BACKLOG: (120.0, 120.0),
        Sign.ARCHIVE: (900.0, 300.0),
        Sign.RECORDS: (60.0, 60.0),
        Sign.DISK_LOW: (300.0, 600.0),
        Sign.DISK_OUT: (60.0, 300.0),
        Sign.CLOCK_JUMP: (0.0, 1800.0),
        Sign.CLOCK_UNSET: (3600.0, 600.0),
        Sign.CLOCK_DOUBT: (600.0, 600.0),
        Sign.WATCH: (60.0, 60.0),
        Sign.ALERTS: (60.0, 60.0),
        Sign.HEARTBEAT: (0.0, 0.0),
        Sign.BACKUP: (0.0, 0.0),
        Sign.RESTORED: (0.0, 3600.0),
        Sign.NODE: (60.0, 60.0),
    }
)
"""On-delay and off-delay of each sign in seconds. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Lasting:
    """A finding over time: since when it is true, or since when it is no longer.

    `key` is the finding's. `found` is the newest; None for one that stood open at a start and has
    not been found since.
    """

    key: str
    sign: Sign
    raised: bool
    true_since_s: float | None
    gone_since_s: float | None
    found: Finding | None


@dataclass(frozen=True, slots=True)
class Turned:
    """What became of the findings in one turn.

    `standing` are those raised earlier that are still found, as they are now.
    """

    lasting: Mapping[str, Lasting]
    opened: tuple[Finding, ...]
    standing: tuple[Finding, ...]
    closed: tuple[str, ...]


def sign_of(key: str) -> Sign | None:
    """Return the sign that a key speaks of; None for one that this version does not know.

    >>> sign_of("hub.h2"), sign_of("broker"), sign_of("moon")
    (<Sign.HUB: 'hub'>, <Sign.BROKER: 'broker'>, None)
    """
    name = key.partition(".")[0]
    return Sign(name) if name in list(Sign) else None


def resumed(open_keys: Iterable[str]) -> dict[str, Lasting]:
    """Return what stands open at a start: it is over only once it has not been found for a time."""
    return {
        key: Lasting(key, sign, raised=True, true_since_s=None, gone_since_s=None, found=None)
        for key in open_keys
        if (sign := sign_of(key)) is not None
    }


def turn(
    lasting: Mapping[str, Lasting],
    examined: Examined,
    at_s: float,
    *,
    delays_s: Mapping[Sign, tuple[float, float]] = DELAYS_S,
) -> Turned:
    """Return what opens and what closes at `at_s`, seconds of a clock that never jumps."""
    found = {one.key: one for one in examined.findings}
    following: dict[str, Lasting] = {}
    opened: list[Finding] = []
    standing: list[Finding] = []
    closed: list[str] = []
    for key in (*lasting, *(key for key in found if key not in lasting)):
        before, now = lasting.get(key), found.get(key)
        sign = now.sign if now is not None else lasting[key].sign
        on_s, off_s = delays_s[sign]
        if now is None:
            if before is None or (not before.raised and sign not in examined.unknown):
                continue
            if sign in examined.unknown:
                following[key] = replace(before, gone_since_s=None)
                continue
            gone = at_s if before.gone_since_s is None else before.gone_since_s
            if at_s - gone >= off_s:
                closed.append(key)
            else:
                following[key] = replace(before, gone_since_s=gone, true_since_s=None)
            continue
        since = at_s if before is None or before.true_since_s is None else before.true_since_s
        raised = before is not None and before.raised
        if raised:
            standing.append(now)
        elif now.opens and at_s - since >= on_s:
            raised = True
            opened.append(replace(now, since_ago_s=max(now.since_ago_s, at_s - since)))
        elif not now.opens:
            since = at_s  # it is told as part of something greater
        following[key] = Lasting(
            key, sign, raised=raised, true_since_s=since, gone_since_s=None, found=now
        )
    return Turned(following, tuple(opened), tuple(standing), tuple(closed))
