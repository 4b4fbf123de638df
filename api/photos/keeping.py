"""A photo is added to what was seen, once, and removed by a lead: the line of both stays."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from api.entering import UnknownThing
from api.photos.readying import PhotoFault, readied
from api.records.entries import Kind, newest_of
from api.records.observations import observation_numbered
from api.records.photos import Photo, Pictures, keep_photo, photo_of, remove_photo
from api.records.session import reading, writing

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Engine

    from api.book import Book

ADDED_WITHIN = timedelta(hours=24)
"""For how long after it was written down a photo may be added. House rule: later it shows
another day."""


class BadPhoto(Exception):
    """What was sent can't be kept as a photo, see `fault`; nothing was kept."""

    def __init__(self, fault: PhotoFault) -> None:
        self.fault = fault
        super().__init__(fault.value)


class TooLateForPhoto(Exception):
    """It was written down too long ago, or taken back."""


class HasPhoto(Exception):
    """There is another photo with it already."""


class UnknownWriter(Exception):
    """Nobody has that name."""


@dataclass(frozen=True, slots=True)
class Added:
    """A photo as it was kept; `new` is false where the same had been sent before."""

    photo: Photo
    new: bool


def add_photo(
    records: Engine, book: Book, observation: int, sent: bytes, *, by: str, at: datetime
) -> Added:
    """Keep a photo with an observation. The same sent again is kept once.

    Raises UnknownThing, UnknownWriter, TooLateForPhoto, HasPhoto and BadPhoto.
    """
    _demand_person(book, by)
    digest = hashlib.sha256(sent).hexdigest()
    with reading(records) as db:
        entered = observation_numbered(db, observation)
        if entered is None:
            raise _unknown(observation)
        there = photo_of(db, observation)
        taken_back = newest_of(db, Kind.OBSERVATION, str(observation)) is not None
    if there is not None:
        return _the_same(there, digest)
    if taken_back or at - entered.entered_at > ADDED_WITHIN:
        raise TooLateForPhoto
    made = readied(sent)
    if isinstance(made, PhotoFault):
        raise BadPhoto(made)
    pictures = Pictures(made.image, made.small, made.width, made.height)
    with writing(records) as db:
        # Asked again where nobody else can write: two tabs may send at once, or take back.
        there = photo_of(db, observation)
        if there is not None:
            return _the_same(there, digest)
        if newest_of(db, Kind.OBSERVATION, str(observation)) is not None:
            raise TooLateForPhoto
        keep_photo(db, observation, pictures, digest=digest, by=by, at=at)
        kept = photo_of(db, observation)
    if kept is None:
        msg = f"the photo of observation {observation} was not kept"
        raise AssertionError(msg)
    return Added(kept, new=True)


def remove(
    records: Engine, book: Book, observation: int, *, by: str, at: datetime, why: str
) -> None:
    """Wipe the photo of an observation. Removed twice is as once.

    Raises UnknownThing and UnknownWriter.
    """
    _demand_person(book, by)
    with writing(records) as db:
        if observation_numbered(db, observation) is None:
            raise _unknown(observation)
        remove_photo(db, observation, by=by, at=at, why=why)


def _the_same(there: Photo, digest: str) -> Added:
    if there.digest != digest:
        raise HasPhoto
    return Added(there, new=False)


def _demand_person(book: Book, by: str) -> None:
    if by not in {one.id for one in book.now.site.person}:
        raise UnknownWriter(by)


def _unknown(observation: int) -> UnknownThing:
    msg = f"there is no observation {observation}"
    return UnknownThing(msg)
