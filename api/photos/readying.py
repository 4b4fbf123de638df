"""Makes of what a phone sent a photo that can be kept: small, and with nothing in it but pixels.

Nothing of the file that was sent is kept: its pixels are drawn on a new picture, which is written
anew as JPEG. So no place, time, owner, comment or hidden program of the file gets any further.
"""

from __future__ import annotations

import io
import struct
import threading
import zlib
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_BYTES = 8 * 1024 * 1024
LONGEST_PX = 1600
"""Enough to see a spot of mould on a leaf; a photo is then some 300 kB."""
SMALL_PX = 320
MEDIA_TYPE = "image/jpeg"
MOST_PIXELS: Mapping[str, int] = MappingProxyType(
    {"JPEG": 50_000_000, "PNG": 9_000_000, "WEBP": 9_000_000}
)
"""A JPEG is read at a smaller size from the start, the others whole, with a copy or two."""

_QUALITY, _SMALL_QUALITY = 82, 75
_ORIENTATION = 0x0112
_UPRIGHT: Mapping[int, Image.Transpose] = MappingProxyType(
    {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_270,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_90,
    }
)
_BROKEN = (
    *(OSError, SyntaxError, ValueError, EOFError, IndexError, KeyError, TypeError, OverflowError),
    *(struct.error, zlib.error, MemoryError, Warning),
)
"""What a decoder raises for a file that is not as its format says; warnings may be errors too."""

_ONE_AT_A_TIME = threading.Lock()
"""So that ten photos at once need no more memory than one."""


class PhotoFault(StrEnum):
    """Why what was sent can't be kept as a photo."""

    EMPTY = "empty"
    TOO_LARGE = "too_large"
    NO_PHOTO = "no_photo"
    TOO_MANY_PIXELS = "too_many_pixels"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Readied:
    """A photo as it is kept: JPEG, upright, and the same once more for lists. Size in pixels."""

    image: bytes
    small: bytes
    width: int
    height: int


def readied(sent: bytes) -> Readied | PhotoFault:
    """Return what was sent as a photo that can be kept, or why it is none."""
    if not sent:
        return PhotoFault.EMPTY
    if len(sent) > MOST_BYTES:
        return PhotoFault.TOO_LARGE
    told = _webp_pixels(sent)
    if told is not None and told > MOST_PIXELS["WEBP"]:
        return PhotoFault.TOO_MANY_PIXELS  # its reader takes memory before it tells the size
    with _ONE_AT_A_TIME:
        try:
            found = Image.open(io.BytesIO(sent), formats=tuple(MOST_PIXELS))
        except (Image.DecompressionBombError, Image.DecompressionBombWarning):
            return PhotoFault.TOO_MANY_PIXELS
        except _BROKEN:
            return PhotoFault.NO_PHOTO
        with found:
            # A JPEG of several pictures, as some phones make, says that it is MPO.
            most = MOST_PIXELS.get(found.format or "", MOST_PIXELS["JPEG"])
            if found.width * found.height > most:
                return PhotoFault.TOO_MANY_PIXELS
            try:
                return _kept(found)
            except _BROKEN:
                return PhotoFault.UNREADABLE


def _kept(found: Image.Image) -> Readied:
    upright = _UPRIGHT.get(_orientation(found))
    found.draft("RGB", (LONGEST_PX, LONGEST_PX))
    plain = _plain(found)
    if upright is not None:
        plain = plain.transpose(upright)
    small = plain.copy()
    small.thumbnail((SMALL_PX, SMALL_PX), Image.Resampling.LANCZOS)
    return Readied(_jpeg(plain, _QUALITY), _jpeg(small, _SMALL_QUALITY), plain.width, plain.height)


def _plain(found: Image.Image) -> Image.Image:
    """Return the first picture of a file at its size, in plain colours, white where it is clear.

    A new picture, to which nothing but pixels was brought over.
    """
    if found.mode.startswith("I"):
        # 16 bits of grey: Pillow would cut off what is beyond 8.
        found = found.convert("I").point(lambda grey: grey * (1 / 256)).convert("L")
    clear = found.has_transparency_data
    drawn = found.convert("RGBA" if clear else "RGB")
    drawn.thumbnail((LONGEST_PX, LONGEST_PX), Image.Resampling.LANCZOS, reducing_gap=2.0)
    plain = Image.new("RGB", drawn.size, "white")
    plain.paste(drawn, mask=drawn.getchannel("A") if clear else None)
    return plain


def _jpeg(image: Image.Image, quality: int) -> bytes:
    written = io.BytesIO()
    image.save(written, "JPEG", quality=quality, optimize=True)
    return written.getvalue()


def _orientation(found: Image.Image) -> int:
    """Return how the camera was held; 1, upright, where the file says nothing that makes sense."""
    try:
        said = found.getexif().get(_ORIENTATION, 1)
    except _BROKEN:
        return 1
    return said if isinstance(said, int) else 1


def _webp_pixels(sent: bytes) -> int | None:
    """Return how many pixels a WebP says it has; None for anything else."""
    if len(sent) < 30 or sent[:4] != b"RIFF" or sent[8:12] != b"WEBP":
        return None
    kind = sent[12:16]
    if kind == b"VP8X":
        wide = int.from_bytes(sent[24:27], "little") + 1
        return wide * (int.from_bytes(sent[27:30], "little") + 1)
    if kind == b"VP8L":
        bits = int.from_bytes(sent[21:25], "little")
        return ((bits & 0x3FFF) + 1) * ((bits >> 14 & 0x3FFF) + 1)
    wide, high = struct.unpack_from("<HH", sent, 26)
    return int((wide & 0x3FFF) * (high & 0x3FFF))
