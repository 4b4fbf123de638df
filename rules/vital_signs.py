"""Signs that the tool itself is unwell: facts in, findings out.

What is true too briefly is cut off in `rules.vital_delays`.
A finding that a greater cause explains opens nothing, yet keeps open what stands: nine sensors
behind one hub are one thing to say, and none of the nine is over while it is silent. Of what is not
known nothing is found, and nothing that stands is taken as over.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rules.model.alarm import Priority

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from rules.vital_facts import DiskFacts, Facts, HouseRules, SensorFacts


class Sign(StrEnum):
    """What can be wrong with the tool or with what it stands on."""

    BROKER = "broker"
    ARRIVALS = "arrivals"
    HUB = "hub"
    SENSOR = "sensor"
    DEVICE_CLOCK = "device_clock"
    BATTERY = "battery"
    KEEPING = "keeping"
    BACKLOG = "backlog"
    ARCHIVE = "archive"
    RECORDS = "records"
    DISK_LOW = "disk_low"
    DISK_OUT = "disk_out"
    CLOCK_JUMP = "clock_jump"
    CLOCK_UNSET = "clock_unset"
    CLOCK_DOUBT = "clock_doubt"
    WATCH = "watch"
    ALERTS = "alerts"
    HEARTBEAT = "heartbeat"
    BACKUP = "backup"
    RESTORED = "restored"
    NODE = "node"


SEVERAL = "several"
"""The subject of a hub's silence that reaches over more than one house."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong now.

    `subject` is the sensor or the house it is about, "" for the tool. `since_ago_s` is for how
    long it has been so, as far as that is known. `opens` False: it only keeps open what stands.
    `batches` can't be seen because of it, or soon can't. `figure`: bytes free, seconds jumped or
    behind, readings waiting, volts. `lasts_s`: when the disk is full at this pace.
    """

    sign: Sign
    subject: str
    priority: Priority
    since_ago_s: float = 0.0
    opens: bool = True
    sensors: tuple[str, ...] = ()
    batches: tuple[str, ...] = ()
    said: str = ""
    figure: float | None = None
    lasts_s: float | None = None

    @property
    def key(self) -> str:
        """The name under which it is known while it lasts: "hub.h2", "broker"."""
        return f"{self.sign.value}.{self.subject}" if self.subject else self.sign.value


@dataclass(frozen=True, slots=True)
class Examined:
    """What was found, and of which signs nothing could be known."""

    findings: tuple[Finding, ...]
    unknown: frozenset[Sign]


def examine(facts: Facts, rules: HouseRules) -> Examined:
    """Return what is wrong by these facts, and what could not be looked at."""
    unknown: set[Sign] = set()
    found: list[Finding] = []
    away = _troubled(facts.broker, Sign.BROKER, unknown)
    if away:
        found.append(_broker(facts, away))
    if facts.sensors is None:
        unknown |= {Sign.ARRIVALS, Sign.HUB, Sign.SENSOR, Sign.DEVICE_CLOCK, Sign.BATTERY}
        unknown.add(Sign.CLOCK_DOUBT)
    else:
        asked = tuple(one for one in facts.sensors if not one.excused)
        # What can't be kept is not heard either: then the sensors are not to blame.
        explained = bool(away) or bool(facts.keeping)
        found += _silences(asked, facts, rules, explained=explained)
        found += _clocks(asked, rules)
        found += _batteries(asked)
    if failing := _troubled(facts.keeping, Sign.KEEPING, unknown):
        at_risk = tuple(sorted(facts.watched))
        found.append(Finding(Sign.KEEPING, "", Priority.HIGH, batches=at_risk, said=failing))
    found += _backlog(facts, rules, unknown)
    if failing := _troubled(facts.archive, Sign.ARCHIVE, unknown):
        waiting = float(facts.archive_waiting)
        found.append(Finding(Sign.ARCHIVE, "", Priority.LOW, said=failing, figure=waiting))
    if failing := _troubled(facts.records, Sign.RECORDS, unknown):
        at_risk = tuple(sorted(facts.watched))
        found.append(Finding(Sign.RECORDS, "", Priority.HIGH, batches=at_risk, said=failing))
    found += _disk(facts.disk, rules, unknown)
    found += _our_clock(facts, rules, unknown)
    found += _turning(facts, rules, unknown)
    if facts.heartbeat_failed is None:
        unknown.add(Sign.HEARTBEAT)
    elif facts.heartbeat_failed >= rules.heartbeat_fails:
        said = facts.heartbeat_error
        found.append(Finding(Sign.HEARTBEAT, "", Priority.LOW, said=said))
    found += _backup(facts, rules, unknown)
    # That the records came out of a backup is kept by who restored it, and looked for by nobody.
    if facts.nodes is None:
        unknown.add(Sign.NODE)
    else:
        troubled = (one for one in facts.nodes if one.trouble not in {"", "starting"})
        found += [
            Finding(Sign.NODE, one.name, Priority.MEDIUM, said=one.trouble) for one in troubled
        ]
    return Examined(tuple(found), frozenset(unknown))


def is_essential_well(facts: Facts, rules: HouseRules) -> bool:
    """Return whether everything turns without which nobody would be warned.

    Only then may the outside be told that all is well: what is not known does not count as well.
    """
    return (
        facts.records == ""
        and facts.keeping == ""
        and facts.lag_s is not None
        and facts.lag_s <= rules.lag_s
        and facts.watch_still_s is not None
        and facts.watch_still_s <= rules.still_s
        and facts.alerts_idle_s is not None
        and facts.alerts_idle_s <= rules.still_s
        and facts.disk is not None
        and facts.disk.writable
    )


def _backup(facts: Facts, rules: HouseRules, unknown: set[Sign]) -> Iterator[Finding]:
    age = facts.backup_age_s
    if age is None:
        unknown.add(Sign.BACKUP)
    elif facts.backup_error or age > rules.backup_old_s:
        said = facts.backup_error
        yield Finding(Sign.BACKUP, "", Priority.LOW, since_ago_s=age, said=said, figure=age)


def _troubled(said: str | None, sign: Sign, unknown: set[Sign]) -> str:
    if said is None:
        unknown.add(sign)
    return said or ""


def _broker(facts: Facts, trouble: str) -> Finding:
    at_risk = facts.watched
    priority = Priority.HIGH if at_risk else Priority.MEDIUM
    batches = tuple(sorted(at_risk))
    return Finding(Sign.BROKER, "", priority, batches=batches, said=trouble)


def _silences(
    asked: Sequence[SensorFacts], facts: Facts, rules: HouseRules, *, explained: bool
) -> Iterator[Finding]:
    silent = [one for one in asked if one.silent]
    if not silent:
        return
    everywhere = len(silent) == len([one for one in asked if one.heard_ago_s is not None])
    all_silent = everywhere and len(silent) > 1
    if all_silent:
        yield _silence(Sign.ARRIVALS, "", silent, opens=not explained)
    explained = explained or all_silent
    by_hub: set[str] = set()
    together = _together(silent, rules)
    houses = {one.house for one in together if one.house is not None}
    many = len(together) >= rules.hub_fewest
    if many and len(houses) > 1:
        yield _silence(Sign.HUB, SEVERAL, together, opens=not explained)
        by_hub |= {one.id for one in together}
    for house in sorted({one.house for one in silent if one.house is not None}):
        here = [one for one in silent if one.house == house]
        close = _together(here, rules)
        if len(close) >= 2:
            opens = len(close) >= rules.hub_fewest and not explained
            opens = opens and not {one.id for one in close} <= by_hub
            yield _silence(Sign.HUB, house, close, opens=opens)
            if len(close) >= rules.hub_fewest:
                by_hub |= {one.id for one in close}
    for one in silent:
        # Where a batch is blind already, its own alarm says so, and what to look at.
        opens = not explained and one.id not in by_hub and not one.batches & facts.blind
        yield _silence(Sign.SENSOR, one.id, [one], opens=opens)


def _together(silent: Sequence[SensorFacts], rules: HouseRules) -> list[SensorFacts]:
    """Return the largest lot of sensors that fell silent within a few minutes of each other."""
    in_order = sorted(silent, key=lambda one: one.heard_ago_s or 0.0)
    best: list[SensorFacts] = []
    for place, first in enumerate(in_order):
        until = (first.heard_ago_s or 0.0) + rules.together_s
        lot = [one for one in in_order[place:] if (one.heard_ago_s or 0.0) <= until]
        best = max(best, lot, key=len)
    return best


def _silence(sign: Sign, subject: str, silent: Sequence[SensorFacts], *, opens: bool) -> Finding:
    batches = _each(one.batches for one in silent)
    priority = Priority.LOW
    if sign is not Sign.SENSOR:
        priority = Priority.HIGH if batches else Priority.MEDIUM
    since = max(one.heard_ago_s or 0.0 for one in silent)
    opens = opens and all(one.had_its_turn for one in silent)
    return Finding(
        sign,
        subject,
        priority,
        since_ago_s=since if sign is Sign.SENSOR else min(one.heard_ago_s or 0.0 for one in silent),
        opens=opens,
        sensors=tuple(sorted(one.id for one in silent)),
        batches=batches,
    )


def _each(many: Iterable[frozenset[str]]) -> tuple[str, ...]:
    return tuple(sorted({code for codes in many for code in codes}))


def _clocks(asked: Sequence[SensorFacts], rules: HouseRules) -> Iterator[Finding]:
    """Yield sensors whose clock is off; when most are off the same way, ours is the suspect."""
    told = [one for one in asked if one.clock_behind_s is not None and not one.silent]
    behind = [one for one in told if (one.clock_behind_s or 0.0) >= rules.clock_off_s]
    ahead = [one for one in told if (one.clock_behind_s or 0.0) <= -rules.clock_off_s]
    suspect: Sequence[SensorFacts] = ()
    for lot in (behind, ahead):
        if len(lot) >= rules.clocks_fewest and 2 * len(lot) > len(told):
            suspect = lot
    if suspect:
        offs = sorted(one.clock_behind_s or 0.0 for one in suspect)
        yield Finding(
            Sign.CLOCK_DOUBT,
            "",
            Priority.MEDIUM,
            sensors=tuple(sorted(one.id for one in suspect)),
            figure=offs[len(offs) // 2],
        )
    ours = {one.id for one in suspect}
    for one in (*behind, *ahead):
        yield Finding(
            Sign.DEVICE_CLOCK,
            one.id,
            Priority.LOW,
            opens=one.id not in ours,
            sensors=(one.id,),
            batches=tuple(sorted(one.batches)),
            figure=one.clock_behind_s,
        )


def _batteries(asked: Sequence[SensorFacts]) -> Iterator[Finding]:
    for one in asked:
        if one.battery is None or one.battery_low is None or one.battery > one.battery_low:
            continue
        yield Finding(
            Sign.BATTERY,
            one.id,
            Priority.LOW,
            sensors=(one.id,),
            batches=tuple(sorted(one.batches)),
            figure=one.battery,
        )


def _disk(disk: DiskFacts | None, rules: HouseRules, unknown: set[Sign]) -> Iterator[Finding]:
    if disk is None:
        unknown |= {Sign.DISK_LOW, Sign.DISK_OUT}
        return
    lasts = disk.full_in_s
    soon = lasts is not None and lasts < rules.full_soon_s
    now = lasts is not None and lasts < rules.full_now_s
    few = disk.inodes is not None and disk.inodes < rules.inodes_low
    none = disk.inodes is not None and disk.inodes < rules.inodes_out
    free = float(disk.free)
    out = not disk.writable or disk.free < rules.disk_out or none or now
    if out or disk.free < rules.disk_low or few or soon:
        yield Finding(Sign.DISK_LOW, "", Priority.MEDIUM, opens=not out, figure=free, lasts_s=lasts)
    if out:
        said = disk.trouble if not disk.writable else ("inodes" if none else "")
        yield Finding(Sign.DISK_OUT, "", Priority.HIGH, said=said, figure=free, lasts_s=lasts)


def _backlog(facts: Facts, rules: HouseRules, unknown: set[Sign]) -> Iterator[Finding]:
    """Yield that more comes in than is kept: what is judged then is no longer what is true."""
    if facts.waiting is None:
        unknown.add(Sign.BACKLOG)
        return
    slow = facts.waiting > 0 and (facts.waited_s or 0.0) > rules.waited_s
    if slow or facts.waiting >= rules.waiting:
        yield Finding(
            Sign.BACKLOG,
            "",
            Priority.MEDIUM,
            opens=not facts.keeping,  # what can't be kept at all is told as that
            batches=tuple(sorted(facts.watched)),
            figure=float(facts.waiting),
        )


def _our_clock(facts: Facts, rules: HouseRules, unknown: set[Sign]) -> Iterator[Finding]:
    if facts.jumped_s is None:
        unknown.add(Sign.CLOCK_JUMP)
    elif abs(facts.jumped_s) >= rules.jump_s:
        yield Finding(Sign.CLOCK_JUMP, "", Priority.MEDIUM, figure=facts.jumped_s)
    if facts.clock_set is None:
        unknown.add(Sign.CLOCK_UNSET)
    elif not facts.clock_set:
        yield Finding(Sign.CLOCK_UNSET, "", Priority.LOW)


def _turning(facts: Facts, rules: HouseRules, unknown: set[Sign]) -> Iterator[Finding]:
    lag, still = facts.lag_s, facts.watch_still_s
    if (lag or 0.0) <= rules.lag_s and (still or 0.0) <= rules.still_s:
        if lag is None or still is None:
            unknown.add(Sign.WATCH)
    else:
        behind = max(lag or 0.0, still or 0.0)
        yield Finding(
            Sign.WATCH,
            "",
            Priority.HIGH,
            since_ago_s=behind,
            batches=tuple(sorted(facts.watched)),
            said=facts.watch_error,
            figure=behind,
        )
    quiet = facts.alerts_idle_s
    if quiet is None:
        unknown.add(Sign.ALERTS)
    elif quiet > rules.still_s:
        said = facts.alerts_error
        yield Finding(Sign.ALERTS, "", Priority.HIGH, since_ago_s=quiet, said=said, figure=quiet)
