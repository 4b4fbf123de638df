"""Values held against a model, and what does not fit said in plain words with a way out."""

from __future__ import annotations

import difflib
import json
import re
import types
from datetime import date, time
from enum import Enum
from typing import TYPE_CHECKING, Annotated, Literal, Union, get_args, get_origin

from pydantic import AwareDatetime, BaseModel, ValidationError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pydantic_core import ErrorDetails

    from api.written.toml_text import TomlText, Where
    from rules.model.fault import Fault

EXAMPLES: dict[object, str] = {
    str: '"…"',
    int: "1",
    float: "1.0",
    bool: "true",
    AwareDatetime: "2026-01-05T17:00:00+10:00",
    date: "2026-01-05",
    time: "06:00:00",
}

WANTED = {
    "string_type": ("text", "Put it between double quotes."),
    "int_type": ("a whole number", "Write digits only, without quotes."),
    "int_from_float": ("a whole number", "Leave out what follows the point."),
    "float_type": ("a number", "Write digits with a point, without quotes."),
    "bool_type": ("true or false", "Write true or false, without quotes."),
    "tuple_type": ("a list", "Put it between [ and ], or under a heading of its own."),
    "model_type": ("a table of fields", "Write its fields under a heading of its own."),
    "dict_type": ("a table of fields", "Write its fields under a heading of its own."),
    "datetime": ("a date and time", "Write it as in 2026-01-05T17:00:00+10:00."),
    "date": ("a date", "Write it as in 2026-01-05."),
    "time": ("a time of day", "Write it as in 06:00:00."),
}

FALLBACK = ("what belongs here", "Compare it with docs/site_file.md.")

BOUNDS = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("at most", "le"),
}

LONGEST_SHOWN = 40
SECRET_NAME = re.compile(r"passw|secret|token|api_?key|webhook|credential", re.IGNORECASE)
PUBLIC = frozenset({"http", "https"})


def is_secret(name: str, value: object) -> bool:
    """Return whether a field looks like a secret or the address of a private channel.

    >>> is_secret("mail_password", "x"), is_secret("reach", "chat://a:b@host")
    (True, True)
    >>> is_secret("source", "https://example.org/paper"), is_secret("link", "https://a:b@host")
    (False, True)
    """
    if not isinstance(value, str):
        return False
    address = re.match(r"([a-z][a-z0-9+.-]*)://([^/?#]*)", value, re.IGNORECASE)
    private = address is not None and (
        name == "reach" or address[1].lower() not in PUBLIC or "@" in address[2]
    )
    return private or bool(SECRET_NAME.search(name))


def faults_against(model: type[BaseModel], text: TomlText) -> tuple[dict[Where, Fault], bool]:
    """Return the faults of a file by place, and whether the file fits the model as a whole."""
    try:
        model.model_validate_json(as_json(text.values), strict=True)
    except ValidationError as error:
        errors = error.errors(include_url=False)
    else:
        return {}, True
    faults: dict[Where, Fault] = {}
    for wrong in errors:
        where = tuple(name for name in wrong["loc"] if name != "[key]")
        if wrong["type"] == "too_short" and text.value(where):
            continue  # the list has entries, each with a fault of its own
        place, problem, fix = _said(model, where, wrong)
        faults.setdefault(place, text.fault(place, problem, fix=fix))
    for where in _misspelt(errors):
        faults.pop(where, None)
    return faults, False


def own_words(model: type[BaseModel], wrong: ErrorDetails) -> tuple[str, str, str]:
    """Return field, problem and way out for one refusal of a model that stands in no file."""
    where = tuple(name for name in wrong["loc"] if name != "[key]")
    place, problem, fix = _said(model, where, wrong)
    return ".".join(str(part) for part in place) or model.__name__.lower(), problem, fix


def _misspelt(errors: list[ErrorDetails]) -> Iterator[Where]:
    """Yield the missing fields that are there under a misspelt name, told as such already."""
    unknown = [wrong["loc"] for wrong in errors if wrong["type"] == "extra_forbidden"]
    for wrong in errors:
        *above, name = wrong["loc"] or ("",)
        if wrong["type"] == "missing":
            beside = [str(loc[-1]) for loc in unknown if list(loc[:-1]) == above]
            if any(difflib.get_close_matches(found, [str(name)], n=1) for found in beside):
                yield wrong["loc"]


def as_json(values: object) -> str:
    """Return values as JSON, dates and times in ISO 8601, so that a model can be strict."""
    return json.dumps(values, default=lambda written: written.isoformat())


def meant(name: str, known: Iterable[str]) -> str:
    """Return 'Did you mean …?', or the words there are to choose from."""
    words = list(known)
    near = difflib.get_close_matches(name, words, n=1, cutoff=0.6)
    if near:
        return f'Did you mean "{near[0]}"?'
    if not words:
        return "There is none yet; write it first."
    return f"Write one of {', '.join(words)}."


def _said(model: type[BaseModel], where: Where, wrong: ErrorDetails) -> tuple[Where, str, str]:
    """Return the place, the problem and the way out for one refusal of a model."""
    kind, given, limits = wrong["type"], wrong["input"], wrong.get("ctx", {})
    shown = _shown(where, given)
    match kind:
        case "missing":
            return where, "is missing", f"Add {_line_for(model, where)}."
        case "extra_forbidden":
            known = _fields(_wanted(model, where[:-1]))
            return where, "is not a field that belongs here", meant(str(where[-1]), known)
        case "enum" | "literal_error":
            words = re.findall(r"'([^']+)'", str(limits["expected"]))
            return where, f"{shown} is not a word for this", meant(str(given), words)
        case "greater_than" | "greater_than_equal" | "less_than" | "less_than_equal":
            relation, key = BOUNDS[kind]
            return where, f"is {shown}", f"Write a number that is {relation} {limits[key]:g}."
        case "finite_number":
            return where, f"is {shown}", "Write an ordinary number."
        case "timezone_aware":
            fix = "Add an offset such as +11:00 or Z."
            return where, f"{shown} does not say in which time zone", fix
        case "string_pattern_mismatch":
            return where, f"{shown} cannot stand here", _pattern_fix(where)
        case "string_too_short":
            return where, "is empty", "Write at least one letter."
        case "too_short":
            return where, "is empty", "Write at least one entry."
        case "string_too_long":
            return where, "is too long", f"Shorten it to {limits['max_length']} characters."
        case "tuple_type" if isinstance(given, dict):
            heading = ".".join(name for name in where if isinstance(name, str))
            return where, "is a list of entries", f"Write [[{heading}]] with double brackets."
        case "value_error":
            return _own_words(where, str(limits["error"]))
        case _:
            wanted, fix = WANTED.get(kind) or WANTED.get(kind.split("_", 1)[0]) or FALLBACK
            return where, f"{shown} is not {wanted}", fix


def _own_words(where: Where, said: str) -> tuple[Where, str, str]:
    """Take apart what a model says itself: an optional 'field: ', the problem, '; ' the way out."""
    named = re.match(r"(\w+): ", said)
    if named:
        where = (*where, named[1])
        said = said[named.end() :]
    problem, _, fix = said.partition("; ")
    fix = fix or "Correct the one that is wrong."
    fix = fix[:1].upper() + fix[1:]
    return where, problem, fix if fix.endswith(".") else f"{fix}."


def _shown(where: Where, given: object) -> str:
    name = next((part for part in reversed(where) if isinstance(part, str)), "")
    if is_secret(name, given) or (isinstance(given, str) and "://" in given):
        return "what is written"
    if isinstance(given, bool):
        return "true" if given else "false"
    if isinstance(given, str):
        return f'"{given[:LONGEST_SHOWN]}…"' if len(given) > LONGEST_SHOWN else f'"{given}"'
    if isinstance(given, int | float):
        return str(given) if len(str(given)) <= LONGEST_SHOWN else "a very long number"
    return "what is written"


def _pattern_fix(where: Where) -> str:
    if where[-1] == "email":
        return "Write it as in mei@nursery.example."
    return "Use letters, digits, and after the first also . _ - (no spaces); 40 at most."


def _line_for(model: type[BaseModel], where: Where) -> str:
    """Return the line or heading that a missing field needs."""
    name = where[-1]
    wanted = _wanted(model, where)
    origin = get_origin(wanted)
    inside = get_args(wanted)[0] if origin is tuple else None
    headings = ".".join(part for part in where if isinstance(part, str))
    if isinstance(inside, type) and issubclass(inside, BaseModel):
        return f"an entry under [[{headings}]]"
    if origin is dict or (isinstance(wanted, type) and issubclass(wanted, BaseModel)):
        return f"a heading [{headings}] with its fields"
    return f"a line as in {name} = {_example(wanted)}"


def _example(wanted: object) -> str:
    if get_origin(wanted) is tuple:
        return f"[{_example(_bare(get_args(wanted)[0]))}]"
    if get_origin(wanted) is Literal:
        return f'"{get_args(wanted)[0]}"'
    if isinstance(wanted, type) and issubclass(wanted, Enum):
        return f'"{next(iter(wanted)).value}"'
    return EXAMPLES.get(wanted, '"…"')


def _wanted(model: type[BaseModel], where: Where) -> object:
    """Return the bare type that belongs at a place in a file of this model, None if unknown."""
    wanted: object = model
    for name in where:
        if isinstance(wanted, type) and issubclass(wanted, BaseModel):
            field = wanted.model_fields.get(str(name))
            wanted = _bare(field.annotation) if field else None
        elif get_origin(wanted) in {tuple, dict}:
            choices = [part for part in get_args(wanted) if part is not Ellipsis]
            wanted = _bare(choices[-1])
        else:
            return None
    return wanted


def _bare(annotation: object) -> object:
    """Return a type without Annotated and without 'or None'."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return _bare(get_args(annotation)[0])
    if origin in {Union, types.UnionType}:
        return _bare(next(part for part in get_args(annotation) if part is not type(None)))
    return annotation


def _fields(wanted: object) -> tuple[str, ...]:
    if isinstance(wanted, type) and issubclass(wanted, BaseModel):
        return tuple(wanted.model_fields)
    return ()
