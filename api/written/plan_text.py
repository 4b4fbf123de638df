"""A care plan as TOML text: written whole, or with some values of a text changed in their place."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from api.written.toml_text import nodes_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from api.written.toml_text import Where
    from rules.model.plan import CarePlan

BARE = re.compile(r"[A-Za-z0-9_-]+")
INLINE = frozenset({"says", "action", "title"})
"""Tables so small that they are written on the line of their name."""


@dataclass(frozen=True, slots=True)
class Gone:
    """Stands for a value that is to be taken out."""


GONE = Gone()


def as_toml(plan: CarePlan) -> str:
    """Return a plan written out, without what is as it usually is."""
    return values_as_toml(plan.model_dump(mode="python", exclude_defaults=True))


def values_as_toml(values: Mapping[str, object]) -> str:
    """Return values as a TOML text that reads as the same values.

    >>> print(values_as_toml({"id": "bag", "stage": {"healing": {"vital": []}}}), end="")
    id = "bag"
    <BLANKLINE>
    [stage.healing]
    vital = []
    """
    return "\n".join(_table(values, ())).lstrip("\n") + "\n"


def _table(values: Mapping[str, object], above: tuple[str, ...]) -> Iterator[str]:
    later: list[tuple[str, object]] = []
    for name, value in values.items():
        if _has_own_heading(name, value):
            later.append((name, value))
        else:
            yield f"{_key(name)} = {_value(value)}"
    for name, value in later:
        path = (*above, name)
        heading = ".".join(_key(one) for one in path)
        if isinstance(value, dict):
            if any(not _has_own_heading(n, v) for n, v in value.items()) or not value:
                yield f"\n[{heading}]"
            yield from _table(value, path)
        elif isinstance(value, list | tuple):
            for one in value:
                yield f"\n[[{heading}]]"
                yield from _table(one, path)


def _has_own_heading(name: str, value: object) -> bool:
    if isinstance(value, dict):
        return name not in INLINE
    return isinstance(value, list | tuple) and bool(value) and isinstance(value[0], dict)


def _key(name: str) -> str:
    return name if BARE.fullmatch(name) else _text(name)


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(str(value))
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(name)} = {_value(one)}" for name, one in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(one) for one in value)}]"
    return repr(value)


def with_values(text: str, changed: Mapping[Where, object | Gone]) -> str:
    """Return a text that tomllib accepts with values changed or taken out; comments stay.

    A field that is not there is written below the heading of its table, or first of all. Where the
    text is written in a way that can't be changed in its place, it is written anew, and its
    comments are lost.
    """
    wanted = _changed(tomllib.loads(text), changed)
    raw = text.encode()
    spans = list(_spans(text, changed))
    for start, end, new in sorted(spans, reverse=True):
        raw = raw[:start] + new.encode() + raw[end:]
    found = raw.decode()
    try:
        same = tomllib.loads(found) == wanted
    except tomllib.TOMLDecodeError:
        same = False
    return found if same else values_as_toml(wanted)


def _spans(text: str, changed: Mapping[Where, object | Gone]) -> Iterator[tuple[int, int, str]]:
    """Yield from which byte to which one what is to be written instead."""
    there: dict[Where, tuple[int, int, int]] = {}
    raw = text.encode()
    heads: dict[Where, int] = {(): 0}
    for where, node in nodes_of(text):
        if node.type in {"table", "table_array_element"}:
            heads.setdefault(where, raw.find(b"\n", node.start_byte) + 1)
        inside = node.named_children[-1] if node.named_children else node
        value = inside.start_byte if node.type == "pair" else node.start_byte
        end = inside.end_byte if node.type in {"pair", "table", "table_array_element"} else 0
        there.setdefault(where, (node.start_byte, value, end or node.end_byte))
    for where, new in changed.items():
        if where not in there:
            at = heads.get(where[:-1])
            if at is not None and not isinstance(new, Gone):
                yield at, at, f"{_key(str(where[-1]))} = {_value(new)}\n"
            continue
        start, value, end = there[where]
        if isinstance(new, Gone):
            below = [span for place, span in there.items() if place[: len(where)] == where]
            yield start, max(end, *(one[2] for one in below)), ""
        else:
            yield value, end, _value(new)


def _changed(
    values: dict[str, object], changed: Mapping[Where, object | Gone]
) -> dict[str, object]:
    """Return the values as they are to be; entries of a list are taken out last ones first."""
    for where, new in changed.items():
        if not isinstance(new, Gone):
            _put(values, where, new)
    gone = [where for where, new in changed.items() if isinstance(new, Gone)]
    for where in sorted(gone, key=_place, reverse=True):
        above: object = values
        for name in where[:-1]:
            above = above[name]  # type: ignore[index]
        del above[where[-1]]  # type: ignore[attr-defined]
        if above == []:
            _drop_empty(values, where[:-1])
    return values


def _place(where: Where) -> tuple[str, ...]:
    return tuple(f"{one:06d}" if isinstance(one, int) else one for one in where)


def _put(values: dict[str, object], where: Sequence[str | int], new: object) -> None:
    above: object = values
    for name in where[:-1]:
        above = above[name]  # type: ignore[index]
    above[where[-1]] = new  # type: ignore[index]


def _drop_empty(values: dict[str, object], where: Where) -> None:
    """Take out a list with nothing left in it, as a text without its headings reads."""
    above: object = values
    for name in where[:-1]:
        above = above[name]  # type: ignore[index]
    del above[where[-1]]  # type: ignore[attr-defined]
