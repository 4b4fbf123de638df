"""An open page hears of every change, and never keeps the process from stopping."""

from __future__ import annotations

import json
import time

import httpx


def events_in(lines, wanted: str, within_s: float) -> dict[str, object]:
    deadline = time.monotonic() + within_s
    name = ""
    for line in lines:
        if line.startswith("event: "):
            name = line.removeprefix("event: ")
        if line.startswith("data: ") and name == wanted:
            return json.loads(line.removeprefix("data: "))
        assert time.monotonic() < deadline, f"no event {wanted}"
    raise AssertionError("the stream ended")


def test_page_is_told_at_once_that_it_is_in_touch(client):
    with client.stream("GET", "/events") as stream:
        assert stream.headers["content-type"].startswith("text/event-stream")
        assert events_in(stream.iter_lines(), "here", 5)["time"] == "02:10"


def test_page_is_told_when_the_watch_moves_on(client, tern_hollow):
    with client.stream("GET", "/events") as stream:
        lines = stream.iter_lines()
        events_in(lines, "here", 5)
        tern_hollow.go_on(1)
        told = events_in(lines, "moved", 5)
        while told["time"] != "02:11":
            told = events_in(lines, "moved", 5)
        assert told["next_minute"] == int(tern_hollow.clock.now().timestamp()) // 60 - 2


def test_page_is_told_when_someone_acknowledges(client):
    with client.stream("GET", "/events") as stream:
        lines = stream.iter_lines()
        events_in(lines, "here", 5)
        newest = len(client.get("/api/v1/alarms").json())
        answer = httpx.post(f"{client.base_url}/acknowledge", data={"alarm": "1", "by": "wren"})
        assert answer.status_code == 303
        while events_in(lines, "moved", 5)["alarm_change"] <= newest:
            pass


def test_open_pages_do_not_hold_up_the_stop(tern_hollow, serving):
    streams = []
    with httpx.Client(timeout=30) as pages:
        with serving(tern_hollow.parts) as address:
            for _ in range(5):
                stream = pages.send(pages.build_request("GET", f"{address}/events"), stream=True)
                next(stream.iter_raw())
                streams.append(stream)
            asked = time.monotonic()
        assert time.monotonic() - asked < 5.0
        for stream in streams:
            stream.close()
