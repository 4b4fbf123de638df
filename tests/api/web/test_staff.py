"""The page of staff: who is on duty now and next, their ways, and a test of them."""

from __future__ import annotations

from datetime import timedelta

from api.records.alarms import standing_alarms
from api.records.outbox import MessageKind, newest_messages
from api.records.sending import record_given_up, record_sent
from api.records.session import reading, writing
from api.records.ways import way_failed


def owed_tests(tern_hollow):
    with reading(tern_hollow.parts.records) as db:
        return [row for row in newest_messages(db, most=99) if row.kind is MessageKind.TEST]


def test_says_who_is_on_duty_now_and_who_comes_next(looking):
    page = looking.get("/staff").text
    assert "On duty now: Tobin Quillfeather." in page
    assert "Then, from 06:00: Pilar Ondarreta" in page
    assert "never tried" in page


def test_says_it_in_spanish(looking):
    page = looking.get("/staff?lang=es").text
    assert "De turno ahora: Tobin Quillfeather." in page
    assert "Enviar un mensaje de prueba" in page


def test_no_address_stands_on_the_page(looking):
    assert "example.invalid" not in looking.get("/staff").text


def test_the_button_owes_one_test_by_every_way_and_a_double_tap_no_more(client, tern_hollow):
    for _ in range(2):
        answer = client.post("/staff/test", data={"person": "tobin"})
        assert (answer.status_code, answer.headers["location"]) == (303, "/staff")
    (row,) = owed_tests(tern_hollow)
    assert (row.person, row.channel, row.alarm_id) == ("tobin", "email", None)
    tern_hollow.clock.turn_by(timedelta(minutes=1))
    client.post("/staff/test", data={"person": "tobin"})
    assert len(owed_tests(tern_hollow)) == 2
    assert client.post("/staff/test", data={"person": "nobody"}).status_code == 422


def test_says_what_came_of_the_last_message(client, tern_hollow):
    client.post("/staff/test", data={"person": "tobin"})
    (row,) = owed_tests(tern_hollow)
    with writing(tern_hollow.parts.records) as db:
        record_given_up(db, row.id, error="no mail server set", at=tern_hollow.clock.now())
    assert "last message failed: no mail server set" in client.get("/staff").text
    with writing(tern_hollow.parts.records) as db:
        record_sent(db, row.id, at=tern_hollow.clock.now())
    assert "last message arrived 02:10" in client.get("/staff").text


def test_a_way_that_fails_stands_among_the_alarms_in_words(client, tern_hollow):
    client.post("/staff/test", data={"person": "tobin"})
    (row,) = owed_tests(tern_hollow)
    failed_often = type(row)(
        **{name: getattr(row, name) for name in row.__slots__} | {"attempts": 3}
    )
    with writing(tern_hollow.parts.records) as db:
        assert way_failed(db, failed_often, now=tern_hollow.clock.now())
        (one,) = [a for a in standing_alarms(db) if a.batch == ""]
    listed = client.get("/alarms").text
    assert "Tobin Quillfeather can&#39;t be reached by e-mail" in listed
    page = client.get(f"/alarms/{one.id}")
    assert page.status_code == 200
    assert "Tobin Quillfeather can&#39;t be reached by e-mail; " in page.text
    assert 'href="/batches/"' not in page.text
    assert client.get("/").status_code == 200
    spanish = client.get("/alarms?lang=es").text
    assert "o se puede avisar a Tobin Quillfeather por correo" in spanish
