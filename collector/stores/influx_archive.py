"""InfluxDB as an archive: lines in through influxdb-client, readings out through InfluxQL.

One measurement `reading`, tags `sensor` and `channel`, fields `value` and `sequence`, milliseconds.
The `/query` endpoint is what InfluxDB 1.x, 2.x and 3 share for reading.
"""

from __future__ import annotations

import json
import logging
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import numpy as np
import urllib3

from collector.stores.base import StoreFailure
from collector.stores.blocks import DAY_MS, Columns, joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from influxdb_client.client.write_api import WriteApi
    from influxdb_client.rest import ApiException

    from rules.model.reading import StoredReading

log = logging.getLogger(__name__)

MEASUREMENT = "reading"
TIMEOUT_S = 10.0
MOST_DAYS_A_QUERY = 7
# InfluxDB counts nanoseconds in 64 bits: no instant outside these milliseconds can be asked for.
LEAST_MS = -9_223_372_036_854
GREATEST_MS = 9_223_372_036_854
_ESCAPED = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ ", "\n": r"\n"})
_ABOUT_THE_LINES = frozenset({400, 413, 422})


@dataclass(frozen=True, slots=True)
class InfluxAddress:
    """A server and the place in it. `bucket` is the database of InfluxDB 1.x and 3."""

    url: str
    bucket: str
    organisation: str
    token: str | None = field(repr=False)


class ArchiveAway(StoreFailure):
    """The archive can't be reached or refuses everything at present; says what to do."""


class LinesRefused(Exception):
    """The archive refuses some of the lines themselves; sending them again changes nothing."""


def line_of(reading: StoredReading) -> str:
    """Return a reading in line protocol, milliseconds.

    >>> from rules.model.reading import StoredReading
    >>> line_of(StoredReading(7, "bag-07/air", 1772000000123, 21.5))
    'reading,sensor=bag-07,channel=air value=21.5,sequence=7i 1772000000123'
    """
    tags = ",".join(f"{key}={value.translate(_ESCAPED)}" for key, value in _tags(reading.channel))
    return (
        f"{MEASUREMENT},{tags} value={reading.value!r},sequence={reading.sequence}i {reading.at_ms}"
    )


def _tags(channel: str) -> tuple[tuple[str, str], ...]:
    sensor, slash, name = channel.partition("/")
    return (("sensor", sensor), ("channel", name)) if slash else (("sensor", sensor),)


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace("'", "\\'")
    return f"'{escaped}'"


class InfluxArchive:
    """One bucket of one server. Any thread may call any method."""

    def __init__(self, address: InfluxAddress, *, timeout_s: float = TIMEOUT_S) -> None:
        self._address = address
        self._timeout_s = timeout_s
        self._writer: WriteApi | None = None
        headers = {} if address.token is None else {"Authorization": f"Token {address.token}"}
        self._reader = urllib3.PoolManager(
            headers=headers, timeout=urllib3.Timeout(total=timeout_s), retries=False, maxsize=2
        )

    def write(self, readings: Sequence[StoredReading]) -> None:
        """Return once the archive has all of `readings`; writing again what is there is harmless.

        Raises LinesRefused when it is the lines that are wrong, ArchiveAway when it is not.
        """
        from influxdb_client.domain.write_precision import WritePrecision
        from influxdb_client.rest import ApiException
        from urllib3.exceptions import HTTPError

        lines = [line_of(reading) for reading in readings]
        try:
            self._write_api().write(
                self._address.bucket,
                self._address.organisation,
                record=lines,
                write_precision=WritePrecision.MS,  # type: ignore[arg-type]  # is its text "ms"
            )
        except ApiException as said:
            if said.status in _ABOUT_THE_LINES:
                raise LinesRefused(_said(said)) from said
            msg = f"the archive says {said.status}: {_said(said)}. {_fix(said.status)}"
            raise ArchiveAway(msg) from said
        except (HTTPError, OSError) as trouble:
            raise ArchiveAway(_unreached(self._address, trouble)) from trouble

    def _write_api(self) -> WriteApi:
        if self._writer is None:
            # Imported late: it costs 50 MB, and only those with an archive need it.
            from influxdb_client.client.influxdb_client import InfluxDBClient
            from influxdb_client.client.write_api import SYNCHRONOUS

            client = InfluxDBClient(
                self._address.url,
                token=self._address.token or "none",
                org=self._address.organisation,
                timeout=int(self._timeout_s * 1000),
            )
            self._writer = client.write_api(write_options=SYNCHRONOUS)
        return self._writer

    def columns(self, channel: str, start_ms: int, end_ms: int) -> Columns:
        """Return the archived readings of a channel with start_ms <= at_ms < end_ms."""
        start_ms, end_ms = max(start_ms, LEAST_MS), min(end_ms, GREATEST_MS)
        parts = []
        for first_ms in range(start_ms, end_ms, MOST_DAYS_A_QUERY * DAY_MS):
            until_ms = min(first_ms + MOST_DAYS_A_QUERY * DAY_MS, end_ms)
            parts.append(self._asked(channel, first_ms, until_ms))
        return joined(parts)

    def _asked(self, channel: str, start_ms: int, end_ms: int) -> Columns:
        tags = " AND ".join(f'"{key}" = {_quoted(value)}' for key, value in _tags(channel))
        rows = self._rows(
            f'SELECT "value", "sequence" FROM "{MEASUREMENT}" '  # noqa: S608  # values are quoted
            f"WHERE {tags} AND time >= {start_ms}ms AND time < {end_ms}ms"
        )
        return Columns(
            np.array([row[0] for row in rows], dtype=np.int64),
            np.array([row[1] for row in rows], dtype=np.float64),
            np.array([row[2] for row in rows], dtype=np.int64),
        )

    def _rows(self, query: str) -> list[tuple[int, float, int]]:
        from urllib3.exceptions import HTTPError

        fields = {"db": self._address.bucket, "epoch": "ms", "q": query}
        try:
            answer = self._reader.request(
                "GET", f"{self._address.url.rstrip('/')}/query", fields=fields
            )
            if answer.status != 200:
                head = answer.data[:200].decode("utf-8", errors="replace")
                msg = f"the archive says {answer.status}: {head}. {_fix(answer.status)}"
                raise ArchiveAway(msg)
            found = json.loads(answer.data)["results"][0]
            if "error" in found:
                msg = f"the archive says: {found['error']}. {_fix(404)}"
                raise ArchiveAway(msg)
            series = found.get("series", [])
            return [tuple(row) for row in series[0]["values"]] if series else []
        except (HTTPError, OSError) as trouble:
            raise ArchiveAway(_unreached(self._address, trouble)) from trouble
        except (ValueError, KeyError, IndexError, TypeError) as trouble:
            msg = "what answers at the archive's address is no InfluxDB. Correct the address"
            raise ArchiveAway(msg) from trouble

    def close(self) -> None:
        """Let go of every connection."""
        self._reader.clear()


def _said(said: ApiException) -> str:
    """Return the head of what the server said: its message, not the lines it quotes in full."""
    text = said.body or said.reason or "nothing"
    return str(text)[:200].strip()


def _fix(status: int | None) -> str:
    match status:
        case 401 | 403:
            return "Set a token that may read and write the bucket"
        case 404:
            return "Make the bucket, or correct its name"
        case 429:
            return "It is asked too often; readings wait here meanwhile"
        case _:
            return "See to the server; readings wait here meanwhile"


def _unreached(address: InfluxAddress, trouble: Exception) -> str:
    host = urlsplit(address.url).hostname
    return (
        f"the archive at {host} can't be reached ({type(trouble).__name__}). Start it, or correct "
        "its address; readings wait here meanwhile"
    )
