"""House: where is it? A plan to scale, and the same facts as a list below it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from api.drawing.house_plan import BenchShape, OnPlan, house_plan
from api.records.tables import as_ms
from api.v1.sensors import position_of
from api.web.now_page import feels_of, stale_sentences
from api.web.words.places import place_words
from rules.model.batch import ENDED
from rules.model.event import Standing
from rules.model.reading import minute_of
from rules.sky import spans_of_reach
from rules.standing import BY_SEVERITY
from rules.sun import sun_is_up

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from markupsafe import Markup
    from starlette.responses import Response

    from api.parts import Parts
    from api.v1.sight import Present, Sight
    from api.web.pages import Desk
    from api.web.telling import Telling
    from rules.model.batch import Batch
    from rules.model.place import Bench, House, Position

HOUR_MIN = 60
FEW = 3


@dataclass(frozen=True, slots=True)
class OnBench:
    """A batch in the list: what it is, how it stands, and what it feels in a few words."""

    code: str
    kind: str
    standing: str
    standing_words: str
    feels: str


@dataclass(frozen=True, slots=True)
class BenchFacts:
    """A bench in the list."""

    id: str
    title: str
    sun: str
    sensors: tuple[str, ...]
    batches: tuple[OnBench, ...]


@dataclass(frozen=True, slots=True)
class HouseFacts:
    """A house: its plan, and its benches as a list."""

    id: str
    title: str
    hint: str
    cloth: str
    sensors: tuple[str, ...]
    plan: Markup
    benches: tuple[BenchFacts, ...]


@dataclass(frozen=True, slots=True)
class HousePage:
    """All that the page says; `stale` comes before everything else."""

    answer: str
    where: str
    stale: tuple[str, ...]
    houses: tuple[HouseFacts, ...]
    others: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Scene:
    parts: Parts
    present: Present
    telling: Telling
    by_bench: Mapping[str, list[Batch]]
    places: tuple[tuple[str, Position], ...]


def house_page(parts: Parts, present: Present, telling: Telling) -> HousePage:
    """Gather what the page says."""
    own, words, site = place_words(telling.words.code), telling.words, parts.site
    by_bench: dict[str, list[Batch]] = {}
    for batch in site.batch:
        if batch.stage_at(telling.now) not in {None, *ENDED}:
            by_bench.setdefault(batch.bench, []).append(batch)
    scene = _Scene(parts, present, telling, by_bench, tuple(_places(parts, telling)))
    total = sum(len(every) for every in by_bench.values())
    benches = words.listed([telling.bench(one) for one in by_bench])
    where = own.stand.format(count=total, benches=benches)
    if total < 2:
        where = own.one_stands if total else own.no_batches
    return HousePage(
        answer=_answer(scene) or where,
        where=where,
        stale=stale_sentences(present, telling),
        houses=tuple(_house(house, scene) for house in site.house),
        others=tuple(f"{title}: {own.for_sky}" for title, at in scene.places if at.open_sky),
    )


def _answer(scene: _Scene) -> str:
    """Return where those are that need someone: "In danger: MG-07 (bench 1)."."""
    telling = scene.telling
    said: list[str] = []
    for standing in reversed(BY_SEVERITY):
        if standing is Standing.STEADY:
            continue
        found = [
            f"{batch.code} ({telling.bench(batch.bench)})"
            for every in scene.by_bench.values()
            for batch in every
            if _standing(scene, batch) is standing
        ]
        if found:
            name = telling.words.capital(telling.standing(standing))
            said.append(f"{name}: {telling.words.listed(found)}.")
    return " ".join(said)


def _standing(scene: _Scene, batch: Batch) -> Standing | None:
    seen = scene.present.outlooks.get(batch.code)
    return None if seen is None else seen.standing


def _places(parts: Parts, telling: Telling) -> Iterator[tuple[str, Position]]:
    """Yield what each sensor speaks for now, once a place."""
    for sensor in parts.site.sensor:
        told: set[Position] = set()
        for channel in sensor.channel:
            at = position_of(sensor, channel, telling.now)
            if at is not None and at not in told:
                told.add(at)
                yield sensor.title, at


def _house(house: House, scene: _Scene) -> HouseFacts:
    own, words = place_words(scene.telling.words.code), scene.telling.words
    benches = [bench for bench in scene.parts.site.bench if bench.house == house.id]
    facts = [_bench(bench, scene) for bench in benches]
    title = own.plan_of_house.format(house=house.title)
    says = f"{title}: " + "; ".join(
        f"{bench.title} {words.listed([one.code for one in bench.batches])}".strip()
        for bench in facts
    )
    return HouseFacts(
        id=house.id,
        title=house.title,
        hint=own.plan_hint.format(
            length=words.number(house.length_m, 1), width=words.number(house.width_m, 1)
        ),
        cloth=own.sun_cloth.format(share=f"{house.shade_fraction * 100:.0f} %"),
        sensors=tuple(
            f"{title}: {own.for_house}" for title, at in scene.places if at.house == house.id
        ),
        plan=house_plan(
            title,
            says,
            length_m=house.length_m,
            width_m=house.width_m,
            benches=[_shape(bench, scene) for bench in benches],
        ),
        benches=tuple(facts),
    )


def _bench(bench: Bench, scene: _Scene) -> BenchFacts:
    own, telling = place_words(scene.telling.words.code), scene.telling
    batches = scene.by_bench.get(bench.id, [])
    codes = {batch.code for batch in batches}
    sensors = [f"{title}: {own.for_bench}" for title, at in scene.places if at.bench == bench.id]
    sensors += [
        f"{title}: {own.for_cover.format(batch=at.cover_of)}"
        for title, at in scene.places
        if at.cover_of in codes
    ]
    return BenchFacts(
        id=bench.id,
        title=telling.words.capital(bench.title),
        sun=_sun_says(bench, scene),
        sensors=tuple(sensors),
        batches=tuple(_on_bench(batch, scene) for batch in batches),
    )


def _on_bench(batch: Batch, scene: _Scene) -> OnBench:
    telling = scene.telling
    seen = scene.present.outlooks.get(batch.code)
    standing = _standing(scene, batch)
    return OnBench(
        code=batch.code,
        kind=telling.kind(batch),
        standing="unwatched" if standing is None else standing.value,
        standing_words=telling.standing(standing),
        feels="" if seen is None else " · ".join(feels_of(seen, telling)[:FEW]),
    )


def _shape(bench: Bench, scene: _Scene) -> BenchShape:
    batches = [_on_bench(batch, scene) for batch in scene.by_bench.get(bench.id, [])]
    covered = {at.cover_of for _, at in scene.places}
    return BenchShape(
        id=bench.id,
        title=bench.title,
        x_m=bench.x_m,
        y_m=bench.y_m,
        length_m=bench.length_m,
        width_m=bench.width_m,
        batches=tuple(
            OnPlan(
                one.code,
                one.standing,
                f"{one.code}, {one.kind}: {one.standing_words}",
                has_sensor=one.code in covered,
            )
            for one in batches
        ),
        has_sensor=any(at.bench == bench.id for _, at in scene.places),
        sun=_sun(bench, scene),
    )


def _sun(bench: Bench, scene: _Scene) -> bool | None:
    """Return whether direct sun can reach a bench within the hour; None: not known."""
    now = minute_of(as_ms(scene.telling.now))
    place = scene.parts.site.site
    if not bool(sun_is_up(place, now + np.arange(HOUR_MIN, dtype=np.int64)).any()):
        return False
    if not bench.obstruction:
        return None
    return bool(spans_of_reach(place, now, HOUR_MIN, obstruction=bench.obstruction))


def _sun_says(bench: Bench, scene: _Scene) -> str:
    own, telling = place_words(scene.telling.words.code), scene.telling
    now = minute_of(as_ms(telling.now))
    place = scene.parts.site.site
    if not bool(sun_is_up(place, now + np.arange(HOUR_MIN, dtype=np.int64)).any()):
        return own.sun_down
    if not bench.obstruction:
        return own.sun_unknown
    spans = spans_of_reach(place, now, HOUR_MIN, obstruction=bench.obstruction)
    if not spans:
        return own.sun_hidden
    told = [
        telling.words.band(_clock(first, telling), _clock(after, telling)) for first, after in spans
    ]
    return own.sun_reaches.format(spans=telling.words.listed(told))


def _clock(minute: int, telling: Telling) -> str:
    return telling.clock(datetime.fromtimestamp(minute * 60, UTC))


def house_router(at: Desk, sight: Sight) -> APIRouter:
    """Return the route of the page."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    @router.get("/house")
    def house(request: Request) -> Response:
        telling = at.telling(request)
        page = house_page(at.parts, sight.present(), telling)
        own = place_words(telling.words.code)
        return at.answer(request, "house.html", telling, page=page, o=own)

    return router
