"""Judges a record in every way that is asked for, prints what it comes to, and draws it."""

from __future__ import annotations

import json
import os
import sys
import tempfile
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from api.cli import what_if_asked as asked
from api.cli.main import GOOD, CannotGoOn
from api.cli.what_if_asked import Asked
from rules.supposed_cells import Cells
from rules.supposing import site_supposed

if TYPE_CHECKING:
    import argparse
    from collections.abc import Mapping, Sequence

    from sqlalchemy import Engine
    from tqdm import tqdm

    from api.replaying import Stretch
    from collector.stores.base import ReadingStore
    from rules.cells import CellBlock
    from rules.cover import CoverFit
    from rules.model.plan import CarePlan
    from rules.model.site import Site
    from rules.supposing import Grounds, Supposed

    Plans = Mapping[str, Sequence[CarePlan]]

HOUR_MIN = 60


def compared(
    arguments: argparse.Namespace,
    site: Site,
    plans: Plans,
    stretches: Sequence[Stretch],
    store: ReadingStore,
    *,
    told: tuple[int, int],
    late_in: Engine | None,
) -> int:
    """Judge the minutes `told`, first and end, in every way asked for, and tell of it."""
    from api.cli.what_if_drawn import drawn
    from api.cli.what_if_told import told_lines, told_values
    from api.replaying import BLOCK_MIN
    from api.what_if import SideBySide, cover_lines
    from rules.supposed_cells import OutOfReach
    from rules.supposing import Shade
    from rules.trade import losses_of

    what = _asked(arguments, site, plans, told)
    if any(isinstance(one, Shade) for changes in what.supposed for one in changes):
        with _bar(stretches, "covers", quiet=arguments.json) as looked_at:
            fits = cover_lines(
                stretches,
                store,
                late_in=late_in,
                moved=lambda minutes: looked_at.update(minutes / BLOCK_MIN),
            )
        what = _supposed(arguments.suppose, site, what.batches, fits, told=told)
    kind = _picture_kind(arguments.picture)
    named = asked.lost(arguments.lost, site, told=told)
    by_name = {one.batch: one for one in losses_of(site.batch)} | {one.batch: one for one in named}
    within_min = round(arguments.within * HOUR_MIN)
    losses = tuple(
        one
        for one in by_name.values()
        if one.batch in what.batches and told[0] <= one.minute <= told[1] + within_min
    )
    side_by_side = SideBySide(what.ways, site, batches=what.batches, told_from=told[0])
    with _bar(stretches, f"{len(what.ways)} ways", quiet=arguments.json) as shown:
        try:
            for done in side_by_side.judge(stretches, store, late_in=late_in):
                shown.update(done / BLOCK_MIN)
        except OutOfReach as trouble:
            msg = f"--suppose: {trouble}"
            raise CannotGoOn(msg) from trouble
    trades = side_by_side.trades(losses, end_minute=told[1], within_min=within_min)
    values = told_values(
        what, trades, site, losses, told=told, within_h=arguments.within, late=late_in is not None
    )
    if arguments.picture is not None:
        _keep(arguments.picture, drawn(values, site, kind))
    if arguments.json:
        sys.stdout.write(json.dumps(values, indent=2) + "\n")
    else:
        sys.stdout.write("\n".join(told_lines(values, site)) + "\n")
    return GOOD


def _bar(stretches: Sequence[Stretch], what: str, *, quiet: bool) -> tqdm[NoReturn]:
    """Return a bar of the days that are gone through."""
    from tqdm import tqdm

    from api.replaying import BLOCK_MIN

    minutes = stretches[-1].end_minute - stretches[0].first_minute
    total = round(minutes / BLOCK_MIN, 2)
    return tqdm(total=total, unit="day", desc=what, leave=False, disable=True if quiet else None)


def _asked(arguments: argparse.Namespace, site: Site, plans: Plans, told: tuple[int, int]) -> Asked:
    known = {batch.code: batch for batch in site.batch}
    for code in arguments.batch:
        if code not in known:
            msg = f'--batch: "{code}" is no batch of the site; there are {", ".join(known)}'
            raise CannotGoOn(msg)
    chosen = frozenset(arguments.batch or known)
    plan_of = {code: known[code].plan for code in chosen}
    if arguments.sweep:
        return _swept(arguments.sweep, plans, plan_of)
    if arguments.suppose:
        return _supposed(arguments.suppose, site, chosen, {}, told=told)
    return _planned(arguments.plan, site, plans, plan_of)


def _swept(typed: Sequence[str], plans: Plans, plan_of: Mapping[str, str]) -> Asked:
    from api.what_if import Way
    from rules.dials import turned

    swept = asked.axes(typed, plans, of=frozenset(plan_of.values()))
    looked_at = asked.limits_of(swept)
    ways = [Way("as it stands", looked_at)]
    for settings in asked.settings_of(swept):
        name = ", ".join(f"{dial} {value:g}" for dial, value in settings.items())
        ways.append(
            Way(
                name,
                looked_at,
                plans=partial(turned, settings=settings),
                settings={str(dial): value for dial, value in settings.items()},
            )
        )
    in_plans = frozenset[str]().union(*(one.plans for one in swept))
    notes = tuple(
        f"versions of {'/'.join(sorted(one.plans))} have {one.dial} at "
        f"{' and '.join(f'{figure:g}' for figure in one.own)}; swept, all have the same"
        for one in swept
        if len(one.own) > 1
    )
    batches = frozenset(code for code, plan in plan_of.items() if plan in in_plans)
    return Asked(tuple(ways), swept, batches, notes)


def _supposed(
    typed: Sequence[str],
    site: Site,
    batches: frozenset[str],
    fits: Mapping[str, CoverFit],
    *,
    told: tuple[int, int],
) -> Asked:
    """Return the ways of what is supposed; `fits` are the lines of covers, where they count."""
    from api.cli.suppose_asked import supposed
    from api.what_if import Way
    from rules.supposing import grounds_of

    ways = [Way("as it stands")]
    every: list[tuple[Supposed, ...]] = []
    grounds: list[tuple[Grounds, ...]] = [()]
    for one in typed:
        changes = supposed(one, site, told=told)
        every.append(changes)
        grounds.append(
            tuple(said for change in changes for said in grounds_of(change, site, fits=fits))
        )
        ways.append(
            Way(
                one,
                site=partial(_site_changed, changes=changes),
                cells=partial(_cells_changed, each=[Cells(change, fits) for change in changes]),
                supposes=True,
            )
        )
    return Asked(tuple(ways), (), batches, supposed=tuple(every), grounds=tuple(grounds))


def _site_changed(site: Site, *, changes: Sequence[Supposed]) -> Site:
    for change in changes:
        site = site_supposed(change, site)
    return site


def _cells_changed(site: Site, block: CellBlock, *, each: Sequence[Cells]) -> CellBlock:
    for change in each:
        block = change.of(site, block)
    return block


def _replaced(known: Plans, *, plan: CarePlan) -> Plans:
    return {**known, plan.id: (plan,)}


def _planned(files: Sequence[Path], site: Site, plans: Plans, plan_of: Mapping[str, str]) -> Asked:
    from api.site_files import read_plan
    from api.what_if import Way
    from rules.evaluator import watchlist

    ways = [Way("as it stands")]
    ids: set[str] = set()
    for path in files:
        plan, faults = read_plan(path)
        if plan is None:
            raise CannotGoOn("\n".join(str(fault) for fault in faults))
        if plan.id not in plan_of.values():
            listed = ", ".join(sorted(set(plan_of.values())))
            msg = f"--plan: {path}: no batch looked at has the plan {plan.id}; they have {listed}"
            raise CannotGoOn(msg)
        # In force all along: the question is what it would have said, not from when it counts.
        alone = plan.model_copy(update={"in_force_from": None})
        ids.add(plan.id)
        ways.append(Way(str(path), plans=partial(_replaced, plan=alone)))
    if len({way.name for way in ways}) < len(ways):
        msg = "--plan: a file is given twice; give each plan once"
        raise CannotGoOn(msg)
    for way in ways:
        watchlist(site, way.plans(plans))
    return Asked(tuple(ways), (), frozenset(c for c, plan in plan_of.items() if plan in ids))


def _picture_kind(path: Path | None) -> str:
    if path is None:
        return ""
    kind = path.suffix.lower()
    if kind not in {".svg", ".png"}:
        msg = f"--picture: {path} is neither an .svg nor a .png; end its name in one of them"
        raise CannotGoOn(msg)
    if not path.parent.is_dir():
        msg = f"--picture: there is no folder {path.parent}; make it, or name another"
        raise CannotGoOn(msg)
    return kind


def _keep(path: Path, content: bytes) -> None:
    """Write a file whole or not at all: beside its place first, then moved there."""
    try:
        beside, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as trouble:
        msg = f"--picture: {path} cannot be written ({trouble.strerror})"
        raise CannotGoOn(msg) from trouble
    try:
        with os.fdopen(beside, "wb") as file:
            file.write(content)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException as trouble:
        Path(name).unlink(missing_ok=True)
        if isinstance(trouble, OSError):
            msg = f"--picture: {path} cannot be written ({trouble.strerror})"
            raise CannotGoOn(msg) from trouble
        raise
