"""What a person says about a file, in options or in a small TOML file; it outranks any guess."""

from __future__ import annotations

import json
import tomllib
from typing import TYPE_CHECKING, Literal

from pydantic import Field, ValidationError, field_validator

from collector.files.dialect import BLANKS
from collector.files.refusal import FileRefused
from collector.files.times import DateOrder, TimeFormat
from collector.files.wall_clock import zone_named
from rules.model.place import Written

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

LEFT_OUT = "-"
_SEPARATOR_WORDS = {
    "tab": "\t", "comma": ",", "semicolon": ";", "bar": "|", "blank": BLANKS, "blanks": BLANKS,
    "space": BLANKS, "\\t": "\t", "": BLANKS,
}  # fmt: skip
_MARK_WORDS = {"point": ".", "comma": ","}


class ColumnChoice(Written):
    """The channel a column belongs to, "-" to leave it out, and the unit it is written in."""

    channel: str = Field(min_length=1)
    unit: str | None = None


class FileMapping(Written):
    """How to read a file, as far as it is not to be found out.

    `time` names the column of instants, or a date's and a time's. `zone` is a name of the time-zone
    list or an offset. `missing` are figures or texts that mean: nothing measured. Columns are
    called by name, or by number as "#3".
    """

    encoding: str | None = None
    separator: str | None = Field(default=None, min_length=1, max_length=1)
    decimal: Literal[".", ","] | None = None
    header_line: int | None = Field(default=None, ge=0, le=10_000)
    sheet: str | None = None
    time: tuple[str, ...] = Field(default=(), max_length=2)
    time_format: TimeFormat | None = None
    date_order: DateOrder | None = None
    zone: str | None = None
    missing: tuple[float | str, ...] = ()
    column: dict[str, ColumnChoice] = Field(default_factory=dict)

    @field_validator("zone")
    @classmethod
    def _known_zone(cls, zone: str | None) -> str | None:
        if zone is not None:
            zone_named(zone)
        return zone


FIELDS = tuple(name for name in FileMapping.model_fields if name != "column")


def mapping_in(options: Sequence[str], files: Iterable[Path]) -> FileMapping:
    """Return what mapping files say, the later outranking the earlier, then what options say.

    Options are KEY=VALUE: a field of FileMapping, or a column and its channel with, after a blank,
    its unit. Raises FileRefused naming the file or option that is wrong.
    """
    written: dict[str, object] = {}
    columns: dict[str, object] = {}
    for path in files:
        document = _toml_in(path)
        _checked(document, str(path))
        own = document.pop("column", {})
        columns.update(own if isinstance(own, dict) else {})
        written.update(document)
    for option in options:
        key, equals, value = option.rpartition("=")
        key = key.strip()
        if option.startswith(("separator=", "decimal=")):
            key, equals, value = option.partition("=")
        if not equals or not key:
            problem = f'--map "{option}" is not KEY=VALUE'
            raise FileRefused(problem, 'Write it as in --map "Temp (°F)=bag-07/air degF"')
        if key in FIELDS:
            written[key] = _value(key, value)
        else:
            columns[key.removeprefix("column:")] = _choice(value)
    return _checked({**written, "column": columns}, "--map")


def _value(key: str, value: str) -> object:
    match key:
        case "separator":
            return value if len(value) == 1 else _SEPARATOR_WORDS.get(value.strip(), value)
        case "decimal":
            return _MARK_WORDS.get(value, value)
        case "header_line":
            return int(value) if value.isdecimal() else value
        case "time":
            return [part.strip() for part in value.split("+")] if "+" in value else [value.strip()]
        case "missing":
            return [_figure_or_text(part.strip()) for part in value.split(";")]
        case _:
            return value.strip()


def _figure_or_text(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def _choice(value: str) -> dict[str, str]:
    channel, _, unit = value.strip().partition(" ")
    return {"channel": channel, "unit": unit.strip()} if unit.strip() else {"channel": channel}


def _toml_in(path: Path) -> dict[str, object]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        problem = f"{path}: cannot be read ({error})"
        raise FileRefused(
            problem, "Have `graftvigil load --dry-run --write-map` write one"
        ) from error


def _checked(document: Mapping[str, object], where: str) -> FileMapping:
    try:
        return FileMapping.model_validate(document)
    except ValidationError as trouble:
        first = trouble.errors(include_url=False, include_input=False)[0]
        field = ".".join(str(part) for part in first["loc"])
        said = first["msg"].removeprefix("Value error, ")
        problem = f"{where}: {field}: {said}"
        fix = f"Fields are {', '.join(FIELDS)} and column; docs/files.md explains them"
        raise FileRefused(problem, fix) from trouble


def as_toml(mapping: FileMapping, heading: str) -> str:
    """Return the text of a mapping file that says the same; `heading` stands above as a comment."""
    lines = [f"# {line}" for line in heading.splitlines()]
    for name in FIELDS:
        value = getattr(mapping, name)
        if value is None or value == ():
            continue
        if isinstance(value, tuple):
            lines.append(f"{name} = [{', '.join(_toml_value(one) for one in value)}]")
        else:
            lines.append(f"{name} = {_toml_value(value)}")
    if mapping.column:
        lines += ["", "[column]"]
    for name, choice in mapping.column.items():
        unit = f", unit = {_toml_value(choice.unit)}" if choice.unit else ""
        lines.append(f"{_toml_value(name)} = {{ channel = {_toml_value(choice.channel)}{unit} }}")
    return "\n".join(lines) + "\n"


def _toml_value(value: float | str) -> str:
    if not isinstance(value, str):
        return repr(value)
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
