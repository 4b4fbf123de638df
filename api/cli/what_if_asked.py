"""What a person asks after --sweep and --lost, as values; what can't be is told in one line."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from itertools import product
from typing import TYPE_CHECKING

from api.cli.main import CannotGoOn
from rules.alarm_history import LimitName
from rules.dials import DELAYS, Dial, Turns, places_of, turned
from rules.model.batch import Stage
from rules.model.quantities import FELT_SHOWN

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from api.what_if import Way
    from rules.dials import DialAt
    from rules.model.plan import CarePlan
    from rules.model.site import Site
    from rules.supposing import Grounds, Supposed
    from rules.trade import Loss

    Plans = Mapping[str, Sequence[CarePlan]]

MOST_VALUES = 1000
"""Every value judges the whole record anew."""

_FORM = "write it as in air-dry.bound=80:95:1, or healing/air-dry.on_delay_min=5:30:5"


@dataclass(frozen=True, slots=True)
class Axis:
    """One figure that is swept: its dial, its values, the unit, and what it stands at now."""

    dial: Dial
    values: tuple[float, ...]
    unit: str
    own: tuple[float, ...]
    places: tuple[DialAt, ...]

    @property
    def plans(self) -> frozenset[str]:
        """The plans that the figure stands in."""
        return frozenset(place.plan for place in self.places)


@dataclass(frozen=True, slots=True)
class Asked:
    """All that is asked for: the ways, the first as it stands, and what they have in common.

    `supposed` are the changes of each way but the first, `grounds` how those of each way came
    about.
    """

    ways: tuple[Way, ...]
    axes: tuple[Axis, ...]
    batches: frozenset[str]
    notes: tuple[str, ...] = ()
    supposed: tuple[tuple[Supposed, ...], ...] = ()
    grounds: tuple[tuple[Grounds, ...], ...] = ()


def axes(typed: Sequence[str], plans: Plans, *, of: frozenset[str]) -> tuple[Axis, ...]:
    """Return what is swept, in the plans `of`; CannotGoOn if it can't be read or there is none."""
    if len(typed) > 2:
        msg = "--sweep: can be given twice at most; a third figure would not fit into one picture"
        raise CannotGoOn(msg)
    read = tuple(_axis(one, plans, of) for one in typed)
    if len({str(one.dial) for one in read}) < len(read):
        msg = f"--sweep: {read[0].dial} is given twice; sweep two figures, or this one once"
        raise CannotGoOn(msg)
    count = 1
    for one in read:
        count *= len(one.values)
    if count > MOST_VALUES:
        msg = (
            f"--sweep: asks for {count} values, and the record would be judged for each of them; "
            f"take larger steps, until there are no more than {MOST_VALUES}"
        )
        raise CannotGoOn(msg)
    for settings in settings_of(read):
        try:
            turned(plans, settings)
        except ValueError as trouble:
            msg = f"--sweep: {trouble}; sweep between values that a care plan can hold"
            raise CannotGoOn(msg) from trouble
    return read


def settings_of(swept: Sequence[Axis]) -> tuple[dict[Dial, float], ...]:
    """Return every setting of the dials, the last one turning fastest."""
    dials = [one.dial for one in swept]
    return tuple(
        dict(zip(dials, values, strict=True)) for values in product(*(one.values for one in swept))
    )


def limits_of(swept: Sequence[Axis]) -> frozenset[LimitName]:
    """Return the limits that are swept."""
    return frozenset(
        LimitName(place.plan, place.stage.value, place.limit.id)
        for one in swept
        for place in one.places
    )


def _axis(typed: str, plans: Plans, of: frozenset[str]) -> Axis:
    name, _, span = typed.partition("=")
    path, _, turns = name.rpartition(".")
    *before, limit = path.split("/")
    if not span or not limit or len(before) > 2:
        msg = f'--sweep: "{typed}" is not LIMIT.FIGURE=FIRST:LAST:STEP; {_FORM}'
        raise CannotGoOn(msg)
    if turns not in list(Turns):
        listed = ", ".join(Turns)
        msg = f'--sweep: "{turns}" is no figure of a limit that can be swept; write one of {listed}'
        raise CannotGoOn(msg)
    stage = _stage(before[-1]) if before else None
    dial = Dial(limit, Turns(turns), stage, before[0] if len(before) > 1 else None)
    places = places_of(dial, plans, of=of)
    if not places:
        known = sorted(
            {
                one.id
                for name, versions in plans.items()
                if name in of
                for version in versions
                for needs in version.stage.values()
                for one in needs.limit
            }
        )
        msg = (
            f"--sweep: no care plan of the batches looked at has a limit {path}; "
            f"there are {', '.join(known)}"
        )
        raise CannotGoOn(msg)
    return Axis(dial, _values(typed, span, dial), _unit(dial, places), _own(dial, places), places)


def _stage(typed: str) -> Stage:
    try:
        return Stage(typed)
    except ValueError:
        listed = ", ".join(Stage)
        msg = f'--sweep: "{typed}" is no stage; write one of {listed}'
        raise CannotGoOn(msg) from None


def _own(dial: Dial, places: Sequence[DialAt]) -> tuple[float, ...]:
    """Return what the figure stands at, version by version; CannotGoOn if stages differ."""
    by_place: dict[tuple[str, Stage], set[float]] = {}
    for place in places:
        by_place.setdefault((place.plan, place.stage), set()).add(place.figure(dial.turns))
    if len({frozenset(figures) for figures in by_place.values()}) > 1:
        listed = ", ".join(
            f"{plan}/{stage}/{dial.limit} {'/'.join(f'{one:g}' for one in sorted(figures))}"
            for (plan, stage), figures in by_place.items()
        )
        msg = (
            f"--sweep: {dial} does not stand at one figure ({listed}), and one is swept at a time; "
            f"name it with its stage, and its plan, as in {places[0].plan}/{places[0].stage}/"
            f"{dial.limit}.{dial.turns}"
        )
        raise CannotGoOn(msg)
    return tuple(sorted({figure for figures in by_place.values() for figure in figures}))


def _unit(dial: Dial, places: Sequence[DialAt]) -> str:
    if dial.turns in DELAYS:
        return "min"
    units = {FELT_SHOWN[place.limit.quantity] for place in places}
    if len(units) > 1:
        msg = (
            f"--sweep: {dial} has several units ({', '.join(sorted(units))}); name it with its "
            f"plan and stage, as in {places[0].plan}/{places[0].stage}/{dial.limit}.{dial.turns}"
        )
        raise CannotGoOn(msg)
    return units.pop()


def _values(typed: str, span: str, dial: Dial) -> tuple[float, ...]:
    try:
        first, last, step = (Decimal(part) for part in span.split(":"))
    except (InvalidOperation, ValueError):
        msg = f'--sweep: "{span}" is not FIRST:LAST:STEP; {_FORM}'
        raise CannotGoOn(msg) from None
    if not (first.is_finite() and last.is_finite() and step.is_finite()) or step <= 0:
        msg = f"--sweep: {typed}: the step is to be more than 0; {_FORM}"
        raise CannotGoOn(msg)
    if last < first:
        msg = f"--sweep: {typed}: {last} is less than {first}; write the smaller one first"
        raise CannotGoOn(msg)
    count = int((last - first) / step) + 1
    if count > MOST_VALUES:
        msg = f"--sweep: {typed}: {count} values are too many; take a larger step"
        raise CannotGoOn(msg)
    values = tuple(float(first + n * step) for n in range(count))
    if dial.turns in DELAYS and any(value != int(value) for value in values):
        msg = f"--sweep: {typed}: a delay is counted in whole minutes; write whole figures"
        raise CannotGoOn(msg)
    return values


def lost(typed: Sequence[str], site: Site, *, told: tuple[int, int]) -> tuple[Loss, ...]:
    """Return the losses that a person names; CannotGoOn if one can't be in the minutes `told`."""
    from api.cli import given
    from rules.speaking import first_cell
    from rules.trade import Loss

    known = {batch.code for batch in site.batch}
    found: dict[str, Loss] = {}
    for one in typed:
        code, _, at = one.partition("@")
        if code not in known:
            msg = f'--lost: "{code}" is no batch of the site; write BATCH@INSTANT'
            raise CannotGoOn(msg)
        if code in found:
            msg = f"--lost: {code} is named twice; a batch is lost once, so name the earlier"
            raise CannotGoOn(msg)
        minute = first_cell(given.instant(at, "--lost"))
        if not told[0] <= minute <= told[1]:
            msg = (
                f"--lost: {one} does not lie in the record that is looked at; "
                "correct it, or look at other days with --from and --to"
            )
            raise CannotGoOn(msg)
        found[code] = Loss(code, minute, named=True)
    return tuple(found.values())
