"""Writes SVG elements. Colours and line styles come from the style sheet through class names."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup, escape

if TYPE_CHECKING:
    from collections.abc import Sequence


_CAMEL = {"view_box": "viewBox", "preserve_aspect_ratio": "preserveAspectRatio"}


def element(name: str, *inside: Markup | str, **attributes: str | int | float | None) -> Markup:
    """Return one element; `class_` writes class, an underscore in a name a hyphen, None nothing.

    Text inside is escaped unless it is markup already.

    >>> str(element("text", "a < b", class_="ink", text_anchor="end"))
    '<text class="ink" text-anchor="end">a &lt; b</text>'
    """
    # Plain strings are put together, each escaped by itself: a page may hold thousands of elements,
    # and Markup's own formatting takes ten times as long.
    written = "".join(
        f' {_attribute(key)}="{_short(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if not inside:
        return Markup(f"<{name}{written}/>")  # noqa: S704  names are ours, values escaped
    content = "".join(escape(part) for part in inside)
    return Markup(f"<{name}{written}>{content}</{name}>")  # noqa: S704  as above


def _attribute(key: str) -> str:
    """Return the name of an attribute, a keyword of our own code."""
    return _CAMEL.get(key) or key.rstrip("_").replace("_", "-")


def _short(value: str | float) -> str:
    """Return a value as it stands between quotes, escaped."""
    if isinstance(value, str):
        return str(escape(value))
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def share(place: float) -> str:
    """Return a share of the whole as a percentage.

    >>> share(0.5)
    '50%'
    """
    return f"{_short(place * 100.0)}%"


def line_path(runs: Sequence[Sequence[tuple[float, float]]]) -> str:
    """Return path commands for runs of places; a run of one place becomes a dot-long line.

    Places are whole units of the drawing's own grid, so the text stays short.
    """
    said: list[str] = []
    for run in runs:
        (x, y), *rest = [(round(a), round(b)) for a, b in run]
        said.append(f"M{x} {y}")
        if not rest:
            said.append("h1")
        for nx, ny in rest:
            said.append(f"l{nx - x} {ny - y}")
            x, y = nx, ny
    return "".join(said)


def area_path(shapes: Sequence[Sequence[tuple[float, float]]]) -> str:
    """Return path commands for closed shapes, each a round of places.

    >>> area_path([[(0.0, 0.0), (4.0, 0.0), (4.0, 3.0)]])
    'M0 0l4 0l0 3z'
    """
    return "".join(f"{line_path([shape])}z" for shape in shapes if len(shape) > 1)


def drawing(title: str, describes: str, *inside: Markup, class_: str, height: int) -> Markup:
    """Return a whole picture, as wide as its place, that says in words what it shows."""
    return element(
        "svg",
        element("title", title),
        element("desc", describes),
        *inside,
        class_=class_,
        width="100%",
        height=height,
        role="img",
        aria_label=describes,
    )


def stretched(*inside: Markup, width: int, height: int) -> Markup:
    """Return a layer whose own grid is stretched over the whole picture."""
    return element(
        "svg",
        *inside,
        view_box=f"0 0 {width} {height}",
        preserve_aspect_ratio="none",
        width="100%",
        height="100%",
    )
