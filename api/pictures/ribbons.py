"""The picture of several batches: their margin ribbons under one another, the worst first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.alerts.figures import clock_time
from api.alerts.phrases import phrases
from api.drawing.day import instant_of
from api.drawing.ribbon import HEIGHT, RibbonRecord, ribbon, seen_margin
from api.drawing.svg import element, share
from api.pictures.sheet import EDGE, placed, printed
from api.pictures.window import dark_of, hours_of
from api.pictures.words import picture_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markupsafe import Markup

    from api.drawing.day import NoonToNoon
    from api.pictures.alarm_chart import Reader
    from api.v1.sight import SpanRecord
    from rules.model.site import Site

MOST_RIBBONS = 8
RIBBONS_TOP = 44
ROW = HEIGHT + 18


def ribbons(
    codes: Sequence[str],
    site: Site,
    seen: SpanRecord,
    window: NoonToNoon,
    *,
    head: str,
    reader: Reader,
) -> bytes | None:
    """Return the picture as PNG, of eight batches at most; None where none was seen.

    `codes` are in the order in which they are drawn; those that do not fit are counted.
    """
    shown = [code for code in codes if code in seen.batches][:MOST_RIBBONS]
    if not shown:
        return None
    said, words, place = picture_words(reader.language), phrases(reader.language), site.site
    species = {batch.code: batch.species for batch in site.batch}
    dark = dark_of(window, place)
    drawn: list[Markup] = []
    for row, code in enumerate(shown):
        y = RIBBONS_TOP + row * ROW
        record = seen.batches[code]
        label = f"{code} {species.get(code, '')}".strip()
        drawn.append(element("text", label, x=EDGE, y=y + 11, class_="sub"))
        picture = ribbon(
            RibbonRecord(seen_margin(record), record.standing, window.place_of(seen.judged_to)),
            None,
            dark=dark,
            title=code,
            describes=code,
        )
        drawn.append(placed(picture, y=y + 16, height=HEIGHT))
    below = RIBBONS_TOP + len(shown) * ROW
    names = {12: said.noon, 0: said.midnight}
    drawn.append(placed(*_hours(hours_of(window, place, names)), y=below, height=16))
    more = len(codes) - len(shown)
    foot = (
        said.foot_ribbons if more <= 0 else f"{said.more.format(count=more)}. {said.foot_ribbons}"
    )
    drawn.append(element("text", foot, x=EDGE, y=below + 30))
    until = clock_time(instant_of(seen.judged_to), place, now=reader.now, words=words)
    return printed(
        head, [said.judged_to.format(time=until)], *drawn, top=RIBBONS_TOP, height=below + 38
    )


def _hours(marks: Sequence[tuple[float, str]]) -> list[Markup]:
    return [
        element(
            "text",
            words,
            x=share(at),
            y=12,
            text_anchor="start" if at < 0.02 else "end" if at > 0.98 else "middle",
            class_="hour",
        )
        for at, words in marks
    ]
