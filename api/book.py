"""The book: site and care plans as they are in force now, open while everything runs.

What is in force is one value that never changes; a new one takes its place whole. Readers take it
once and work with it to their end, and never wait.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from api.records.entries import NOTHING_KNOWN, Kind, taken_back
from api.records.observations import with_entered
from api.site_files import Files, PlanFolder, plan_in, site_in, with_versions
from api.written.entered import NAMED_BY, Put, key_of
from api.written.sentences import as_json
from api.written.toml_text import ENTERED, TomlText, toml_in
from rules.evaluator import watchlist
from rules.model.fault import Fault
from rules.model.plan import CarePlan

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from api.records.entries import Entry, Known
    from api.records.observations import Entered
    from api.written.toml_text import Where
    from rules.evaluator import Watchlist
    from rules.model.site import Site

NAMED: Mapping[Kind, tuple[str, ...]] = {
    kind: NAMED_BY[kind.value] for kind in Kind if kind.value in NAMED_BY
}
"""The kinds that stand in a list of the site, with the fields that tell their things apart."""


def revision_of(site: Site, plans: Mapping[str, Sequence[CarePlan]]) -> str:
    """Return a name for exactly this site and these plans: any edit changes it.

    Fields left as they usually are don't count, so that a new one changes no older name.
    """
    every = [site, *(plan for name in sorted(plans) for plan in plans[name])]
    text = [one.model_dump_json(exclude_defaults=True) for one in every]
    return hashlib.sha256("\n".join(text).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Base:
    """The files that everything entered is put over. `text` is what they hold, as JSON."""

    files: Files
    text: str

    @property
    def revision(self) -> str:
        """A name for exactly what the files hold."""
        return hashlib.sha256(self.text.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class InForce:
    """Site, all versions of its plans by id, and what is judged by them. It never changes.

    `revision` names it. `base` are the files it stands on, `known` how far entries are in it.
    `texts` are the versions of plans as they were written, by id and number, where that is known.
    `overtaken` are versions by id that never counted, as another was entered before they began.
    """

    site: Site
    plans: Mapping[str, tuple[CarePlan, ...]]
    watchlist: Watchlist
    revision: str
    base: Base
    known: Known
    texts: Mapping[tuple[str, int], str] = field(default_factory=dict)
    overtaken: Mapping[str, tuple[CarePlan, ...]] = field(default_factory=dict)

    def written(self, kind: Kind, key: str) -> dict[str, object] | None:
        """Return the written form of a thing in force; None if there is none of that name.

        Of a batch without its observations, which are entered one by one.
        """
        return form_in(self.site, kind, key)


def forms_in(site: Site, kind: Kind) -> dict[str, dict[str, object]]:
    """Return the written form of each thing of a list by its name, in the site's order."""
    forms: dict[str, dict[str, object]] = {}
    for one in getattr(site, kind.value):
        form: dict[str, object] = one.model_dump(mode="json", exclude_none=True)
        if kind is Kind.BATCH:
            form.pop("observation", None)
        forms[key_of(kind.value, form)] = form
    return forms


def form_in(site: Site, kind: Kind, key: str) -> dict[str, object] | None:
    """Return the written form of a thing; None if the site has none of that name."""
    return forms_in(site, kind).get(key)


def form_revision(form: Mapping[str, object] | None) -> str:
    """Return a name for a written form: any change changes it; "none" for nothing."""
    if form is None:
        return "none"
    text = json.dumps(form, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def base_of(files: Files) -> Base:
    """Return the base that whole files make. ValueError if the site file could not be read."""
    if isinstance(files.text, Fault):
        msg = f"not a base: {files.text}"
        raise ValueError(msg)  # noqa: TRY004 - the value is at fault, not its type
    plans = {
        name: [plan.model_dump(mode="json") for plan in files.folder.versions[name]]
        for name in sorted(files.folder.versions)
    }
    kept = {"file": files.text.file, "site": files.text.values, "plans": plans}
    return Base(files, as_json(kept))


def base_from(text: str) -> Base:
    """Return the base that a text from `Base.text` describes; it knows no lines."""
    kept = json.loads(text)
    plans = {
        name: tuple(CarePlan.model_validate(one) for one in versions)
        for name, versions in kept["plans"].items()
    }
    values = TomlText(kept["file"], kept["site"], {})
    return Base(Files(values, PlanFolder(plans, (), tuple(plans))), text)


def compiled(
    base: Base, entries: Iterable[Entry], seen: Iterable[Entered], known: Known
) -> InForce | tuple[Fault, ...]:
    """Return what is in force by files and entries together, or every fault of them."""
    entries = tuple(entries)
    puts = [Put(one.kind.value, one.key, one.body, one.id) for one in entries if one.kind in NAMED]
    files = with_plans(base.files, entries)
    site, faults = site_in(files, puts)
    if site is None or faults:
        return faults
    back = taken_back(entries)
    site = with_entered(site, (one for one in seen if one.id not in back))
    found = in_force_of(site, files.folder.versions, base=base, known=known)
    return replace(found, texts=files.folder.texts, overtaken=files.folder.overtaken)


def with_plans(files: Files, entries: Iterable[Entry]) -> Files:
    """Return files with the versions of plans that people entered beside their own."""
    entered: list[tuple[TomlText, CarePlan | None]] = []
    faults: list[Fault] = []
    for one in entries:
        if one.kind is Kind.PLAN and one.body is not None:
            text, plan, found = _plan_entered(str(one.body["toml"]), one.id)
            entered.append((text, plan))
            faults += found
    folder = with_versions(files.folder, entered)
    return replace(files, folder=replace(folder, faults=(*folder.faults, *faults)))


@lru_cache(maxsize=64)
def _plan_entered(toml: str, number: int) -> tuple[TomlText, CarePlan | None, tuple[Fault, ...]]:
    """Return a version that was entered, and what is wrong with it, told by its entry."""
    text = toml_in(toml, file=ENTERED)
    if isinstance(text, Fault):
        told = replace(text, line=number)
        return TomlText(ENTERED, {}, {}), None, (told,)
    plan, faults = plan_in(text)
    lines: dict[Where, int] = {(name,): number for name in text.values}
    return replace(text, lines=lines), plan, tuple(replace(one, line=number) for one in faults)


def in_force_of(
    site: Site,
    plans: Mapping[str, tuple[CarePlan, ...]],
    *,
    base: Base | None = None,
    known: Known = NOTHING_KNOWN,
) -> InForce:
    """Return a checked site with its plans as what is in force; without `base`, on itself alone."""
    if base is None:
        values = TomlText("site", site.model_dump(mode="json", exclude_none=True), {})
        base = base_of(Files(values, PlanFolder(plans, (), tuple(plans))))
    return InForce(
        site=site,
        plans=plans,
        watchlist=watchlist(site, plans),
        revision=revision_of(site, plans),
        base=base,
        known=known,
    )


class Book:
    """Holds what is in force. Any thread may look; `put` is for who keeps it, one at a time.

    `trouble` holds the faults that keep a newer state of the files, or of what was entered, out.
    """

    def __init__(self, now: InForce) -> None:
        self._now = now
        self.trouble: tuple[Fault, ...] = ()

    @property
    def now(self) -> InForce:
        """What is in force."""
        return self._now

    def put(self, new: InForce) -> None:
        """Let a new state take the place of the one in force, whole."""
        self._now = new
