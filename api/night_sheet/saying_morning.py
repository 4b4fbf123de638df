"""The morning's sheet in words: what the night was, how the forecasts did, where to go first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from api.night_sheet.saying_around import (
    alarm_says,
    answer_line,
    beside,
    cautions,
    held_line,
    section,
)
from api.night_sheet.told import Item, SheetTold
from api.night_sheet.voice import capital, that_fits
from rules.model.event import Standing
from rules.model.quantities import Felt

if TYPE_CHECKING:
    from collections.abc import Iterator

    from api.night_sheet.sheet import BatchPast, Held, MorningSheet
    from api.night_sheet.voice import Voice
    from api.records.alarms import AlarmRecord
    from rules.night import NightPast

_GRADES = (99, 6, 4, 2, 0)
_HUMIDITY, _AIR = Felt.RELATIVE_HUMIDITY, Felt.AIR_TEMPERATURE


def morning_told(sheet: MorningSheet, voice: Voice) -> SheetTold:
    """Return the sheet in words."""
    words = voice.words
    shown = [one for one in sheet.batches if one.covered or _needs_a_line(one)]
    left_out = len(sheet.batches) - len(shown)
    return SheetTold(
        line=that_fits(*(_answer(sheet, voice, names) for names in _GRADES)),
        answer=_answer(sheet, voice, 99),
        made=words.made_at.format(time=voice.time(sheet.at)),
        sections=(
            section("first", _first(sheet, voice), voice),
            section("batches", [_item(one, voice) for one in shown], voice),
            section("alarms_night", [_alarm(one, voice) for one in sheet.alarms], voice),
            section("score", list(_score(sheet, voice)), voice),
            *beside(sheet.around, voice, night=False),
        ),
        cautions=cautions(voice, night=False),
        note=words.others.format(count=left_out) if left_out else "",
    )


def _answer(sheet: MorningSheet, voice: Voice, names: int) -> str:
    words = voice.words
    parts: list[str] = []
    for standing, said in (
        (Standing.IN_DANGER, words.was_in_danger),
        (Standing.BLIND, words.was_blind),
        (Standing.STRAINED, words.was_strained),
    ):
        found = [one.batch.code for one in sheet.batches if _was(one, standing)]
        if found:
            parts.append(said.format(batches=voice.listed(found, names) if names else len(found)))
    judged = any(one.past is not None and one.past.worst is not None for one in sheet.batches)
    if not judged:
        parts.append(words.nothing_judged)
    elif not parts:
        parts.append(words.was_good)
    codes = [batch.code for batch, _ in sheet.do_first]
    first = words.nothing_first if judged else ""
    if codes:
        first = words.first.format(batches=voice.listed(codes, max(1, min(names, 3))))
    said = f"{words.the_night.format(site=voice.site.site.title)}: {'; '.join(parts)}."
    return f"{said} {first}".strip()


def _was(one: BatchPast, standing: Standing) -> bool:
    """Return whether a batch counts under a standing; unseen time counts with any other."""
    if one.past is None:
        return False
    if standing is Standing.BLIND:
        return one.past.blind_min > 0
    return one.past.worst is standing


def _needs_a_line(one: BatchPast) -> bool:
    past = one.past
    return past is not None and (past.worst not in {None, Standing.STEADY} or bool(past.beyond))


def _first(sheet: MorningSheet, voice: Voice) -> list[Item]:
    if not sheet.do_first:
        return [Item(voice.words.nothing_first, ())]
    items: list[Item] = []
    for batch, limit in sheet.do_first:
        action = voice.phrases.look_at_batch
        if limit is not None:
            action = limit.action.in_language(voice.language)
        items.append(Item(voice.plants(batch), (), todo=action, batch=batch.code))
    return items


def _item(one: BatchPast, voice: Voice) -> Item:
    words, past = voice.words, one.past
    lines = [voice.stage_day(one.stage, one.day)]
    if past is None or past.worst is None:
        lines.append(words.nothing_judged)
    if past is not None:
        lines += _night(one, past, voice)
    lines += [_held(held, voice) for held in one.held]
    worst = None if past is None else past.worst
    return Item(
        head=voice.plants(one.batch),
        lines=tuple(capital(line) for line in lines if line),
        standing="" if worst is None else worst.value,
        standing_words="" if worst is None else words.standing[worst],
        batch=one.batch.code,
    )


def _night(one: BatchPast, past: NightPast, voice: Voice) -> Iterator[str]:
    words = voice.words
    for each in past.beyond:
        says = each.limit.says.in_language(voice.language)
        yield words.beyond.format(says=says, lasting=voice.lasting(each.minutes))
    if past.blind_min:
        yield words.blind_min.format(lasting=voice.lasting(past.blind_min))
    if past.unjudged_min and past.worst is not None:
        yield words.unjudged_min.format(lasting=voice.lasting(past.unjudged_min))
    low = past.lowest_humidity
    if low is not None:
        yield words.lowest_was.format(
            felt=voice.felt(_HUMIDITY),
            value=voice.value(_HUMIDITY, low.value),
            time=voice.minute(low.minute),
        )
    if past.coolest is not None and past.warmest is not None:
        yield words.between.format(
            felt=voice.felt(_AIR),
            low=voice.value(_AIR, past.coolest.value),
            low_time=voice.minute(past.coolest.minute),
            high=voice.value(_AIR, past.warmest.value),
            high_time=voice.minute(past.warmest.minute),
        )
    if one.dry_min is not None and one.dry_limit is not None and one.dry_min:
        yield words.dry_was.format(
            lasting=voice.lasting(one.dry_min), bound=voice.bound(one.dry_limit)
        )


def _held(held: Held, voice: Voice) -> str:
    words, told, felt = voice.words, held.told, Felt(held.told.quantity)
    filled = {
        "felt": voice.felt(felt),
        "time": voice.minute(told.minute),
        "told": voice.value(felt, told.central),
    }
    if np.isnan(held.came):
        return words.foretold_unseen.format(**filled)
    band = voice.band(felt, told.low, told.high)
    return words.foretold_came.format(band=band, came=voice.value(felt, held.came), **filled)


def _score(sheet: MorningSheet, voice: Voice) -> Iterator[Item]:
    words = voice.words
    if not sheet.errors:
        yield Item(words.nothing_foretold, ())
    for felt, (forecast, as_now, count) in sheet.errors.items():
        said = words.errors.format(
            felt=capital(voice.felt(felt)),
            error=voice.apart(felt, forecast),
            as_now=voice.apart(felt, as_now),
            count=count,
        )
        yield Item(said, ())


def _alarm(one: AlarmRecord, voice: Voice) -> Item:
    words = voice.words
    lines = [words.alarm_open]
    if one.ended_at is not None:
        lines = [words.alarm_over.format(time=voice.time(one.ended_at))]
    lines.append(held_line(one, voice) or answer_line(one, voice))
    return Item(alarm_says(one, voice), (f"{capital('; '.join(lines))}.",), batch=one.batch)
