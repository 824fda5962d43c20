"""Whole trend logs into the store, or nothing of them."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC
from pathlib import Path
from typing import Final

from collector.reading import Quality
from collector.store import ImportSession, SetAside, Store
from collector.trend_log.columns_seen import ColumnsSeen
from collector.trend_log.csv_file import Batch, CsvFile
from collector.trend_log.errors import TrendLogError
from collector.trend_log.options import ImportOptions, ImportReport, Progress
from collector.trend_log.plan import Plan, choices_of_files, make_plan
from collector.trend_log.rows import Parsed, parse
from collector.trend_log.second_thoughts import WireToWater, must_agree, must_be_possible
from collector.trend_log.time_forms import form_hint
from collector.trend_log.times import NoOffset, TimeReader

SHOWN_SET_ASIDE: Final = 10
FITTED_TIMES: Final = 200
"""Times of a log that a form must fit to be named; of dates up to the 12th two forms do, and both are."""
DAY_MS: Final = 86_400_000
"""How far ahead of ours the clock of a log may be; further is a date that was misread or never set."""
_NOTHING_SAID: Final = ImportOptions()


@dataclass(slots=True)
class _Tally:
    """What was seen of a file so far, as far as it must be told in the end."""

    shown: list[SetAside] = field(default_factory=list)
    flaws: Counter[Quality] = field(default_factory=Counter)
    columns: ColumnsSeen = field(default_factory=ColumnsSeen)
    rows_read: int = 0
    first_times: Sequence[str] = ()
    first_ms: int | None = None
    last_ms: int | None = None

    def count(self, parsed: Parsed) -> None:
        """Count a batch."""
        self.shown.extend(parsed.set_aside[: SHOWN_SET_ASIDE - len(self.shown)])
        self.rows_read += len(parsed.readings) + len(parsed.set_aside)
        self.flaws.update(parsed.flaws)
        self.columns.add(parsed.columns)
        times = [row[0] for row in parsed.readings]
        if times:
            low, high = min(times), max(times)
            self.first_ms = low if self.first_ms is None else min(low, self.first_ms)
            self.last_ms = high if self.last_ms is None else max(high, self.last_ms)


def import_trend_log(
    store: Store,
    pump: str,
    path: Path,
    options: ImportOptions = _NOTHING_SAID,
    progress: Progress | None = None,
) -> ImportReport:
    """Keep the readings of a CSV file for a pump: :func:`import_trend_logs` of one file."""
    (report,) = import_trend_logs(store, pump, (path,), options, progress)
    return report


def import_trend_logs(
    store: Store,
    pump: str,
    paths: Sequence[Path],
    options: ImportOptions = _NOTHING_SAID,
    progress: Progress | None = None,
) -> tuple[ImportReport, ...]:
    """Keep the readings of CSV files for a pump, all in one transaction, and report what was done with each.

    Memory use does not grow with the files. At an instant that the store has already, values that are missing
    there are filled if that reading was imported too; a value that is there stays. Of several files each
    takes the column choices whose headers it has.

    Raises
    ------
    TrendLogError
        When a file or an option cannot be used, no row of a file gives a reading, a column gives no value at
        all, many rows contradict the store, or the water would get more power than the drive takes; nothing
        is kept then.
    StoreError
        When the database cannot take it; nothing is kept then.
    """
    choices = choices_of_files(paths, options.columns)
    efficiency = WireToWater()
    with store.importing(pump) as session_of:
        reports = tuple(
            _import(path, session_of, replace(options, columns=chosen), _Watching(pump, efficiency, progress))
            for path, chosen in zip(paths, choices, strict=True)
        )
        if not options.units_are_right:
            must_be_possible(paths[-1], efficiency)
        return reports


@dataclass(frozen=True, slots=True)
class _Watching:
    """What goes along with every file of an import."""

    pump: str
    efficiency: WireToWater
    progress: Progress | None


def _import(
    path: Path, session_of: Callable[[str], ImportSession], options: ImportOptions, watching: _Watching
) -> ImportReport:
    tally = _Tally()
    with CsvFile(path) as file:
        plan = make_plan(file, options)
        session = session_of(path.name)
        for number, batch in enumerate(file.batches()):
            if number == 0:
                plan, tally.first_times = _settled(plan, batch), _times(plan, batch)[:FITTED_TIMES]
            parsed = _parse(file, batch, plan, session.pump_id)
            tally.count(parsed)
            watching.efficiency.add(session.add(parsed.readings))
            session.set_aside(parsed.set_aside)
            if watching.progress is not None:
                watching.progress(file.bytes_read, file.size)
        tally.columns.must_all_give_values(file.path, plan)
        _must_have_given_readings(file, plan, session, tally)
        if not options.keep_stored:
            must_agree(path, session)
        session.finish(file.sha256(), time.time_ns() // 1_000_000)
        return _report(watching.pump, file, plan, session, tally)


def _parse(file: CsvFile, batch: Batch, plan: Plan, pump_id: int) -> Parsed:
    try:
        return parse(batch, plan, pump_id)
    except NoOffset as error:
        whole = [
            (line, row) for line, row in zip(batch.lines, batch.rows, strict=True) if len(row) == plan.width
        ]
        line, _ = whole[plan.time_cells([row for _, row in whole]).index(error.cell)]
        raise TrendLogError(
            f"{file.path}, line {line}: {error}; add --tz with the log's time zone, "
            "for example --tz Europe/Lisbon"
        ) from error


def _settled(plan: Plan, first_batch: Batch) -> Plan:
    """Return the plan with the log's direction, taken from its first batch, and the last possible time."""
    cells = _times(plan, first_batch)
    # Any zone will do to see whether the clock on the wall runs up or down the file.
    found = [each for each in TimeReader(form=plan.times.form, zone=UTC).read(cells) if isinstance(each, int)]
    newest_first = len(found) > 1 and found[0] > found[-1]
    latest_utc_ms = time.time_ns() // 1_000_000 + DAY_MS
    return replace(plan, times=replace(plan.times, newest_first=newest_first, latest_utc_ms=latest_utc_ms))


def _times(plan: Plan, batch: Batch) -> Sequence[str]:
    return plan.time_cells([row for row in batch.rows if len(row) == plan.width])


def _must_have_given_readings(file: CsvFile, plan: Plan, session: ImportSession, tally: _Tally) -> None:
    if session.rows_new or session.rows_duplicate or session.rows_completed:
        return
    if not tally.shown:
        raise TrendLogError(f"{file.path}: has a header row but no rows below it")
    first = tally.shown[0]
    form = plan.times.form
    hint = f"the form was given as {form!r}" if form else form_hint(tally.first_times)
    raise TrendLogError(
        f"{file.path}: no row gives a reading; the first, line {first.line}: {first.reason}"
        + (f" ({hint})" if "cannot be read" in first.reason else "")
    )


def _report(pump: str, file: CsvFile, plan: Plan, session: ImportSession, tally: _Tally) -> ImportReport:
    return ImportReport(
        pump=pump,
        import_id=session.import_id,
        file=str(file.path),
        sha256=file.sha256(),
        rows_read=tally.rows_read,
        rows_new=session.rows_new,
        rows_completed=session.rows_completed,
        rows_duplicate=session.rows_duplicate,
        rows_contradicting=session.rows_contradicting,
        rows_beside_polled=session.rows_beside_polled,
        rows_set_aside=session.rows_set_aside,
        values_unreadable=tally.flaws[Quality.UNREADABLE],
        values_impossible=tally.flaws[Quality.IMPOSSIBLE],
        first_utc_ms=tally.first_ms,
        last_utc_ms=tally.last_ms,
        set_aside=tuple(tally.shown),
        columns_used=tuple(f"{column.quantity.name}={column.header}" for column in plan.columns),
        columns_ignored=plan.ignored,
        column_troubles=tally.columns.troubles(),
    )
