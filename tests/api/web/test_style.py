"""The palette of every view can be read: contrast worked out from the style sheet itself."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import pytest

import api.web

CSS = (Path(api.web.__file__).parent / "static" / "style.css").read_text(encoding="utf-8")

VIEWS = {
    "paper by day": r"^:root \{(.*?)\}",
    "paper by lamp": r"prefers-color-scheme: dark\) \{\s*:root\[data-view=\"paper\"\] \{(.*?)\}",
    "night": r"^:root\[data-view=\"night\"\] \{(.*?)\}",
    "print": r"@media print \{\s*:root, :root\[data-view\] \{(.*?)\}",
}
TEXT = ("ink", "soft", "link", "danger", "strained", "drifting", "blind")
SHAPES = ("edge", "focus", "danger", "strained", "drifting", "blind", "leaf", "ghost")


def colours(view: str) -> dict[str, str]:
    block = re.search(VIEWS[view], CSS, re.DOTALL | re.MULTILINE)
    assert block is not None, view
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", block[1]))


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.published("WCAG 2.2, definition of contrast ratio: black on white is 21:1")
def test_contrast_of_black_on_white():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.published("WCAG 2.2, success criterion 1.4.3: text at least 4.5:1")
@pytest.mark.parametrize("view", VIEWS)
def test_text_can_be_read(view):
    palette = colours(view)
    for text, ground in itertools.product(TEXT, ("paper", "sheet", "dark-hours")):
        if ground == "dark-hours" and text not in ("ink", "soft"):
            continue
        ratio = contrast(palette[text], palette[ground])
        assert ratio >= 4.5, f"{view}: {text} on {ground} is {ratio:.2f}"
    assert contrast(palette["on-danger"], palette["danger"]) >= 4.5
    assert contrast(palette["paper"], palette["ink"]) >= 4.5


@pytest.mark.published("WCAG 2.2, success criterion 1.4.11: shapes at least 3:1")
@pytest.mark.parametrize("view", [view for view in VIEWS if view != "night"])
def test_shapes_can_be_seen(view):
    palette = colours(view)
    for shape in SHAPES:
        ratio = contrast(palette[shape], palette["paper"])
        assert ratio >= 3.0, f"{view}: {shape} is {ratio:.2f}"


def test_shapes_can_be_seen_at_night_but_for_the_day_before_which_stays_faint():
    palette = colours("night")
    for shape in set(SHAPES) - {"ghost"}:
        assert contrast(palette[shape], palette["paper"]) >= 3.0, shape
    assert contrast(palette["ghost"], palette["paper"]) >= 2.0


def test_night_view_shows_no_light_but_red():
    for name, colour in colours("night").items():
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert green <= red * 0.55, name
        assert blue <= red * 0.5, name


def test_every_view_has_every_colour():
    names = [set(colours(view)) for view in VIEWS]
    assert all(one == names[0] for one in names)
    assert len(names[0]) >= 15


def test_no_colour_is_written_outside_the_views():
    rest = CSS
    for pattern in VIEWS.values():
        block = re.search(pattern, rest, re.DOTALL | re.MULTILINE)
        assert block is not None
        rest = rest.replace(block[1], "")
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(", rest) == []
