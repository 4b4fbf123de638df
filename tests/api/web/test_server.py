"""Answers leave at once, and what goes wrong is logged without anything secret."""

from __future__ import annotations

import asyncio
import socket

import httpx
import pytest

from api.v1.sight import Sight
from api.web.app import create_app
from collector.stores.base import StoreFailure


def test_the_socket_that_listens_hands_on_that_nothing_waits(tern_hollow, serving, monkeypatch):
    listening = []
    create = socket.create_server

    def noted(*given, **more):
        listening.append(create(*given, **more))
        return listening[-1]

    monkeypatch.setattr(socket, "create_server", noted)
    with serving(tern_hollow.parts) as address:
        assert httpx.get(f"{address}/healthz").status_code == 200
        (one,) = listening
        assert one.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) == 1


@pytest.mark.parametrize("trouble", [RuntimeError("a fault of ours"), StoreFailure("it is shut")])
def test_a_fault_is_logged_by_its_route_and_never_by_its_address(tern_hollow, caplog, trouble):
    """The address of a link holds what answers an alarm."""
    app = create_app(tern_hollow.parts, Sight(tern_hollow.parts))

    @app.get("/link/{token}")
    def link(token: str) -> None:
        raise trouble

    async def asked() -> int:
        way = httpx.ASGITransport(app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=way, base_url="http://127.0.0.1") as client:
            return (await client.get("/link/secret-of-the-link")).status_code

    assert asyncio.run(asked()) == (503 if isinstance(trouble, StoreFailure) else 500)
    assert "route=/link/{token}" in caplog.text
    assert "secret-of-the-link" not in caplog.text
