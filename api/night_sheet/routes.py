"""The night sheet over HTTP, for programs: its sentences, and the figures behind them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel

from api.drawing.day import instant_of
from api.night_sheet.sheet import EveningSheet, MorningSheet
from rules.cover_ahead import CoverAhead
from rules.model.batch import Stage
from rules.model.event import Standing
from rules.model.quantities import Felt
from rules.night import Worry
from rules.sheet_times import SheetKind, latest_due

if TYPE_CHECKING:
    from api.night_sheet.sheet import BatchPast, BatchTonight, Sheet
    from api.night_sheet.sheets import NightSheets
    from api.night_sheet.told import SheetTold
    from api.parts import Parts
    from rules.night import Extreme


class ItemBody(BaseModel):
    """One thing in a section, in words. `standing` is null where none applies."""

    head: str
    lines: list[str]
    todo: str
    batch: str | None
    standing: Standing | None


class SectionBody(BaseModel):
    """A section: its `name` is the same in every language."""

    name: str
    title: str
    items: list[ItemBody]


class ForetoldBody(BaseModel):
    """What an evening foretold, in the quantity's unit; `came` is null where it was not seen."""

    quantity: Felt
    at: AwareDatetime
    low: float
    central: float
    high: float
    as_now: float
    came: float | None


class ExtremeBody(BaseModel):
    """A highest or lowest value of the night."""

    value: float
    at: AwareDatetime


class BatchBody(BaseModel):
    """One batch. Of an evening `worries` and what is foretold; of a morning what the night was.

    What is not known is null: `water_lasts` where the scion's water is not reckoned or no day was
    seen whole, `dry_hours` where no forecast is shown.
    """

    code: str
    stage: Stage | None
    day: int
    covered: bool
    standing: Standing | None
    worries: list[Worry] = []
    foretold: list[ForetoldBody] = []
    dry_hours: int | None = None
    dry_hours_at_worst: int | None = None
    water_lasts: bool | None = None
    peak_c: float | None = None
    worst: Standing | None = None
    blind_min: int | None = None
    unjudged_min: int | None = None
    beyond_min: dict[str, int] = {}
    dry_min: int | None = None
    lowest_humidity: ExtremeBody | None = None
    coolest: ExtremeBody | None = None
    warmest: ExtremeBody | None = None


class SheetBody(BaseModel):
    """A night sheet. `line` fits a text message; `answer` is the same in full."""

    sheet: SheetKind
    at: AwareDatetime
    line: str
    answer: str
    sections: list[SectionBody]
    cautions: list[str]
    batches: list[BatchBody]


def sheet_router(parts: Parts, sheets: NightSheets) -> APIRouter:
    """Return the route of the night sheet."""
    router = APIRouter(prefix="/api/v1", tags=["night sheet"])

    @router.get("/tonight")
    def tonight(
        sheet: Annotated[SheetKind | None, Query()] = None,
        language: Annotated[Literal["en", "es"], Query()] = "en",
        unit: Annotated[Literal["degC", "degF"], Query()] = "degC",
    ) -> SheetBody:
        """Return the sheet of the evening or the morning as it stands now; else of this hour."""
        made = sheets.sheet(sheet or kind_now(parts))
        return body_of(made, sheets.told(made, language=language, fahrenheit=unit == "degF"))

    return router


def kind_now(parts: Parts) -> SheetKind:
    """Return which sheet this hour asks for: in the morning the night behind, else that ahead."""
    due = latest_due(parts.clock.now(), parts.settings.sheet_times, parts.site.site)
    return SheetKind.EVENING if due is None else due.kind


def body_of(sheet: Sheet, told: SheetTold) -> SheetBody:
    """Return a sheet as the API says it."""
    evening = isinstance(sheet, EveningSheet)
    return SheetBody(
        sheet=SheetKind.EVENING if evening else SheetKind.MORNING,
        at=sheet.at,
        line=told.line,
        answer=told.answer,
        sections=[
            SectionBody(
                name=one.name,
                title=one.title,
                items=[
                    ItemBody(
                        head=item.head,
                        lines=list(item.lines),
                        todo=item.todo,
                        batch=item.batch or None,
                        standing=Standing(item.standing) if item.standing else None,
                    )
                    for item in one.items
                ],
            )
            for one in told.sections
        ],
        cautions=list(told.cautions),
        batches=_batches(sheet),
    )


def _batches(sheet: Sheet) -> list[BatchBody]:
    if isinstance(sheet, MorningSheet):
        return [_past(one) for one in sheet.batches]
    return [_tonight(one, sheet) for one in sheet.batches]


def _tonight(one: BatchTonight, sheet: EveningSheet) -> BatchBody:
    water = None if one.water is None or one.water.told is None else one.water.told
    heat = None if one.heat is None else one.heat.told
    return BatchBody(
        code=one.batch.code,
        stage=one.stage,
        day=one.day,
        covered=one.covered,
        standing=one.standing,
        worries=list(one.worries),
        foretold=[
            ForetoldBody(
                quantity=Felt(told.quantity),
                at=instant_of(told.minute),
                low=told.low,
                central=told.central,
                high=told.high,
                as_now=told.as_now,
                came=None,
            )
            for told in sheet.foretold
            if told.batch == one.batch.code
        ],
        dry_hours=None if one.dry is None else one.dry.likely,
        dry_hours_at_worst=None if one.dry is None else one.dry.most,
        water_lasts=None if water is None else water.soonest is None,
        peak_c=heat.peak.central_c if isinstance(heat, CoverAhead) else None,
    )


def _past(one: BatchPast) -> BatchBody:
    past = one.past
    body = BatchBody(
        code=one.batch.code,
        stage=one.stage,
        day=one.day,
        covered=one.covered,
        standing=one.standing,
        dry_min=one.dry_min,
        foretold=[
            ForetoldBody(
                quantity=Felt(held.told.quantity),
                at=instant_of(held.told.minute),
                low=held.told.low,
                central=held.told.central,
                high=held.told.high,
                as_now=held.told.as_now,
                came=held.came if held.came == held.came else None,
            )
            for held in one.held
        ],
    )
    if past is not None:
        body.worst = past.worst
        body.blind_min = past.blind_min
        body.unjudged_min = past.unjudged_min
        body.beyond_min = {each.limit.id: each.minutes for each in past.beyond}
        body.lowest_humidity = _extreme(past.lowest_humidity)
        body.coolest = _extreme(past.coolest)
        body.warmest = _extreme(past.warmest)
    return body


def _extreme(one: Extreme | None) -> ExtremeBody | None:
    return None if one is None else ExtremeBody(value=one.value, at=instant_of(one.minute))
