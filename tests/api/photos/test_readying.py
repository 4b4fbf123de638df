"""What a phone sends becomes a small plain JPEG; what is no photo is told, and harms nothing."""

from __future__ import annotations

import io
import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from api.photos.readying import MOST_BYTES, PhotoFault, Readied, readied
from api.photos.words import FAULTS

SECRET = b"S 24.0001 E 160.0001 Ada's phone"


def written(image: Image.Image, kind: str, **how: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def opened(made: Readied | PhotoFault) -> Image.Image:
    assert isinstance(made, Readied), made
    image = Image.open(io.BytesIO(made.image))
    assert image.format == "JPEG"
    assert image.size == (made.width, made.height)
    return image


@pytest.fixture(scope="module")
def leaf() -> Image.Image:
    """Red left of green, blue below: turned or mirrored, it looks different."""
    image = Image.new("RGB", (80, 60), "red")
    image.paste("lime", (40, 0, 80, 60))
    image.paste("blue", (0, 40, 80, 60))
    return image


def exif_with_place(orientation: int) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = SECRET.decode()
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2] = "S", (24.0, 0.0, 0.36)
    gps[3], gps[4] = "E", (160.0, 0.0, 0.36)
    return exif


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_nothing_of_the_file_is_kept_but_its_pixels(leaf, kind):
    how: dict[str, object] = {"exif": exif_with_place(1), "icc_profile": b"P" * 200 + SECRET}
    if kind == "JPEG":
        how["comment"] = SECRET
    if kind == "PNG":
        info = PngImagePlugin.PngInfo()
        info.add_text("Author", SECRET.decode())
        how["pnginfo"] = info
    if kind == "WEBP":
        how["xmp"] = b"<x:xmpmeta>" + SECRET
    sent = written(leaf, kind, **how) + SECRET
    assert sent.count(SECRET) >= 3
    assert dict(Image.open(io.BytesIO(sent)).getexif().get_ifd(0x8825))
    made = readied(sent)
    image = opened(made)
    assert len(image.getexif()) == 0
    assert not {"exif", "icc_profile", "comment", "xmp"} & set(image.info)
    for kept in (made.image, made.small):
        assert SECRET not in kept
        assert b"Exif" not in kept
    assert len(image.getcolors(80 * 60)) > 2


def near(seen: tuple[int, ...], wanted: tuple[int, int, int]) -> bool:
    return all(abs(a - b) < 60 for a, b in zip(seen, wanted, strict=True))


RED, GREEN, BLUE = (255, 0, 0), (0, 255, 0), (0, 0, 255)
CORNERS = {  # top left, top right, bottom left, by TIFF 6.0 on Orientation
    1: (RED, GREEN, BLUE),
    2: (GREEN, RED, BLUE),
    3: (BLUE, BLUE, GREEN),
    4: (BLUE, BLUE, RED),
    5: (RED, BLUE, GREEN),
    6: (BLUE, RED, BLUE),
    7: (BLUE, GREEN, BLUE),
    8: (GREEN, BLUE, RED),
}


@pytest.mark.published("TIFF Revision 6.0 (1992), Orientation; from memory, corners by hand")
@pytest.mark.parametrize("orientation", CORNERS)
def test_a_photo_taken_with_the_phone_turned_stands_upright(leaf, orientation):
    made = readied(written(leaf, "JPEG", exif=exif_with_place(orientation), quality=95))
    image = opened(made)
    assert image.size == ((80, 60) if orientation < 5 else (60, 80))
    right, bottom = image.width - 4, image.height - 4
    seen = [image.getpixel(at) for at in ((3, 3), (right, 3), (3, bottom))]
    for one, wanted in zip(seen, CORNERS[orientation], strict=True):
        assert near(one, wanted), (orientation, seen)


@pytest.mark.parametrize(
    ("size", "kept"),
    [((3200, 2000), (1600, 1000)), ((900, 3600), (400, 1600)), ((1600, 9), (1600, 9))],
)
def test_a_large_photo_is_kept_at_1600_pixels_and_a_small_one_as_it_is(size, kept):
    for kind in ("JPEG", "PNG"):
        made = readied(written(Image.new("RGB", size, "green"), kind))
        assert opened(made).size == kept
        assert max(Image.open(io.BytesIO(made.small)).size) <= 320


def test_what_is_clear_becomes_white_and_grey_of_16_bits_stays_grey():
    clear = opened(readied(written(Image.new("RGBA", (20, 20), (255, 0, 0, 0)), "PNG")))
    assert near(clear.getpixel((10, 10)), (255, 255, 255))
    grey = opened(readied(written(Image.new("I;16", (20, 20), 0x8000), "PNG")))
    assert near(grey.getpixel((10, 10)), (128, 128, 128))


def png_of_size(width: int, height: int) -> bytes:
    """Return a few bytes that say they are a picture of any size."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def webp_of_size(width: int, height: int) -> bytes:
    wide, high = ((edge - 1).to_bytes(3, "little") for edge in (width, height))
    body = b"WEBPVP8X" + struct.pack("<I", 10) + b"\0\0\0\0" + wide + high + b"\0" * 8
    return b"RIFF" + struct.pack("<I", len(body)) + body


def jpeg_of_size(width: int, height: int) -> bytes:
    small = bytearray(written(Image.new("RGB", (8, 8)), "JPEG"))
    place = small.index(b"\xff\xc0") + 5
    small[place : place + 4] = struct.pack(">HH", height, width)
    return bytes(small)


@pytest.mark.parametrize(
    "sent",
    [
        png_of_size(65_535, 65_535),
        png_of_size(2_147_483_647, 2_147_483_647),
        png_of_size(12_000, 9_000),
        png_of_size(3_100, 3_000),
        webp_of_size(16_383, 16_383),
        jpeg_of_size(65_500, 65_500),
        jpeg_of_size(12_000, 8_000),
    ],
    ids=["png-4G", "png-most", "png-108M", "png-9.3M", "webp", "jpeg-4G", "jpeg-96M"],
)
def test_a_picture_that_would_fill_the_memory_is_refused_before_it_is_read(sent):
    assert len(sent) < 2000
    assert readied(sent) is PhotoFault.TOO_MANY_PIXELS


@pytest.mark.parametrize("how", [{}, {"lossless": True}, {"exif": exif_with_place(1)}])
def test_a_webp_tells_its_size_before_its_reader_takes_memory_for_it(monkeypatch, how):
    def reads(*_: object, **__: object) -> None:
        pytest.fail("it was read")

    monkeypatch.setattr("api.photos.readying.MOST_PIXELS", {"JPEG": 1, "PNG": 1, "WEBP": 40 * 30})
    fits = written(Image.new("RGB", (40, 30), "green"), "WEBP", **how)
    assert opened(readied(fits)).size == (40, 30)
    monkeypatch.setattr("api.photos.readying.Image.open", reads)
    too_wide = written(Image.new("RGB", (41, 30), "green"), "WEBP", **how)
    assert readied(too_wide) is PhotoFault.TOO_MANY_PIXELS


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


@pytest.mark.parametrize(
    ("sent", "fault"),
    [
        (b"", PhotoFault.EMPTY),
        (b"\0" * (MOST_BYTES + 1), PhotoFault.TOO_LARGE),
        (b"\0" * 1000, PhotoFault.NO_PHOTO),
        (b"not a photo at all", PhotoFault.NO_PHOTO),
        (SVG, PhotoFault.NO_PHOTO),
        (b"<!doctype html><script>alert(1)</script>", PhotoFault.NO_PHOTO),
        (b"%PDF-1.7\n%", PhotoFault.NO_PHOTO),
        (b"\xff\xd8\xff", PhotoFault.NO_PHOTO),
        (b"RIFF\x10\0\0\0WEBP", PhotoFault.NO_PHOTO),
        (written(Image.new("RGB", (9, 9)), "GIF"), PhotoFault.NO_PHOTO),
        (written(Image.new("RGB", (9, 9)), "BMP"), PhotoFault.NO_PHOTO),
        (written(Image.new("RGB", (9, 9)), "TIFF"), PhotoFault.NO_PHOTO),
    ],
)
def test_what_is_no_photo_of_ours_is_told(sent, fault):
    assert readied(sent) is fault


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_cut_off_on_its_way_is_not_kept_as_half_a_photo(kind):
    sent = written(Image.effect_noise((300, 200), 80).convert("RGB"), kind)
    for share in (0.3, 0.6, 0.95):
        made = readied(sent[: int(len(sent) * share)])
        assert made in (PhotoFault.UNREADABLE, PhotoFault.NO_PHOTO)


def test_a_page_hidden_in_a_photo_is_gone_when_it_is_kept(leaf):
    made = readied(written(leaf, "JPEG", comment=SVG) + SVG)
    assert isinstance(made, Readied)
    assert b"<svg" not in made.image + made.small
    assert b"script" not in made.image + made.small


SOUND = [
    written(Image.effect_noise((64, 48), 60).convert("RGB"), "JPEG", exif=exif_with_place(6)),
    written(Image.effect_noise((64, 48), 60).convert("RGB"), "JPEG", progressive=True),
    written(Image.effect_noise((32, 24), 60).convert("P"), "PNG"),
    written(Image.effect_noise((32, 24), 60).convert("RGBA"), "WEBP"),
]


@given(
    st.sampled_from(SOUND),
    st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), max_size=12),
    st.floats(0, 1),
)
def test_a_damaged_photo_is_kept_or_told_and_never_more_than_that(sound, changes, cut):
    sent = bytearray(sound)
    for place, byte in changes:
        sent[int(place * len(sent))] = byte
    made = readied(bytes(sent[: int(len(sent) * cut) if cut < 0.5 else len(sent)]))
    if isinstance(made, Readied):
        assert max(made.width, made.height) <= 1600
        Image.open(io.BytesIO(made.image)).load()
    else:
        assert made in set(PhotoFault)


def test_every_reason_says_what_to_do_in_both_languages():
    assert set(FAULTS) == set(PhotoFault)
    for words in FAULTS.values():
        assert words.en != words.es
        assert words.en[0].isupper()
        assert words.es[0].isupper()
