"""The time column: ISO 8601 or a stated form, with an offset or in a stated zone, to milliseconds UTC."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Final

from collector.trend_log.errors import TrendLogError

EARLIEST_UTC_MS: Final = 0
"""1970: an earlier time is a clock that was never set."""

_UNIX_SCALES: Final = {"unix_s": 1000.0, "unix_ms": 1.0}

_LETTERS: Final = frozenset("aAbBcdfGHIjmMpSuUVwWxXyYzZ%")
"""What may stand behind a % (Python's documentation of ``datetime``, format codes)."""
_YEARS: Final = frozenset("cGxyY")


def must_be_a_form(form: str) -> None:
    """Refuse a form of times that no time can have.

    Raises
    ------
    TrendLogError
        That says what is wrong with it, before any row is blamed.
    """
    letters = re.findall(r"%(.?)", form, re.DOTALL)
    wrong = next((letter for letter in letters if letter not in _LETTERS), None)
    example = "expected a form such as %m/%d/%Y %I:%M %p, or unix_s or unix_ms"
    if form not in _UNIX_SCALES and wrong is not None:
        raise TrendLogError(f"--time-format {form!r}: %{wrong} means nothing; {example}")
    if form not in _UNIX_SCALES and not _YEARS.intersection(letters):
        raise TrendLogError(f"--time-format {form!r}: has no year; {example}")


class NoOffset(TrendLogError):
    """A time without an offset, and no time zone stated."""

    def __init__(self, cell: str) -> None:
        super().__init__(f"the time {cell!r} has no offset from UTC")
        self.cell = cell


@dataclass(slots=True, kw_only=True)
class TimeReader:
    """Reads the time column in the order of the file.

    When clocks go back, an hour of local times comes twice. The order of the file tells the two apart: a
    time counts as the first one until the log would step back, then as the second. ``newest_first`` is for
    logs that run backwards. A local time that clocks jumped over never was, and is an error of that row.
    So is a time after ``latest_utc_ms``, if that is stated: readings of the future were never taken.
    """

    form: str | None = None
    zone: tzinfo | None = None
    newest_first: bool = False
    latest_utc_ms: int | None = None
    _previous_ms: int | None = None

    def read(self, cells: Sequence[str]) -> list[int | str]:
        """Return each cell's time [ms UTC], or the reason why it has none.

        Raises
        ------
        NoOffset
            When a time has no offset and no zone was stated.

        >>> TimeReader().read(["1970-01-01T01:00:00+00:30", "soon"])
        [1800000, "the time 'soon' cannot be read"]
        """
        if self.form in _UNIX_SCALES:
            return [self._from_number(cell) for cell in cells]
        parse = self._parser()
        return [self._one(cell, parse) for cell in cells]

    def _parser(self) -> Callable[[str], datetime]:
        form = self.form
        if form is None:
            return datetime.fromisoformat
        return lambda text: datetime.strptime(text, form)  # noqa: DTZ007 - the zone is added below

    def _one(self, cell: str, parse: Callable[[str], datetime]) -> int | str:
        try:
            moment = parse(cell.strip())
            time_ms = self._local(moment, cell) if moment.tzinfo is None else round(moment.timestamp() * 1000)
        except (ValueError, OverflowError):
            return f"the time {cell!r} cannot be read"
        if isinstance(time_ms, int):
            time_ms = self._possible(time_ms, cell)
        if isinstance(time_ms, int):
            self._previous_ms = time_ms
        return time_ms

    def _possible(self, time_ms: int, cell: str) -> int | str:
        if time_ms < EARLIEST_UTC_MS:
            return f"the time {cell!r} is before 1970"
        if self.latest_utc_ms is not None and time_ms > self.latest_utc_ms:
            return f"the time {cell!r} is more than a day from now, in the future"
        return time_ms

    def _local(self, moment: datetime, cell: str) -> int | str:
        if self.zone is None:
            raise NoOffset(cell)
        if self.zone is UTC:
            return round(moment.replace(tzinfo=UTC).timestamp() * 1000)
        first = round(moment.replace(tzinfo=self.zone).timestamp() * 1000)
        second = round(moment.replace(tzinfo=self.zone, fold=1).timestamp() * 1000)
        if first > second:
            return f"the time {cell!r} never was: clocks were put forward over it"
        return first if first == second else self._which(first, second)

    def _which(self, first: int, second: int) -> int:
        previous = self._previous_ms
        if self.newest_first:
            return first if previous is not None and second >= previous else second
        return second if previous is not None and first <= previous else first

    def _from_number(self, cell: str) -> int | str:
        try:
            return self._possible(round(float(cell) * _UNIX_SCALES[str(self.form)]), cell)
        except (ValueError, OverflowError):
            return f"the time {cell!r} cannot be read"
