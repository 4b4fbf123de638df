"""Sheets and tapes that labels are printed on. Sizes are common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Sheet:
    """A page of labels in rows and columns; a tape is a page with one label.

    Lengths in millimetres; `left_mm` and `top_mm` lead to the first label's corner, and
    `across_mm` and `down_mm` from one label's corner to the next one's.
    """

    name: str
    page_width_mm: float
    page_height_mm: float
    label_width_mm: float
    label_height_mm: float
    columns: int
    rows: int
    left_mm: float
    top_mm: float
    across_mm: float
    down_mm: float

    def __post_init__(self) -> None:
        """Refuse a layout that does not lie on its page, or whose labels lie on each other."""
        right = self.left_mm + (self.columns - 1) * self.across_mm + self.label_width_mm
        bottom = self.top_mm + (self.rows - 1) * self.down_mm + self.label_height_mm
        if (
            right > self.page_width_mm + 0.01
            or bottom > self.page_height_mm + 0.01
            or (self.columns > 1 and self.across_mm < self.label_width_mm)
            or (self.rows > 1 and self.down_mm < self.label_height_mm)
        ):
            msg = f"{self.name}: the labels do not fit on the page side by side"
            raise ValueError(msg)

    @property
    def places(self) -> int:
        """How many labels a page holds."""
        return self.columns * self.rows

    def corner_mm(self, place: int) -> tuple[float, float]:
        """Return the left edge and the top edge of the label at a place, from the page's top left.

        Places run along each row from 0.

        >>> SHEETS["a4-24"].corner_mm(4)
        (70.0, 37.0)
        """
        row, column = divmod(place, self.columns)
        return self.left_mm + column * self.across_mm, self.top_mm + row * self.down_mm


def _whole(
    name: str, page: tuple[float, float], label: tuple[float, float], grid: tuple[int, int]
) -> Sheet:
    """Return a sheet whose labels touch each other and stand in the middle of the page."""
    (width, height), (columns, rows) = label, grid
    return Sheet(
        name,
        *page,
        *label,
        *grid,
        left_mm=(page[0] - columns * width) / 2,
        top_mm=(page[1] - rows * height) / 2,
        across_mm=width,
        down_mm=height,
    )


_A4 = (210.0, 297.0)
_LETTER = (215.9, 279.4)

SHEETS = {
    sheet.name: sheet
    for sheet in (
        Sheet("a4-24", *_A4, 70.0, 37.0, 3, 8, 0.0, 0.0, 70.0, 37.0),
        Sheet("a4-21", *_A4, 63.5, 38.1, 3, 7, 7.2, 15.1, 66.0, 38.1),
        _whole("a4-8", _A4, (99.0, 67.0), (2, 4)),
        Sheet("letter-30", *_LETTER, 66.7, 25.4, 3, 10, 4.8, 12.7, 69.8, 25.4),
        Sheet("letter-10", *_LETTER, 101.6, 50.8, 2, 5, 4.0, 12.7, 106.3, 50.8),
        _whole("tape-18", (60.0, 18.0), (60.0, 18.0), (1, 1)),
        _whole("tape-24", (70.0, 24.0), (70.0, 24.0), (1, 1)),
        _whole("tape-36", (70.0, 36.0), (70.0, 36.0), (1, 1)),
    )
}
