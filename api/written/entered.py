"""The text of a site file with what people entered put over it, thing by thing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from api.written.toml_text import TomlText, Where

NAMED_BY: Mapping[str, tuple[str, ...]] = {
    "batch": ("code",),
    "sensor": ("id",),
    "person": ("id",),
    "swap": ("on", "whose", "start"),
    "absence": ("who", "first"),
}
"""The fields that tell things of a list apart."""


@dataclass(frozen=True, slots=True)
class Put:
    """A thing to be put in the place of the one of that name, or beside the others.

    `body` None takes it away. `number` is that of its entry, told where it is wrong.
    """

    kind: str
    key: str
    body: Mapping[str, object] | None
    number: int


def key_of(kind: str, body: Mapping[str, object]) -> str:
    """Return the name of a thing in its list.

    >>> key_of("absence", {"who": "tobin", "first": "2026-12-24"})
    'tobin 2026-12-24'
    """
    said = (body.get(field) for field in NAMED_BY[kind])
    return " ".join(_text(one) for one in said if one is not None)


def _text(value: object) -> str:
    written = getattr(value, "isoformat", None)
    return str(value) if written is None else str(written())


def with_entries(text: TomlText, entered: Sequence[Put]) -> TomlText:
    """Return the text with each thing put in its place; what is wrong in it is told by its entry.

    The observations that the file has of a batch stay with it.
    """
    values = dict(text.values)
    lines = dict(text.lines)
    numbers: dict[Where, int] = {}
    for kind in NAMED_BY:
        ours = {one.key: one for one in entered if one.kind == kind}
        found = values.get(kind, [])
        if not ours or not isinstance(found, list):
            continue
        here = {key_of(kind, one): at for at, one in enumerate(found) if isinstance(one, dict)}
        whole: list[object] = []
        moved: dict[int, int] = {}
        for at, one in enumerate(found):
            put = ours.get(key_of(kind, one)) if isinstance(one, dict) else None
            if put is None:
                moved[at] = len(whole)
                whole.append(one)
            elif put.body is not None:
                numbers[kind, len(whole)] = put.number
                whole.append(_kept_beside(kind, put.body, one))
        for key, put in ours.items():
            if key not in here and put.body is not None:
                numbers[kind, len(whole)] = put.number
                whole.append(dict(put.body))
        values[kind] = whole
        lines = _moved(lines, kind, moved)
    for where, number in numbers.items():
        lines.update((place, number) for place in _places(values, where))
    return replace(text, values=values, lines=lines, entered=numbers)


def _kept_beside(kind: str, body: Mapping[str, object], before: object) -> dict[str, object]:
    seen = before.get("observation") if kind == "batch" and isinstance(before, dict) else None
    return {**body, "observation": seen} if seen else dict(body)


def _moved(lines: Mapping[Where, int], kind: str, moved: Mapping[int, int]) -> dict[Where, int]:
    """Return the lines of what stays, under its new places in the list."""
    kept: dict[Where, int] = {}
    for where, line in lines.items():
        if where[:1] != (kind,) or len(where) < 2:
            kept[where] = line
        elif isinstance(where[1], int) and where[1] in moved:
            kept[kind, moved[where[1]], *where[2:]] = line
    return kept


def _places(values: Mapping[str, object], where: Where) -> Iterator[Where]:
    found: object = values
    for name in where:
        found = found[name]  # type: ignore[index]
    yield from _below(found, where)


def _below(value: object, where: Where) -> Iterator[Where]:
    yield where
    if isinstance(value, dict):
        for name, inside in value.items():
            yield from _below(inside, (*where, name))
    elif isinstance(value, list):
        for at, inside in enumerate(value):
            yield from _below(inside, (*where, at))
