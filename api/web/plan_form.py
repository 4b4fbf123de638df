"""The figures of a plan's text as fields of a form, and what is typed there put back into the text.

Only what was changed is written, so that comments, order and all other lines stay as they are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, TypeVar

from api.web.words.plan_editing import editing_words
from rules.model.alarm import Priority
from rules.model.batch import GraftMethod, Stage
from rules.model.dose import BASE_FIELDS, BOUND_FIELDS, DOSE_SHOWN, DoseKind
from rules.model.plan import Side, When
from rules.model.quantities import FELT_SHOWN, Felt

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from api.web.telling import Telling
    from api.written.toml_text import TomlText, Where
    from rules.model.fault import Fault

Word = TypeVar("Word", bound=StrEnum)

PARTED = "/"
"""Stands between the names of the way down to a value, in the name of its field."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One field: its place in the text, its words, and what stands there. `wrong`: why not."""

    where: Where
    label: str
    value: str
    step: str
    choices: tuple[tuple[str, str], ...]
    wrong: str

    @property
    def name(self) -> str:
        """The field's name in the form."""
        return PARTED.join(str(one) for one in self.where)


@dataclass(frozen=True, slots=True)
class FigureGroup:
    """The fields of one limit, sum, check or method, under its name."""

    title: str
    hint: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class FormPart:
    """One stage, the way out, or all methods. `open`: shown at once, for it matters now."""

    id: str
    title: str
    hint: str
    groups: tuple[FigureGroup, ...]
    open: bool


@dataclass(frozen=True, slots=True)
class Filling:
    """What a form is made of: a text, how things are said, its faults, and stages in use."""

    text: TomlText
    telling: Telling
    faults: Mapping[str, Fault]
    in_use: Mapping[Stage, tuple[str, ...]]

    def figure(self, where: Where, label: str, *, step: str = "any", usual: object = "") -> Figure:
        """Return the field of a number; `usual` stands there where the text says nothing."""
        value = self.text.value(where)
        return Figure(where, label, _shown(usual if value is None else value), step, (),
                      self._wrong(where))  # fmt: skip

    def choice(self, where: Where, label: str, choices: Mapping[Priority, str]) -> Figure:
        """Return the field of a word that is one of a few."""
        value = _shown(self.text.value(where))
        offered = tuple((one.value, said) for one, said in choices.items())
        return Figure(where, label, value, "", offered, self._wrong(where))

    def _wrong(self, where: Where) -> str:
        fault = self.faults.get(self.text.field(where))
        if fault is None:
            return ""
        return editing_words(self.telling.words.code).fault_in_words(fault)


def form_parts(filling: Filling) -> tuple[FormPart, ...]:
    """Return the fields of every figure that the form knows, stage by stage."""
    found: list[FormPart] = []
    words, telling = editing_words(filling.telling.words.code), filling.telling
    for name in _tables(filling.text, ("stage",)):
        stage = _member(Stage, name)
        codes = filling.in_use.get(stage, ()) if stage else ()
        title = telling.words.capital(telling.words.stage_names[stage]) if stage else name
        groups = tuple(_of_stage(filling, ("stage", name)))
        hint = words.batches_there.format(codes=", ".join(codes)) if codes else words.no_batch_there
        found.append(FormPart(f"stage-{name}", title, hint, groups, open=bool(codes)))
    release = tuple(_of_release(filling))
    if release:
        group = FigureGroup("", "", release)
        found.append(FormPart("way-out", words.way_out, "", (group,), open=False))
    methods = tuple(_of_methods(filling))
    if methods:
        found.append(FormPart("by-method", words.by_method, "", methods, open=False))
    return tuple(
        FormPart(one.id, one.title, one.hint, one.groups, one.open or _has_fault(one))
        for one in found
    )


def _has_fault(part: FormPart) -> bool:
    return any(figure.wrong for group in part.groups for figure in group.figures)


def _of_stage(filling: Filling, at: Where) -> Iterator[FigureGroup]:
    words, telling = editing_words(filling.telling.words.code), filling.telling
    yield FigureGroup(
        words.blindness,
        "",
        (filling.figure((*at, "blind_after_min"), words.blind_after, step="1", usual=10),),
    )
    for where, entry in _entries(filling.text, (*at, "limit")):
        felt = _member(Felt, entry.get("quantity"))
        unit = FELT_SHOWN[felt] if felt else ""
        side = _member(Side, entry.get("side"))
        when = telling.words.when[_member(When, entry.get("when")) or When.ALWAYS]
        named = telling.words.capital(telling.words.felt[felt]) if felt else str(entry.get("id"))
        yield FigureGroup(
            f"{named} {when}".strip(),
            _says(entry, telling),
            (
                filling.figure(
                    (*where, "bound"),
                    words.with_unit(telling.words.side[side] if side else "", unit),
                ),
                filling.figure((*where, "deadband"), words.with_unit(words.back_by, unit)),
                filling.figure((*where, "on_delay_min"), words.on_delay, step="1"),
                filling.figure((*where, "off_delay_min"), words.off_delay, step="1"),
                filling.figure((*where, "full_margin"), words.with_unit(words.comfortable, unit)),
                filling.choice((*where, "priority"), words.priority, telling.words.priority),
            ),
        )
    for where, entry in _entries(filling.text, (*at, "dose")):
        yield _of_dose(filling, where, entry)
    yield from _of_checks(filling, at)


def _of_dose(filling: Filling, where: Where, entry: Mapping[str, object]) -> FigureGroup:
    words, telling = editing_words(filling.telling.words.code), filling.telling
    kind = _member(DoseKind, entry.get("kind"))
    felt = _member(Felt, entry.get("quantity"))
    figures: list[Figure] = []
    if kind is not None:
        side = Side.LOW if entry.get("side") == Side.LOW else Side.HIGH
        label = words.with_unit(telling.words.side[side], DOSE_SHOWN[kind])
        figures.append(filling.figure((*where, BOUND_FIELDS[kind]), label))
        base = BASE_FIELDS[kind]
        if base is not None:
            label = words.with_unit(words.base, FELT_SHOWN[felt] if felt else "")
            figures.append(filling.figure((*where, base), label))
    figures.append(filling.choice((*where, "priority"), words.priority, telling.words.priority))
    named = telling.words.capital(telling.words.felt[felt]) if felt else str(entry.get("id"))
    return FigureGroup(f"{named}, {words.summed}", _says(entry, telling), tuple(figures))


def _of_checks(filling: Filling, at: Where) -> Iterator[FigureGroup]:
    words = editing_words(filling.telling.words.code)
    for where, entry in _entries(filling.text, (*at, "check")):
        first, every = (*where, "first_after_days"), (*where, "every_days")
        yield FigureGroup(
            words.look_at,
            _says(entry, filling.telling),
            (
                filling.figure(first, words.first_after, step="1", usual=0),
                filling.figure(every, words.every, step="1"),
            ),
        )


def _of_release(filling: Filling) -> Iterator[Figure]:
    words = editing_words(filling.telling.words.code)
    table = filling.text.value(("release",))
    for name, label in words.release.items():
        if isinstance(table, dict) and name in table:
            step = "any" if name.endswith(("_step", "_share")) else "1"
            yield filling.figure(("release", name), label, step=step)


def _of_methods(filling: Filling) -> Iterator[FigureGroup]:
    words, telling = editing_words(filling.telling.words.code), filling.telling
    for name in _tables(filling.text, ("method",)):
        at: Where = ("method", name)
        known = _member(GraftMethod, name)
        title = telling.words.capital(telling.words.method[known]) if known else name
        days = tuple(
            filling.figure((*at, field), label, step="1") for field, label in words.method.items()
        )
        yield FigureGroup(title, _says(filling.text.value(at), telling), days)
        for where, entry in _entries(filling.text, (*at, "step")):
            day = filling.figure((*where, "after_days"), words.after_days, step="1")
            yield FigureGroup(f"{title}: {words.step}", _says(entry, telling), (day,))
        yield from _of_checks(filling, at)


def typed_values(
    parts: tuple[FormPart, ...], text: TomlText, typed: Mapping[str, str]
) -> dict[Where, object]:
    """Return what was typed in fields and differs from the text, by its place.

    What is no number is returned as it was typed, so that the check of the text tells it.
    """
    found: dict[Where, object] = {}
    for part in parts:
        for group in part.groups:
            for figure in group.figures:
                said = typed.get(figure.name)
                if said is None or said.strip() == figure.value:
                    continue
                value = (
                    said.strip() if figure.choices else _read(said, like=text.value(figure.where))
                )
                if value != text.value(figure.where):
                    found[figure.where] = value
    return found


def _read(said: str, *, like: object) -> object:
    """Return the number that someone typed, with a point or a comma; else what they typed."""
    said = said.strip()
    try:
        number = float(said.replace(",", ".").replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        return said
    if not math.isfinite(number):
        return said
    whole = number.is_integer() and not isinstance(like, float) and abs(number) < 1e15
    return int(number) if whole else number


def _shown(value: object) -> str:
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)


def _member(words: type[Word], value: object) -> Word | None:
    """Return the word of a list that a value is, None for any other."""
    return next((one for one in words if one.value == value), None)


def _says(entry: object, telling: Telling) -> str:
    """Return what an entry says, in the reader's language if the text has it."""
    says = entry.get("says") if isinstance(entry, dict) else None
    if not isinstance(says, dict):
        return ""
    return str(says.get(telling.words.code) or says.get("en") or "")


def _tables(text: TomlText, at: Where) -> tuple[str, ...]:
    found = text.value(at)
    return (
        tuple(name for name, one in found.items() if isinstance(one, dict))
        if isinstance(found, dict)
        else ()
    )


def _entries(text: TomlText, at: Where) -> Iterator[tuple[Where, Mapping[str, object]]]:
    found = text.value(at)
    for place, entry in enumerate(found if isinstance(found, list) else ()):
        if isinstance(entry, dict):
            yield (*at, place), entry
