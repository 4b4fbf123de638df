"""The time as a sensor tells it: numbers since 1970, ISO 8601, or as the site file declares."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from collector.payloads.mapping import Refusal, shown
from collector.rejects import Kind
from rules.model.payload import Timestamp

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from collector.payloads.mapping import SensorMapping

_MOST = 1e21  # in nanoseconds beyond any date that can be written; keeps the sums below finite
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)
_A_SECOND = {
    Timestamp.UNIX_S: 1,
    Timestamp.UNIX_MS: 1_000,
    Timestamp.UNIX_US: 1_000_000,
    Timestamp.UNIX_NS: 1_000_000_000,
}


def instant_of(mapping: SensorMapping, said: object) -> int | Refusal:
    """Return the instant that a sensor tells, in milliseconds since the epoch, or why not."""
    if mapping.time is Timestamp.ISO_8601:
        return _iso_instant(mapping, said)
    if mapping.time is Timestamp.WRITTEN:
        return _written_instant(mapping, said)
    if type(said) is not int and type(said) is not float:
        fix = f'Have it send a number, or change time = "{mapping.time}"'
        return bad_time(mapping, f"the time is {shown(said)}", fix)
    if not -_MOST < said < _MOST:  # holds for no NaN either
        return bad_time(mapping, f"the time is {shown(said)}", "See to the sensor's clock")
    a_second = _A_SECOND[mapping.time]
    if a_second <= 1000:
        return round(said * (1000 // a_second))
    if type(said) is int:
        return (2 * said + a_second // 1000) // (2 * (a_second // 1000))
    return round(said / (a_second // 1000))


def _iso_instant(mapping: SensorMapping, said: object) -> int | Refusal:
    try:
        at = datetime.fromisoformat(said) if isinstance(said, str) else None
    except ValueError:
        at = None
    if at is None:
        fix = 'Have it sent as in "2026-03-01T06:30:00Z"'
        return bad_time(mapping, f"the time is {shown(said)}", fix)
    if at.tzinfo is None:
        fix = 'Have the sensor add its zone, as in "2026-03-01T06:30:00Z" or "…+02:00"'
        return bad_time(mapping, f"the time is {shown(said)}, without a zone", fix)
    return _since_epoch_ms(at)


def _written_instant(mapping: SensorMapping, said: object) -> int | Refusal:
    try:
        at = datetime.strptime(said, mapping.time_format) if isinstance(said, str) else None  # noqa: DTZ007 - the zone is added below
    except ValueError:
        at = None
    if at is None:
        fix = f'Correct time_format = "{mapping.time_format}"'
        return bad_time(mapping, f"the time is {shown(said)}", fix)
    if mapping.time_zone is None:
        return _since_epoch_ms(at)
    try:
        found = instants_of_wall_time(at, mapping.time_zone)
    except OverflowError:  # the first and the last day of all that can be written
        return bad_time(mapping, f"the time is {shown(said)}", "See to the sensor's clock")
    if len(found) == 1:
        return _since_epoch_ms(found[0])
    how = "was twice on that clock" if found else "was never on that clock"
    details = f"the time is {shown(said)}, which {how}, as summer time begins or ends there"
    return bad_time(mapping, details, "Have the sensor send UTC, or its offset with %z")


def instants_of_wall_time(wall: datetime, zone: ZoneInfo) -> list[datetime]:
    """Return the instants, in UTC, at which a clock on the wall showed a time: none, one or two."""
    naive = wall.replace(tzinfo=None)
    both = {naive.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)}
    return sorted(at for at in both if at.astimezone(zone).replace(tzinfo=None, fold=0) == naive)


def iso_ms(said: str) -> int | None:
    """Return the instant of a text in ISO 8601 with its zone, in milliseconds; None for another."""
    try:
        at = datetime.fromisoformat(said)
    except ValueError:
        return None
    return None if at.tzinfo is None else _since_epoch_ms(at)


def _since_epoch_ms(at: datetime) -> int:
    return round((at - _EPOCH) / _MILLISECOND)


def bad_time(mapping: SensorMapping, details: str, fix: str) -> Refusal:
    """Return the refusal of a message for its time."""
    where = f" for sensor {mapping.id}"
    return Refusal(mapping.time_path or "time", Kind.BAD_TIME, details, fix + where, mapping.id)
