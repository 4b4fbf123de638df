"""One alarm answered from its message: by the person asked, in time, never by a link scanner."""

from __future__ import annotations

import stat
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.alerts.links import LASTS, KeyReadable, Link, Links, Refusal
from api.records.alarms import (
    acknowledge,
    alarm,
    changes_of,
    clear_alarm,
    raise_alarm,
    standing_alarms,
)
from api.records.courses import raised_by
from api.records.observations import entered, with_entered
from api.records.session import reading, writing
from rules.model.alarm import AlarmState
from rules.model.batch import Seen


@pytest.fixture
def asked(tern_hollow):
    """An alarm that waits, and the link by which the night hand may answer it."""
    parts = tern_hollow.parts
    with reading(parts.records) as db:
        one = next(a for a in standing_alarms(db) if a.state is AlarmState.UNACKNOWLEDGED)
        change_id = raised_by(db, (one.id,))[one.id]
    return Link(one.id, change_id, "tobin", parts.clock.now() + LASTS)


@pytest.fixture
def token(tern_hollow, asked) -> str:
    return tern_hollow.parts.links.token(asked)


def state_of(tern_hollow, asked) -> AlarmState:
    with reading(tern_hollow.parts.records) as db:
        return alarm(db, asked.alarm_id).state


def observations(tern_hollow):
    with reading(tern_hollow.parts.records) as db:
        return entered(db)


def post(client, token, **form):
    return client.post(f"/answer/{token}", data=form)


def test_the_link_shows_what_is_wrong_and_asks(client, tern_hollow, token, asked):
    page = client.get(f"/answer/{token}")
    assert page.status_code == 200
    assert "Tobin Quillfeather" in page.text
    assert "I&#39;m going" in page.text
    assert "tell someone" in page.text
    # Whoever opens it from a text message sees what to do first, before the buttons.
    first = page.text.index('<p class="what" id="first">')
    assert first < page.text.index('id="going"')
    assert "Look at the plants" in page.text[first:] or "Mist inside" in page.text[first:]
    assert "<script" not in page.text
    assert state_of(tern_hollow, asked) is AlarmState.UNACKNOWLEDGED


def test_how_fast_it_gets_worse_stands_below_the_buttons(client, tern_hollow):
    parts = tern_hollow.parts
    with reading(parts.records) as db:
        dry = next(a for a in standing_alarms(db) if a.condition == "air-dry-danger")
        change_id = raised_by(db, (dry.id,))[dry.id]
    link = Link(dry.id, change_id, "pilar", parts.clock.now() + LASTS)
    text = client.get(f"/answer/{parts.links.token(link)}").text
    assert text.index('id="seen"') < text.index("A qué ritmo: bajó ")


@pytest.mark.parametrize(
    ("method", "headers"),
    [
        ("GET", {"user-agent": "link-scanner/1.0"}),
        ("HEAD", {"user-agent": "link-scanner/1.0"}),
        ("GET", {"sec-purpose": "prefetch;prerender", "purpose": "prefetch"}),
        ("GET", {"sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"}),
        ("OPTIONS", {}),
    ],
)
def test_scanners_previews_and_prefetch_answer_nothing(
    client, tern_hollow, token, asked, method, headers
):
    for _ in range(3):
        answer = client.request(method, f"/answer/{token}", headers=headers)
        assert answer.status_code in {200, 405}
    assert state_of(tern_hollow, asked) is AlarmState.UNACKNOWLEDGED
    assert observations(tern_hollow) == ()


def test_a_form_of_another_site_answers_nothing(client, tern_hollow, token, asked):
    answer = client.post(
        f"/answer/{token}", data={"answer": "seen"}, headers={"origin": "https://evil.invalid"}
    )
    assert answer.status_code == 403
    assert state_of(tern_hollow, asked) is AlarmState.UNACKNOWLEDGED


def test_seen_acknowledges_in_the_persons_name(client, tern_hollow, token, asked):
    answer = post(client, token, answer="seen")
    assert (answer.status_code, answer.headers["location"]) == (303, f"/answer/{token}")
    with reading(tern_hollow.parts.records) as db:
        one = alarm(db, asked.alarm_id)
        last = changes_of(db, asked.alarm_id)[-1]
    assert (one.state, one.acknowledged_by) == (AlarmState.ACKNOWLEDGED, "tobin")
    assert (last.by, last.note) == ("tobin", "seen")
    assert observations(tern_hollow) == ()
    assert "Tobin Quillfeather has it since" in client.get(f"/answer/{token}").text


def test_going_acknowledges_and_is_written_down_once(client, tern_hollow, token, asked):
    for _ in range(2):
        assert post(client, token, answer="going").status_code == 303
    assert state_of(tern_hollow, asked) is AlarmState.ACKNOWLEDGED
    (one,) = observations(tern_hollow)
    assert (one.observation.seen, one.observation.by) == (Seen.NOTED, "tobin")
    assert one.observation.note == "I'm going"
    assert one.observation.at == tern_hollow.parts.clock.now()


def test_done_writes_what_was_done_and_counts_when_the_watch_is_built(
    client, tern_hollow, token, asked
):
    for _ in range(2):
        sent = post(client, token, answer="done", deed="watered", note=" floor and bench ")
        assert sent.status_code == 303
    (one,) = observations(tern_hollow)
    assert (one.observation.seen, one.observation.note) == (Seen.WATERED, "floor and bench")
    assert state_of(tern_hollow, asked) is AlarmState.ACKNOWLEDGED
    site = tern_hollow.parts.site
    before = next(b for b in site.batch if b.code == one.batch)
    after = next(b for b in with_entered(site, [one]).batch if b.code == one.batch)
    assert after.observation == (*before.observation, one.observation)
    page = client.get(f"/answer/{token}").text
    assert "watered · floor and bench" in page
    assert "counts for stages and checks from the next minute" in page


def test_a_check_of_the_plan_may_be_what_was_done(client, tern_hollow, token, asked):
    page = client.get(f"/answer/{token}").text
    check = page.partition('value="checked.')[2].partition('"')[0]
    assert check
    post(client, token, answer="done", deed=f"checked.{check}")
    (one,) = observations(tern_hollow)
    assert (one.observation.seen, one.observation.check) == (Seen.CHECKED, check)


@pytest.mark.parametrize("deed", ["", "cover_off", "full_sun", "checked.nothing", "<b>"])
def test_done_needs_a_deed_that_is_offered(client, tern_hollow, token, asked, deed):
    answer = post(client, token, answer="done", deed=deed)
    assert answer.status_code == 409
    assert "Choose what you did" in answer.text
    assert observations(tern_hollow) == ()
    assert state_of(tern_hollow, asked) is AlarmState.UNACKNOWLEDGED


def test_who_comes_second_is_told_who_has_it_and_may_still_go(client, tern_hollow, token, asked):
    parts = tern_hollow.parts
    with writing(parts.records) as db:
        acknowledge(db, asked.alarm_id, by="wren", at=parts.clock.now())
    late = post(client, token, answer="seen")
    assert late.status_code == 409
    assert "Wren Castellow has it since" in late.text
    assert post(client, token, answer="going").status_code == 303
    assert [one.observation.by for one in observations(tern_hollow)] == ["tobin"]
    with reading(parts.records) as db:
        assert alarm(db, asked.alarm_id).acknowledged_by == "wren"


def test_a_link_is_for_its_own_alarm_alone(client, tern_hollow, token, asked):
    parts = tern_hollow.parts
    with reading(parts.records) as db:
        others = [a for a in standing_alarms(db) if a.id != asked.alarm_id]
    post(client, token, answer="seen")
    with reading(parts.records) as db:
        after = [a for a in standing_alarms(db) if a.id != asked.alarm_id]
    assert after == others


def test_an_old_link_is_refused(client, tern_hollow, token, asked):
    tern_hollow.clock.turn_by(LASTS - timedelta(seconds=1))
    assert client.get(f"/answer/{token}").status_code == 200
    tern_hollow.clock.turn_by(timedelta(seconds=1))
    for answer in (client.get(f"/answer/{token}"), post(client, token, answer="seen")):
        assert answer.status_code == 410
        assert "older than a day" in answer.text
    assert state_of(tern_hollow, asked) is AlarmState.UNACKNOWLEDGED


def test_a_link_replayed_after_the_alarm_was_raised_anew_is_refused(
    client, tern_hollow, token, asked
):
    parts, now = tern_hollow.parts, tern_hollow.parts.clock.now()
    with writing(parts.records) as db:
        one = alarm(db, asked.alarm_id)
        clear_alarm(db, batch=one.batch, condition=one.condition, at=now)
        again = raise_alarm(
            db,
            batch=one.batch,
            condition=one.condition,
            priority=one.priority,
            opened_at=now,
            since=now,
            value=one.value,
        )
        assert again is not None
        assert again.alarm.id == asked.alarm_id
    for answer in (client.get(f"/answer/{token}"), post(client, token, answer="seen")):
        assert answer.status_code == 410
        assert "raised again since" in answer.text
    assert state_of(tern_hollow, asked) is AlarmState.UNACKNOWLEDGED


def test_links_of_people_who_left_or_of_no_alarm_are_refused(client, tern_hollow, asked):
    links = tern_hollow.parts.links
    gone = links.token(replace(asked, person="nobody"))
    nowhere = links.token(replace(asked, alarm_id=99_999))
    assert post(client, gone, answer="seen").status_code == 410
    assert post(client, nowhere, answer="seen").status_code == 410


def test_a_link_signed_elsewhere_is_refused(client, tern_hollow, asked):
    forged = Links.of_this_process().token(asked)
    for answer in (client.get(f"/answer/{forged}"), post(client, forged, answer="seen")):
        assert answer.status_code == 404
        assert "not one of ours" in answer.text
    assert state_of(tern_hollow, asked) is AlarmState.UNACKNOWLEDGED


KEPT = Links(b"k" * 32)
NOW_LINK = Link(12, 34, "corvin", datetime(2026, 11, 15, tzinfo=UTC))


@given(place=st.integers(0, 80), letter=st.characters())
def test_no_letter_of_a_link_can_be_changed(place, letter):
    token = KEPT.token(NOW_LINK)
    at = place % len(token)
    changed = token[:at] + letter + token[at + 1 :]
    read = KEPT.read(changed, now=NOW_LINK.until - timedelta(hours=1))
    assert read == NOW_LINK if changed == token else read is Refusal.TAMPERED


@given(st.text(max_size=80))
def test_no_text_that_is_not_signed_is_a_link(text):
    assert KEPT.read(text, now=NOW_LINK.until) is Refusal.TAMPERED


def test_the_key_is_made_once_for_its_owner_alone_and_refused_when_others_can_read_it(tmp_path):
    first = Links.kept_in(tmp_path)
    file = tmp_path / "answer-key"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert Links.kept_in(tmp_path).key == first.key
    assert [path.name for path in tmp_path.iterdir()] == ["answer-key"]
    assert first.key.hex() not in repr(first)
    assert str(first.key) not in repr(first)
    file.chmod(0o640)
    with pytest.raises(KeyReadable, match="Delete the file"):
        Links.kept_in(tmp_path)
    file.chmod(0o600)
    file.write_bytes(b"short")
    with pytest.raises(ValueError, match="Delete the file"):
        Links.kept_in(tmp_path)


def test_it_leads_to_the_cautions_in_the_persons_language(client, tern_hollow, asked):
    token = tern_hollow.parts.links.token(replace(asked, person="pilar"))
    page = client.get(f"/answer/{token}").text
    assert '<a href="/cautions?lang=es">Todas las precauciones</a>' in page


def test_the_page_speaks_the_language_of_the_person_asked(client, tern_hollow, asked):
    token = tern_hollow.parts.links.token(replace(asked, person="pilar"))
    page = client.get(f"/answer/{token}", headers={"accept-language": "en"})
    assert "Usted responde como Pilar Ondarreta." in page.text
    assert '<html lang="es"' in page.text
