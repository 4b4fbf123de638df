"""The values of one column: figure, unit and range, or why there is none."""

from __future__ import annotations

from collections import Counter
from math import isnan
from typing import TYPE_CHECKING, NamedTuple

from collector.files.headings import unit_spelt
from collector.files.numbers import (
    NO_VALUE_FIGURES,
    PROBE_NOT_READY_C,
    as_float,
    is_no_value,
    number_in,
    with_unit,
)
from collector.files.report import Why
from collector.gate import in_range, range_refusal
from collector.rejects import Kind
from rules.model.quantities import MEANINGS, Quantity, in_our_unit

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from collector.files.columns import ChannelColumn
    from collector.files.times import Cell

_TEMPERATURES = frozenset({Quantity.AIR_TEMPERATURE, Quantity.LEAF_TEMPERATURE})
_DIGITS_KEPT = 9


class NoReading(NamedTuple):
    """Why a cell gives no reading. `why` is None when it says itself that nothing was measured."""

    why: Why | None
    problem: str
    fix: str


class ColumnReader:
    """Reads the cells of one column into raw values of its channel, in the channel's own unit."""

    def __init__(
        self, column: ChannelColumn, *, decimal: str, missing: Sequence[float | str]
    ) -> None:
        self.index = column.column.index
        self.name = column.column.name
        self.channel = column.channel
        self.key = column.channel.key
        self._unit = column.unit
        self._decimal = decimal
        self._convert = _conversion(column)
        self._missing_texts = {one.casefold() for one in missing if isinstance(one, str)}
        figures = {float(one) for one in missing if not isinstance(one, str)}
        # True: stands for no value. False: often does, but a sensor of this kind may say it too.
        self._figures = dict.fromkeys(
            (figure for figure in NO_VALUE_FIGURES if self._possible(figure)), False
        )
        self._figures |= dict.fromkeys(
            (figure for figure in NO_VALUE_FIGURES if not self._possible(figure)), True
        )
        if column.channel.quantity in _TEMPERATURES:
            self._figures |= dict.fromkeys(_written_as(self._unit, PROBE_NOT_READY_C), True)
        self._figures |= dict.fromkeys(figures, True)
        self.doubtful: Counter[float] = Counter()

    def read(self, cell: Cell) -> float | NoReading:
        """Return the raw value in the channel's unit, or why there is none."""
        if isinstance(cell, str):
            try:
                if self._decimal == ".":
                    figure = float(cell)
                elif "." in cell:
                    return self._read_slowly(cell)
                else:
                    figure = float(cell.replace(",", "."))
            except ValueError:
                return self._read_slowly(cell)
            if "_" in cell:  # Python's own way with digits, and no logger's
                return self._read_slowly(cell)
        elif isinstance(cell, float | int):
            figure = as_float(cell)
        else:
            return _EMPTY if cell is None else _not_number(str(cell))
        return self._checked(figure, cell)

    def _checked(self, figure: float, cell: object) -> float | NoReading:
        stands_for_none = self._figures.get(figure)
        if stands_for_none is not None:
            if stands_for_none:
                return NoReading(None, str(cell).strip(), "")
            if figure not in self.doubtful and len(self.doubtful) < 64:
                self.doubtful[figure] = 0
            self.doubtful[figure] += 1
        if isnan(figure):
            return NoReading(None, "NaN", "")
        value = figure if self._convert is None else self._convert(figure)
        if in_range(self.channel, value):
            return value
        refusal = range_refusal(self.channel, value)
        why = Why.NOT_FINITE if refusal.kind is Kind.NOT_FINITE else Why.OUT_OF_RANGE
        fix = (
            f"See to the probe; if the file means another unit, write it with --map, and if the "
            f"figure means no value, --map missing={figure:g}"
        )
        return NoReading(why, refusal.details, fix)

    def _read_slowly(self, cell: str) -> float | NoReading:
        text = cell.strip()
        if is_no_value(text) or text.casefold() in self._missing_texts:
            return NoReading(None, text, "") if text else _EMPTY
        figure = number_in(text, self._decimal)
        if figure is not None:
            return self._checked(figure, text)
        split = with_unit(text)
        figure = number_in(split[0], self._decimal) if split else None
        meant = unit_spelt(split[1]) if split else frozenset()
        if not meant or figure is None:
            return _not_number(text)
        if self._unit not in meant:
            problem = f'"{text[:40]}" says another unit than {self._unit}'
            return NoReading(Why.WRONG_UNIT, problem, "Put rows in another unit into another file")
        return self._checked(figure, text)

    def _possible(self, figure: float) -> bool:
        return in_range(self.channel, figure if self._convert is None else self._convert(figure))


_EMPTY = NoReading(None, "", "")


def _not_number(text: str) -> NoReading:
    shown = text if len(text) <= 40 else text[:39] + "…"
    fix = "Correct the cell; if it means that nothing was measured, write --map missing=TEXT"
    return NoReading(Why.NOT_NUMBER, f'"{shown}" is not a number', fix)


def _conversion(column: ChannelColumn) -> Callable[[float], float] | None:
    """Return what turns the file's unit into the channel's; None when they are the same."""
    if column.unit == column.channel.unit:
        return None
    written = MEANINGS[column.channel.quantity].units[column.unit]
    declared = MEANINGS[column.channel.quantity].units[column.channel.unit]
    scale = written.scale / declared.scale
    offset = (written.offset - declared.offset) / declared.scale
    return lambda figure: round(figure * scale + offset, _DIGITS_KEPT)


def _written_as(unit: str, value_c: float) -> tuple[float, ...]:
    """Return how a temperature in °C reads in a unit."""
    found = [
        figure
        for figure in (value_c, value_c * 1.8 + 32.0, value_c + 273.15)
        if abs(in_our_unit(Quantity.AIR_TEMPERATURE, unit, figure) - value_c) < 0.01
    ]
    return tuple(found)
