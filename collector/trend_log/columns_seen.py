"""What the columns of a file gave in all, so that none is lost in silence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Final, Literal

from collector.reading import Quality
from collector.trend_log.errors import TrendLogError
from collector.trend_log.options import ColumnTrouble
from collector.trend_log.plan import Plan
from collector.trend_log.rows import ColumnSeen

_REASONS: Final[dict[Quality, Literal["unreadable", "impossible"]]] = {
    Quality.UNREADABLE: "unreadable",
    Quality.IMPOSSIBLE: "impossible",
}


class ColumnsSeen:
    """Adds up what each column gave, batch after batch."""

    def __init__(self) -> None:
        self._cells: Counter[str] = Counter()
        self._good: Counter[str] = Counter()
        self._flaws: Counter[tuple[str, Quality]] = Counter()
        self._first: dict[tuple[str, Quality], tuple[int, str]] = {}

    def add(self, columns: dict[str, ColumnSeen]) -> None:
        """Count a batch."""
        for header, seen in columns.items():
            self._cells[header] += seen.cells
            self._good[header] += seen.good
            for quality, count in seen.flaws.items():
                self._flaws[header, quality] += count
                self._first.setdefault((header, quality), seen.first[quality])

    def troubles(self) -> tuple[ColumnTrouble, ...]:
        """Return what is wrong with which column, in the order of the columns."""
        return tuple(trouble for header in self._cells for trouble in self._of(header))

    def _of(self, header: str) -> Iterator[ColumnTrouble]:
        for quality, reason in _REASONS.items():
            if (header, quality) in self._flaws:
                line, cell = self._first[header, quality]
                yield ColumnTrouble(
                    header=header,
                    reason=reason,
                    count=self._flaws[header, quality],
                    cells=self._cells[header],
                    line=line,
                    cell=cell,
                )

    def must_all_give_values(self, path: Path, plan: Plan) -> None:
        """Refuse a file of which a column was read in vain.

        A column of our own name that is empty throughout is a log without that channel, and no mistake.

        Raises
        ------
        TrendLogError
            That names the column and its first cell.
        """
        for reader in plan.columns:
            header = reader.header
            if self._good[header] or not self._cells[header]:
                continue
            wrong = next(self._of(header), None)
            if wrong is not None:
                raise TrendLogError(f"{path}: {wrong.sentence()}; nothing was imported{_hint(wrong)}")
            if reader.chosen:
                raise TrendLogError(
                    f"{path}: column {header!r}: all {self._cells[header]:,} cells are empty; leave out its "
                    "--column or name another; nothing was imported"
                )


def _hint(wrong: ColumnTrouble) -> str:
    if wrong.reason == "impossible":
        return "; check the unit, as in --column quantity=header:unit"
    return "; the decimal sign can be given with --decimal" if set(wrong.cell) & set(".,") else ""
