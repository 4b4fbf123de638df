"""The paper that a picture is drawn on: its colours, its heading, its size in pixels.

Dark on light, whatever the phone's own colours are: a picture is seen on a lock screen, in a mail
and in print. Every colour that means something has a word or a pattern beside it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from api.drawing.png import FONT, png_of
from api.drawing.svg import element

if TYPE_CHECKING:
    from collections.abc import Sequence

WIDTH = 360
EDGE = 10
PAPER = "#fffdf7"
INK = "#211d17"
SOFT = "#5a5143"
DANGER = "#96190f"
STRAINED = "#7a3d00"
DARK_HOURS = "#e7dfcd"
RECORD = "#22507a"
MOST_LETTERS = 46
MOST_IN_HEAD = 36

# A frame that cuts off what leaves it costs the renderer a layer of the whole picture, and half of
# its time: only the stretched plots, in which a value may lie beyond the scale, are cut off.
STYLE = f"""
svg {{ overflow: visible; }}
svg[preserveAspectRatio] {{ overflow: hidden; }}
text {{ font-family: '{FONT}'; font-size: 11px; fill: {SOFT}; }}
.paper {{ fill: {PAPER}; }}
.head {{ font-size: 14px; font-weight: bold; fill: {INK}; }}
.sub {{ font-size: 11.5px; fill: {INK}; }}
.dark {{ fill: {DARK_HOURS}; }}
.rule {{ stroke: #d8cdb6; stroke-width: 1; }}
.band {{ fill: #9fbfdb; opacity: 0.7; }}
.extent {{ fill: #9fbfdb; stroke: {RECORD}; stroke-width: 5; opacity: 0.7; }}
.record {{ fill: none; stroke: {RECORD}; stroke-width: 10; stroke-linejoin: round;
  stroke-linecap: round; }}
.out {{ opacity: 0.5; }}
.out-light {{ opacity: 0.16; }}
.out-grave {{ fill: {DANGER}; opacity: 0.14; }}
.bound {{ stroke-width: 2; }}
.bound-light {{ stroke: {STRAINED}; stroke-dasharray: 7 4; }}
.bound-grave {{ stroke: {DANGER}; }}
.bound-words, .now-words, .hour, .tick, .stage-words, .open-words {{ fill: {INK}; }}
.stage-line {{ stroke: {INK}; stroke-width: 1; stroke-dasharray: 5 3; }}
.open-cover {{ fill: #847761; }}
.seen-mark {{ fill: {PAPER}; stroke: {INK}; stroke-width: 1.2; }}
.bound-words {{ font-weight: bold; }}
.bound-words, .now-words, .tick {{ stroke: {PAPER}; stroke-width: 3; paint-order: stroke; }}
.now-line {{ stroke: {INK}; stroke-width: 1.5; }}
.alarm-mark, .alarm-bar {{ fill: {DANGER}; }}
.opened {{ stroke: {DANGER}; stroke-width: 1.5; stroke-dasharray: 2 2; }}
.margin {{ fill: #c9dcc4; stroke: #3f6b47; stroke-width: 0.8; }}
.beyond {{ fill: {DANGER}; }}
.limit-line {{ stroke: #847761; stroke-width: 1; }}
.gap {{ fill: none; }}
.gap-end {{ stroke: #453f66; stroke-width: 2; stroke-dasharray: 1 4; stroke-linecap: round; }}
.strip-thin {{ stroke: #5c5200; stroke-width: 0.75; }}
.strip-thick {{ stroke: {STRAINED}; stroke-width: 0.75; }}
.strip-solid {{ fill: {DANGER}; }}
.strip-dots {{ fill: none; stroke: #453f66; stroke-width: 1.5; stroke-dasharray: 1 3; }}
.hatch-thin {{ stroke: #5c5200; stroke-width: 1; }}
.hatch-thick {{ stroke: {STRAINED}; stroke-width: 3.2; }}
"""


def printed(head: str, lines: Sequence[str], *inside: Markup, top: int, height: int) -> bytes:
    """Return a picture as PNG: a heading, lines under it, and from `top` on what is drawn.

    Places are units, two pixels each; the picture is WIDTH units wide and `height` high.
    """
    words = [
        element("text", short(head, MOST_IN_HEAD), x=EDGE, y=19, class_="head"),
        *(
            element("text", short(line, MOST_LETTERS), x=EDGE, y=35 + 14 * place, class_="sub")
            for place, line in enumerate(lines)
        ),
    ]
    drawn = element(
        "svg",
        _hatches(),
        element("rect", x=0, y=0, width=WIDTH, height=height, class_="paper"),
        *words,
        *inside,
        xmlns="http://www.w3.org/2000/svg",
        width=WIDTH,
        height=height,
        view_box=f"0 0 {WIDTH} {height}",
    )
    if top > height:
        msg = f"nothing fits under {top} on a sheet {height} high"
        raise ValueError(msg)
    return png_of(drawn, style=STYLE)


def placed(*inside: Markup, y: int, height: int) -> Markup:
    """Return what is drawn in a frame that leaves the same edge on both sides."""
    return element("svg", *inside, x=EDGE, y=y, width=WIDTH - 2 * EDGE, height=height)


def short(words: str, most: int) -> str:
    """Return words that fit the width, ended early if they must be.

    >>> short("avocado", 5)
    'avoc…'
    """
    return words if len(words) <= most else f"{words[: most - 1]}…"


def in_plain_signs(unit: str) -> str:
    """Return a unit without the raised minus, which the typeface does not have.

    >>> in_plain_signs("µmol m⁻² s⁻¹"), in_plain_signs("mol m⁻²"), in_plain_signs("°C")
    ('µmol/m² s', 'mol/m²', '°C')
    """
    return unit.replace(" m⁻²", "/m²").replace("s⁻¹", "s")


def _hatches() -> Markup:
    def hatch(name: str, x: float) -> Markup:
        line = element("line", x1=x, x2=x, y1=0, y2=6, class_=name)
        drawn = element("pattern", line, id=name, width=6, height=6)
        units = Markup('<pattern patternUnits="userSpaceOnUse" patternTransform="rotate(45)"')
        return drawn.replace(Markup("<pattern"), units, 1)

    return element("defs", hatch("hatch-thin", 0), hatch("hatch-thick", 1.6))
