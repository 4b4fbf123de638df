"""A review on paper: A4, with the font in the file so that it prints alike everywhere."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import reportlab
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    Flowable,
    Image,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
)

from api.pictures.sheet import in_plain_signs

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from api.web.review_page import CandidateLines, ReviewPage
    from api.web.words.review import ReviewWords

PLAIN, BOLD = "review-plain", "review-bold"
EDGE_MM = 16
WIDTH_MM = 210 - 2 * EDGE_MM
ACROSS = 2
BODY = ParagraphStyle("body", fontName=PLAIN, fontSize=9, leading=12.5, spaceAfter=3)
SMALL = ParagraphStyle(
    "small", parent=BODY, fontSize=7.5, leading=10, textColor=colors.HexColor(0x5A5143)
)
HEAD = ParagraphStyle("head", parent=BODY, fontName=BOLD, fontSize=15, leading=19, spaceAfter=4)
LEAD = ParagraphStyle("lead", parent=BODY, fontName=BOLD, fontSize=10.5, leading=14, spaceAfter=5)
UNDER = ParagraphStyle(
    "under", parent=BODY, fontName=BOLD, fontSize=11.5, leading=15, spaceBefore=8, spaceAfter=3
)
LISTED = ParagraphStyle("listed", parent=BODY, leftIndent=10, bulletIndent=1, spaceAfter=1)


def review_pdf(page: ReviewPage, words: ReviewWords, pictures: Sequence[Sequence[bytes]]) -> bytes:
    """Return the document; `pictures` are those of the line of time, then of the worst day."""
    _fonts()
    kept = io.BytesIO()
    document = SimpleDocTemplate(
        kept,
        pagesize=A4,
        title=page.title,
        leftMargin=EDGE_MM * mm,
        rightMargin=EDGE_MM * mm,
        topMargin=14 * mm,
        bottomMargin=14 * mm,
        invariant=1,
    )
    document.build(list(_story(page, words, pictures)))
    return kept.getvalue()


def _story(
    page: ReviewPage, words: ReviewWords, pictures: Sequence[Sequence[bytes]]
) -> Iterator[Flowable]:
    yield _text(page.title, HEAD)
    yield _text(page.answer, LEAD)
    yield _text(f"{page.code}: {page.kind}", BODY)
    for line in page.lines:
        yield _text(line, BODY)
    yield _text(words.candidates, UNDER)
    yield _text(words.candidates_why, SMALL)
    for one in page.candidates:
        yield KeepTogether(list(_candidate(one, words)))
    if page.others:
        yield _text(words.others, LEAD)
        for one in page.others:
            first = (*one.speaks_for, *one.speaks_against)[:1]
            yield _listed(f"{one.cause}. {' '.join(first)}")
    yield _text(words.untold_title, UNDER)
    for line in page.untold:
        yield _listed(line)
    yield _text(words.exposures_title, UNDER)
    yield _text(words.exposures_why, SMALL)
    yield _table(page, words)
    yield _text(page.siblings, SMALL)
    for head, some in zip((words.timeline, page.night), pictures, strict=False):
        rows = list(_shown(some))
        if rows:
            yield KeepTogether([_text(head, UNDER), rows[0]])
            yield from rows[1:]
    yield _text(words.timeline_why, SMALL)
    yield _text(words.happened, UNDER)
    for at, what in page.happened:
        yield _listed(f"{at}: {what}")
    if not page.happened:
        yield _text(words.nothing_happened, BODY)
    yield _text(words.method, SMALL)


def _candidate(one: CandidateLines, words: ReviewWords) -> Iterator[Flowable]:
    yield _text(f"{one.cause} ({one.weight})", LEAD)
    for head, lines in (
        (words.speaks_for, one.speaks_for),
        (words.speaks_against, one.speaks_against),
    ):
        for line in lines:
            yield _listed(f"{head}: {line}")


def _table(page: ReviewPage, words: ReviewWords) -> Table:
    rows = [[_text(head, LISTED) for head in words.exposure_head]]
    rows += [
        [
            _text(row.what, SMALL),
            _text(f"{row.own} {row.at}".strip(), SMALL),
            _text(row.middle, SMALL),
            _text(row.place, SMALL),
        ]
        for row in page.rows
    ]
    line = ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.HexColor(0xC9BDA4))
    share = WIDTH_MM / 4 * mm
    table = Table(rows, colWidths=[share] * 4, repeatRows=1)
    table.setStyle([line, ("VALIGN", (0, 0), (-1, -1), "TOP")])
    return table


def _shown(pictures: Sequence[bytes]) -> Iterator[Flowable]:
    """Yield pictures two in a row, as large as the page has room for."""
    wide = WIDTH_MM / ACROSS * mm - 4
    made = []
    for one in pictures:
        image = Image(io.BytesIO(one))
        image.drawHeight = image.drawHeight * wide / image.drawWidth
        image.drawWidth = wide
        made.append(image)
    rows = [made[place : place + ACROSS] for place in range(0, len(made), ACROSS)]
    for row in rows:
        yield Table(
            [[*row, *[""] * (ACROSS - len(row))]], colWidths=[WIDTH_MM / ACROSS * mm] * ACROSS
        )
        yield Spacer(1, 4)


def _text(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(in_plain_signs(text)), style)


def _listed(text: str) -> Paragraph:
    return Paragraph(escape(in_plain_signs(text)), LISTED, bulletText="-")


@cache
def _fonts() -> None:
    """Make the fonts known; Vera comes with reportlab under a licence that lets it be passed on."""
    folder = Path(reportlab.__file__).parent / "fonts"
    pdfmetrics.registerFont(TTFont(PLAIN, str(folder / "Vera.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "VeraBd.ttf")))
