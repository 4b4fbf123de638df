"""What a person writes after --suppose, as changes of a recording; what can't be is refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.cli import given
from api.cli.main import CannotGoOn
from rules.speaking import first_cell
from rules.supposing import (
    Hotter,
    Opened,
    Shade,
    Silent,
    Supposed,
    Uncovered,
    refusal,
    site_supposed,
)

if TYPE_CHECKING:
    from datetime import datetime

    from rules.model.site import Site

FORMS = (
    "hotter=2",
    "shade=HOUSE:0.7",
    "opened=BATCH@INSTANT/SHARE",
    "uncovered=BATCH@INSTANT",
    "silent=SENSOR@INSTANT",
    "silent=SENSOR/CHANNEL@INSTANT/INSTANT",
)


def supposed(typed: str, site: Site, *, told: tuple[int, int]) -> tuple[Supposed, ...]:
    """Return the changes of one --suppose, joined by commas; CannotGoOn if one can't be."""
    changes = tuple(_one(part.strip(), told) for part in typed.split(","))
    for change in changes:
        why_not = refusal(change, site)
        if why_not is not None:
            msg = f"--suppose {why_not}"
            raise CannotGoOn(msg)
        # The next one is of the site as this one leaves it: no bag is opened that was taken off.
        site = site_supposed(change, site)
    return changes


def _one(typed: str, told: tuple[int, int]) -> Supposed:
    word, _, rest = typed.partition("=")
    name, _, at = rest.partition("@")
    instant, _, after = at.partition("/")
    match word:
        case "hotter" if rest:
            return Hotter(given.figure(rest, "--suppose hotter"))
        case "shade" if ":" in rest:
            house, _, fraction = rest.partition(":")
            return Shade(house, given.figure(fraction, "--suppose shade"))
        case "opened" if at and after:
            share = given.figure(after, "--suppose opened")
            return Opened(name, _instant(instant, word, told), share)
        case "uncovered" if at and not after:
            return Uncovered(name, _instant(instant, word, told))
        case "silent" if at:
            sensor, _, channel = name.partition("/")
            until = given.instant(after, "--suppose silent") if after else None
            return Silent(sensor, channel or None, _instant(instant, word, told), until)
        case _:
            msg = f'--suppose: "{typed}" can\'t be read; write one of {", ".join(FORMS)}'
            raise CannotGoOn(msg)


def _instant(typed: str, word: str, told: tuple[int, int]) -> datetime:
    at = given.instant(typed, f"--suppose {word}")
    if not told[0] <= first_cell(at) < told[1]:
        msg = (
            f"--suppose {word}: {typed} does not lie in the record that is looked at; "
            "correct it, or look at other days with --from and --to"
        )
        raise CannotGoOn(msg)
    return at
