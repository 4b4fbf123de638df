"""The picture in a message: it is there, it shows what it must, and it never stops the words."""

from __future__ import annotations

import base64
import io
import logging
import threading
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
import resvg_py
from PIL import Image
from pydantic import SecretStr

from api.alerts.channels import Channels, Sent
from api.alerts.message import MessageText
from api.alerts.service import AlertService
from api.drawing.charts import PLOT, TOP
from api.drawing.png import FONT, ZOOM, fonts
from api.parts import Parts
from api.pictures.alarm_chart import CHART_TOP, PICTURE_HEIGHT, Reader
from api.pictures.pictures import LARGEST_BYTES, Pictures
from api.pictures.ribbons import ROW
from api.pictures.sheet import DANGER, EDGE, INK, RECORD, WIDTH, printed
from api.records.alarms import alarm_history
from api.records.outbox import newest_messages
from api.records.session import reading
from api.settings import Settings
from api.v1.sight import Sight
from collector.gate import Gate
from collector.ingest import Ingest
from collector.rejects import RejectLog
from rules.model.reading import Reading

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

pytestmark = pytest.mark.service


def colours(png: bytes) -> NDArray[np.int16]:
    image = Image.open(io.BytesIO(png))
    assert image.format == "PNG"
    return np.asarray(image.convert("RGB"), dtype=np.int16)


def where_is(colour: str, pixels: NDArray[np.int16], *, off: int = 12) -> NDArray[np.bool_]:
    """Return where a colour of the style sheet stands, but for the softened edges of lines."""
    wanted = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)])
    return (np.abs(pixels - wanted) <= off).all(axis=2)


def plot_of(pixels: NDArray[np.int16]) -> NDArray[np.int16]:
    top = (CHART_TOP + TOP) * ZOOM
    return pixels[top : top + PLOT * ZOOM, EDGE * ZOOM : (WIDTH - EDGE) * ZOOM]


def parts_of(nursery) -> Parts:
    rejects = RejectLog(nursery.store.file)
    ingest = Ingest(
        Gate(nursery.site.sensor),
        nursery.store,
        rejects=rejects,
        together=nursery.store.file.writing,
        clock_ms=lambda: 0,
    )
    return Parts(
        book=nursery.book,
        store=nursery.store,
        rejects=rejects,
        ingest=ingest,
        records=nursery.records,
        clock=nursery.clock,
        settings=Settings(),
    )


def pictures_of(nursery) -> Pictures:
    parts = parts_of(nursery)
    return Pictures(parts, Sight(parts))


def with_pictures(
    nursery, picture: Callable, *, wait: timedelta = timedelta(minutes=2)
) -> AlertService:
    return AlertService(
        nursery.book,
        nursery.records,
        nursery.clock,
        nursery.channels,
        base_url="http://shed.invalid",
        picture=picture,
        picture_wait=wait,
    )


def dry_after_a_gap(nursery) -> None:
    """Half an hour of damp air, an hour in which nothing is heard, then air that is too dry."""
    nursery.pass_minutes(0, [95.0] * 30)
    nursery.pass_minutes(30, [None] * 60)
    nursery.pass_minutes(90, [95.0] * 10 + [70.0] * 10)


def png_in(mail) -> bytes:
    pictures = [part for part in mail.walk() if part.get_content_type() == "image/png"]
    assert len(pictures) == 1
    return pictures[0].get_payload(decode=True)


def test_a_mail_carries_the_chart_and_says_the_same_in_words(nursery, postbox):
    service = with_pictures(nursery, pictures_of(nursery).with_message)
    dry_after_a_gap(nursery)
    assert service.turn() >= 1
    mail = next(one for one in postbox.mail if "too dry" in str(one["Subject"]))
    png = png_in(mail)
    pixels = colours(png)
    assert pixels.shape[:2] == (PICTURE_HEIGHT * ZOOM, WIDTH * ZOOM)
    assert len(png) < LARGEST_BYTES
    words = mail.get_body(("plain",)).get_content()
    assert "70 %" in words
    assert "80" in words


def test_danger_is_told_without_a_picture_that_takes_too_long(nursery, postbox):
    """However long a drawing takes, the words go; what is drawn later is ready for the next."""
    go_on, done = threading.Event(), threading.Event()
    drawn: list[bytes] = []

    def slow(about, person, now) -> bytes | None:
        go_on.wait(60)
        drawn.append(pictures_of(nursery).with_message(about, person, now))
        done.set()
        return drawn[-1]

    service = with_pictures(nursery, slow, wait=timedelta(milliseconds=50))
    dry_after_a_gap(nursery)
    try:
        assert service.turn() >= 1
        mail = next(one for one in postbox.mail if "too dry" in str(one["Subject"]))
        assert [part.get_content_type() for part in mail.walk()].count("image/png") == 0
        assert "70 %" in mail.get_content()
        assert drawn == []
    finally:
        go_on.set()
    # It reads the records, which are shut when the test ends.
    assert done.wait(60)
    assert drawn[0].startswith(b"\x89PNG")


def test_pictures_are_drawn_beside_the_sending_in_the_order_of_the_messages(nursery, postbox):
    threads: list[str] = []
    asked: list[int] = []

    def noted(about, person, now) -> bytes | None:
        threads.append(threading.current_thread().name)
        asked.append(about[0].id)
        return pictures_of(nursery).with_message(about, person, now)

    service = with_pictures(nursery, noted)
    dry_after_a_gap(nursery)
    assert service.turn() >= 2
    assert {name.partition("_")[0] for name in threads} == {"pictures"}
    assert len(asked) >= 2
    with_chart = [
        mail
        for mail in postbox.mail
        if any(part.get_content_type() == "image/png" for part in mail.walk())
    ]
    assert len(with_chart) == len(asked)


def test_the_line_breaks_where_nothing_was_seen_and_the_limit_is_drawn_right_across(nursery):
    dry_after_a_gap(nursery)
    with nursery.db() as db:
        dry = next(one for one in alarm_history(db, most=9) if one.condition == "air-dry")
    made = pictures_of(nursery).of((dry,), Reader("en", False, nursery.clock.now()))
    plot = plot_of(colours(made))
    width = plot.shape[1]
    # From 02:00 of a day that is drawn from noon to noon; a reading speaks for four minutes more.
    minute = [round((14 * 60 + m) / 1440 * width) for m in (0, 30, 36, 88, 92, 109)]
    line = where_is(RECORD, plot).any(axis=0)
    assert line[minute[0] + 3 : minute[1] - 3].all()
    assert not line[minute[2] + 4 : minute[3] - 4].any()
    assert line[minute[4] + 3 : minute[5] - 3].all()
    assert not line[: minute[0] - 4].any()
    assert not line[minute[5] + 8 :].any()
    limit = where_is(DANGER, plot).sum(axis=1)
    assert limit.max() > 0.9 * width
    # 70 lies below the limit, 95 above it.
    row = int(limit.argmax())
    rows = np.flatnonzero(where_is(RECORD, plot).any(axis=1))
    assert rows.min() < row < rows.max()


def test_the_dark_hours_are_shaded_and_the_alarm_has_its_moment(nursery):
    dry_after_a_gap(nursery)
    with nursery.db() as db:
        dry = next(one for one in alarm_history(db, most=9) if one.condition == "air-dry")
    made = pictures_of(nursery).of((dry,), Reader("en", False, nursery.clock.now()))
    pixels = colours(made)
    width = (WIDTH - 2 * EDGE) * ZOOM
    above = pixels[(CHART_TOP + 4) * ZOOM : (CHART_TOP + TOP - 2) * ZOOM]
    marked = np.flatnonzero(where_is(DANGER, above).any(axis=0)) - EDGE * ZOOM
    opened = (14 * 60 + (dry.opened_at - nursery_start()).total_seconds() / 60) / 1440
    assert marked.size
    assert abs(float(marked.min() + marked.max()) / 2 - opened * width) < 16
    plot = plot_of(pixels)
    noon, midnight = plot[4, 40], plot[4, plot.shape[1] // 2 - 60]
    assert int(midnight.sum()) < int(noon.sum()) - 30


def nursery_start() -> datetime:
    return datetime(2026, 11, 14, 15, 0, tzinfo=UTC)


def test_a_reader_of_fahrenheit_sees_the_same_course_in_their_unit(nursery):
    for minute in range(20):
        at_ms = int(nursery_start().timestamp() + 60 * minute + 20) * 1000
        warm = 30.0 if minute < 8 else 41.0
        nursery.store.keep(
            [Reading("bag-7/air", at_ms, warm), Reading("bag-7/humidity", at_ms, 95.0)]
        )
        nursery.close(minute)
    with nursery.db() as db:
        heat = next(one for one in alarm_history(db, most=9) if one.condition == "heat")
    pictures, now = pictures_of(nursery), nursery.clock.now()
    celsius = colours(pictures.of((heat,), Reader("en", False, now)))
    fahrenheit = colours(pictures.of((heat,), Reader("en", True, now)))
    assert (celsius != fahrenheit).any()
    lines = [where_is(RECORD, plot_of(one)) for one in (celsius, fahrenheit)]
    # 38 °C is 100.4 °F: the course crosses the bound in the same place.
    assert (lines[0] & lines[1]).sum() > 0.7 * lines[0].sum()


def test_words_are_there_on_a_machine_without_any_font():
    made = colours(printed("MG-07 mango, bench 2", ["Humidity, %"], top=44, height=60))
    assert where_is(INK, made).sum() > 400
    word = "<text y='20'>ñ°%</text>"
    svg = f"<svg xmlns='http://www.w3.org/2000/svg' width='90' height='30'>{word}</svg>"
    bare = resvg_py.svg_to_bytes(svg_string=svg, skip_system_fonts=True)
    ours = resvg_py.svg_to_bytes(
        svg_string=svg, skip_system_fonts=True, font_files=fonts(), font_family=FONT
    )
    seen = [
        np.asarray(Image.open(io.BytesIO(one)).convert("RGBA"))[:, :, 3].sum()
        for one in (bare, ours)
    ]
    assert seen[0] == 0
    assert seen[1] > 0


def test_a_picture_that_fails_keeps_no_message_from_going(nursery, postbox, caplog):
    def broken(*_: object) -> bytes:
        msg = "the pencil broke"
        raise RuntimeError(msg)

    service = with_pictures(nursery, broken)
    nursery.pass_minutes(0, [95.0] * 3 + [70.0] * 6)
    with caplog.at_level(logging.ERROR):
        assert service.turn() == 1
    assert len(postbox.mail) == 1
    assert not any(part.get_content_type() == "image/png" for part in postbox.mail[0].walk())
    assert "picture_failed" in caplog.text


def test_an_alarm_of_which_nothing_was_ever_seen_goes_without_a_picture(nursery, postbox):
    service = with_pictures(nursery, pictures_of(nursery).with_message)
    for minute in range(12):
        nursery.close(minute)
    assert service.turn() >= 1
    assert not any(part.get_content_type() == "image/png" for part in postbox.mail[0].walk())


def test_after_two_failed_tries_the_words_go_alone(nursery, postbox):
    asked = []

    def drawn(about, person, now) -> None:
        asked.append(about[0].condition)

    service = with_pictures(nursery, drawn)
    postbox.refusal = "451 not now"
    nursery.pass_minutes(0, [95.0] * 3 + [70.0] * 6)
    for _ in range(3):
        service.turn()
        with nursery.db() as db:
            row = newest_messages(db, most=1)[0]
        nursery.clock.turn_to(row.due_at)
    assert row.attempts == 3
    assert asked == ["air-dry", "air-dry"]


def test_a_channel_that_takes_no_picture_is_told_all_the_same(small_site, broker_port):
    lamp = SecretStr(f"mqtt://127.0.0.1:{broker_port}/shed/lamp")
    channels = Channels(None, "watch@small.example.invalid", reach={"shed-lamp": lamp})
    picture = printed("x", [], top=10, height=30)
    text = MessageText("line", "body")
    assert channels.send(small_site.person[0], "shed-lamp", text, picture=picture) == Sent()


def test_a_gateway_gets_the_picture_beside_the_words(small_site, gateway):
    channels = Channels(None, "watch@small.example.invalid", reach={"phone": gateway.address()})
    picture = printed("x", [], top=10, height=30)
    text = MessageText("line", "body")
    assert channels.send(small_site.person[0], "phone", text, picture=picture) == Sent()
    assert base64.b64decode(gateway.given[0]["attachments"][0]["base64"]) == picture


def test_several_batches_are_drawn_as_ribbons_and_drawn_once(nursery):
    nursery.pass_minutes(0, [95.0] * 3)
    for minute in range(3, 12):
        nursery.keep(minute, MG_07=70.0, AV_09=70.0)
        nursery.close(minute)
    with reading(nursery.records) as db:
        both = [one for one in alarm_history(db, most=9) if one.condition == "air-dry"]
    assert len(both) == 2
    pictures = pictures_of(nursery)
    corvin = nursery.site.person[0]
    made = pictures.with_message(both, corvin, nursery.clock.now())
    pixels = colours(made)
    assert pixels.shape[1] == WIDTH * ZOOM
    assert pixels.shape[0] != PICTURE_HEIGHT * ZOOM
    beyond = where_is(DANGER, pixels)
    rows = np.flatnonzero(beyond.any(axis=1))
    assert rows.max() - rows.min() > ROW * ZOOM  # both batches are below their lines
    assert pictures.with_message(both, corvin, nursery.clock.now()) is made


def test_a_restless_record_still_makes_a_small_picture(nursery):
    wild = np.random.default_rng(3).uniform(82.0, 99.0, 700)
    for minute, value in enumerate(wild):
        nursery.keep(minute, MG_07=float(value))
    nursery.pass_minutes(700, [70.0] * 6)
    with nursery.db() as db:
        found = [one for one in alarm_history(db, most=9) if one.batch == "MG-07"]
    made = pictures_of(nursery).of(found[:1], Reader("en", False, nursery.clock.now()))
    assert made is not None
    assert len(made) < LARGEST_BYTES
