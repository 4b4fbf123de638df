"""What is known of the tool and of what it stands on, and from where on something is said."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

MB = 1_000_000
_HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class HouseRules:
    """From where on something is said. Common practice, no source; see docs/alarms.md.

    Lengths in seconds, disk space in bytes.
    """

    together_s: float = 300.0
    hub_fewest: int = 3
    clock_off_s: float = 300.0
    clocks_fewest: int = 3
    jump_s: float = 60.0
    lag_s: float = 300.0
    still_s: float = 300.0
    waiting: int = 1000
    waited_s: float = 60.0
    overdue_s: float = 300.0
    disk_low: int = 1024 * MB
    disk_out: int = 128 * MB
    inodes_low: int = 5000
    inodes_out: int = 500
    full_soon_s: float = 72 * _HOUR_S
    full_now_s: float = 6 * _HOUR_S
    heartbeat_fails: int = 3
    backup_old_s: float = 26 * _HOUR_S


@dataclass(frozen=True, slots=True)
class SensorFacts:
    """What is known of one sensor that should speak now.

    `batches` are those that could not be seen without it. `silent_after_s` is how long it may be
    silent, `heard_ago_s` how long ago it spoke, None: never. `clock_behind_s` is by how much its
    clock is behind ours, None where it tells no time. `excused`: someone works on it.
    `listened_s` is for how long it could have been heard: broker and store have worked since.
    """

    id: str
    house: str | None
    batches: frozenset[str]
    silent_after_s: float
    heard_ago_s: float | None
    clock_behind_s: float | None = None
    battery: float | None = None
    battery_low: float | None = None
    excused: bool = False
    listened_s: float = inf

    @property
    def had_its_turn(self) -> bool:
        """Whether it would have been heard by now, did it speak."""
        return self.listened_s > self.silent_after_s

    @property
    def silent(self) -> bool:
        """Whether it has been silent for longer than it may."""
        return self.heard_ago_s is not None and self.heard_ago_s > self.silent_after_s


@dataclass(frozen=True, slots=True)
class DiskFacts:
    """The disk of the data folder. `inodes` None where the disk counts none.

    `loss_bytes_s` is how fast free space has shrunk over `measured_s`, None while too little of
    that has been seen. `writable` tells whether a small file could be written, and `trouble` why
    not.
    """

    free: int
    inodes: int | None
    loss_bytes_s: float | None
    measured_s: float
    writable: bool
    trouble: str = ""

    @property
    def full_in_s(self) -> float | None:
        """When it is full at the present pace; None if it does not fill, or nobody knows."""
        if self.loss_bytes_s is None or self.loss_bytes_s <= 0:
            return None
        return self.free / self.loss_bytes_s


@dataclass(frozen=True, slots=True)
class NodeFacts:
    """Another process over the same records: its name, and what is wrong with it, "" for nothing.

    "gone": it has not been seen. "deaf": it hears no broker. "files": it has other files than those
    in force. "stuck": its watch fails or hangs. "starting": it has just come up.
    """

    name: str
    trouble: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that is known of the tool at one moment; None: not known, or not in use.

    `blind` are the batches that an alarm calls blind, `watched` those that are judged. Of broker,
    store, archive and records a text says what is wrong, "" that nothing is. `lag_s` is how far
    the watch is behind; when all is well it is about 0. `watch_still_s` and `alerts_still_s` are
    how long ago the watch and the alert service last showed a sign of life, be it a failure;
    `alerts_idle_s` is how long ago the alert service last did what it should. `jumped_s` is by how
    much this machine's clock has just jumped. `waiting` are the messages received and not yet kept,
    `waited_s` how long the oldest of the newest commit had waited for it. `overdue_s` is for how
    long the message to people has been due that has been due longest; 0 when none is.
    `backup_age_s` is how old the last backup is that was made and tried, and `backup_error` why the
    newest attempt failed.
    """

    sensors: tuple[SensorFacts, ...] | None = None
    blind: frozenset[str] = frozenset()
    watched: frozenset[str] = frozenset()
    broker: str | None = None
    keeping: str | None = None
    archive: str | None = None
    archive_waiting: int = 0
    records: str | None = None
    disk: DiskFacts | None = None
    jumped_s: float | None = None
    clock_set: bool | None = None
    lag_s: float | None = None
    watch_still_s: float | None = None
    watch_error: str = ""
    alerts_still_s: float | None = None
    alerts_idle_s: float | None = None
    alerts_error: str = ""
    waiting: int | None = None
    waited_s: float | None = None
    overdue_s: float | None = None
    heartbeat_failed: int | None = None
    heartbeat_error: str = ""
    backup_age_s: float | None = None
    backup_error: str = ""
    nodes: tuple[NodeFacts, ...] | None = None
