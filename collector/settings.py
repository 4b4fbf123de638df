"""Where messages come from, as plain values that api.assemble works out from the settings."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

if TYPE_CHECKING:
    from pathlib import Path

DEFAULT_CLIENT_ID = "graftvigil-collector"
DEFAULT_TOPICS = ("#",)


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """A broker and how we present ourselves to it.

    `client_id` names our session there: two collectors must not share it. `topics` are the filters
    listened to besides the site's own topics. `ca_file` holds the certificates trusted for TLS;
    None trusts what the machine trusts.
    """

    host: str
    port: int
    tls: bool
    user: str | None
    password: str | None = field(repr=False)
    client_id: str = DEFAULT_CLIENT_ID
    topics: tuple[str, ...] = DEFAULT_TOPICS
    ca_file: Path | None = None


@dataclass(frozen=True, slots=True)
class ListenAddress:
    """Where we listen ourselves; port 0 lets the machine choose."""

    host: str
    port: int


def broker_address(url: str, *, password: str | None) -> BrokerAddress:
    """Return the broker named by mqtt://[user@]host[:port], or mqtts:// with TLS.

    Raises ValueError with what to write instead; the message never holds the URL itself, which may
    carry a password.

    >>> broker_address("mqtts://shed@broker.example", password=None).port
    8883
    """
    how = 'write it as in "mqtt://localhost:1883" or "mqtts://user@host:8883"'
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        msg = f"broker: the port is not a number; {how}"
        raise ValueError(msg) from None
    if parts.scheme not in {"mqtt", "mqtts"} or not parts.hostname:
        msg = f"broker: not the address of an MQTT broker; {how}"
        raise ValueError(msg)
    if parts.path not in {"", "/"} or parts.query or parts.fragment:
        msg = f"broker: nothing may follow the port; {how}"
        raise ValueError(msg)
    secret = unquote(parts.password) if parts.password is not None else password
    if secret is not None and not parts.username:
        msg = 'broker: a password needs a user; write it as in "mqtts://user@host:8883"'
        raise ValueError(msg)
    return BrokerAddress(
        host=parts.hostname,
        port=port or (8883 if parts.scheme == "mqtts" else 1883),
        tls=parts.scheme == "mqtts",
        user=unquote(parts.username) if parts.username else None,
        password=secret,
    )


def listen_address(text: str) -> ListenAddress:
    """Return the address written as host:port. Raises ValueError with what to write instead.

    >>> listen_address("127.0.0.1:1884")
    ListenAddress(host='127.0.0.1', port=1884)
    """
    written = re.fullmatch(r"(?:\[([0-9A-Fa-f:.]+)\]|([^:\s\[\]]+)):(\d{1,5})", text)
    if written is None or int(written[3]) > 65535:
        msg = f'"{text}" is not a host and a port; write it as in "127.0.0.1:1884"'
        raise ValueError(msg)
    return ListenAddress(written[1] or written[2], int(written[3]))
