"""A column of cells to values in our unit, each with the reason if it has none."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from collector.quantities import Quantity
from collector.reading import Quality
from collector.units import Unit

NOTHING: Final = frozenset({"", "-", "--", "---", "nan", "null", "none", "n/a", "na", "#n/a", "no data"})
"""Cells that say "no value" (common practice of trend exports), in lower case."""

_GROUPED_WITH_COMMAS: Final = re.compile(r"[-+]?\d{1,3}(,\d{3})+(\.\d*)?")
_GROUPED_WITH_POINTS: Final = re.compile(r"[-+]?\d{1,3}(\.\d{3})+(,\d*)?")
"""Thousands marks, three digits apart; anything else with both signs is no number."""
_BETWEEN: Final = "\x1f"

Value = float | int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """The values of a column, and by their place in it the reasons of those that are ``None``."""

    values: list[Value]
    flaws: dict[int, Quality] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnReader:
    """Reads one column of a file: the ``place``-th from 0, in a ``unit`` that becomes ours."""

    place: int
    header: str
    quantity: Quantity
    unit: Unit
    decimal_comma: bool = False
    chosen: bool = False
    """Whether a person named it, rather than its header being a name of ours."""

    def read(self, cells: Sequence[str]) -> Cells:
        """Return the values of these cells: the fast way if all are plain good numbers, else one by one.

        >>> from collector.quantities import quantity
        >>> reader = ColumnReader(place=1, header="Q", quantity=quantity("flow_m3h"), unit=Unit("m3/h", 3.6))
        >>> reader.read(["1", "2.5", "n/a"]).values
        [3.6, 9.0, None]
        """
        return self._all_good(cells) or self._one_by_one(cells)

    def _all_good(self, cells: Sequence[str]) -> Cells | None:
        convert = int if self.quantity.value_type == "whole" and self.unit.factor == 1.0 else float
        try:
            numbers: list[float] = list(map(convert, self._with_points(cells)))
        except ValueError:
            return None
        factor, offset = self.unit.factor, self.unit.offset
        if factor != 1.0 or offset:
            numbers = [number * factor + offset for number in numbers]
        return Cells(values=list(numbers)) if self._within_limits(numbers) else None

    def _with_points(self, cells: Sequence[str]) -> Sequence[str]:
        """Return the cells as Python writes numbers; raise ``ValueError`` where that is not plain."""
        text = _BETWEEN.join(cells)
        # Python's own number form allows 1_000; no log means that.
        if "_" in text or (self.decimal_comma and "." in text):
            raise ValueError
        return text.replace(",", ".").split(_BETWEEN) if self.decimal_comma else cells

    def _within_limits(self, numbers: Sequence[float]) -> bool:
        # A sum with "not a number" in it is none itself; min and max would overlook it.
        return (
            min(numbers) >= self.quantity.lowest
            and max(numbers) <= self.quantity.highest
            and not math.isnan(sum(numbers))
        )

    def _one_by_one(self, cells: Sequence[str]) -> Cells:
        found = [self._one(cell) for cell in cells]
        return Cells(
            values=[None if isinstance(value, Quality) else value for value in found],
            flaws={place: value for place, value in enumerate(found) if isinstance(value, Quality)},
        )

    def _one(self, cell: str) -> float | int | Quality:
        text = cell.strip()
        if text.lower() in NOTHING:
            return Quality.NO_VALUE
        number = self._number(text)
        if number is None:
            return Quality.UNREADABLE
        value = number * self.unit.factor + self.unit.offset
        if not self.quantity.lowest <= value <= self.quantity.highest:
            return Quality.IMPOSSIBLE
        if self.quantity.value_type == "real":
            return value
        return int(value) if value.is_integer() else Quality.UNREADABLE

    def _number(self, text: str) -> float | None:
        mark, grouped = (".", _GROUPED_WITH_POINTS) if self.decimal_comma else (",", _GROUPED_WITH_COMMAS)
        if mark in text:
            if grouped.fullmatch(text) is None:
                return None
            text = text.replace(mark, "")
        try:
            return None if "_" in text else float(text.replace(",", "."))
        except ValueError:
            return None
