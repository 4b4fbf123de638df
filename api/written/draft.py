"""A site file as far as it can be understood: the entries that fit, and every name in use."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from pydantic import BaseModel, ValidationError

from api.written.sentences import as_json
from rules.model.batch import Batch
from rules.model.lamp import Lamp
from rules.model.people import Absence, Person, Shift, Step, Swap
from rules.model.place import Bench, House, Sensor

if TYPE_CHECKING:
    from collections.abc import Mapping

    from api.written.toml_text import TomlText

Entry = TypeVar("Entry", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Draft:
    """The entries of a site file that fit their model, by place in their list, counted from 0.

    Entries with faults are left out here, yet their names are known, so that one slip does not
    make every mention of the entry a fault too.
    """

    text: TomlText
    houses: Mapping[int, House]
    benches: Mapping[int, Bench]
    sensors: Mapping[int, Sensor]
    batches: Mapping[int, Batch]
    people: Mapping[int, Person]
    shifts: Mapping[int, Shift]
    swaps: Mapping[int, Swap]
    absences: Mapping[int, Absence]
    steps: Mapping[int, Step]
    lamps: Mapping[int, Lamp]

    def names(self, kind: str, named_by: str = "id") -> tuple[str, ...]:
        """Return every name in use in the list `kind`, also those of entries with faults."""
        entries = self.text.value((kind,))
        if isinstance(entries, dict):
            entries = [entries]  # a heading in single brackets, told elsewhere
        if not isinstance(entries, list):
            return ()
        names = (entry.get(named_by) for entry in entries if isinstance(entry, dict))
        return tuple(name for name in names if isinstance(name, str))


def draft_of(text: TomlText) -> Draft:
    """Return what can be understood of a site file."""
    return Draft(
        text=text,
        houses=_fitting(text, "house", model=House),
        benches=_fitting(text, "bench", model=Bench),
        sensors=_fitting(text, "sensor", model=Sensor),
        batches=_fitting(text, "batch", model=Batch),
        people=_fitting(text, "person", model=Person),
        shifts=_fitting(text, "shift", model=Shift),
        swaps=_fitting(text, "swap", model=Swap),
        absences=_fitting(text, "absence", model=Absence),
        steps=_fitting(text, "escalation", model=Step),
        lamps=_fitting(text, "lamp", model=Lamp),
    )


def _fitting(text: TomlText, kind: str, *, model: type[Entry]) -> dict[int, Entry]:
    entries = text.value((kind,))
    fitting: dict[int, Entry] = {}
    for place, entry in enumerate(entries if isinstance(entries, list) else ()):
        try:
            fitting[place] = model.model_validate_json(as_json(entry), strict=True)
        except ValidationError:
            continue  # told by api.written.sentences, which holds the whole file to its model
    return fitting
