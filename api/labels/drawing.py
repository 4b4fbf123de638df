"""Draws labels as a PDF: the code large, what was grafted how and when, and a QR code to scan.

The font stands in the file, so that it prints alike everywhere; letters that the font lacks are
told, never left out in silence.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import reportlab
import segno
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

if TYPE_CHECKING:
    from collections.abc import Sequence

    from api.labels.sheets import Sheet

PLAIN, BOLD = "label-plain", "label-bold"
QUIET_MODULES = 4
"""ISO/IEC 18004: so many modules around a QR code stay white (from memory)."""
LEAST_MODULE_MM = 0.33
"""House rule: what a phone still reads at a hand's length on a damp label."""
PADDING_MM = 1.5
LARGEST_CODE_PT = 30.0
LARGEST_LINE_PT = 11.0
LEAST_LINE_PT = 5.0
LEADING = 1.18
MOST_LABELS = 2000


class CannotDraw(Exception):
    """Labels can't be drawn as asked; the message says what to do instead."""


@dataclass(frozen=True, slots=True)
class Label:
    """What one label says: the batch's code, lines below it, and the address it leads to."""

    code: str
    lines: tuple[str, ...]
    address: str


def sheet_pdf(sheet: Sheet, labels: Sequence[Label], *, first_place: int, title: str) -> bytes:
    """Return a PDF with the labels in order.

    Parameters
    ----------
    first_place
        How many places of the first page are used up already.
    title
        The title of the document.

    Raises
    ------
    CannotDraw
        Nothing to draw, too much, a place that the sheet does not have, a letter that the font
        does not have, or an address too long for labels of this size.
    """
    if not labels:
        msg = "no batch was chosen: choose at least one"
        raise CannotDraw(msg)
    if len(labels) > MOST_LABELS:
        msg = f"{len(labels)} labels are more than {MOST_LABELS} at once: print them in parts"
        raise CannotDraw(msg)
    if not 0 <= first_place < sheet.places:
        msg = f"the first free place on {sheet.name} lies between 1 and {sheet.places}"
        raise CannotDraw(msg)
    for label in labels:
        _all_printable(label)
    page = (sheet.page_width_mm * mm, sheet.page_height_mm * mm)
    kept = io.BytesIO()
    canvas = Canvas(kept, pagesize=page, invariant=True)
    canvas.setTitle(title)
    for place, label in enumerate(labels, first_place):
        if place > first_place and place % sheet.places == 0:
            canvas.showPage()
        _draw(canvas, sheet, place % sheet.places, label)
    canvas.showPage()
    canvas.save()
    return kept.getvalue()


def _draw(canvas: Canvas, sheet: Sheet, place: int, label: Label) -> None:
    left, top = sheet.corner_mm(place)
    canvas.saveState()
    # From here on a millimetre is the unit, and the origin is the label's lower left corner.
    canvas.translate(left * mm, (sheet.page_height_mm - top - sheet.label_height_mm) * mm)
    side_mm = sheet.label_height_mm - 2 * PADDING_MM
    side_mm = min(side_mm, sheet.label_width_mm * 0.42)
    _draw_qr(canvas, sheet, label, side_mm)
    text_left_mm = PADDING_MM + side_mm + 1.0
    _draw_text(canvas, sheet, label, text_left_mm)
    canvas.restoreState()


def _draw_qr(canvas: Canvas, sheet: Sheet, label: Label, side_mm: float) -> None:
    matrix = _matrix(label.address)
    module_mm = side_mm / (len(matrix) + 2 * QUIET_MODULES)
    if module_mm < LEAST_MODULE_MM:
        msg = (
            f"{label.address} is too long for a code that can be read on {sheet.name}: use larger "
            "labels, or a shorter GRAFTVIGIL_BASE_URL"
        )
        raise CannotDraw(msg)
    bottom_mm = (sheet.label_height_mm - side_mm) / 2 + QUIET_MODULES * module_mm
    left_mm = PADDING_MM + QUIET_MODULES * module_mm
    path = canvas.beginPath()
    for row, modules in enumerate(reversed(matrix)):
        for begin, end in _runs(modules):
            path.rect(
                (left_mm + begin * module_mm) * mm,
                (bottom_mm + row * module_mm) * mm,
                (end - begin) * module_mm * mm,
                module_mm * mm,
            )
    canvas.drawPath(path, stroke=0, fill=1)


def _draw_text(canvas: Canvas, sheet: Sheet, label: Label, left_mm: float) -> None:
    width = (sheet.label_width_mm - PADDING_MM - left_mm) * mm
    height = (sheet.label_height_mm - 2 * PADDING_MM) * mm
    code_pt = _fitting(label.code, BOLD, LARGEST_CODE_PT, width, at_most=height * 0.4)
    line_pt = min(LARGEST_LINE_PT, (height - code_pt * LEADING) / (len(label.lines) * LEADING))
    lines = label.lines
    if line_pt < LEAST_LINE_PT:
        # Too low for all: the last lines are the least needed.
        room = int((height - code_pt * LEADING) / (LEAST_LINE_PT * LEADING))
        lines, line_pt = lines[: max(0, room)], LEAST_LINE_PT
    # One size for all of them; one much longer than the others is cut rather than shrinking them.
    fits = [_fitting(line, PLAIN, line_pt, width, at_most=line_pt) for line in lines]
    line_pt = max(LEAST_LINE_PT, min(fits, default=line_pt))
    block = code_pt * LEADING + len(lines) * line_pt * LEADING
    y = PADDING_MM * mm + height - (height - block) / 2 - code_pt
    canvas.setFont(BOLD, code_pt)
    canvas.drawString(left_mm * mm, y, label.code)
    for line in lines:
        y -= line_pt * LEADING
        canvas.setFont(PLAIN, line_pt)
        canvas.drawString(left_mm * mm, y, _cut(line, line_pt, width))


def _fitting(text: str, font: str, largest: float, width: float, *, at_most: float) -> float:
    """Return the size in points, up to `largest`, at which a text fits into a width in points."""
    at_one = pdfmetrics.stringWidth(text, font, 1.0)
    return float(min(largest, at_most, width / at_one if at_one else largest))


def _cut(text: str, size: float, width: float) -> str:
    """Return the text, with its end cut off and marked where it is too long."""
    if pdfmetrics.stringWidth(text, PLAIN, size) <= width + 0.01:
        return text
    while text and pdfmetrics.stringWidth(text + "…", PLAIN, size) > width:
        text = text[:-1]
    return text + "…"


def _matrix(address: str) -> list[list[int]]:
    code = segno.make_qr(address, error="m", boost_error=False)
    return [[1 if module else 0 for module in row] for row in code.matrix]


def _runs(modules: Sequence[int]) -> list[tuple[int, int]]:
    """Return where dark modules begin and end, so that no hairline shows between two of them.

    >>> _runs([1, 1, 0, 1])
    [(0, 2), (3, 4)]
    """
    runs: list[tuple[int, int]] = []
    for place, dark in enumerate(modules):
        if not dark:
            continue
        if runs and runs[-1][1] == place:
            runs[-1] = (runs[-1][0], place + 1)
        else:
            runs.append((place, place + 1))
    return runs


def _all_printable(label: Label) -> None:
    letters = _register()
    for text in (label.code, *label.lines):
        for letter in text:
            if ord(letter) not in letters:
                msg = (
                    f'{label.code}: the letter "{letter}" in "{text}" can\'t be printed; write it '
                    "with another"
                )
                raise CannotDraw(msg)


@cache
def _register() -> frozenset[int]:
    """Let the PDF library know both fonts; return the letters that both have."""
    fonts = Path(reportlab.__file__).parent / "fonts"
    plain, bold = TTFont(PLAIN, fonts / "Vera.ttf"), TTFont(BOLD, fonts / "VeraBd.ttf")
    pdfmetrics.registerFont(plain)
    pdfmetrics.registerFont(bold)
    return frozenset(plain.face.charToGlyph) & frozenset(bold.face.charToGlyph)
