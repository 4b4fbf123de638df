"""Turns a drawing into a PNG, with a font that travels with us: a board may have none.

Without a font the renderer leaves text out and says nothing. So the fonts of the system are never
asked: the picture is the same on every machine, in the typeface Bitstream Vera Sans, which the
package reportlab carries under a licence that lets it be passed on. It knows the letters of
Western Europe; a name in another script shows as empty boxes or not at all.
"""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from api.drawing.press import PRESS

if TYPE_CHECKING:
    from markupsafe import Markup

FONT = "Bitstream Vera Sans"
ZOOM = 2
"""Pixels a unit of the drawing, so that it is sharp on a phone."""

_FILES = ("Vera.ttf", "VeraBd.ttf")


class NoFont(Exception):
    """The typeface did not come with its package; the message names it."""


def png_of(drawn: Markup, *, style: str) -> bytes:
    """Return the picture of a whole SVG of fixed size, twice as many pixels as it has units.

    `style` is the style sheet: no variables, no media queries. ValueError for a drawing that
    cannot be read, NoFont where the typeface is missing, CannotPrint where the renderer is.
    """
    return PRESS.print(
        {
            "svg_string": str(drawn),
            "style_sheet": style,
            "zoom": ZOOM,
            "skip_system_fonts": True,
            "font_files": fonts(),
            "font_family": FONT,
            "sans_serif_family": FONT,
        }
    )


@cache
def fonts() -> list[str]:
    """Return the files of the typeface; NoFont where they are missing."""
    found = importlib.util.find_spec("reportlab")
    folder = Path(found.origin).parent / "fonts" if found is not None and found.origin else None
    files = [] if folder is None else [folder / name for name in _FILES]
    if not files or not all(file.is_file() for file in files):
        msg = "the typeface Vera of the package reportlab is missing"
        raise NoFont(msg)
    return [str(file) for file in files]
