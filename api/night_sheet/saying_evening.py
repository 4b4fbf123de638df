"""The evening's sheet in words: first the answer, then each batch with what may come."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.night_sheet.saying_around import beside, cautions, section
from api.night_sheet.told import Item, SheetTold
from api.night_sheet.voice import capital, sentence, that_fits
from rules.cover_ahead import CoverAhead
from rules.model.quantities import Felt
from rules.night import Worry
from rules.tonight import Why

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from api.night_sheet.sheet import Ahead, BatchTonight, EveningSheet
    from api.night_sheet.voice import Voice
    from rules.tonight import Expected

_NEEDING = frozenset({Worry.ALARM, Worry.WATER, Worry.DRY, Worry.HEAT})
_PEAK = Felt.EXPECTED_PEAK


def evening_told(sheet: EveningSheet, voice: Voice) -> SheetTold:
    """Return the sheet in words."""
    words = voice.words
    shown = [one for one in sheet.batches if one.covered or one.worries]
    left_out = len(sheet.batches) - len(shown)
    items = [_item(one, voice) for one in shown]
    return SheetTold(
        line=that_fits(
            *(_answer(sheet, voice, names=names, reasons=reasons) for names, reasons in _GRADES)
        ),
        answer=_answer(sheet, voice, names=99, reasons=True),
        made=words.made_at.format(time=voice.time(sheet.at)),
        sections=(section("batches", items, voice), *beside(sheet.around, voice, night=True)),
        cautions=cautions(voice, night=True),
        note=words.others.format(count=left_out) if left_out else "",
    )


_GRADES = ((99, True), (99, False), (4, False), (2, False), (0, False))
"""How many batches the first line names, and whether with reasons; the fullest first."""


def _answer(sheet: EveningSheet, voice: Voice, *, names: int, reasons: bool) -> str:
    words = voice.words
    covered = sum(one.covered for one in sheet.batches)
    parts = [words.under_cover.format(count=covered) if covered else words.none_under_cover]
    blind = [one for one in sheet.batches if Worry.BLIND in one.worries]
    need = [one for one in sheet.batches if _NEEDING & set(one.worries) and one not in blind]
    unknown = [one for one in sheet.batches if Worry.NOT_FORETOLD in one.worries]
    if need:
        listed = _listed(need, voice, names=names, reasons=reasons)
        parts.append(words.may_need.format(batches=listed))
    if blind:
        listed = _listed(blind, voice, names=names, reasons=False)
        parts.append(words.cannot_see.format(batches=listed))
    if unknown:
        parts.append(words.not_foretold.format(batches=len(unknown)))
    if not sheet.judged:
        parts.append(words.not_judged)
    elif not (need or blind or unknown):
        parts.append(words.no_trouble)
    people = dict.fromkeys(one.name for hours in sheet.around.duty for one in hours.people)
    goes = words.goes.format(names=", ".join(people))
    return (
        f"{words.tonight.format(site=voice.site.site.title)}: {'; '.join(parts)}. {sentence(goes)}"
    )


def _listed(found: Sequence[BatchTonight], voice: Voice, *, names: int, reasons: bool) -> str:
    if names == 0:
        return str(len(found))
    said = [
        f"{one.batch.code} ({voice.words.worry[one.worries[0]]})" if reasons else one.batch.code
        for one in found
    ]
    return voice.listed(said, names)


def _item(one: BatchTonight, voice: Voice) -> Item:
    words = voice.words
    worry = one.worries[0] if one.worries else None
    lines = [
        voice.stage_day(one.stage, one.day),
        *(words.worry[each] for each in one.worries if each is not Worry.NOT_FORETOLD),
        *_forecast(one, voice),
        *_water(one, voice),
        *_heat(one, voice),
    ]
    todo = ""
    if one.do_first is not None:
        todo = words.do.format(action=one.do_first.action.in_language(voice.language))
    elif worry is Worry.BLIND:
        todo = words.do.format(action=voice.phrases.blind_first)
    return Item(
        head=voice.plants(one.batch),
        lines=tuple(capital(line) for line in lines if line),
        standing="" if one.standing is None else one.standing.value,
        standing_words="" if one.standing is None else words.standing[one.standing],
        todo=todo,
        batch=one.batch.code,
    )


def _forecast(one: BatchTonight, voice: Voice) -> Iterator[str]:
    words = voice.words
    unknown: dict[str, list[str]] = {}
    for ahead in one.ahead:
        found = ahead.lowest if ahead.felt is Felt.RELATIVE_HUMIDITY else ahead.warmest
        said = words.lowest if ahead.felt is Felt.RELATIVE_HUMIDITY else words.warmest
        if found is None:
            unknown.setdefault(_why(ahead, voice), []).append(voice.felt(ahead.felt))
            continue
        yield f"{_expected(said, ahead.felt, found, voice)}; {_score(ahead.felt, found, voice)}"
    for why, felts in unknown.items():
        yield f"{', '.join(felts)}: {why}"
    if one.dry is not None and one.dry_limit is not None:
        bound = voice.bound(one.dry_limit)
        if one.dry.most:
            yield words.dry_hours.format(likely=one.dry.likely, most=one.dry.most, bound=bound)
        else:
            yield words.no_dry_hours.format(bound=bound)


def _expected(said: str, felt: Felt, found: Expected, voice: Voice) -> str:
    return said.format(
        felt=voice.felt(felt),
        value=voice.value(felt, found.central),
        time=voice.minute(found.minute),
        band=voice.band(felt, found.low, found.high),
    )


def _score(felt: Felt, found: Expected, voice: Voice) -> str:
    return voice.words.scored.format(
        nights=found.score.nights,
        error=voice.apart(felt, found.score.forecast_error),
        as_now=voice.apart(felt, found.score.persistence_error),
    )


def _why(ahead: Ahead, voice: Voice) -> str:
    """Return why nothing is foretold, without naming the quantity: several may share it."""
    words = voice.words
    if ahead.why_not is None or ahead.why_not.reason is Why.NO_BETTER:
        return words.no_better
    if ahead.why_not.reason is Why.NO_READING:
        return words.no_reading
    return words.too_few.format(count=ahead.why_not.more_nights)


def _water(one: BatchTonight, voice: Voice) -> Iterator[str]:
    words, felt = voice.words, Felt.RESERVE
    if one.drying is not None:
        left = one.drying.reserve_pct
        yield words.water_left.format(
            value=voice.value(felt, left.central), band=voice.band(felt, left.low, left.high)
        )
    if one.water is None:
        return
    told = one.water.told
    if told is None:
        yield words.water_unknown
    elif told.likely is not None and told.soonest is not None:
        yield words.water_ends.format(
            time=voice.minute(told.likely), soonest=voice.minute(told.soonest)
        )
    else:
        left_then = told.reserve_pct
        yield words.water_lasts.format(
            time=voice.minute(told.until_minute),
            value=voice.value(felt, float(left_then.central[0])),
            band=voice.band(felt, float(left_then.low[0]), float(left_then.high[0])),
        )
        if told.soonest is not None:
            yield words.water_may_end.format(time=voice.minute(told.soonest))


def _heat(one: BatchTonight, voice: Voice) -> Iterator[str]:
    words = voice.words
    if one.heat is None:
        return
    told = one.heat.told
    if not isinstance(told, CoverAhead):
        yield words.heat_thin
        return
    peak = told.peak
    said = words.heat.format(
        value=voice.value(_PEAK, peak.central_c),
        time=voice.minute(peak.at_minute),
        band=voice.band(_PEAK, peak.low_c, peak.high_c),
    )
    shade = [
        words.inside.format(bound=voice.bound(each.limit))
        if each.before is None
        else words.shade_by.format(time=voice.minute(each.before), bound=voice.bound(each.limit))
        for each in one.heat.shadings
    ]
    yield "; ".join((said, *shade))
