"""A photo goes with what was seen, once, within a day; removed, only who did what is left."""

from __future__ import annotations

import io
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from api.at_bench import undo, write_down
from api.bookkeeping import Bookkeeping
from api.entering import Seeing, UnknownThing
from api.photos.keeping import (
    ADDED_WITHIN,
    BadPhoto,
    HasPhoto,
    TooLateForPhoto,
    UnknownWriter,
    add_photo,
    remove,
)
from api.photos.readying import PhotoFault
from api.records.entries import Kind
from api.records.photos import Pictures, keep_photo, photo_of, picture_of
from api.records.session import open_records, reading, writing
from api.records.tables import instant, photos
from api.trail import Done, trail_of

DEMO = Path(__file__).parents[3] / "demo_data"
NOW = instant(1_794_668_400_000)


def photo(colour: str) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (400, 300), colour).save(out, "JPEG")
    return out.getvalue()


class Bench:
    def __init__(self, records_at) -> None:
        self.records = open_records(records_at)
        self.book = Bookkeeping(DEMO / "site.toml", DEMO / "plans", self.records).book

    def write(self) -> int:
        seeing = Seeing("MG-07", {"seen": "mould"}, "tobin")
        kept = write_down(self.records, self.book, seeing, at=NOW, override=False, lead=False)
        return kept.number

    def add(self, number: int, sent: bytes, *, by="tobin", after=timedelta(minutes=2)):
        return add_photo(self.records, self.book, number, sent, by=by, at=NOW + after)

    def remove(self, number: int, *, by="wren", why="a face in it"):
        at = NOW + timedelta(hours=1)
        remove(self.records, self.book, number, by=by, at=at, why=why)

    def picture(self, number: int, *, small=False):
        with reading(self.records) as db:
            found = picture_of(db, number, small=small)
        return None if found is None else found[1]

    def trail(self):
        with reading(self.records) as db:
            lines = trail_of(db, Kind.BATCH, "MG-07")
        return [(one.done, one.number, one.by, one.note) for one in lines if "photo" in one.done]


@pytest.fixture
def bench(records_at):
    made = Bench(records_at)
    yield made
    made.records.dispose()


def test_a_photo_is_kept_once_read_back_and_removed_with_a_trail(bench):
    number, other = bench.write(), bench.write()
    first = bench.add(number, photo("red"))
    again = bench.add(number, photo("red"), by="wren")
    assert (first.new, again.new) == (True, False)
    assert again.photo == first.photo
    assert (first.photo.width, first.photo.height, first.photo.by) == (400, 300, "tobin")
    large, small = bench.picture(number), bench.picture(number, small=True)
    assert first.photo.size == len(large)
    assert Image.open(io.BytesIO(large)).size == (400, 300)
    assert Image.open(io.BytesIO(small)).size == (320, 240)
    assert bench.picture(other) is None
    with pytest.raises(HasPhoto):
        bench.add(number, photo("blue"))
    assert bench.picture(number) == large

    for _ in range(2):
        bench.remove(number)
    assert bench.picture(number) is None
    with reading(bench.records) as db:
        kept = db.execute(select(photos.c.image, photos.c.small)).all()
    assert [tuple(one) for one in kept] == [(None, None)]
    added = (Done.PHOTO_ADDED, number, "tobin", "")
    assert bench.trail() == [added, (Done.PHOTO_REMOVED, number, "wren", "a face in it")]

    assert bench.add(number, photo("blue")).new
    assert bench.picture(number) is not None
    assert [one[0] for one in bench.trail()].count(Done.PHOTO_ADDED) == 2


def test_what_can_not_have_a_photo_says_why(bench):
    number = bench.write()
    with pytest.raises(UnknownThing):
        bench.add(number + 50, photo("red"))
    with pytest.raises(UnknownThing):
        bench.remove(number + 50)
    for who in ("ghost", ""):
        with pytest.raises(UnknownWriter):
            bench.add(number, photo("red"), by=who)
        with pytest.raises(UnknownWriter):
            bench.remove(number, by=who)
    with pytest.raises(BadPhoto) as trouble:
        bench.add(number, b"<svg/>")
    assert trouble.value.fault is PhotoFault.NO_PHOTO
    with pytest.raises(TooLateForPhoto):
        bench.add(number, photo("red"), after=ADDED_WITHIN + timedelta(seconds=1))
    assert bench.picture(number) is None
    assert bench.trail() == []
    assert bench.add(number, photo("red"), after=ADDED_WITHIN).new


def test_what_is_taken_back_loses_its_photo_and_gets_none(bench):
    number = bench.write()
    bench.add(number, photo("red"))
    undo(bench.records, bench.book, number, by="tobin", at=NOW + timedelta(minutes=5))
    assert bench.picture(number) is None
    assert bench.trail()[-1][:3] == (Done.PHOTO_REMOVED, number, "tobin")
    with pytest.raises(TooLateForPhoto):
        bench.add(number, photo("blue"))


def test_the_database_itself_holds_one_photo_to_an_observation(bench):
    number = bench.write()
    bench.add(number, photo("red"))
    other = Pictures(b"x", b"x", 1, 1)
    with pytest.raises(IntegrityError), writing(bench.records) as db:
        keep_photo(db, number, other, digest="d", by="tobin", at=NOW)
    with pytest.raises(IntegrityError), writing(bench.records) as db:
        keep_photo(db, number + 50, other, digest="d", by="tobin", at=NOW)
    with reading(bench.records) as db:
        assert photo_of(db, number).width == 400
