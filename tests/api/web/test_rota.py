"""Days off and swaps are written down on the page of staff, and count at once."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from rules.rota import who_is_on_duty


@pytest.fixture
def open_book(tern_hollow):
    return tern_hollow.parts


def on_duty(parts, *, hours: int) -> list[str]:
    at = parts.clock.now() + timedelta(hours=hours)
    return [person.id for person in who_is_on_duty(parts.site, at)]


def rota(client, *, lang: str = "en") -> str:
    page = client.get(f"/staff?lang={lang}").text
    return re.sub(r"<[^>]*>|\s+", " ", page[page.index('id="rota"') :]).replace("\u2060", "")


def test_the_week_to_come_says_who_and_who_stands_in(client):
    week = rota(client)
    assert re.search(r"Sun 15 November \d\d:\d\d–\d\d:\d\d +Tobin Quillfeather", week)
    assert "Pilar Ondarreta" in week
    assert "Los próximos siete días" in rota(client, lang="es")


def test_a_day_off_counts_at_once_and_can_be_taken_out(client, open_book):
    (tonight,) = on_duty(open_book, hours=0)
    off = {"who": tonight, "first": "2026-11-14", "last": "2026-11-16", "by": "pilar"}
    answer = client.post("/staff/days-off", data=off | {"because": "knife hand sprained"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/staff#rota")
    assert tonight not in on_duty(open_book, hours=0)
    assert "Tobin Quillfeather, Sat 14 November to Mon 16 November (knife hand sprained)" in rota(
        client
    )
    assert client.post("/staff/days-off", data=off).status_code == 409
    taken = {"kind": "absence", "key": f"{tonight} 2026-11-14", "by": "pilar"}
    assert client.post("/staff/take-out", data=taken).status_code == 303
    assert on_duty(open_book, hours=0) == [tonight]
    assert client.post("/staff/take-out", data=taken).status_code == 409
    history = client.get(f"/api/v1/written/absence/{taken['key']}/history").json()["trail"]
    assert [one["by"] for one in history] == ["pilar", "pilar"]


def test_a_swap_puts_another_on_duty(client, open_book):
    (tonight,) = on_duty(open_book, hours=0)
    assert tonight != "odell"
    swap = {"on": "2026-11-14", "whose": tonight, "taken_by": "odell", "by": tonight}
    assert client.post("/staff/swaps", data=swap).status_code == 303
    assert on_duty(open_book, hours=0) == ["odell"]
    assert "Sat 14 November: Odell Marrash takes the shift of Tobin Quillfeather" in rota(client)
    assert "toma el turno de" in rota(client, lang="es")


@pytest.mark.parametrize(
    ("path", "fields", "said"),
    [
        ("days-off", {"who": "tobin", "first": "soon"}, "Write the day as in 2026-11-29"),
        ("days-off", {"who": "nobody", "first": "2026-11-14"}, "nobody"),
        ("days-off", {"who": "tobin", "first": "2026-11-16", "last": "2026-11-14"}, "before first"),
        ("swaps", {"on": "2026-11-14", "whose": "tobin", "taken_by": "tobin"}, "taken_by"),
        (
            "swaps",
            {"on": "2026-11-15", "whose": "odell", "taken_by": "tobin"},
            "no shift that starts on",
        ),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason_and_nothing_is_kept(
    client, open_book, path, fields, said
):
    before = open_book.book.now.revision
    answer = client.post(f"/staff/{path}", data=fields | {"by": "pilar"})
    assert answer.status_code == 422
    assert said in answer.text
    open_book.refresh()
    assert open_book.book.now.revision == before
