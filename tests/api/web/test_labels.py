"""Labels are read back from the picture of the page, as a phone would read them."""

from __future__ import annotations

import math
from pathlib import Path

import pypdfium2
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageFilter

from api.cli.main import main
from api.labels.drawing import LEAST_MODULE_MM, CannotDraw, Label, sheet_pdf
from api.labels.sheets import SHEETS, Sheet

SITE = str(Path(__file__).parents[3] / "demo_data" / "site.toml")
MM_PT = 72 / 25.4


def label(number: int, *, lines=("mango Late Red", "on seedling", "cleft graft, 3 May 2026")):
    code = f"MG-{number:02d}"
    return Label(code, lines, f"http://192.168.1.20:8484/b/{code}")


def pages_of(pdf: bytes, *, dpi: int) -> list[Image.Image]:
    return [
        page.render(scale=dpi / 72).to_pil().convert("L") for page in pypdfium2.PdfDocument(pdf)
    ]


def scanned(picture: Image.Image) -> list[tuple[str, float, float]]:
    """Return each address that is read, and where it stands, in shares of the page."""
    found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    return [
        (
            one.text,
            (one.position.top_left.x + one.position.bottom_right.x) / 2 / picture.width,
            (one.position.top_left.y + one.position.bottom_right.y) / 2 / picture.height,
        )
        for one in found
    ]


def place_of(sheet: Sheet, x: float, y: float) -> int | None:
    """Return in which label a point of the page lies."""
    for place in range(sheet.places):
        left, top = sheet.corner_mm(place)
        across = x * sheet.page_width_mm - left
        down = y * sheet.page_height_mm - top
        if 0 < across < sheet.label_width_mm and 0 < down < sheet.label_height_mm:
            return place
    return None


@pytest.mark.published("ISO/IEC 18004 QR code symbology, read back by the zxing-cpp library")
@pytest.mark.parametrize("name", sorted(SHEETS))
def test_every_code_leads_to_its_batch_and_stands_in_its_own_label(name):
    sheet = SHEETS[name]
    labels = [label(number) for number in range(sheet.places + 1)]
    first, *_, last = pages = pages_of(sheet_pdf(sheet, labels, first_place=0, title="t"), dpi=300)
    assert len(pages) == 2
    read = {place_of(sheet, x, y): address for address, x, y in scanned(first)}
    assert read == {place: one.address for place, one in enumerate(labels[:-1])}
    ((address, x, y),) = scanned(last)
    assert (address, place_of(sheet, x, y)) == (labels[-1].address, 0)


@pytest.mark.published("ISO/IEC 18004 QR code symbology, read back by the zxing-cpp library")
@pytest.mark.parametrize("name", sorted(SHEETS))
def test_a_poor_picture_held_aslant_can_be_read(name):
    pdf = sheet_pdf(SHEETS[name], [label(7)], first_place=0, title="t")
    (page,) = pages_of(pdf, dpi=200)
    poor = page.rotate(11, expand=True, fillcolor=255).filter(ImageFilter.GaussianBlur(1.2))
    poor = poor.point(lambda grey: 90 + grey // 3)  # a wet label in a dim house
    assert [address for address, _, _ in scanned(poor)] == [label(7).address]


@pytest.mark.parametrize("name", sorted(SHEETS))
def test_all_words_stand_inside_their_label_and_beside_the_code(name):
    sheet = SHEETS[name]
    long = ("persimmon a cultivar with a name that goes on and on and on", "on seedling", "x")
    pdf = sheet_pdf(sheet, [label(1, lines=long)], first_place=sheet.places - 1, title="t")
    text = pypdfium2.PdfDocument(pdf)[0].get_textpage()
    left, top = sheet.corner_mm(sheet.places - 1)
    boxes = [text.get_charbox(place, loose=True) for place in range(text.count_chars())]
    boxes = [box for box in boxes if box[2] > box[0]]
    assert len(boxes) > 8
    low = (sheet.page_height_mm - top - sheet.label_height_mm) * MM_PT
    for box in boxes:
        assert box[0] > (left + 0.3 * min(sheet.label_height_mm, 30)) * MM_PT
        assert box[2] < (left + sheet.label_width_mm) * MM_PT
        assert low - 1 < box[1] < box[3] < low + sheet.label_height_mm * MM_PT + 1
    assert "MG-01" in text.get_text_range()
    assert "…" in text.get_text_range()


@given(st.integers(min_value=0, max_value=23), st.integers(min_value=1, max_value=60))
def test_used_places_are_left_free_and_every_label_is_drawn_once(first, count):
    labels = [label(number) for number in range(count)]
    pdf = sheet_pdf(SHEETS["a4-24"], labels, first_place=first, title="t")
    document = pypdfium2.PdfDocument(pdf)
    assert len(document) == math.ceil((first + count) / 24)
    words = " ".join(page.get_textpage().get_text_range() for page in document).split()
    assert [word for word in words if word.startswith("MG-")] == [one.code for one in labels]


def test_the_same_labels_make_the_same_file():
    made = {sheet_pdf(SHEETS["a4-8"], [label(1)], first_place=0, title="t") for _ in range(2)}
    assert len(made) == 1


@pytest.mark.parametrize(
    ("labels", "first", "said"),
    [
        ([], 0, "no batch was chosen"),
        ([label(1)], 24, "between 1 and 24"),
        ([label(1)], -1, "between 1 and 24"),
        ([label(1)] * 2001, 0, "print them in parts"),
        ([Label("MG-01", ("接ぎ木",), "http://a/b")], 0, 'MG-01: the letter "接"'),
        ([Label("MG-01", ("x",), "http://a/" + "b" * 1200)], 0, "use larger"),
    ],
)
def test_what_cannot_be_drawn_is_told_with_the_way_out(labels, first, said):
    with pytest.raises(CannotDraw, match=said):
        sheet_pdf(SHEETS["a4-24"], labels, first_place=first, title="t")


def test_a_module_is_never_smaller_than_a_phone_reads():
    """The longest address that is taken on the smallest label still has large modules."""
    sheet = SHEETS["tape-18"]
    for length in range(10, 400, 5):
        one = Label("M", ("x",), "http://a/" + "b" * length)
        try:
            pdf = sheet_pdf(sheet, [one], first_place=0, title="t")
        except CannotDraw:
            break
        (page,) = pages_of(pdf, dpi=600)
        (found,) = zxingcpp.read_barcodes(page)
        corners = found.position
        side_mm = (
            math.dist(
                (corners.top_left.x, corners.top_left.y), (corners.top_right.x, corners.top_right.y)
            )
            / 600
            * 25.4
        )
        modules = 17 + 4 * int(found.extra["Version"])
        assert side_mm / modules > LEAST_MODULE_MM * 0.97
    assert length > 30


def test_the_page_offers_every_batch_that_has_not_ended_and_makes_the_pdf(looking):
    page = looking.get("/labels").text
    assert 'value="MG-07"' in page
    answer = looking.get("/labels.pdf?batch=MG-07&batch=AV-12&sheet=a4-21&first=3&copies=2")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    (picture,) = pages_of(answer.content, dpi=300)
    read = {
        place_of(SHEETS["a4-21"], x, y): text.rpartition("/b/")[2]
        for text, x, y in scanned(picture)
    }
    assert read == {2: "MG-07", 3: "MG-07", 4: "AV-12", 5: "AV-12"}


def test_a_label_says_its_day_in_words_and_in_spanish_too(looking):
    pdf = looking.get("/labels.pdf?batch=MG-07&sheet=a4-8&lang=es").content
    text = pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_range()
    assert "noviembre 2026" in text
    assert "plantas" in text


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("batch=XX-99", 404),
        ("batch=MG-07&sheet=a5", 404),
        ("batch=MG-07&first=30", 422),
        ("", 404),
    ],
)
def test_what_is_not_there_is_told(looking, query, status):
    assert looking.get(f"/labels.pdf?{query}").status_code == status


def test_the_code_of_a_label_leads_to_the_page_of_its_batch_however_it_is_written(looking):
    for written in ("MG-07", "mg-07"):
        answer = looking.get(f"/b/{written}")
        assert (answer.status_code, answer.headers["location"]) == (307, "/bench/MG-07")
    assert looking.get("/b/XX-99").status_code == 404
    assert "/labels.pdf?batch=MG-07" in looking.get("/batches/MG-07").text


def test_the_command_writes_the_pdf(tmp_path, capsys):
    out = tmp_path / "labels.pdf"
    asked = ["labels", "--site", SITE, "--batch", "MG-07", "--copies", "3", "--out", str(out)]
    assert main(asked) == 0
    assert capsys.readouterr().out == f"3 labels in {out}\n"
    (picture,) = pages_of(out.read_bytes(), dpi=300)
    assert [text.rpartition("/")[2] for text, _, _ in scanned(picture)] == ["MG-07"] * 3


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--sheet", "a5"], '--sheet: "a5" is not known; write one of a4-24'),
        (["--batch", "XX-99"], '--batch: "XX-99" is not known'),
        (["--copies", "0"], "--copies: 0 is not a number of labels"),
        (["--first", "25"], "the first free place on a4-24 lies between 1 and 24"),
        (["--out", "/nowhere/at/all.pdf"], "--out: /nowhere/at/all.pdf can't be written"),
    ],
)
def test_a_slip_on_the_command_line_is_told_in_one_line(tmp_path, capsys, more, said):
    assert main(["labels", "--site", SITE, "--out", str(tmp_path / "l.pdf"), *more]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1
