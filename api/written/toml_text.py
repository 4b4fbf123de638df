"""A TOML file read into values, with the line on which each of them stands."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

import tree_sitter
import tree_sitter_toml

from rules.model.fault import Fault

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

Where = tuple[str | int, ...]
"""A way down into the values: names of fields, and places in lists counted from 0."""

LARGEST_BYTES = 4_000_000
NAMED_BY = ("id", "code")
ENTERED = "entered"
"""What stands for the file, and the number of the entry for its line, of what was entered."""
KEYS = frozenset({"bare_key", "quoted_key", "dotted_key"})
BYTE_ORDER_MARKS = (b"\xff\xfe", b"\xfe\xff")

HINTS = (
    ("overwrite", "Each field is written once in its table; remove one of the two."),
    ("twice", "Write the heading once, or with double brackets if it is an entry of a list."),
    ("mutate immutable", "Write either all entries in one list, or each under its own heading."),
    ("after a key", 'Write one field a line, as in title = "Long house".'),
    ("invalid value", 'Put text between double quotes, as in title = "Long house".'),
    ("unterminated string", "Close the text with the same quotes that opened it."),
    ("does not end", "Close the text with double quotes on the same line."),
    ("illegal character", "Remove the character; it may be invisible."),
    ("date or datetime", "Write an instant as in 2026-01-05T17:00:00+10:00."),
    ("unclosed array", "Close the list with ] and put a comma between its entries."),
    ("after a statement", "One field a line; a time as in 06:00:00, a number as in 3.5."),
    ("declaration", "Write a heading as [site], or [[bench]] for an entry of a list."),
    ("escape", r"Write \\ for one backslash, or put the text between single quotes."),
    ("", "Compare the line with the examples in docs/site_file.md."),
)


@dataclass(frozen=True, slots=True)
class TomlText:
    """The values of one file and the lines on which they stand.

    `entered` holds the places of what a person entered over it, with the numbers of the entries.
    `raw` is the text as it was written, with its comments; "" where only the values are known.
    """

    file: str
    values: Mapping[str, object]
    lines: Mapping[Where, int]
    entered: Mapping[Where, int] = field(default_factory=dict)
    raw: str = ""

    def line(self, where: Where) -> int:
        """Return the line of a field; for one that is not there, of the nearest thing above it."""
        for length in range(len(where), 0, -1):
            line = self.lines.get(where[:length])
            if line is not None:
                return line
        return 1

    def value(self, where: Where) -> object:
        """Return the value of a field, None when it is not there."""
        return _inside(self.values, where)

    def field(self, where: Where) -> str:
        """Return the field as people say it: entries of a list by their id, else counted from 1."""
        said = ""
        for length, name in enumerate(where, start=1):
            if isinstance(name, int):
                said += f"[{self._entry(where[:length]) or f'#{name + 1}'}]"
            else:
                said += f".{name}" if said else name
        return said or "file"

    def fault(self, where: Where, problem: str, *, fix: str) -> Fault:
        """Return what is wrong with the field `where`, in one line."""
        return Fault(
            file=ENTERED if where[:2] in self.entered else self.file,
            line=self.line(where),
            field=self.field(where),
            problem=problem,
            fix=fix,
        )

    def _entry(self, where: Where) -> str | None:
        for name in NAMED_BY:
            value = self.value((*where, name))
            if isinstance(value, str) and re.fullmatch(r"[\w.-]{1,40}", value):
                return value
        return None


def _inside(found: object, where: Where) -> object:
    for name in where:
        if isinstance(found, dict):
            found = found.get(name)
        elif isinstance(found, list) and isinstance(name, int) and name < len(found):
            found = found[name]
        else:
            return None
    return found


def read_toml(path: Path) -> TomlText | Fault:
    """Return the values of a TOML file, or the one fault that keeps them from being read."""
    text = _read_text(path)
    return text if isinstance(text, Fault) else toml_in(text, file=str(path))


def toml_in(text: str, *, file: str) -> TomlText | Fault:
    """Return the values of a text, or the one fault that keeps them from being read.

    `file` is what faults call it.
    """
    try:
        values = tomllib.loads(text)
        places = [(where, node.start_point.row + 1) for where, node in nodes_of(text)]
        lines = dict(reversed(places))  # the first of several lines is the one named
    except tomllib.TOMLDecodeError as error:
        return _syntax_fault(file, str(error))
    except RecursionError:
        return Fault(file, 1, "file", "has lists within lists too deep to read", "Flatten them.")
    except ValueError:
        return Fault(file, 1, "file", "holds a number too long to read", "Shorten the number.")
    if not values:
        return Fault(
            file,
            1,
            "file",
            "holds nothing",
            "Fill it as docs/site_file.md shows, or start from a copy of demo_data/site.toml.",
        )
    return TomlText(file=file, values=values, lines=lines, raw=text)


def _read_text(path: Path) -> str | Fault:
    file = str(path)
    remedy = "Name a file that is there and that this user may read."
    try:
        if path.is_dir():
            return Fault(file, 1, "file", "is a folder", "Name the file in it.")
        if path.exists() and not path.is_file():
            return Fault(file, 1, "file", "is a device, not a file", remedy)
        with path.open("rb") as opened:
            raw = opened.read(LARGEST_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        return Fault(file, 1, "file", f"cannot be read ({reason})", remedy)
    except ValueError:
        return Fault(repr(file), 1, "file", "has a name that no file can have", remedy)
    remedy = "Save it as plain text in UTF-8."
    if len(raw) > LARGEST_BYTES:
        return Fault(file, 1, "file", "is larger than 4 MB, so not a file of this kind", remedy)
    if raw.startswith(BYTE_ORDER_MARKS):
        return Fault(file, 1, "file", "is text in UTF-16", remedy)
    if b"\0" in raw:
        return Fault(file, 1, "file", "is not text", remedy)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        problem = f"has a character that is not UTF-8 (byte {raw[error.start]:#04x})"
        return Fault(file, line, "file", problem, remedy)


def _syntax_fault(file: str, said: str) -> Fault:
    place = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", said)
    problem = said[: place.start()].strip() if place else said
    problem = problem[:1].lower() + problem[1:]
    problem = re.sub(r"\('(\w+)',\)", r"[\1]", problem)
    problem = problem.replace("illegal character '\\n'", "the text does not end on its line")
    fix = next(hint for sign, hint in HINTS if sign in problem.lower())
    if place is None or place[1] is None:
        return Fault(file, 1, "end of file", f"is not TOML: {problem}", fix)
    return Fault(file, int(place[1]), f"column {place[2]}", f"is not TOML: {problem}", fix)


@cache
def _parser() -> tree_sitter.Parser:
    return tree_sitter.Parser(tree_sitter.Language(tree_sitter_toml.language()))


def nodes_of(text: str) -> Iterator[tuple[Where, tree_sitter.Node]]:
    """Yield where each field and entry stands; `text` is TOML that tomllib has accepted.

    A field's node is the whole pair, an entry's its heading with all below it or its value.
    """
    entries: dict[Where, int] = {}
    for node in _parser().parse(text.encode()).root_node.named_children:
        if node.type == "pair":
            yield from _in_pair(node, ())
        elif node.type in {"table", "table_array_element"}:
            *above, last = _names(node)
            where: Where = ()
            for name in above:
                where = _newest((*where, name), entries)
            where = (*where, last)
            if node.type == "table_array_element":
                entries[where] = entries.get(where, -1) + 1
                yield where, node
            where = _newest(where, entries)
            yield where, node
            for child in node.named_children:
                if child.type == "pair":
                    yield from _in_pair(child, where)


def _newest(where: Where, entries: Mapping[Where, int]) -> Where:
    return (*where, entries[where]) if where in entries else where


def _names(node: tree_sitter.Node) -> tuple[str, ...]:
    """Return the names of a heading's or a pair's key, dotted keys taken apart."""
    key = next(child for child in node.named_children if child.type in KEYS)
    inside: object = tomllib.loads(f"{(key.text or b'').decode()} = 0")
    names: list[str] = []
    while isinstance(inside, dict):
        name, inside = next(iter(inside.items()))
        names.append(name)
    return tuple(names)


def _in_pair(pair: tree_sitter.Node, above: Where) -> Iterator[tuple[Where, tree_sitter.Node]]:
    where: Where = above
    for name in _names(pair):
        where = (*where, name)
        yield where, pair
    yield from _in_value(pair.named_children[-1], where)


def _in_value(node: tree_sitter.Node, where: Where) -> Iterator[tuple[Where, tree_sitter.Node]]:
    if node.type == "inline_table":
        for child in node.named_children:
            if child.type == "pair":
                yield from _in_pair(child, where)
    elif node.type == "array":
        entries = [child for child in node.named_children if child.type != "comment"]
        for place, entry in enumerate(entries):
            yield (*where, place), entry
            yield from _in_value(entry, (*where, place))
