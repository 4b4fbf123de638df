"""Long lists come page by page, and what a client has already is not sent again."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from api.records.alarms import raise_alarm
from api.records.session import writing
from rules.model.alarm import Priority

NOW = datetime(2026, 11, 14, 15, 10, tzinfo=UTC)


def further(answer) -> str | None:
    link = answer.headers.get("link", "")
    found = re.fullmatch(r'<(.+)>; rel="next"', link)
    return None if found is None else found.group(1)


def walked(client, address, *, between=lambda: None):
    pages = []
    while address is not None:
        answer = client.get(address)
        assert answer.status_code == 200, answer.text
        pages.append(answer.json())
        address = further(answer)
        between()
    return pages


@pytest.fixture
def many_alarms(tern_hollow):
    def one(place: int) -> None:
        with writing(tern_hollow.parts.records) as db:
            raise_alarm(
                db,
                batch="MG-07",
                condition=f"made-{place}",
                priority=Priority.LOW,
                opened_at=NOW,
                since=NOW,
                value=None,
            )

    for place in range(7):
        one(place)
    return one


def test_every_alarm_comes_once_though_new_ones_come_in(client, many_alarms):
    whole = [one["id"] for one in client.get("/api/v1/alarms").json()]
    assert whole == sorted(whole, reverse=True)
    assert len(whole) >= 7
    fresh = iter(range(100, 200))
    pages = walked(client, "/api/v1/alarms?limit=3", between=lambda: many_alarms(next(fresh)))
    assert all(len(page) == 3 for page in pages[:-1])
    assert [one["id"] for page in pages for one in page] == whole


def test_the_next_page_keeps_what_was_asked(client, many_alarms):
    answer = client.get("/api/v1/alarms?batch=MG-07&state=unacknowledged&limit=2")
    address = further(answer)
    assert "batch=MG-07" in address
    assert "state=unacknowledged" in address
    assert {one["batch"] for one in client.get(address).json()} == {"MG-07"}


def test_last_page_names_no_next(client, many_alarms):
    everything = client.get("/api/v1/alarms?limit=1000")
    assert further(everything) is None


def test_rejects_and_messages_and_histories_come_in_pages(client, tern_hollow):
    for place in range(5):
        tern_hollow.hear(f"nobody/{place}", {"t": 1, "x": place}, NOW)
    pages = walked(client, "/api/v1/rejects?limit=2")
    topics = [one["topic"] for page in pages for one in page["newest"]]
    assert topics == [one["topic"] for one in client.get("/api/v1/rejects").json()["newest"]]
    assert len(pages) >= 3
    told = [one["id"] for page in walked(client, "/api/v1/messages?limit=1") for one in page]
    assert told == [one["id"] for one in client.get("/api/v1/messages").json()]
    for number in range(4):
        body = {"by": "wren", "seen": "noted", "note": f"note {number}"}
        assert client.post("/api/v1/batches/MG-07/observations", json=body).status_code == 201
    pages = walked(client, "/api/v1/batches/MG-07/history?limit=3")
    lines = [line["number"] for page in pages for line in page["trail"]]
    whole = client.get("/api/v1/batches/MG-07/history").json()["trail"]
    assert lines == [line["number"] for line in whole]
    assert len(pages) >= 2


def test_what_a_client_has_is_not_sent_again(client, tern_hollow):
    first = client.get("/api/v1/batches")
    tag = first.headers["etag"]
    again = client.get("/api/v1/batches", headers={"If-None-Match": f'"other", W/{tag}'})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == tag
    tern_hollow.go_on(2)
    moved = client.get("/api/v1/batches", headers={"If-None-Match": tag})
    assert moved.status_code == 200
    assert moved.headers["etag"] != tag


def test_etag_of_a_written_thing_is_still_what_goes_into_if_match(looking):
    answer = looking.get("/api/v1/written/batch/MG-07")
    assert answer.headers["etag"] == f'"{answer.json()["revision"]}"'


def test_refusals_and_pages_have_no_etag(looking):
    assert "etag" not in looking.get("/api/v1/batches/none").headers
    assert "etag" not in looking.get("/").headers


def test_description_names_what_is_sent(looking):
    told = looking.get("/api/v1/openapi.json").json()
    assert "HTTPValidationError" not in told["components"]["schemas"]
    assert "text/event-stream" in told["paths"]["/events"]["get"]["responses"]["200"]["content"]
    for path, operations in told["paths"].items():
        for method, operation in operations.items():
            if path == "/events":
                continue
            where = f"{method} {path}"
            refused = operation["responses"]["4XX"]["content"]
            assert list(refused) == ["application/problem+json"], where
            good = [s for s in operation["responses"] if s.startswith("2")]
            assert good, where
            assert operation.get("description"), where
