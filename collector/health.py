"""What the collector knows of its own well-being, for the watch and for the pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class IngestHealth:
    """What was taken since the start. Instants are milliseconds since the epoch, UTC.

    `refused` counts the rejects by kind, `commits` what was written at once.
    `lag_ms` is how long the oldest message of the last commit had waited for it.
    `failing_since_ms` and `failure` are set while the store refuses, and None once it keeps again.
    """

    messages: int = 0
    readings: int = 0
    rejects: int = 0
    refused: Mapping[str, int] = field(default_factory=dict)
    commits: int = 0
    last_commit_ms: int | None = None
    lag_ms: int | None = None
    failing_since_ms: int | None = None
    failure: str | None = None


@dataclass(frozen=True, slots=True)
class BrokerHealth:
    """Whether messages can reach us. `trouble` says why not, and what to do; None when all is well.

    `connections` counts how often the connection was made since the start. `waiting` are the
    messages received and not yet kept; what waits at a broker of one's own, only that broker knows.
    """

    connected: bool
    connections: int
    trouble: str | None
    waiting: int = 0
    waiting_bytes: int = 0
