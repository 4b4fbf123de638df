"""The page of replays: files are shown before they are used, and nothing is hidden in a gap."""

from __future__ import annotations

import re
import threading
from html import unescape
from pathlib import Path

import httpx
import numpy as np
import pytest

from api.replaying import replayed
from api.replays.files import Given, load_files, scratch_store, span_loaded
from api.replays.looking import MOST_UNPACKED_BYTES, look_at
from api.replays.pressed import MOST_COLUMNS, Pressed
from api.replays.record import recorded_in
from api.watch.clock import milliseconds
from rules.model.event import Standing
from rules.standing import BY_SEVERITY

HEAD = "time,Temp (°C),RH (%)\n"


def rows(first_hour: int, minutes: int) -> list[str]:
    return [
        f"2026-11-14 {first_hour + m // 60:02d}:{m % 60:02d},25.0,{95 + m % 3 / 10}"
        for m in range(minutes)
    ]


HOLED = HEAD + "\n".join([*rows(14, 60), *rows(17, 60)]) + "\n"


@pytest.fixture(scope="module")
def hollow(pages_nursery, filled, tmp_path_factory):
    data = tmp_path_factory.mktemp("replay-page")
    opened = pages_nursery.nursery(pages_nursery.copied(filled, data / "data"))
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def web(pages_nursery, hollow):
    with (
        pages_nursery.serving(hollow.parts) as address,
        httpx.Client(base_url=address, timeout=60, follow_redirects=True) as one,
    ):
        yield one


def said(answer: httpx.Response, status: int = 200) -> str:
    assert answer.status_code == status, answer.text
    return unescape(answer.text)


def number_on(page: str) -> str:
    found = re.search(r'name="number" value="(\d+)"', page)
    assert found, page
    return found[1]


def send(web, name: str, text: str, **fields: str) -> httpx.Response:
    return web.post(
        "/replay", files={"file": (name, text.encode())}, data={"of": "files", **fields}
    )


def when_done(web, lang: str = "en") -> str:
    pause = threading.Event()
    for _ in range(600):
        page = said(web.get(f"/replay?lang={lang}"))
        if 'id="running"' not in page:
            return page
        assert "<progress" in page
        pause.wait(0.05)
    pytest.fail("it runs still")


def test_a_file_is_shown_then_replayed_in_both_languages(web):
    page = said(send(web, "bag-07.csv", HOLED))
    assert "Is each column in its place?" in page
    assert "as found: bag-07/air" in page
    assert "25.0, 25.0" in page
    assert web.get("/api/v1/replays").json()[0]["stage"] == "shown"
    web.post("/replay/begin", data={"number": number_on(page), "press": "run"})
    page = when_done(web)
    assert "MG-07" in page
    assert re.search(r"Could not be seen for \d+ h", page)
    assert 'class="gap-end"' in page
    assert "strip-dots" in page
    assert "bag-07.csv: 120 rows, 240 readings taken, 0 refused." in page
    figures = re.search(r'href="(/api/v1/replays/\d+)"', page)
    assert figures
    assert web.get(figures[1]).json()["figures"]["batches"]["MG-07"]["blind_min"] > 100
    in_spanish = when_done(web, "es")
    assert "No se pudo ver durante" in in_spanish
    assert "Could not be seen" not in in_spanish


def test_danger_that_nobody_sees_is_not_called_seen(web):
    """A batch stays in danger through a gap; the page then says that there was no value."""
    dry = [f"{row.rpartition(',')[0]},55.0" for row in [*rows(14, 60), *rows(17, 60)]]
    page = said(send(web, "bag-07.csv", HEAD + "\n".join(dry) + "\n"))
    web.post("/replay/begin", data={"number": number_on(page), "press": "run"})
    page = when_done(web)
    entry = page[page.index("<b>MG-07</b>") :]
    entry = entry[: entry.index("</li>")]
    assert "In danger" in entry
    assert re.search(r"For \d+ (h|min) in all there was no value", entry)
    assert "Was seen all the time" not in entry


def test_a_column_without_a_home_is_given_one_by_hand(web):
    page = said(send(web, "export.csv", HOLED))
    assert "can't be used as it stands" in page
    assert "Choose it below, then look again" in page
    assert "--map" not in page  # of the command
    assert "25.0, 25.0, 25.0" in page  # what the column holds
    assert "nothing in the file says which sensor" in page
    number = number_on(page)
    chosen = {"number": number, "f0c2": "bag-07/air", "f0c3": "bag-07/humidity", "press": "run"}
    page = said(web.post("/replay/begin", data=chosen))
    # It could not be read before, so it is shown once more and not judged yet.
    assert web.get("/api/v1/replays").json()[0]["stage"] == "shown"
    assert re.search(r'<option value="bag-07/air" selected', page)
    assert "can't be used" not in page
    web.post("/replay/begin", data=chosen)
    assert "alarms from" in when_done(web)


def test_two_ways_to_read_a_date_are_offered_and_one_is_chosen(web):
    text = "time,temperature,humidity\n05/03/2026 10:00,21.5,60\n05/03/2026 10:10,21.6,61\n"
    page = said(send(web, "bag-07.csv", text))
    assert 'value="date_order=dmy"' in page
    assert 'value="date_order=mdy"' in page
    form = {"number": number_on(page), "f0way": "date_order=dmy", "press": "look"}
    page = said(web.post("/replay/begin", data=form))
    assert "day, month, year (settled by you)" in page
    assert re.search(r'name="f0date_order" value="dmy"', page)
    page = said(web.post("/replay/end", data={"number": number_on(page)}))
    assert web.get("/api/v1/replays").json() == []
    assert "Drop files here" in page


def test_stored_readings_are_replayed_from_the_page(web):
    said(web.post("/replay", files=[("of", (None, "store")), ("how", (None, "happened"))]))
    page = when_done(web)
    assert "As it happened." in page
    for one in web.get("/api/v1/alarms").json():
        assert one["batch"] in page


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"of": "files"}, "Choose a file first."),
        ({"of": "store", "from": "tomorrow"}, "Write each day as 2026-11-14."),
        ({"of": "store", "from": "2026-11-14", "to": "2026-11-01"}, "lies before the first"),
    ],
)
def test_what_is_wrong_is_said_on_the_page(web, fields, says):
    page = said(web.post("/replay", files=[(k, (None, v)) for k, v in fields.items()]), 422)
    assert says in page


def test_a_replay_that_is_gone_is_told(web):
    assert "is gone" in said(web.post("/replay/end", data={"number": "7"}), 404)
    assert "is gone" in said(web.post("/replay/begin", data={"number": "x"}), 404)


def test_no_column_that_is_drawn_looks_steady_where_a_minute_was_not_seen(hollow, tmp_path):
    """Each minute of a record with holes against the columns it was pressed into."""
    parts = hollow.parts
    days = [f"2026-11-{day:02d} {row[11:]}" for day in range(11, 15) for row in rows(14, 240)]
    holes = [row for place, row in enumerate(days) if place % 97 < 60]
    path = tmp_path / "bag-07.csv"
    path.write_text(HEAD + "\n".join(holes) + "\n", encoding="utf-8")
    now = parts.book.now
    with scratch_store(tmp_path) as store:
        loaded = list(
            load_files(
                [Given(path)],
                store,
                now.site,
                clock_ms=lambda: milliseconds(parts.clock),
                rest=lambda _took: False,
                moved=lambda _place, _done, _whole: None,
            )
        )
        recorded = recorded_in(
            now.site,
            now.plans,
            None,
            between=(None, None),
            loaded_ms=span_loaded(loaded),
            hindsight=False,
            one_book=False,
            lateness_s=90,
        )
        span = recorded.span
        pressed = Pressed(span.told_from, span.end)
        minutes = []
        for passage in replayed(recorded.stretches, store, late_in=None):
            pressed.take(passage)
            minutes.append(passage.record.batches["MG-07"].standing)
    standing = np.concatenate(minutes)
    drawn = pressed.drawn()["MG-07"]
    assert pressed.step_min > 1
    assert drawn.ribbon.standing.size <= MOST_COLUMNS
    steady, blind = (BY_SEVERITY.index(one) for one in (Standing.STEADY, Standing.BLIND))
    assert (standing == blind).any()
    assert (drawn.ribbon.standing == steady).any()
    for column, place in enumerate(drawn.ribbon.standing):
        part = standing[column * pressed.step_min : (column + 1) * pressed.step_min]
        assert place == part.max()
        if (part == blind).any():
            assert not drawn.ribbon.margin[column] >= 0


def test_a_workbook_that_swells_is_refused(hollow, tmp_path: Path):
    import zipfile

    path = tmp_path / "bag-07.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed, packed.open("a", "w") as part:
        for _ in range(MOST_UNPACKED_BYTES // (1024 * 1024) + 1):
            part.write(b"\0" * 1024 * 1024)
    look = look_at(Given(path), hollow.parts.site, now_ms=milliseconds(hollow.parts.clock))
    assert look.detection is None
    assert look.refusal is not None
    assert "save the sheet as CSV" in look.refusal.fix
