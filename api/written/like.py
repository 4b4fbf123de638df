"""Sensors of one make written once: `like` fills in a sensor, `{id}` stands for its own id."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from api.written.sentences import meant

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from api.written.toml_text import TomlText, Where
    from rules.model.fault import Fault

OWN = frozenset({"id", "title", "serial", "like", "position"})
"""The fields that one sensor never takes over from another."""

ID = "{id}"
WITH_ID = frozenset({"topic", "availability", "channel", "tags"})
"""The fields in which `{id}` is put in: what a device writes its own name into."""


def filled_in(text: TomlText) -> tuple[TomlText, tuple[Fault, ...]]:
    """Return the text with every sensor written out, and a fault for each that is like nothing."""
    sensors = text.value(("sensor",))
    if not isinstance(sensors, list):
        return text, ()
    models = {
        entry["id"]: entry
        for entry in reversed(sensors)
        if isinstance(entry, dict) and isinstance(entry.get("id"), str) and "like" not in entry
    }
    faults: list[Fault] = []
    whole: list[object] = []
    for place, entry in enumerate(sensors):
        if not isinstance(entry, dict):
            whole.append(entry)
            continue
        taken: Mapping[str, object] = {}
        named = entry.get("like")
        if isinstance(named, str):
            if named in models:
                taken = models[named]
            else:
                faults.append(_like_nothing(text, place, named, among=tuple(models)))
        added = {name: value for name, value in taken.items() if name not in OWN | entry.keys()}
        whole.append(_with_id({**entry, **added}))
    return replace(text, values={**text.values, "sensor": whole}), tuple(faults)


def _like_nothing(text: TomlText, place: int, named: str, *, among: tuple[str, ...]) -> Fault:
    where: Where = ("sensor", place, "like")
    known = text.value(("sensor",))
    if isinstance(known, list) and any(
        isinstance(one, dict) and one.get("id") == named for one in known
    ):
        problem = f'sensor "{named}" is itself like another'
        return text.fault(where, problem, fix="Name the sensor that has the fields.")
    return text.fault(where, f'there is no sensor "{named}"', fix=meant(named, among))


def _with_id(entry: Mapping[str, object]) -> dict[str, object]:
    name = entry.get("id")
    if not isinstance(name, str):
        return dict(entry)
    return {
        field: _put_in(value, name) if field in WITH_ID else value for field, value in entry.items()
    }


def _put_in(value: object, name: str) -> object:
    if isinstance(value, str):
        return value.replace(ID, name)
    if isinstance(value, dict):
        return {key: _put_in(inside, name) for key, inside in value.items()}
    if isinstance(value, list):
        return [_put_in(inside, name) for inside in value]
    return value


def without_echoes(text: TomlText, faults: Mapping[Where, Fault]) -> dict[Where, Fault]:
    """Return the faults without those that a sensor has only taken over, or failed to."""
    kept = dict(faults)
    for where in _of_like_sensors(text, faults):
        place = _place_of(text, where)
        original = (*where[:1], place, *where[2:])
        echo = original in faults and faults[original].problem == faults[where].problem
        if echo or (place < 0 and faults[where].problem == "is missing"):
            del kept[where]
    return kept


def _of_like_sensors(text: TomlText, faults: Mapping[Where, Fault]) -> Iterator[Where]:
    for where in faults:
        if len(where) > 2 and where[0] == "sensor" and text.value((*where[:2], "like")) is not None:
            yield where


def _place_of(text: TomlText, where: Where) -> int:
    """Return the place of the sensor that the one at `where` is like, -1 if there is none."""
    named = text.value((*where[:2], "like"))
    sensors = text.value(("sensor",))
    for place, entry in enumerate(sensors if isinstance(sensors, list) else ()):
        if isinstance(entry, dict) and entry.get("id") == named and "like" not in entry:
            return place
    return -1
