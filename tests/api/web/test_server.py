"""Answers leave at once, also on a connection that is kept open."""

from __future__ import annotations

import socket

import httpx


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
