"""What is wrong with the tool stands by itself, never in a batch's row; groups taken on whole."""

from __future__ import annotations

import html

import pytest

from api.alerts.links import LASTS, Link, ManyLink, Refusal
from api.records.alarms import acknowledge, standing_alarms
from api.records.courses import raised_by
from api.records.guarded import keep_closed, keep_opened
from api.records.session import reading, writing
from api.records.ways import condition_of, raise_alarm
from rules.model.alarm import AlarmState, Priority
from rules.vital_signs import Finding, Sign

HUB = Finding(
    Sign.HUB,
    "healing",
    Priority.HIGH,
    since_ago_s=3 * 3600.0,
    sensors=("bag-07", "bag-08", "bag-11"),
    batches=("AV-11", "MG-07", "MG-08"),
)


def found(tern_hollow, *findings: Finding) -> None:
    with writing(tern_hollow.parts.records) as db:
        keep_opened(db, findings, now=tern_hollow.clock.now())


def read(client, path: str, language: str = "en") -> str:
    answer = client.get(path, headers={"accept-language": language})
    assert answer.status_code == 200, answer.text
    return html.unescape(answer.text)


@pytest.fixture
def hub(tern_hollow) -> Finding:
    house = tern_hollow.parts.site.house[0]
    one = Finding(**{**{n: getattr(HUB, n) for n in HUB.__slots__}, "subject": house.id})
    found(tern_hollow, one)
    return one


def test_now_and_alarms_say_it_in_words_of_their_own(client, tern_hollow, hub):
    title = tern_hollow.parts.site.house[0].title
    for path in ("/", "/alarms"):
        page = read(client, path)
        part = page[page.index("The tool itself") :]
        assert f"{title}: nothing has come from the hub since 23:10;" in part
        assert "Check the hub: its power, aerial and network." in part
        assert part.index("nothing has come") < part.index("AV-11, MG-07, MG-08. A person must")
    spanish = read(client, "/", "es")
    assert "no ha llegado nada de la antena desde 23:10;" in spanish
    rows = page.split('<li class="entry')
    assert not any("/batches/" in row and "from the hub" in row for row in rows)


def test_the_api_tells_what_is_wrong_with_the_tool(client, hub):
    watch = client.get("/api/v1/watch").json()
    (one,) = watch["tool"]
    assert one["batch"] == ""
    assert one["tool"] == {
        "sign": "hub",
        "subject": hub.subject,
        "sensors": ["bag-07", "bag-08", "bag-11"],
        "batches": ["AV-11", "MG-07", "MG-08"],
        "said": "",
    }
    assert watch["health"] is None  # nobody looks after a demonstration
    assert client.get(f"/api/v1/alarms/{one['id']}").json()["tool"]["sign"] == "hub"


def test_its_own_page_says_what_to_do_and_takes_an_answer(client, tern_hollow, hub):
    with reading(tern_hollow.parts.records) as db:
        (one,) = (one for one in standing_alarms(db) if not one.batch)
    page = read(client, f"/alarms/{one.id}")
    assert "Check the hub" in page
    answer = client.post("/acknowledge", data={"alarm": [one.id], "by": "tobin"})
    assert answer.status_code == 303
    assert "AV-11, MG-07, MG-08. A person must go and look." in read(client, f"/alarms/{one.id}")
    with writing(tern_hollow.parts.records) as db:
        now = tern_hollow.clock.now()
        keep_closed(db, [hub.key], site=tern_hollow.parts.site, now=now)
        assert [one for one in standing_alarms(db) if not one.batch] == []
    assert "The tool itself" not in read(client, "/")


def test_a_way_that_fails_shows_on_now(client, tern_hollow):
    person = tern_hollow.parts.site.person[0]
    now = tern_hollow.clock.now()
    with writing(tern_hollow.parts.records) as db:
        raise_alarm(
            db,
            batch="",
            condition=condition_of(person.id, "email"),
            priority=Priority.MEDIUM,
            opened_at=now,
            since=now,
            value=None,
        )
    page = read(client, "/")
    assert f"{person.name} can't be reached by e-mail." in page
    assert "See that someone who can be reached is on duty" in page


def test_a_batch_without_a_vital_value_is_not_steady_while_the_tool_cannot_see(client, tern_hollow):
    standings = {one["code"]: one["standing"] for one in client.get("/api/v1/batches").json()}
    steady = [code for code, standing in standings.items() if standing == "steady"]
    assert steady
    found(tern_hollow, Finding(Sign.BROKER, "", Priority.HIGH, batches=tuple(standings)))
    seen = {one["code"]: one["standing"] for one in client.get("/api/v1/batches").json()}
    assert [seen[code] for code in steady] == ["steady"] * len(steady)  # they are seen all the same
    tern_hollow.stand_still(20)  # time passes, and nobody sends
    tern_hollow.watch.turn()
    later = {one["code"]: one["standing"] for one in client.get("/api/v1/batches").json()}
    assert not {later[code] for code in steady} & {"steady", "drifting"}


@pytest.fixture
def several(tern_hollow) -> ManyLink:
    parts = tern_hollow.parts
    found(tern_hollow, HUB, Finding(Sign.BROKER, "", Priority.HIGH))
    with reading(parts.records) as db:
        waiting = [one.id for one in standing_alarms(db) if one.state is AlarmState.UNACKNOWLEDGED]
        openings = tuple(sorted(raised_by(db, waiting).items()))
    assert len(openings) >= 2
    return ManyLink(openings, "tobin", parts.clock.now() + LASTS)


def test_a_link_to_a_group_takes_on_what_it_lists_and_no_more(client, tern_hollow, several):
    parts = tern_hollow.parts
    token = parts.links.many_token(several)
    found(tern_hollow, Finding(Sign.ARCHIVE, "", Priority.LOW))  # joined later
    first = several.openings[0][0]
    with writing(parts.records) as db:
        acknowledge(db, first, by="tobin", at=parts.clock.now())
    page = read(client, f"/answer/all/{token}")
    assert f"{len(several.openings)} alarms are told together" in page
    assert f"I'll take care of all {len(several.openings) - 1}" in page
    assert client.post(f"/answer/all/{token}").status_code == 303
    with reading(parts.records) as db:
        left = {one.id for one in standing_alarms(db) if one.state is AlarmState.UNACKNOWLEDGED}
        kept = [one for one in standing_alarms(db) if one.condition == "guard.archive"]
    assert left == {kept[0].id}
    assert "None of these waits for anybody any more." in read(client, f"/answer/all/{token}")


def test_a_link_to_a_group_opened_by_a_scanner_changes_nothing(client, tern_hollow, several):
    token = tern_hollow.parts.links.many_token(several)
    client.get(f"/answer/all/{token}")
    client.head(f"/answer/all/{token}")
    with reading(tern_hollow.parts.records) as db:
        waiting = [one.id for one in standing_alarms(db) if one.state is AlarmState.UNACKNOWLEDGED]
    assert set(waiting) == {alarm_id for alarm_id, _ in several.openings}


def test_a_link_to_a_group_that_was_changed_or_is_a_day_old_is_refused(
    client, tern_hollow, several
):
    links = tern_hollow.parts.links
    token = links.many_token(several)
    other = f"{token[0]}f{token[1:]}"
    assert client.post(f"/answer/all/{other}").status_code == 404
    assert links.read_many(token, now=several.until) is Refusal.EXPIRED
    single = links.token(Link(*several.openings[0], "tobin", several.until))
    assert client.post(f"/answer/all/{single}").status_code == 404
