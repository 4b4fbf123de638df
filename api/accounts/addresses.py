"""Where a request comes from: its own address, or what a trusted proxy says of it."""

from __future__ import annotations

from ipaddress import ip_address, ip_network
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from ipaddress import IPv4Network, IPv6Network

_MOST_HOPS = 20


def networks(text: str) -> tuple[IPv4Network | IPv6Network, ...]:
    """Return the networks written one after another; ValueError for what is none.

    >>> networks("127.0.0.1 10.0.0.0/8")
    (IPv4Network('127.0.0.1/32'), IPv4Network('10.0.0.0/8'))
    """
    return tuple(ip_network(one) for one in text.replace(",", " ").split())


def caller(
    peer: str, forwarded: Sequence[str], trusted: Sequence[IPv4Network | IPv6Network]
) -> str:
    """Return the address that a request is counted under.

    `forwarded` are the values of X-Forwarded-For. They count only if `peer` is trusted, and then
    from the right, up to the first that is not: everything further left anybody can make up.

    >>> caller("127.0.0.1", ["6.6.6.6, 192.0.2.7"], networks("127.0.0.1"))
    '192.0.2.7'
    >>> caller("192.0.2.9", ["6.6.6.6"], networks("127.0.0.1"))
    '192.0.2.9'
    """
    found = peer
    said = [one.strip() for value in forwarded for one in value.split(",")]
    for one in (*reversed(said[-_MOST_HOPS:]), None):
        if not _within(found, trusted) or one is None:
            break
        if _address(one) is None:
            break
        found = one
    return found[:64]


def _address(text: str) -> str | None:
    try:
        return str(ip_address(text))
    except ValueError:
        return None


def _within(text: str, trusted: Sequence[IPv4Network | IPv6Network]) -> bool:
    try:
        address = ip_address(text)
    except ValueError:
        return False
    return any(address in network for network in trusted)
