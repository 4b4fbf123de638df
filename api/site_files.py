"""Site files and care plans read from disk: values, and every fault at once.

`read_nursery` is what a running graftvigil and `graftvigil check` use; `read_site` and
`read_plans` read one of the two alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from api.written.draft import draft_of
from api.written.entered import with_entries
from api.written.figures import (
    batches_watched_before_grafting,
    benches_outside_their_house,
    impossible_doses,
    impossible_limits,
)
from api.written.like import filled_in, without_echoes
from api.written.names import (
    doubled_names,
    names_that_point_nowhere,
    positions_that_overlap,
    secrets_in,
)
from api.written.notes import notes_on
from api.written.rota import names_in_the_rota, rota_contradictions, unmanned_days
from api.written.sentences import faults_against
from api.written.toml_text import TomlText, read_toml
from api.written.topics import topics_used_twice
from api.written.versions import overtaken, versions_that_clash
from rules.model.fault import Fault
from rules.model.plan import CarePlan, in_order_of_force, plan_in_force
from rules.model.site import Site

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from api.written.entered import Put

ONLY_IN_PLANS = frozenset({"version", "source", "stage"})
ONLY_IN_SITES = frozenset(
    {
        *("site", "lead", "house", "bench", "sensor", "batch", "person", "shift", "swap"),
        *("absence", "escalation", "lamp"),
    }
)


@dataclass(frozen=True, slots=True)
class Nursery:
    """A site with its care plans. `site` is None exactly when its file has faults.

    `versions` holds every version of the care plans without faults, by id, in the order in which
    they come into force; `plans` the one of each that was asked for. `faults` are those of all
    files; `notes` are not wrong but worth a second look, and are worked out only when there are no
    faults.
    """

    site: Site | None
    plans: Mapping[str, CarePlan]
    faults: tuple[Fault, ...]
    notes: tuple[Fault, ...]
    versions: Mapping[str, tuple[CarePlan, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PlanFolder:
    """Versions of care plans without faults by id, the faults of others, and every id in use.

    A file that cannot be read stands in `names` with its own name, so that its fault is one fault
    and not one more for every batch that follows it. `texts` are the versions as they were
    written, by id and number, where that is known. `overtaken` are versions in the place of which
    another was entered before they began; they never count.
    """

    versions: Mapping[str, tuple[CarePlan, ...]]
    faults: tuple[Fault, ...]
    names: tuple[str, ...]
    texts: Mapping[tuple[str, int], str] = field(default_factory=dict)
    overtaken: Mapping[str, tuple[CarePlan, ...]] = field(default_factory=dict)

    def plans(self, at: datetime | None) -> dict[str, CarePlan]:
        """Return the version of each plan in force at the aware instant; None: the last of all."""
        return {
            name: versions[-1] if at is None else plan_in_force(versions, at)
            for name, versions in self.versions.items()
        }


@dataclass(frozen=True, slots=True)
class Files:
    """A site file as read, or the one fault that keeps it from being, and the folder of plans."""

    text: TomlText | Fault
    folder: PlanFolder


def read_site(path: Path) -> tuple[Site | None, tuple[Fault, ...]]:
    """Return the site in a file, None if it has faults, and all its faults by line.

    Care plans are not looked at; `read_nursery` holds site and plans against each other.
    """
    text = read_toml(path)
    if isinstance(text, Fault):
        return None, (text,)
    return _site_in(text, folder=None)


def read_plans(folder: Path) -> tuple[dict[str, CarePlan], tuple[Fault, ...]]:
    """Return the care plans in a folder without faults by id, and the faults of the others.

    Of a plan with several versions, the last one to come into force.
    """
    read = _read_folder(folder)
    return read.plans(None), read.faults


def read_plan(path: Path) -> tuple[CarePlan | None, tuple[Fault, ...]]:
    """Return the care plan in one file, None if it has faults, and all its faults by line."""
    text = read_toml(path)
    if isinstance(text, Fault):
        return None, (text,)
    return plan_in(text)


def read_nursery(
    site_file: Path,
    plans_folder: Path,
    *,
    at: datetime | None = None,
    weeks_from: datetime | None = None,
) -> Nursery:
    """Return a site with its care plans, and every fault of all the files, by file and line.

    `at`: the aware instant at which the plans are to be in force; None: the last version of each.
    `weeks_from`: the aware instant from which the next weeks are looked through for hours with
    nobody on duty; None: only the weekly pattern is.
    """
    return nursery_in(read_files(site_file, plans_folder), at=at, weeks_from=weeks_from)


def read_files(site_file: Path, plans_folder: Path) -> Files:
    """Return what stands in a site file and a folder of plans, before it is held together."""
    return Files(read_toml(site_file), _read_folder(plans_folder))


def site_in(files: Files, entered: Sequence[Put] = ()) -> tuple[Site | None, tuple[Fault, ...]]:
    """Return the site that files hold with what people entered put over them, and every fault.

    The site is None if its own part of them has faults. Faults of what was entered name the entry
    in place of a line.
    """
    text, folder = files.text, files.folder
    if isinstance(text, Fault):
        return None, (text, *folder.faults)
    site, faults = _site_in(with_entries(text, entered), folder=folder)
    return site, (*faults, *folder.faults)


def nursery_in(
    files: Files, *, at: datetime | None = None, weeks_from: datetime | None = None
) -> Nursery:
    """Return the nursery that files hold; see `read_nursery`."""
    text, folder = files.text, files.folder
    plans = folder.plans(at)
    site, every = site_in(files)
    notes: tuple[Fault, ...] = ()
    if site is not None and not every and not isinstance(text, Fault):
        found = [*notes_on(site, folder.plans(None), text)]
        if weeks_from is not None:
            found += unmanned_days(site, text, start=weeks_from)
        notes = tuple(sorted(found))
    return Nursery(site, plans, every, notes, folder.versions)


def is_plan(path: Path) -> bool:
    """Return whether a file reads like a care plan rather than a site; False when unreadable."""
    text = read_toml(path)
    if isinstance(text, Fault):
        return False
    return bool(ONLY_IN_PLANS & text.values.keys()) and not ONLY_IN_SITES & text.values.keys()


def _site_in(text: TomlText, *, folder: PlanFolder | None) -> tuple[Site | None, tuple[Fault, ...]]:
    text, like_nothing = filled_in(text)
    by_place, fits = faults_against(Site, text)
    by_place = without_echoes(text, by_place)
    by_place.update(secrets_in(text))
    draft = draft_of(text)
    plans = folder.plans(None) if folder and folder.names else None
    names = folder.names if folder else ()
    faults = [
        *by_place.values(),
        *like_nothing,
        *doubled_names(draft),
        *topics_used_twice(draft),
        *names_that_point_nowhere(draft, plans=plans, known_plans=names),
        *names_in_the_rota(draft),
        *rota_contradictions(draft),
        *positions_that_overlap(draft),
        *benches_outside_their_house(draft),
        *batches_watched_before_grafting(draft),
    ]
    site = Site.model_validate(text.values) if fits and not faults else None
    return site, tuple(sorted(faults))


def plan_in(text: TomlText) -> tuple[CarePlan | None, tuple[Fault, ...]]:
    """Return the care plan in a text, None if it has faults, and all its faults by line."""
    by_place, fits = faults_against(CarePlan, text)
    by_place.update(secrets_in(text))
    plan = CarePlan.model_validate(text.values) if fits else None
    contradictions = [*impossible_limits(plan, text), *impossible_doses(plan, text)] if plan else ()
    faults = tuple(sorted([*by_place.values(), *contradictions]))
    return (None if faults else plan), faults


def _read_folder(folder: Path) -> PlanFolder:
    try:
        files = sorted(path for path in folder.iterdir() if path.suffix == ".toml")
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or "no such folder").lower()
        fix = "Name the folder that holds the care plans."
        fault = Fault(str(folder), 1, "folder", f"cannot be read ({reason})", fix)
        return PlanFolder({}, (fault,), ())
    if not files:
        fix = "Copy a plan from demo_data/plans into it and edit that."
        fault = Fault(str(folder), 1, "folder", "holds no care plan (no file *.toml)", fix)
        return PlanFolder({}, (fault,), ())
    read: dict[str, list[tuple[TomlText, CarePlan | None]]] = {}
    faults: list[Fault] = []
    unreadable: list[str] = []
    for path in files:
        text = read_toml(path)
        if isinstance(text, Fault):
            faults.append(text)
            unreadable.append(path.stem)
            continue
        plan, found = plan_in(text)
        faults += found
        name = text.value(("id",))
        if isinstance(name, str):
            read.setdefault(name, []).append((text, plan))
    return _folder_of(read, faults, unreadable)


def _folder_of(
    read: Mapping[str, Sequence[tuple[TomlText, CarePlan | None]]],
    faults: Sequence[Fault],
    unreadable: Sequence[str],
) -> PlanFolder:
    versions: dict[str, tuple[CarePlan, ...]] = {}
    texts: dict[tuple[str, int], str] = {}
    never: dict[str, tuple[CarePlan, ...]] = {}
    every = list(faults)
    for name, of_one in read.items():
        gone = overtaken(of_one)
        clashes = tuple(versions_that_clash(of_one, never=gone))
        every += clashes
        whole = [plan for _, plan in of_one if plan and plan.version not in gone]
        never[name] = tuple(plan for _, plan in of_one if plan and plan.version in gone)
        texts |= {(name, plan.version): text.raw for text, plan in of_one if plan and text.raw}
        if whole and not clashes:
            versions[name] = in_order_of_force(whole)
    return PlanFolder(versions, tuple(every), (*read, *unreadable), texts, never)


def with_versions(
    folder: PlanFolder, entered: Sequence[tuple[TomlText, CarePlan | None]]
) -> PlanFolder:
    """Return a folder with versions that people entered beside those of its files.

    Where both have one of the same number it is the file's that is told to be wrong: what was
    entered is never changed. Faults of what was entered itself are the caller's to tell.
    """
    if not entered:
        return folder
    read: dict[str, list[tuple[TomlText, CarePlan | None]]] = {name: [] for name in folder.names}
    for text, plan in entered:
        read.setdefault(str(text.value(("id",))), []).append((text, plan))
    for name, versions in folder.versions.items():
        for plan in versions:
            raw = folder.texts.get((name, plan.version), "")
            values = plan.model_dump(mode="json")
            text = TomlText(f"{name}, version {plan.version}", values, {}, raw=raw)
            read[name].append((text, plan))
    return _folder_of(read, folder.faults, ())
