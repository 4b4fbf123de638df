"""Photos kept beside what was seen. One that was removed leaves its line, without the picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, insert, select, update

from api.records.tables import as_ms, instant, instant_or_none, observations, photos

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import ColumnElement, Connection, Row


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as it is on record. `size` in bytes, `removed_at` None while it is there.

    `digest` is of what was sent, by which the same photo sent again is known.
    """

    id: int
    observation: int
    digest: str
    width: int
    height: int
    size: int
    by: str
    added_at: datetime
    removed_at: datetime | None
    removed_by: str | None
    removed_why: str | None


@dataclass(frozen=True, slots=True)
class Pictures:
    """What is kept of a photo: the picture, the same small, and its size in pixels."""

    image: bytes
    small: bytes
    width: int
    height: int


_META: tuple[ColumnElement[Any], ...] = (
    *(photos.c.id, photos.c.observation, photos.c.digest, photos.c.width, photos.c.height),
    *(photos.c.by, photos.c.added_ms, photos.c.removed_ms, photos.c.removed_by),
    *(photos.c.removed_why, func.coalesce(func.length(photos.c.image), 0).label("size")),
)
_THERE = photos.c.removed_ms.is_(None)


def keep_photo(
    db: Connection, observation: int, pictures: Pictures, *, digest: str, by: str, at: datetime
) -> int:
    """Keep a photo with an observation that has none; return its number."""
    row = insert(photos).values(
        observation=observation,
        digest=digest,
        width=pictures.width,
        height=pictures.height,
        image=pictures.image,
        small=pictures.small,
        by=by,
        added_ms=as_ms(at),
    )
    number: int = db.execute(row.returning(photos.c.id)).scalar_one()
    return number


def photo_of(db: Connection, observation: int) -> Photo | None:
    """Return the photo that goes with an observation now."""
    found = select(*_META).where(photos.c.observation == observation, _THERE)
    row = db.execute(found).first()
    return None if row is None else _photo(row)


def photos_of_batch(db: Connection, code: str) -> tuple[Photo, ...]:
    """Return every photo ever kept with what was seen of a batch, the removed ones too."""
    of_batch = select(observations.c.id).where(observations.c.batch == code)
    found = select(*_META).where(photos.c.observation.in_(of_batch)).order_by(photos.c.id)
    return tuple(_photo(row) for row in db.execute(found))


def standing_photos(db: Connection, code: str) -> tuple[Photo, ...]:
    """Return the photos that go with what was seen of a batch now."""
    return tuple(one for one in photos_of_batch(db, code) if one.removed_at is None)


def picture_of(db: Connection, observation: int, *, small: bool) -> tuple[int, bytes] | None:
    """Return number and picture of the photo that goes with an observation; None without one."""
    column = photos.c.small if small else photos.c.image
    found = select(photos.c.id, column).where(photos.c.observation == observation, _THERE)
    row = db.execute(found).first()
    return None if row is None else (row[0], bytes(row[1]))


def remove_photo(db: Connection, observation: int, *, by: str, at: datetime, why: str) -> bool:
    """Wipe the picture of an observation's photo and note who did; return whether there was one."""
    gone = (
        update(photos)
        .where(photos.c.observation == observation, _THERE)
        .values(image=None, small=None, removed_ms=as_ms(at), removed_by=by, removed_why=why)
    )
    return db.execute(gone).rowcount == 1


def _photo(row: Row[tuple[object, ...]]) -> Photo:
    return Photo(
        id=row.id,
        observation=row.observation,
        digest=row.digest,
        width=row.width,
        height=row.height,
        size=row.size,
        by=row.by,
        added_at=instant(row.added_ms),
        removed_at=instant_or_none(row.removed_ms),
        removed_by=row.removed_by,
        removed_why=row.removed_why,
    )
